"""How does a long thin neck run, wherever it bends?

The space about places on a neck's walls is cut into cells, finer and finer beside the walls: as
many as the walls are long, where a fine grid of their box would grow with its volume. A ball about
a cell's middle that touches no facet hands a smaller ball on to the cell beside it where the two
overlap; no wall is crossed so. Lengths in mm. Guarded by tests/geometry/test_voids_cells.py.

References
----------
Cells halved until they tell: H. Samet, "The quadtree and related hierarchical data structures",
ACM Computing Surveys 16 (1984) 187.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_array
from scipy.sparse.csgraph import breadth_first_order, dijkstra, minimum_spanning_tree
from scipy.spatial import cKDTree

from lint3d.geometry.components import connected_groups, line_back
from lint3d.geometry.throats_clearance import Clearance

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

#: Cells at most, and how often they are halved at most.
_MOST_CELLS, _MOST_LEVELS = 1_200_000, 9
#: How far the space reaches about the places, cells of the first size.
_ABOUT = 2
#: How far from the places cells are halved, cells of the first size.
_FINE_ABOUT = 0.8
#: A cell is halved if the clearance in its middle is less than this times its side.
_HALVED_BELOW = 1.5
#: Balls overlap surely: on two sides of a wall they may touch, and rounding adds a little.
_OVERLAP = 1.0 + 1e-4
#: Of ways that are nearly as wide as the widest the shortest is taken.
_AS_WIDE = 0.95
_SIDES = np.array([[1, 0, 0], [-1, 0, 0], [0, 1, 0], [0, -1, 0], [0, 0, 1], [0, 0, -1]])
_EIGHT = np.stack(np.meshgrid([0, 1], [0, 1], [0, 1], indexing="ij"), axis=-1).reshape(-1, 3)
#: Bits of a key that each of the three numbers of a cell has.
_BITS = 21


def way_through_cells(
    clearance: Clearance,
    places: Floats,
    ends: tuple[Floats, Floats],
    size: float,
    across: float = 3.0,
) -> tuple[Floats, float] | None:
    """The widest way between two points through the space about some places.

    Parameters
    ----------
    clearance : of every facet
    places : (n, 3) mm, on the walls, not much farther apart than `size`
    ends : (3,) mm each, in the free space
    size : mm, side of the first cells
    across : cells are fine enough if a ball that passes is this many times as wide as they are

    Returns
    -------
    (k, 3) mm, no straight piece of which crosses the surface, and how far it may be off the middle,
    mm; None if no way was found
    """
    return next(ways_through_cells(clearance, places, ends, size, (across,)), None)


def ways_through_cells(
    clearance: Clearance,
    places: Floats,
    ends: tuple[Floats, Floats],
    size: float,
    across: Sequence[float],
) -> Iterator[tuple[Floats, float]]:
    """The same, as asked for with finer and finer cells; ends where there are no finer ones.

    Parameters
    ----------
    across : rising; how many cells the ball is wide that passes the first way, the second…
    """
    leads = [_line_to_nearest(end, places, size / 3) for end in ends]
    cells = _Cells(clearance, ends[0], size, np.vstack([places, *leads]))
    wanted = list(across)
    found: tuple[Floats, float] | None = None
    for _ in range(_MOST_LEVELS):
        way = _widest(clearance, cells, ends)
        least = 0.0
        if way is not None:
            found, least = (way[0], cells.finest), way[1]
            while wanted and 2 * least >= wanted[0] * cells.finest:
                yield found
                del wanted[0]
        if not wanted:
            return
        if not cells.halve(clearance, least):
            break
    if found is not None:
        yield found


def _line_to_nearest(end: Floats, places: Floats, apart: float) -> Floats:
    """(k, 3) mm, points from an end to the place nearest to it: its mouth lies between."""
    nearest = places[np.argmin(np.linalg.norm(places - end, axis=1))]
    count = int(np.ceil(np.linalg.norm(nearest - end) / apart)) + 1
    share = np.linspace(0.0, 1.0, count)[:, None]
    line: Floats = end + share * (nearest - end)
    return line


class _Cells:
    """Cubes of the sizes size / 2ⁿ that do not overlap, with the clearance in their middles."""

    def __init__(self, clearance: Clearance, origin: Floats, size: float, about: Floats) -> None:
        self.size, self.level = size, 0
        near = np.unique(np.floor((about - origin) / size).astype(np.int64), axis=0)
        reach = np.arange(-_ABOUT, _ABOUT + 1)
        for axis in np.eye(3, dtype=np.int64):
            near = np.unique((near[:, None] + reach[:, None] * axis).reshape(-1, 3), axis=0)
        # Numbers of cells are no less than zero at any level.
        least = near.min(axis=0) - 1
        self.origin = origin + least * size
        self.number = near - least
        self.of_level = np.zeros(len(near), np.int64)
        self.radius = clearance.at(self.middle)
        self.steps = self._joined(self._steps(0))
        """(k, 2) rows of cells that share a side, or a part of it, and whose balls overlap"""
        self._about = cKDTree(about)

    @property
    def finest(self) -> float:
        """mm, side of the smallest cells"""
        return self.size / 2.0**self.level

    @property
    def middle(self) -> Floats:
        """(n, 3) mm"""
        return self._middle(np.arange(len(self.number)))

    def halve(self, clearance: Clearance, least: float) -> bool:
        """Halve the cells beside walls in which a ball wider than the known way may have room."""
        # Those of the last level follow all others.
        first = int(np.searchsorted(self.of_level, self.level))
        radius = self.radius[first:]
        fine = radius < _HALVED_BELOW * self.finest
        fine &= radius + np.sqrt(0.75) * self.finest > least
        reach = _FINE_ABOUT * self.size + np.sqrt(0.75) * self.finest
        rows = first + np.flatnonzero(fine)
        near = self._about.query(self._middle(rows), distance_upper_bound=reach)[0]
        rows = rows[near < reach]
        if len(self.number) + 7 * len(rows) > _MOST_CELLS or len(rows) == 0:
            return False
        parts = (2 * self.number[rows][:, None] + _EIGHT).reshape(-1, 3)
        parts = parts[np.argsort(_key(parts), kind="stable")]
        kept = np.ones(len(self.number), bool)
        kept[rows] = False
        self.level += 1
        self.number = np.concatenate([self.number[kept], parts])
        self.of_level = np.concatenate(
            [self.of_level[kept], np.full(len(parts), self.level, np.int64)]
        )
        first = int(kept.sum())
        middle = self._middle(np.arange(first, len(self.number)))
        self.radius = np.concatenate([self.radius[kept], clearance.at(middle)])
        row = np.cumsum(kept) - 1
        old = row[self.steps[kept[self.steps].all(axis=1)]]
        self.steps = np.concatenate([old, self._joined(self._steps(first))])
        return True

    def _middle(self, rows: Ints) -> Floats:
        side = np.exp2(-self.of_level[rows].astype(np.float64)) * self.size
        middle: Floats = self.origin + (self.number[rows] + 0.5) * side[:, None]
        return middle

    def _joined(self, pair: Ints) -> Ints:
        """Those pairs of cells whose balls overlap."""
        gap = np.linalg.norm(self._middle(pair[:, 0]) - self._middle(pair[:, 1]), axis=1)
        return pair[self.radius[pair].sum(axis=1) > _OVERLAP * gap]

    def _steps(self, first: int) -> Ints:
        """(k, 2) rows of cells that share a side, of which at least one is of the last level.

        Parameters
        ----------
        first : row of the first cell of that level; those of each level stand by rising key
        """
        rows = np.arange(first, len(self.number))
        number = self.number[first:]
        ends = np.searchsorted(self.of_level, np.arange(self.level + 2))
        keys = [_key(self.number[a:b]) for a, b in pairwise(ends.tolist())]
        found = []
        for side in _SIDES:
            left, beside = rows, number + side
            at = _among(keys[-1], _key(beside))
            if side.sum() > 0:
                # Cells of one size find each other from both sides.
                found.append(np.column_stack([left[at >= 0], first + at[at >= 0]]))
            for coarser in range(self.level - 1, -1, -1):
                left, beside = left[at < 0], beside[at < 0]
                at = _among(keys[coarser], _key(beside >> (self.level - coarser)))
                is_there = at >= 0
                found.append(np.column_stack([left[is_there], ends[coarser] + at[is_there]]))
        pair: Ints = np.concatenate(found)
        return pair


def _widest(
    clearance: Clearance, cells: _Cells, ends: tuple[Floats, Floats]
) -> tuple[Floats, float] | None:
    """The widest way through the cells as they are, and the radius of a ball that passes."""
    point = np.vstack([*ends, cells.middle])
    radius = np.concatenate([clearance.at(np.array(ends)), cells.radius])
    beside = np.vstack([_beside(point, radius, end) for end in (0, 1)])
    gap = np.linalg.norm(point[beside[:, 0]] - point[beside[:, 1]], axis=1)
    beside = beside[radius[beside].sum(axis=1) > _OVERLAP * gap]
    pair = np.vstack([cells.steps + 2, beside])
    group = connected_groups(len(point), pair[:, 0], pair[:, 1])
    if group[0] != group[1]:
        return None
    # Only what hangs together with both ends counts.
    row = np.cumsum(group == group[0]) - 1
    pair = row[pair[group[pair[:, 0]] == group[0]]]
    point, radius = point[group == group[0]], radius[group == group[0]]
    gap = np.linalg.norm(point[pair[:, 0]] - point[pair[:, 1]], axis=1)
    width = _passing(radius[pair[:, 0]], radius[pair[:, 1]], gap)
    count = len(point)
    # Above zero, for zero means that there is no step.
    weight = width.max() - width + 1.0
    tree = minimum_spanning_tree(csr_array((weight, tuple(pair.T)), shape=(count, count)))
    line = line_back(breadth_first_order(tree, 0, directed=False)[1], 1)
    both = (tree + tree.T).tocsr()
    heaviest = max(both[i, j] for i, j in zip(line[:-1], line[1:], strict=True))
    least = float(width.max() + 1.0 - heaviest)
    wide = width >= _AS_WIDE * least
    graph = csr_array((np.maximum(gap[wide], 1e-9), tuple(pair[wide].T)), shape=(count, count))
    before = dijkstra(graph, directed=False, indices=0, return_predecessors=True)[1]
    return point[line_back(before, 1)[::-1]], least


def _beside(point: Floats, radius: Floats, end: int) -> Ints:
    """(k, 2) steps from an end to the cells whose balls overlap its own."""
    gap = np.linalg.norm(point - point[end], axis=1)
    others = np.flatnonzero(gap < radius + radius[end])
    others = others[others > end]
    return np.column_stack([np.full(len(others), end), others])


def _passing(one: Floats, two: Floats, gap: Floats) -> Floats:
    """(k,) radius of the circle in which two balls that overlap meet, or of the smaller one."""
    safe = np.maximum(gap, 1e-300)
    foot = (safe**2 + one**2 - two**2) / (2 * safe)
    inner = np.sqrt(np.maximum(one**2 - foot**2, 0.0))
    return np.where((foot >= 0) & (foot <= gap), inner, np.minimum(one, two))


def _among(keys: Ints, wanted: Ints) -> Ints:
    """(k,) where each wanted key stands among rising ones; −1 if it does not."""
    if len(keys) == 0:
        return np.full(len(wanted), -1, np.int64)
    at = np.minimum(np.searchsorted(keys, wanted), len(keys) - 1)
    return np.where(keys[at] == wanted, at, -1)


def _key(number: Ints) -> Ints:
    key: Ints = (number[:, 0] << (2 * _BITS)) | (number[:, 1] << _BITS) | number[:, 2]
    return key
