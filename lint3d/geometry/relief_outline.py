"""What outline does an island have, seen along the normal of its base and rolled flat?

The outline is where the island's walls cross a level between base and cap, so that fillets at foot
and head leave it alone. Positions are those of the feet on the base, at their distance along the
base from the middle of the island: nominal lengths, not those of the larger or smaller cap of a
bent part. Lengths in mm. Guarded by tests/geometry/test_reliefs.py.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lint3d.geometry.components import connected_groups
from lint3d.geometry.relief_base import Base
from lint3d.geometry.relief_folded import FoldedBase
from lint3d.geometry.relief_round import RoundBase

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

PRODUCTS_AT_ONCE = 1_000_000


@dataclass(frozen=True, eq=False)
class Outline:
    """Closed polygons in the unrolled base."""

    start: Floats
    """(k, 2) mm; the island lies on the left of the way to `end`."""
    end: Floats
    loop: Ints
    """(k,) which closed line each piece belongs to, from 0."""
    area: Floats
    """(loops,) mm2, negative for counters."""

    @property
    def is_counter(self) -> NDArray[np.bool_]:
        """(loops,) does the line run round a closed space in the island?"""
        return self.area < 0

    @property
    def length(self) -> float:
        return float(np.linalg.norm(self.end - self.start, axis=1).sum())

    @property
    def is_closed(self) -> bool:
        """False where the surface has holes, so that the lines have ends."""
        way = self.end - self.start
        open_by = np.hypot(*(np.bincount(self.loop, way[:, k]) for k in range(2)))
        return bool(open_by.max() < 1e-3 * self.length)

    def without_crumbs(self, least_mm: float) -> Outline:
        """Without lines round less than noise: at a level, a rough wall sheds rings of its own.

        The largest line stays. Four times the area over the length is the width of a circle, and
        twice that of a strip.
        """
        way = np.linalg.norm(self.end - self.start, axis=1)
        length = np.bincount(self.loop, way, len(self.area))
        kept = 4 * np.abs(self.area) > least_mm * length
        kept[np.abs(self.area).argmax()] = True
        rows = kept[self.loop]
        loop = (np.cumsum(kept) - 1)[self.loop[rows]]
        return Outline(self.start[rows], self.end[rows], loop, self.area[kept])

    def fill(self) -> float:
        """Area inside the outer lines, as a share of their common convex hull."""
        from scipy.spatial import ConvexHull, QhullError

        outer = ~self.is_counter[self.loop]
        try:
            hull = ConvexHull(self.start[outer])
        except (QhullError, ValueError):
            return 1.0
        return float(self.area[self.area > 0].sum() / max(hull.volume, 1e-300))

    def reach(self, directions: int) -> Floats:
        """(directions,) mm, how far the farthest piece lies from the middle, all round."""
        outer = ~self.is_counter[self.loop]
        middle = (self.start[outer].min(axis=0) + self.start[outer].max(axis=0)) / 2
        start, end = self.start[outer] - middle, self.end[outer] - middle
        turn = np.arange(directions) * 2 * np.pi / directions
        ray = np.stack([np.cos(turn), np.sin(turn)])
        far = np.zeros(directions)
        step = max(1, PRODUCTS_AT_ONCE // len(start))
        for begin in range(0, directions, step):
            some = ray[:, begin : begin + step]
            # Where a ray crosses a piece both ends are on different sides of it.
            one, two = (ends @ np.stack([-some[1], some[0]]) for ends in (start, end))
            crossed = (one <= 0) != (two <= 0)
            with np.errstate(divide="ignore", invalid="ignore"):
                at = (start @ some * two - end @ some * one) / (two - one)
            far[begin : begin + step] = np.where(crossed, at, 0.0).max(axis=0)
        return far


def outline_at(
    corners: Ints, points: Floats, levels: Floats, base: Base | RoundBase | FoldedBase, level: float
) -> Outline | None:
    """Where a surface crosses a level.

    Parameters
    ----------
    corners : (k, 3) vertices of the island's faces
    points : (n, 3) mm, all vertices
    levels : (k, 3) mm, height of each corner, away from the base
    base : what heights are measured from
    level : mm

    Returns
    -------
    Outline, or None if nothing crosses
    """
    above = levels >= level
    count = above.sum(axis=1)
    rows = np.flatnonzero((count == 1) | (count == 2))
    if not len(rows):
        return None
    # The corner that is alone on its side comes first.
    single = np.where(count[rows] == 1, above[rows].T, ~above[rows].T).argmax(axis=0)
    turn = (single[:, None] + np.arange(3)) % 3
    vertex = np.take_along_axis(corners[rows], turn, 1)
    height = np.take_along_axis(levels[rows], turn, 1)
    share = (level - height[:, :1]) / (height[:, 1:] - height[:, :1])
    apex = points[vertex[:, 0]][:, None]
    cross = apex + share[:, :, None] * (points[vertex[:, 1:]] - apex)
    flat = base.unrolled(cross.reshape(-1, 3)).reshape(-1, 2, 2)
    key = np.sort(np.stack([vertex[:, [0, 1]], vertex[:, [0, 2]]], axis=1), axis=2)
    # A wall seen from outside, with its apex up: the island lies on the left of the way from its
    # first side to its second.
    swap = (count[rows] == 1)[:, None]
    start = np.where(swap, flat[:, 0], flat[:, 1])
    end = np.where(swap, flat[:, 1], flat[:, 0])
    number = key[:, :, 0] * np.int64(len(points)) + key[:, :, 1]
    _, name = np.unique(number, return_inverse=True)
    name = name.reshape(-1, 2)
    node = connected_groups(int(name.max()) + 1, name[:, 0], name[:, 1])
    loop = np.unique(node[name[:, 0]], return_inverse=True)[1]
    cross = start[:, 0] * end[:, 1] - start[:, 1] * end[:, 0]
    area = np.bincount(loop, cross / 2).astype(np.float64)
    return Outline(start, end, loop.astype(np.int64), area)
