"""Over what area does a surface stay near another?

Triangles are halved until each piece is surely within the distance, surely out, or small: a
distance changes by no more than the way one goes. Lengths in mm. Guarded by
tests/geometry/test_clearance_area.py.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lint3d.geometry.clearance import closest_points
from lint3d.geometry.vectors import cross_product

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

_MOST_PIECES = 3000
_SMALL_SHARE = 0.01  # of the area: no need to know better


@dataclass(frozen=True, eq=False)
class NearArea:
    """What of a surface lies near another."""

    area: float
    """mm2"""
    doubt: float
    """mm2, by how much it may be off either way at most"""
    middle: Floats
    """(3,) mm, a point within: that nearest to the middle of the area; NaN if none"""
    extent: float
    """mm, longest side of the box round it, along the axes of the file; 0.0 if none"""


def area_within(corners: Floats, other: Floats, level: float) -> NearArea:
    """Area of the triangles that lies within `level` of the others.

    Parameters
    ----------
    corners, other : (m, 3, 3) and (n, 3, 3) float64, mm
    level : mm
    """
    area, pieces, weights = 0.0, [np.zeros((0, 3))], [np.zeros(0)]
    low, high = np.full(3, np.inf), np.full(3, -np.inf)
    cells = corners
    while True:
        middle, size = cells.mean(axis=1), _areas(cells)
        radius = np.linalg.norm(cells - middle[:, None], axis=2).max(axis=1)
        distance = closest_points(middle, other)[0]
        inside, outside = distance + radius <= level, distance - radius > level
        unsure = ~(inside | outside)
        doubt = float(size[unsure].sum())
        is_last = 2 * unsure.sum() > _MOST_PIECES or doubt <= _SMALL_SHARE * (
            area + float(size[inside].sum())
        )
        kept = (distance <= level) & (inside | is_last)
        area += float(size[kept].sum())
        pieces.append(middle[kept])
        weights.append(size[kept])
        within = np.concatenate([cells[inside].reshape(-1, 3), middle[kept]])
        low = np.minimum(low, within.min(axis=0, initial=np.inf))
        high = np.maximum(high, within.max(axis=0, initial=-np.inf))
        if is_last:
            break
        cells = _halved(cells[unsure])
    points, weight = np.concatenate(pieces), np.concatenate(weights)
    if len(points) == 0:
        return NearArea(0.0, doubt, np.full(3, np.nan), 0.0)
    centre = np.average(points, axis=0, weights=weight + 1e-300)
    central = points[int(np.linalg.norm(points - centre, axis=1).argmin())]
    return NearArea(area, doubt, central, float((high - low).max()))


def _halved(corners: Floats) -> Floats:
    """Each triangle cut in two across its longest side."""
    side = np.roll(corners, -1, axis=1) - corners
    longest = np.einsum("kij,kij->ki", side, side).argmax(axis=1)
    row = np.arange(len(corners))
    a, b, c = (corners[row, (longest + step) % 3] for step in range(3))
    middle = 0.5 * (a + b)
    return np.concatenate([np.stack([a, middle, c], axis=1), np.stack([middle, b, c], axis=1)])


def cut_small(corners: Floats, fewest: int) -> tuple[Floats, Ints]:
    """The triangles cut until there are so many, and which triangle each is of."""
    owner = np.arange(len(corners))
    while len(corners) < fewest:
        corners, owner = quartered(corners), np.tile(owner, 4)
    return corners, owner


def quartered(corners: Floats) -> Floats:
    """Each triangle cut in four by the middles of its sides."""
    a, b, c = corners[:, 0], corners[:, 1], corners[:, 2]
    ab, bc, ca = 0.5 * (a + b), 0.5 * (b + c), 0.5 * (c + a)
    fours = [(a, ab, ca), (ab, b, bc), (ca, bc, c), (ab, bc, ca)]
    return np.concatenate([np.stack(four, axis=1) for four in fours])


def _areas(corners: Floats) -> Floats:
    normal = cross_product(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    area: Floats = 0.5 * np.sqrt(np.einsum("ij,ij->i", normal, normal))
    return area
