"""How high does an island stand above its base, or how deep is it sunk?

The height is that of the cap: the faces that look the same way as the base below them. A dome has
no cap, and counts by its top. Lengths in mm. Guarded by tests/geometry/test_reliefs.py.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lint3d.geometry.patches import Folds
from lint3d.geometry.relief_base import Base, fit_base, quantile
from lint3d.geometry.relief_facets import height_above_facets
from lint3d.geometry.relief_islands import Island

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

NearBase = Callable[[Floats, float], tuple[Floats, Floats]]

#: Noise reaches so many residuals from a base; facets of a coarse bent base, told by its creases
#: and not by noise, reach no farther than one.
CLEAR, CLEAR_COARSE = 3.0, 1.0
#: The base is looked at within so many reaches of the foot: as far as gives enough points. The
#: fourth and on count only if they follow the base to this share of the island's rise.
REACH, ENOUGH, WELL = (1.25, 2.0, 4.0, 8.0, 16.0), 24, 0.03
#: A face belongs to the cap if it leans from the base's normal by less than this ...
CAP_LEAN = np.cos(np.radians(30.0))
#: ... and counts for its height below this, where there are enough such faces.
FLAT_LEAN = np.cos(np.radians(12.0))
#: The cap lies above this share of the height.
CAP_LEVEL = 0.5
#: Share of the footprint that a cap has at least; less is a ridge or a dome, told by its top.
LEAST_CAP = 0.08
#: A round island whose cap falls by this share of its height is a dome.
DOME_FALL = 0.04
#: Half an interval wider than this, in mm and as a share of the height, is worth the question
#: whether the cap is folded like its base.
WIDE_MM, WIDE = 0.002, 0.005
#: Roundness 4 pi A / P^2 of a dome's foot; an octagon has 0.95.
ROUND = 0.9


@dataclass(frozen=True, eq=False)
class Measured:
    """An island with its height."""

    island: Island
    base: Base
    height: float
    """mm, positive for raised and sunk alike."""
    lower: float
    upper: float
    dome: bool
    cap: Ints
    """Faces of the cap."""
    levels: Floats
    """(k, 3) mm: height of the corners of each face of the island; positive away from the base."""


def measure_height(
    folds: Folds, island: Island, near_base: NearBase, step_mm: float, clear: float = CLEAR
) -> Measured | None:
    """Height of one island.

    Parameters
    ----------
    folds : angles of the surface that the island was found on
    island : the island
    near_base : points of the island's base patch within a radius of a point, with their areas
    step_mm : what rounding of coordinates can do to a distance
    clear : by how many residuals of its base an island must leave it

    Returns
    -------
    Measured, or None where the base cannot be told or the island does not leave it
    """
    base = _fit(folds, island, near_base, step_mm)
    if base is None:
        return None
    sign = 1.0 if island.raised else -1.0
    corner = folds.vertices[folds.faces[island.faces]]
    _, level, below = base.foot(corner.reshape(-1, 3))
    level = sign * level.reshape(-1, 3)
    lean = np.einsum("ij,ij->i", folds.normal[island.faces], below.reshape(-1, 3, 3).mean(axis=1))
    top = float(level.max())
    # A base that was fitted to slivers may tell anything.
    if not clear * (base.residual + step_mm) < top <= 2 * max(island.rise, island.across):
        return None
    area = folds.area[island.faces]
    mean = level.mean(axis=1)
    cap = (lean >= CAP_LEAN) & (mean > CAP_LEVEL * top)
    leaning = island.faces[cap]
    flat = cap & (lean >= FLAT_LEAN)
    if area[flat].sum() >= 0.3 * area[cap].sum():
        cap = flat
    height, low, high, dome = _height(mean[cap], area[cap], island, top, folds)
    blur = step_mm + base.residual
    if blur + (high - low) / 2 > min(WIDE_MM, WIDE * height):
        beside = _beside(folds, island)
        told = height_above_facets(folds, leaning, beside, sign, height)
        if told is not None and told[2] - told[1] < high - low + 2 * base.residual:
            # A round dot that is folded with its base falls off to its foot, and is no dome.
            (height, low, high), blur, dome = told, step_mm, False
    return Measured(
        island=island,
        base=base,
        height=height,
        lower=low - blur,
        upper=high + blur,
        dome=dome,
        cap=island.faces[cap],
        levels=level,
    )


def _beside(folds: Folds, island: Island) -> Ints:
    """Faces of the base that touch the foot."""
    on_foot = np.zeros(len(folds.vertices), bool)
    on_foot[island.start] = True
    return island.base[on_foot[folds.faces[island.base]].any(axis=1)]


def _height(
    level: Floats, area: Floats, island: Island, top: float, folds: Folds
) -> tuple[float, float, float, bool]:
    """Height, its lower and upper end by the spread of the cap, and whether it is a dome's."""
    perimeter = np.linalg.norm(
        folds.vertices[island.end] - folds.vertices[island.start], axis=1
    ).sum()
    is_round = 4 * np.pi * island.footprint >= ROUND * perimeter**2
    if area.sum() < LEAST_CAP * island.footprint:
        return top, top, top, is_round
    low, middle, high = (quantile(level, area, share) for share in (0.1, 0.5, 0.9))
    if is_round and top - low > DOME_FALL * top and island.raised:
        return top, top, top, True
    return middle, low, high, False


def _fit(folds: Folds, island: Island, near_base: NearBase, step_mm: float) -> Base | None:
    foot = folds.vertices[island.start]
    reach = float(np.linalg.norm(foot - island.centre, axis=1).max())
    best: Base | None = None
    for factor in REACH:
        points, weight = near_base(island.centre, factor * reach + island.rise)
        if len(points) < ENOUGH and factor not in (REACH[2], REACH[-1]):
            continue
        base = fit_base(points, weight, island.centre, island.normal, step_mm)
        if factor <= REACH[2]:
            best = base
        elif base is not None and base.residual <= WELL * island.rise:
            # Small islands on few facets: what is far tells of a bend only if it tells it well.
            return base
        if len(points) >= ENOUGH:
            break
    return best
