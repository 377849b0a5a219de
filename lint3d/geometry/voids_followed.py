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

from lint3d.geometry.raster import Grid
from lint3d.geometry.voids_gates import Gates
from lint3d.geometry.voids_sides import NONE, ONE, OTHER

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


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
    front, size = np.unique(steps), gates.grid.size
    seen, asked = front, np.unique(steps[:, 0] * size + steps[:, 1])
    front = front[side[front] == NONE]
    while (chain := _chain(seen, side[seen], steps)) is None:
        if len(front) == 0:
            return False
        if len(seen) > most or gates.is_tired:
            return None
        pair = steps_about(gates.grid, front)
        # Each step is looked at once, whichever of its ends is gone on from first.
        key = np.setdiff1d(pair[:, 0] * size + pair[:, 1], asked)
        asked = np.union1d(asked, key)
        pair, place = gates.open(np.column_stack(np.divmod(key, size)), radius)
        steps, places = np.concatenate([steps, pair]), np.concatenate([places, place])
        front = np.setdiff1d(pair, seen)
        seen = np.union1d(seen, front)
        front = front[side[front] == NONE]
    return chain, places


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
    count = len(points)
    pair = np.searchsorted(points, steps)
    ends = [np.flatnonzero(side == name) for name in (ONE, OTHER)]
    # Two nodes more stand for the sides.
    more = [np.column_stack([np.full(len(end), count + i), end]) for i, end in enumerate(ends)]
    every = np.concatenate([pair, *more])
    shape = (count + 2, count + 2)
    graph = csr_array((np.ones(len(every)), tuple(every.T)), shape=shape)
    before = breadth_first_order(graph, count, directed=False)[1]
    line = [count + 1]
    while before[line[-1]] >= 0:
        line.append(int(before[line[-1]]))
    if line[-1] != count:
        return None
    number = {(int(a), int(b)): i for i, (a, b) in enumerate(np.sort(pair, axis=1).tolist())}
    inner = line[1:-1]
    # Back from the other side it came.
    inner = inner[::-1]
    rows = [number[min(a, b), max(a, b)] for a, b in pairwise(inner)]
    return np.array(rows, np.int64), (int(points[inner[0]]), int(points[inner[-1]]))
