"""How large a ball can pass from one chamber to another across the steps where they meet?

The free points of the grid are cut into chambers; a ball on its way from one to another has its
centre, at some moment, on a square between two points of which each lies in one of them. The
largest ball about a place on these squares bounds what passes, wherever the squares lie: a gap all
round a lid, which no plane closes and no box holds, is bounded as well as a round neck. Squares are
quartered where they may hold a larger ball than the largest that was found. Where chambers meet at
the mouth of a gap and not inside it, points beside are looked at as well: if a ball gets from them
to one of the chambers only, they belong to it. A ball so small that its centre may pass over points
taken for material is not bounded so. Lengths in mm. Guarded by
tests/geometry/test_voids_cut.py.

References
----------
Branch and bound with the distance, which changes no faster than the place: S. A. Piyavskii, "An
algorithm for finding the absolute extremum of a function", USSR Computational Mathematics and
Mathematical Physics 12 (1972) 57.
"""

from __future__ import annotations

from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from lint3d.geometry.components import connected_groups
from lint3d.geometry.raster import Grid
from lint3d.geometry.throats_clearance import Clearance
from lint3d.geometry.voids_space import Space

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

#: Radius, voxels, above which every grid point nearest to a place of the way is free: half a
#: diagonal of a voxel to that point, and half a step if it was marked for a thin wall beside it.
HIDDEN_RADIUS = 0.87 + 0.5
_ROOT_HALF = np.sqrt(0.5)
#: Squares looked at in one round; where more stay in the running the bound is left wider.
_MOST_SQUARES, _SQUARES_EACH = 40_000, 60
#: How closely the bound is looked for, share of the radius and mm.
_CLOSE_SHARE, _CLOSE_MM = 0.01, 0.002
#: How far beside the steps points are looked at, steps, and how many of them at most.
_BESIDE, _MOST_POINTS = 6, 30_000


def widest_across(clearance: Clearance, space: Space, steps: Ints, passes: float = 0.0) -> float:
    """Bound the balls that pass from one chamber to another by an opening between them.

    Parameters
    ----------
    clearance : of every facet
    space : free space, cut into chambers
    steps : (k, 2) flat numbers of grid points one step apart along an axis, all of the opening
    passes : mm, diameter of a ball that is known to pass

    Returns
    -------
    mm, diameter that no ball exceeds which crosses these steps from deep in one chamber to deep in
    the other, and no less than what the grid may hide
    """
    least = max(passes / 2, HIDDEN_RADIUS * space.grid.pitch)
    least += max(_CLOSE_SHARE * least, _CLOSE_MM)
    squares = Squares.of_steps(space.grid, steps)
    may_pass = squares.may_hold(clearance, least)
    if not may_pass.any() or _falls_apart(clearance, space, steps[may_pass], least):
        return 2 * least
    return 2 * squares.largest(clearance, least)


class HasClearance(Protocol):
    """What tells how far the nearest facet is from points."""

    def most_near(self, points: Floats, reach: float, /) -> tuple[Floats, Floats]: ...


class Squares:
    """Squares of one size across the axes."""

    def __init__(self, middle: Floats, across: Ints, side: float) -> None:
        self.middle, self.across, self.side = middle, across, side

    @classmethod
    def of_steps(cls, grid: Grid, steps: Ints) -> Squares:
        """Those halfway between the points of steps, (k, 2) flat numbers."""
        one, two = (
            grid.point(np.stack(np.unravel_index(steps[:, end], grid.shape), axis=-1))
            for end in (0, 1)
        )
        across = np.argmax(np.abs(two - one), axis=1)
        return cls((one + two) / 2, across, grid.pitch)

    def __len__(self) -> int:
        return len(self.middle)

    def quarters(self, rows: Bools) -> Squares:
        """The four quarters of some of them, one after the other."""
        side = self.side / 2
        corner = np.array([[-1, -1], [-1, 1], [1, -1], [1, 1]]) * (side / 2)
        offset = np.zeros((3, 4, 3))
        for axis in range(3):
            offset[axis][:, [one for one in range(3) if one != axis]] = corner
        across = self.across[rows]
        middle = (self.middle[rows][:, None] + offset[across]).reshape(-1, 3)
        return Squares(middle, np.repeat(across, 4), side)

    def may_hold(self, clearance: Clearance, radius: float) -> Bools:
        """Which ones may hold the middle of a ball larger than that? Not so is sure."""
        may = np.zeros(len(self), bool)
        owner, squares = np.arange(len(self)), self
        looked_at = 0
        while len(squares):
            value, most = clearance.most_near(squares.middle, _ROOT_HALF * squares.side)
            looked_at += len(squares)
            may[owner[value > radius]] = True
            alive = (most > radius) & ~may[owner]
            if looked_at > _MOST_SQUARES + _SQUARES_EACH * len(self):
                may[owner[alive]] = True
                break
            owner, squares = np.repeat(owner[alive], 4), squares.quarters(alive)
        return may

    def largest(self, clearance: HasClearance, least: float) -> float:
        """Radius of the largest ball, or a little more, and no less than `least`."""
        squares = self
        best = least
        while len(squares):
            value, most = clearance.most_near(squares.middle, _ROOT_HALF * squares.side)
            best = max(best, float(value.max()))
            alive = most > best + max(_CLOSE_SHARE * best, _CLOSE_MM)
            if 4 * np.count_nonzero(alive) > _MOST_SQUARES:
                return float(most.max())
            squares = squares.quarters(alive)
        return best + max(_CLOSE_SHARE * best, _CLOSE_MM)


def _falls_apart(clearance: Clearance, space: Space, steps: Ints, radius: float) -> bool:
    """Do points from which a larger ball gets deep into both chambers not exist beside steps?

    From the ends of the steps a ball goes from point to point wherever a square may hold it. What
    it gets to within a few steps falls into groups; if none of them reaches into both chambers,
    none leads from one to the other.
    """
    label = space.basins.label.reshape(-1)
    of_basin = space.chambers.of_basin
    offsets = np.array(space.grid.strides[::-1])
    offsets = np.concatenate([-offsets, offsets])
    chambers = np.unique(of_basin[label[steps]])
    links, front = [steps], np.unique(steps)
    seen = front
    level = space.distance.reshape(-1)
    front = front[np.isfinite(level[front])]
    for _ in range(_BESIDE):
        pair = np.column_stack([np.repeat(front, 6), (front[:, None] + offsets).reshape(-1)])
        pair = np.unique(np.sort(pair[label[pair[:, 1]] >= 0], axis=1), axis=0)
        pair = pair[Squares.of_steps(space.grid, pair).may_hold(clearance, radius)]
        links.append(pair)
        front = np.setdiff1d(pair, seen)
        seen = np.union1d(seen, front)
        front = front[np.isfinite(level[front])]
        if len(seen) > _MOST_POINTS:
            return False
    chamber = of_basin[label[seen]]
    is_deep = np.isin(seen, front) | np.isin(seen, space.chambers.top[chambers])
    is_deep |= ~np.isfinite(level[seen])
    pair = np.searchsorted(seen, np.concatenate(links))
    group = connected_groups(len(seen), pair[:, 0], pair[:, 1])
    if not np.isin(chamber, chambers).all():
        # Into a third chamber, and by that one perhaps into the other.
        return False
    one, other = (np.unique(group[is_deep & (chamber == side)]) for side in chambers)
    return len(np.intersect1d(one, other)) == 0
