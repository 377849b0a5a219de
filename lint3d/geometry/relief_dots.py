"""Which domes and pins are the dots of braille, how wide are they, and how far apart?

Lengths in mm. Guarded by tests/geometry/test_reliefs.py and tests/outside/test_relief_standards.py.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from lint3d.geometry.components import connected_groups
from lint3d.geometry.relief_cells import spacing_share
from lint3d.geometry.relief_shapes import Shape
from lint3d.geometry.relief_standing import Standing

Floats = NDArray[np.float64]

#: Dots of braille are no wider than this, mm, and no farther apart than this many diameters.
WIDEST_DOT = 3.0
LIKE_DOT = 0.15
LEAST_DOTS = 3
#: Dots that stand this much farther apart than the nearest are no neighbours of a cell: across its
#: diagonal they are 1.41 times as far.
SIDE_BY_SIDE = 1.25
#: Domes are dots whatever their size. Round pins with flat tops are where they are about as large
#: and as far apart as dots are to be (2010 ADA Standards 703.3.1: 1.5 to 1.6 mm wide, 0.6 to 0.9
#: high, 2.3 to 2.5 apart), mm, and stand in cells, no more than six together.
PIN_WIDE, PIN_HIGH, PIN_APART, MOST_IN_CELL = (1.1, 2.1), (0.3, 1.3), (1.9, 3.0), 6
#: Roundness 4 pi A / P^2 of a pin's foot; an octagon has 0.95.
ROUND = 0.9


@dataclass(frozen=True, eq=False)
class Dots:
    """Domes on a grid."""

    shapes: tuple[Shape, ...]
    diameter: Floats
    """(k, 3) mm: value, lower and upper end, of each foot."""
    spacing: Floats
    """(k,) mm between neighbours in a cell, from the way to the nearest other dot; NaN for a dot
    that is alone in its cell."""


def is_dot(shape: Shape) -> bool:
    """Is it a dome no wider than a dot, or a round pin as large as one?"""
    if not shape.raised:
        return False
    return _is_pin(shape) if not shape.measured.dome else shape.measured.island.across <= WIDEST_DOT


def _is_pin(shape: Shape) -> bool:
    island = shape.measured.island
    if not PIN_WIDE[0] <= 2 * np.sqrt(island.footprint / np.pi) <= PIN_WIDE[1]:
        return False
    if not (PIN_HIGH[0] <= shape.height <= PIN_HIGH[1]) or len(shape.counters):
        return False
    side = shape.folds.vertices[island.end] - shape.folds.vertices[island.start]
    perimeter = float(np.linalg.norm(side, axis=1).sum())
    return bool(4 * np.pi * island.footprint >= ROUND * perimeter**2)


def as_grouped(shape: Shape) -> Standing:
    """A dot as grouping sees it: cells of braille stand several dots apart."""
    one = shape.standing
    return replace(one, cap=one.centre + 4.0 * (shape.foot - one.centre))


def dots_of(shapes: list[Shape]) -> Dots | None:
    """Domes or pins of a group as dots of braille; None if they are too few, of unlike width, or
    pins that stand in no cells."""
    if len(shapes) < LEAST_DOTS:
        return None
    diameter = np.array([_diameter(shape) for shape in shapes])
    middle = np.median(diameter[:, 0])
    if (np.abs(diameter[:, 0] - middle) > LIKE_DOT * middle).any():
        return None
    centre = np.array([shape.measured.island.centre for shape in shapes])
    normal = np.array([shape.measured.island.normal for shape in shapes])
    tree = cKDTree(centre)
    nearest = tree.query(centre, 2)[0][:, 1]
    in_cell = nearest <= SIDE_BY_SIDE * nearest.min()
    spacing = np.where(in_cell, nearest * spacing_share(centre, normal), np.nan)
    if not all(shape.measured.dome for shape in shapes):
        least = float(np.nanmin(spacing))
        if not PIN_APART[0] <= least <= PIN_APART[1]:
            return None
        pairs = tree.query_pairs(SIDE_BY_SIDE * least, output_type="ndarray")
        cell = connected_groups(len(centre), pairs[:, 0], pairs[:, 1])
        if np.bincount(cell).max() > MOST_IN_CELL:
            return None
    return Dots(tuple(shapes), diameter, spacing)


def _diameter(shape: Shape) -> tuple[float, float, float]:
    """Of a round foot: the circle through its corners lies outside its sides."""
    foot, island = shape.foot, shape.measured.island
    arm = foot - island.centre
    arm = arm - np.outer(arm @ island.normal, island.normal)
    radius = np.linalg.norm(arm, axis=1)
    spread = float(radius.max() - radius.min())
    side = shape.folds.vertices[island.end] - shape.folds.vertices[island.start]
    sagitta = float(np.linalg.norm(side, axis=1).max()) ** 2 / (8 * float(radius.mean()))
    value = 2 * float(radius.mean())
    return value, value - spread - 2 * shape.blur, value + spread + 2 * (sagitta + shape.blur)
