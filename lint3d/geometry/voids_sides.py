"""Which points of the grid lie on one side of a gap, and which on the other?

Those of one hollow with what lies beside them, in the material too, are one side; all others are
the other one. Between the two lies a closed border of steps from point to point. Points have flat
numbers in the part of the grid about the hollow. Guarded by tests/geometry/test_voids_border.py.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from lint3d.geometry.raster import Grid
from lint3d.geometry.voids_space import Space

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

#: Layers of points beside a hollow that count as its own, and how far the grid is looked at.
_LAYERS, _MARGIN = 4, 8
#: A point is deep if the grid shows room for the ball and so many voxels more about it, or about a
#: point no more steps away than this.
_ROOM, _NEAR_DEEP = 1.5, 2
#: What a point is on.
NONE, ONE, OTHER, THIRD = 0, 1, 2, 3


class Sides:
    """The points of part of a grid, shared out between two sides.

    Parameters
    ----------
    space : free space, cut into chambers; its surface closes
    sides : chambers of both sides; the part of the grid is that around the first
    others : chambers that a ball which gets to them is in neither of
    about : mm, radius of the balls that are in question; by default such as the grid hardly shows
    """

    def __init__(
        self, space: Space, sides: tuple[Ints, Ints], others: Ints, about: float = 0.0
    ) -> None:
        self._whole = space.grid
        side = np.zeros(len(space.chambers.peak), np.int8)
        for name, chambers in ((THIRD, others), (OTHER, sides[1]), (ONE, sides[0])):
            side[chambers] = name
        of_label = np.append(side[space.chambers.of_basin], np.int8(NONE))
        box = _box_of(space, of_label)
        self._first = np.array([one.start for one in box])
        label = of_label[space.basins.label[box]]
        self.grid = Grid(space.grid.point(self._first), space.grid.pitch, label.shape)
        self.free = ~space.raster.solid[box]
        """is a point free, or solid only because it lies beside a thin wall? As the grid"""
        index = np.stack(np.unravel_index(space.raster.marked, space.grid.shape), axis=-1)
        index -= self._first
        inside = np.all((index >= 0) & (index < label.shape), axis=1)
        self.free[tuple(index[inside].T)] = True
        peak = space.chambers.peak
        least = min(
            about / space.grid.pitch + _ROOM, *(0.9 * float(peak[one].max()) for one in sides)
        )
        self.level, self.label = space.distance[box].reshape(-1), label.reshape(-1)
        """(n,) voxels to the material, and the side that a point's chamber is on"""
        deep = space.distance[box] > least
        ends = ndimage.binary_dilation(deep, iterations=_NEAR_DEEP)
        for axis in range(3):
            # Who leaves the grid may get anywhere.
            for end in (0, -1):
                ends[(slice(None),) * axis + (end,)] = True
        side = _shared_out(label, deep)
        steps = _between(self.grid, side == ONE)
        side[deep & (label == THIRD)] = THIRD
        self.side = side.reshape(-1)
        """(n,) what each point is on"""
        self.steps = steps[(self.side[steps] != THIRD).all(axis=1)]
        """(k, 2) flat numbers of neighbours, one on the first side and one on the other"""
        self.where_known = np.where(ends.reshape(-1), self.side, np.int8(NONE))
        """(n,) the side of points with room by the grid: from there on no ball is followed"""

    def number_in_whole(self, points: Ints) -> Ints:
        """Flat numbers in the whole grid of points with these ones here."""
        index = np.stack(np.unravel_index(points, self.grid.shape), axis=-1) + self._first
        found: Ints = np.ravel_multi_index(tuple(index.T), self._whole.shape)
        return found


def _shared_out(label: NDArray[np.int8], deep: Bools) -> NDArray[np.int8]:
    """Which points are on the first side, and on the other one?

    What lies beside a deep point is on its side; from there both sides grow towards each
    other, so that they meet between the mouths of a gap.
    """
    side = np.full(label.shape, NONE, np.int8)
    for iterations in (_NEAR_DEEP, *[1] * _LAYERS):
        for name in (ONE, OTHER):
            grown = side == name
            if iterations == _NEAR_DEEP:
                grown |= deep & (label == name)
            grown = ndimage.binary_dilation(grown, iterations=iterations)
            side[grown & (side == NONE)] = name
    side[(side == NONE) & (label == ONE)] = ONE
    side[(side != ONE) | (deep & (label != ONE))] = OTHER
    return side


def _between(grid: Grid, inner: Bools) -> Ints:
    """(k, 2) flat numbers of the steps that lead from some points of a grid to others."""
    found = []
    for axis in range(3):
        here = np.nonzero(np.diff(inner.view(np.int8), axis=axis))
        one = np.ravel_multi_index(here, grid.shape)
        found.append(np.column_stack([one, one + grid.strides[axis]]))
    return np.concatenate(found).astype(np.int64)


def _box_of(space: Space, of_label: NDArray[np.int8]) -> tuple[slice, slice, slice]:
    """Part of the grid about the points of the first side."""
    mine = of_label[space.basins.label] == ONE
    ends = []
    for axis in range(3):
        rows = np.flatnonzero(mine.any(axis=tuple(one for one in range(3) if one != axis)))
        low, high = (int(rows[0]), int(rows[-1])) if len(rows) else (0, 0)
        ends.append(slice(max(low - _MARGIN, 0), high + _MARGIN + 1))
    return ends[0], ends[1], ends[2]
