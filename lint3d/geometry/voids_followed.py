"""How does a ball get on from step to step of a grid, from one side to the other?

It is followed over whatever steps may hold its middle (`voids_gates`), ring by ring, until it is on
both sides. Lengths in mm. Guarded by tests/geometry/test_voids_border.py.
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_array
from scipy.sparse.csgraph import breadth_first_order

from lint3d.geometry.components import line_back
from lint3d.geometry.raster import Grid
from lint3d.geometry.voids_gates import Gates
from lint3d.geometry.voids_sides import NONE, ONE, OTHER

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

#: A front of fewer points is gone ahead of, by so many steps at most.
_FEW, _MOST_AHEAD = 100, 6


def followed(
    gates: Gates,
    across: tuple[Ints, Floats],
    side: NDArray[np.int8],
    radius: float,
    most: int,
) -> tuple[tuple[Ints, tuple[int, int]], Floats] | bool | None:
    """Follow a ball from steps until it gets to both sides.

    Parameters
    ----------
    gates : whose steps may be taken
    across : (k, 2) steps whose squares may hold its middle, and (k, 3) mm, where they do
    side : (n,) which points are on a side, where the ball is followed no farther
    most : points that are gone on from

    Returns
    -------
    rows of steps in a row from one side to the other and the points they begin and end at, with
    the places of all steps; False if it does not get there, None if that is not known
    """
    steps, places = across
    front = np.unique(steps)
    seen, known = front, _Known(gates, steps, side, radius)
    front = front[side[front] == NONE]
    while (chain := _chain(seen, side[seen], steps)) is None:
        if len(front) == 0:
            return False
        if len(seen) > most or gates.is_tired:
            return None
        pair, place = known.open_about(front)
        steps, places = np.concatenate([steps, pair]), np.concatenate([places, place])
        front = np.setdiff1d(pair, seen)
        seen = np.union1d(seen, front)
        front = front[side[front] == NONE]
    return chain, places


class _Known:
    """Which steps a ball may take, asked of those beside its front, and a little ahead of it.

    A question about a few steps costs as much as one about many: where the front is short, as in a
    gap all round that it runs along, it is far the most of what following takes.
    """

    def __init__(self, gates: Gates, steps: Ints, side: NDArray[np.int8], radius: float) -> None:
        self._gates, self._side, self._radius = gates, side, radius
        self._asked = np.unique(self._keys(steps))
        self._steps = np.zeros((0, 2), np.int64)
        self._places = np.zeros((0, 3))
        """those that may be taken and were not"""

    def open_about(self, front: Ints) -> tuple[Ints, Floats]:
        """Steps (k, 2) beside some points that may be taken, and places (k, 3), each told once."""
        if len(self._new(front)):
            points = ahead = front
            for _ in range(_MOST_AHEAD):
                if len(points) >= _FEW:
                    break
                ahead = np.setdiff1d(steps_about(self._gates.grid, ahead), points)
                ahead = ahead[self._side[ahead] == NONE]
                points = np.union1d(points, ahead)
            key = self._new(points)
            self._asked = np.union1d(self._asked, key)
            pair = np.column_stack(np.divmod(key, self._gates.grid.size))
            pair, place = self._gates.open(pair, self._radius)
            steps, places = np.concatenate([self._steps, pair]), np.vstack([self._places, place])
            order = np.argsort(self._keys(steps))
            self._steps, self._places = steps[order], places[order]
        beside = np.isin(self._steps, front).any(axis=1)
        found = self._steps[beside], self._places[beside]
        self._steps, self._places = self._steps[~beside], self._places[~beside]
        return found

    def _new(self, points: Ints) -> Ints:
        """Keys of the steps about some points that were not asked about."""
        found: Ints = np.setdiff1d(self._keys(steps_about(self._gates.grid, points)), self._asked)
        return found

    def _keys(self, steps: Ints) -> Ints:
        keys: Ints = steps[:, 0] * self._gates.grid.size + steps[:, 1]
        return keys


def steps_about(grid: Grid, points: Ints) -> Ints:
    """(k, 2) the steps from some points to those beside them."""
    offsets = np.array([s for one in grid.strides for s in (one, -one)])
    pair = np.column_stack([np.repeat(points, 6), (points[:, None] + offsets).reshape(-1)])
    inside = (pair[:, 1] >= 0) & (pair[:, 1] < grid.size)
    return np.sort(pair[inside], axis=1)


def _chain(
    points: Ints, side: NDArray[np.int8], steps: Ints
) -> tuple[Ints, tuple[int, int]] | None:
    """Rows of steps that follow each other from a point of one side to one of the other.

    Parameters
    ----------
    points : (n,) rising, and the side that each is on
    steps : (k, 2) pairs of them

    Returns
    -------
    and the points that they begin and end at; None if they do not lead from side to side
    """
    if not ((side == ONE).any() and (side == OTHER).any()):
        return None
    count = len(points)
    pair = np.searchsorted(points, steps)
    ends = [np.flatnonzero(side == name) for name in (ONE, OTHER)]
    # Two nodes more stand for the sides.
    more = [np.column_stack([np.full(len(end), count + i), end]) for i, end in enumerate(ends)]
    every = np.concatenate([pair, *more])
    shape = (count + 2, count + 2)
    graph = csr_array((np.ones(len(every)), tuple(every.T)), shape=shape)
    before = breadth_first_order(graph, count, directed=False)[1]
    line = line_back(before, count + 1)
    if line[-1] != count:
        return None
    number = {(int(a), int(b)): i for i, (a, b) in enumerate(np.sort(pair, axis=1).tolist())}
    # Back from the other side it came.
    inner = line[-2:0:-1]
    rows = [number[min(a, b), max(a, b)] for a, b in pairwise(inner)]
    return np.array(rows, np.int64), (int(points[inner[0]]), int(points[inner[-1]]))
