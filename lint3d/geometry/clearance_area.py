"""Over what area does a surface stay near another?

Of each triangle it is known how large the part within a distance is at least and at most, and
triangles are halved until the two agree. At least: the distance to one of the other triangles is
convex, so that within a triangle it is no more than between its corners. At most: the square of a
distance less the square of where one stands is concave, whatever is near, so that within a triangle
it is no less than between its corners. Lengths in mm. Guarded by
tests/geometry/test_clearance_area.py.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lint3d.geometry.clearance import Triangles
from lint3d.geometry.clearance_triangles import points_to_triangles
from lint3d.geometry.vectors import cross_product

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

_MOST_PIECES = 3000
_SMALL_SHARE = 0.01  # of the area: no need to know better
_LARGE_SHARE = 0.1  # of the area may be in doubt where halving once more hardly changes it
_UNKNOWN = 0.5  # share of a triangle that may be within or not: where its middle is says more


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
    facing = Triangles(other)
    cells = _Cells.at(corners, facing)
    kept: list[_Cells] = []
    known: list[Floats] = []
    area, before = 0.0, np.inf
    while True:
        shares = cells.shares(other, level)
        least, told, most = shares
        size = _areas(cells.corners)
        told = size * told
        now, doubt = area + float(told.sum()), float(size @ (most - least))
        settled = abs(now - before) <= _SMALL_SHARE * now and doubt <= _LARGE_SHARE * now
        unsure = most > least
        if settled or doubt <= _SMALL_SHARE * now or 4 * unsure.sum() > _MOST_PIECES:
            break
        kept.append(cells.take(~unsure))
        known.append(shares[:, ~unsure])
        area, before = area + float(told[~unsure].sum()), now
        cells = cells.take(unsure).halved(facing).halved(facing)
    shares = np.concatenate([*known, shares], axis=1)
    return _summed(_Cells.joined([*kept, cells]), shares, facing, level)


class _Cells:
    """Triangles (k, 3, 3), how far each corner is (k, 3), and the other triangle there (k, 3)."""

    def __init__(self, corners: Floats, distance: Floats, facing: Ints) -> None:
        self.corners, self.distance, self.facing = corners, distance, facing

    @staticmethod
    def at(corners: Floats, facing: Triangles) -> _Cells:
        """Corners that triangles have in common are looked at once."""
        points, row = np.unique(corners.reshape(-1, 3), axis=0, return_inverse=True)
        distance, there, _ = facing.closest(points)
        row = row.ravel()
        return _Cells(corners, distance[row].reshape(-1, 3), there[row].reshape(-1, 3))

    @staticmethod
    def joined(parts: list[_Cells]) -> _Cells:
        names = ("corners", "distance", "facing")
        return _Cells(*(np.concatenate([getattr(one, n) for one in parts]) for n in names))

    def take(self, rows: Bools) -> _Cells:
        return _Cells(self.corners[rows], self.distance[rows], self.facing[rows])

    def shares(self, other: Floats, level: float) -> Floats:
        """(3, k) share of each that is within the level: at least, as told, and at most."""
        side = np.roll(self.corners, -1, axis=1) - self.corners
        # The mean of the corners' squares is above that of any place between them by no more than
        # the square of the radius of the circle round them.
        spread = np.einsum("kij,kij->ki", side, side).max(axis=1) / 3.0
        most = _share_below(self.distance**2 - spread[:, None] - level**2)
        least = np.zeros(len(most))
        some = np.flatnonzero(most > 0)
        middling = np.argsort(self.distance[some], axis=1)[:, 1]
        across = points_to_triangles(self.corners[some], other[self.facing[some, middling]])
        least[some] = _share_below(across - level)
        least = np.minimum(least, most)
        told = np.clip(_share_below(self.distance - level), least, most)
        return np.stack([least, told, most])

    def halved(self, facing: Triangles) -> _Cells:
        """Each cut in two across its longest side."""
        side = np.roll(self.corners, -1, axis=1) - self.corners
        longest = np.einsum("kij,kij->ki", side, side).argmax(axis=1)
        turn = (longest[:, None] + np.arange(3)) % 3
        row = np.arange(len(turn))[:, None]
        turned = self.corners[row, turn], self.distance[row, turn], self.facing[row, turn]
        middle = turned[0][:, :2].mean(axis=1)
        halves = []
        for values, there in zip(turned, (middle, *facing.closest(middle)[:2]), strict=True):
            half = np.concatenate([values, values])
            half[: len(row), 1] = half[len(row) :, 0] = there
            halves.append(half)
        return _Cells(*halves)


def _summed(cells: _Cells, shares: Floats, facing: Triangles, level: float) -> NearArea:
    """Area, middle and extent of what is within the level."""
    least, told, most = shares
    corners, size = cells.corners, _areas(cells.corners)
    middle = corners.mean(axis=1)
    is_within = least == 1.0  # the middle of the triangle
    unknown = np.flatnonzero(most - least > _UNKNOWN)
    is_within[unknown] = facing.closest(middle[unknown])[0] <= level
    told[unknown] = np.clip(is_within[unknown], least[unknown], most[unknown])
    doubt = float(size @ np.maximum(told - least, most - told))
    inside = cells.distance <= level
    points = np.concatenate([middle[is_within], corners[inside]])
    if len(points) == 0:
        return NearArea(0.0, doubt, np.full(3, np.nan), 0.0)
    # Where the way to the next corner leaves the level.
    after = np.roll(cells.distance, -1, axis=1)
    leaves = inside != np.roll(inside, -1, axis=1)
    share = (level - cells.distance[leaves]) / (after - cells.distance)[leaves]
    start, end = corners[leaves], np.roll(corners, -1, axis=1)[leaves]
    border = np.concatenate([points, start + share[:, None] * (end - start)])
    centre = np.average(middle, axis=0, weights=size * told + 1e-300)
    central = points[int(np.linalg.norm(points - centre, axis=1).argmin())]
    return NearArea(float(size @ told), doubt, central, float(np.ptp(border, axis=0).max()))


def _share_below(value: Floats) -> Floats:
    """(k,) in what share of each triangle is a value, linear between corners (k, 3), below 0?"""
    low, middle, high = np.sort(value, axis=1).T
    with np.errstate(divide="ignore", invalid="ignore"):
        first = low**2 / ((middle - low) * (high - low))
        rest = 1.0 - high**2 / ((high - low) * (high - middle))
    share = np.where(middle > 0, first, rest)
    share = np.where(low > 0, 0.0, np.where(high <= 0, 1.0, share))
    return np.clip(share, 0.0, 1.0)


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
