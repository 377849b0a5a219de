"""Into which chambers does a free space fall, and where do they meet?

Every free grid point climbs to its highest neighbour in the distance field; points that end on the
same top form a *basin*. Two basins meet at a *saddle*, the widest step between them. Basins that
differ by less than the grid can tell are one *chamber*: where a duct keeps its width the grid's own
noise would otherwise cut it in pieces. The outside is chamber 0. Widths in this module are
distances to the material in voxels, taken at grid points; exact ones are the business of
`throats.py`. Guarded by tests/geometry/test_chambers.py.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage
from scipy.sparse import coo_array, csr_array
from scipy.sparse.csgraph import breadth_first_order, connected_components, minimum_spanning_tree

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

#: Basins whose lower top is less than this times the saddle between them are one chamber.
MERGE_RATIO = 1.2
#: So are basins whose lower top stands less than this above the saddle, voxels.
MERGE_STEP = 1.0
#: Grid points treated at a time.
_AT_ONCE = 1 << 22


@dataclass(frozen=True, eq=False)
class Basins:
    """The free space cut where it is narrowest. Basin 0 is the outside."""

    label: NDArray[np.int32]
    """grid.shape: basin of each free point, −1 in the material"""
    peak: Floats
    """(n,) voxels, largest distance to the material in each basin; infinite outside"""
    top: Ints
    """(n,) flat number of the point that has it; −1 for the outside"""
    volume: Ints
    """(n,) how many points each basin has; 0 for the outside"""
    pair: Ints
    """(m, 2) basins that meet, the lower number first"""
    saddle: Floats
    """(m,) voxels, distance to the material at the widest step between them"""
    step: Ints
    """(m, 2) flat numbers of the two points of that step, in the order of `pair`"""


@dataclass(frozen=True, eq=False)
class Chambers:
    """Basins put together. Chamber 0 is the outside."""

    of_basin: Ints
    """(n,) chamber of each basin"""
    peak: Floats
    """(c,) voxels; infinite outside"""
    top: Ints
    """(c,) flat number of the widest point; −1 for the outside"""
    volume: Ints
    """(c,) grid points"""
    parent: Ints
    """(n,) the basin that follows on the widest way out; −1 at the outside and where none is"""
    gate: Ints
    """(n, 2) flat numbers of the step from a basin to its parent; −1 where there is none"""
    level: Floats
    """(n,) voxels, distance to the material at that step"""
    part: Ints
    """(c,) connected piece of free space on the grid that each chamber is in; 0 = the outside's"""

    @property
    def is_open(self) -> Bools:
        """(c,) does a way lead to the outside on the grid?"""
        open_ones: Bools = self.part == 0
        return open_ones


def outer_core(distance: NDArray[np.float32], reach: float) -> Bools:
    """Which points does a ball of this radius reach from the outside?

    Parameters
    ----------
    distance : voxels, to the material; the outermost layer must be free and counts as outside
    reach : voxels

    Returns
    -------
    grid shape, bool : the outermost layer and everything joined to it through points farther than
        `reach` from the material
    """
    wide = distance > reach
    for axis in range(3):
        for end in (0, -1):
            wide[(slice(None),) * axis + (end,)] = True
    label, _ = ndimage.label(wide)
    core: Bools = label == label[0, 0, 0]
    return core


def find_basins(distance: NDArray[np.float32], solid: Bools, core: Bools) -> Basins:
    """Cut the free space into basins.

    Parameters
    ----------
    distance : voxels, from each free point to the nearest material point
    solid : which points are material
    core : which free points are surely outside (`outer_core`)
    """
    level = distance.reshape(-1)
    offsets = _offsets(solid.shape)
    active = np.flatnonzero(~(solid | core).reshape(-1))
    number = np.full(solid.shape, -1, np.int32)
    flat = number.reshape(-1)
    flat[core.reshape(-1)] = 0
    flat[active] = np.arange(1, len(active) + 1, dtype=np.int32)
    root = _climb(level, flat, active, core.reshape(-1), offsets)
    tops = np.flatnonzero(root == np.arange(len(root)))
    rank = np.zeros(len(root), np.int32)
    rank[tops] = np.arange(len(tops), dtype=np.int32)
    basin = rank[root]
    flat[active] = basin[1:]
    top = np.concatenate([[-1], active[tops[1:] - 1]])
    peak = np.concatenate([[np.inf], level[top[1:]].astype(np.float64)])
    pair, saddle, step = _saddles(level, flat, active, offsets, len(tops))
    volume = np.bincount(basin[1:], minlength=len(tops))
    volume[0] = 0
    return Basins(number, peak, top, volume, pair, saddle, step)


def join_basins(basins: Basins) -> Chambers:
    """Put basins together that the grid cannot tell apart, and find the widest ways out.

    Saddles are taken from the widest down, so what is left between chambers is a maximum spanning
    tree: the way along it is the widest there is (the narrowest place of every other way is no
    wider).
    """
    count = len(basins.peak)
    tree = _spanning_tree(basins)
    chamber = _merge(basins, tree)
    parent, edge = _rooted(basins, tree)
    has_parent = parent >= 0
    gate = np.full((count, 2), -1, np.int64)
    level = np.full(count, np.nan)
    rows = np.flatnonzero(has_parent)
    first = basins.pair[edge[rows], 0] == rows
    gate[rows] = np.where(first[:, None], basins.step[edge[rows]], basins.step[edge[rows]][:, ::-1])
    level[rows] = basins.saddle[edge[rows]]
    chambers = int(chamber.max()) + 1
    order = np.lexsort((basins.peak, chamber))
    last = np.searchsorted(chamber[order], np.arange(chambers), side="right") - 1
    highest = order[last]
    joined = connected_components(
        csr_array((np.ones(len(tree)), (basins.pair[tree, 0], basins.pair[tree, 1])),
                  shape=(count, count)), directed=False
    )[1]
    joined = np.unique(joined, return_index=True, return_inverse=True)[2]
    return Chambers(
        chamber, basins.peak[highest], np.where(highest == 0, -1, basins.top[highest]),
        np.bincount(chamber, basins.volume, chambers).astype(np.int64), parent, gate, level,
        joined[highest].astype(np.int64),
    )


def climb_from(
    distance: NDArray[np.float32], solid: Bools, core: Bools, start: int
) -> list[int]:
    """Flat numbers of the points from `start` up to the top of its basin.

    On the outside's slopes the way ends with the first point that is surely outside.
    """
    level, is_solid = distance.reshape(-1), solid.reshape(-1)
    is_core = core.reshape(-1)
    offsets = _offsets(solid.shape)
    way = [int(start)]
    while not is_core[way[-1]]:
        here = way[-1]
        near = here + offsets
        near = near[~is_solid[near]]
        height = np.where(is_core[near], np.inf, level[near])
        best = max(
            zip(height.tolist(), near.tolist(), strict=True), default=(-1.0, -1)
        )
        if best <= (float(level[here]), here):
            break
        way.append(best[1])
    return way


def contacts(
    basins: Basins, chambers: Chambers, distance: NDArray[np.float32], core: Bools
) -> tuple[Ints, Ints, Floats]:
    """Every step from one chamber into another.

    Returns
    -------
    (k, 2) chambers, the lower number second; (k, 2) flat numbers of the points, in that order;
    (k,) distance to the material at the step, voxels
    """
    label = basins.label.reshape(-1)
    level = distance.reshape(-1)
    offsets = _offsets(basins.label.shape)
    active = np.flatnonzero((label >= 0) & ~core.reshape(-1))
    pairs, points, values = [], [], []
    for some in _slices(len(active)):
        here = active[some]
        own = chambers.of_basin[label[here]]
        for offset in offsets:
            there = label[here + offset]
            other = np.where(there >= 0, chambers.of_basin[there], -1)
            found = np.flatnonzero((other >= 0) & (other < own))
            pairs.append(np.column_stack([own[found], other[found]]))
            points.append(np.column_stack([here[found], here[found] + offset]))
            values.append(np.minimum(level[here[found]], level[here[found] + offset]))
    if not pairs:
        return np.zeros((0, 2), np.int64), np.zeros((0, 2), np.int64), np.zeros(0)
    return np.concatenate(pairs), np.concatenate(points), np.concatenate(values).astype(np.float64)


def _climb(
    level: NDArray[np.float32],
    number: NDArray[np.int32],
    active: Ints,
    core: Bools,
    offsets: Ints,
) -> NDArray[np.int32]:
    """(1 + active,) the top that each active point ends on; 0 is the outside."""
    up = np.arange(len(active) + 1, dtype=np.int32)
    for some in _slices(len(active)):
        here = active[some]
        best, best_at = level[here].copy(), here.copy()
        for offset in offsets:
            there = here + offset
            # Material has level 0 and never wins; the outside wins over everything.
            other = np.where(core[there], np.float32(np.inf), level[there])
            better = (other > best) | ((other == best) & (there > best_at))
            best = np.where(better, other, best)
            best_at = np.where(better, there, best_at)
        up[1:][some] = number[best_at]
    while True:
        higher = up[up]
        if np.array_equal(higher, up):
            return up
        up = higher


def _saddles(
    level: NDArray[np.float32], label: NDArray[np.int32], active: Ints, offsets: Ints, count: int
) -> tuple[Ints, Floats, Ints]:
    """Pairs of basins that meet, with the widest step between them."""
    keys, values, steps = [np.zeros(0, np.int64)], [np.zeros(0, np.float32)], []
    steps.append(np.zeros((0, 2), np.int64))
    for some in _slices(len(active)):
        here = active[some]
        own = label[here].astype(np.int64)
        for offset in offsets:
            other = label[here + offset]
            found = np.flatnonzero((other >= 0) & (other < own))
            value = np.minimum(level[here[found]], level[here[found] + offset])
            key = other[found] * np.int64(count) + own[found]
            key, value, found = _widest(key, value, found)
            keys.append(key)
            values.append(value)
            steps.append(np.column_stack([here[found] + offset, here[found]]))
    key, value, row = _widest(
        np.concatenate(keys), np.concatenate(values), np.arange(sum(map(len, keys)))
    )
    pair = np.column_stack([key // count, key % count])
    return pair, value.astype(np.float64), np.concatenate(steps)[row]


def _widest(
    key: Ints, value: NDArray[np.float32], row: Ints
) -> tuple[Ints, NDArray[np.float32], Ints]:
    """For each key the largest value and its row; among equals the lowest row."""
    order = np.lexsort((row, -value, key))
    first = order[np.flatnonzero(np.diff(key[order], prepend=-1))]
    return key[first], value[first], row[first]


def _spanning_tree(basins: Basins) -> Ints:
    """Rows of `basins.pair` that form the maximum spanning forest, the widest first."""
    count = len(basins.peak)
    if len(basins.pair) == 0:
        return np.zeros(0, np.int64)
    # Ranks are distinct and above zero, so the tree is unique and no weight means "no edge".
    order = np.lexsort((np.arange(len(basins.saddle)), -basins.saddle))
    rank = np.empty(len(order))
    rank[order] = np.arange(1, len(order) + 1)
    graph = coo_array((rank, (basins.pair[:, 0], basins.pair[:, 1])), shape=(count, count))
    kept = np.sort(minimum_spanning_tree(graph.tocsr()).data.astype(np.int64))
    return order[kept - 1]


def _merge(basins: Basins, tree: Ints) -> Ints:
    """(n,) chamber of each basin, numbered from 0 by lowest basin."""
    leader = list(range(len(basins.peak)))
    peak = basins.peak.tolist()

    def find(one: int) -> int:
        while leader[one] != one:
            leader[one] = leader[leader[one]]
            one = leader[one]
        return one

    pairs, saddles = basins.pair[tree].tolist(), basins.saddle[tree].tolist()
    for (one, two), saddle in zip(pairs, saddles, strict=True):
        one, two = find(one), find(two)
        lower = min(peak[one], peak[two])
        if lower < MERGE_RATIO * saddle or lower - saddle < MERGE_STEP:
            low, high = min(one, two), max(one, two)
            leader[high] = low
            peak[low] = max(peak[one], peak[two])
    root = np.array([find(one) for one in range(len(leader))])
    return np.unique(root, return_inverse=True)[1].astype(np.int64)


def _rooted(basins: Basins, tree: Ints) -> tuple[Ints, Ints]:
    """For each basin the next one on the way to the outside, and the row of the pair.

    Parts of the forest that do not hold the outside hang from their highest basin.
    """
    count = len(basins.peak)
    one, two = basins.pair[tree, 0], basins.pair[tree, 1]
    # 1-based rows: a stored zero would read as "no edge".
    graph = csr_array((tree + 1, (one, two)), shape=(count, count))
    graph = graph + graph.T
    part = connected_components(graph, directed=False)[1]
    order = np.lexsort((-np.arange(count), basins.peak, part))
    roots = order[np.searchsorted(part[order], np.arange(part.max() + 1), side="right") - 1]
    parent, edge = np.full(count, -1, np.int64), np.full(count, -1, np.int64)
    alone = np.bincount(part)[part[roots]] == 1
    for root in roots[~alone]:
        reached, before = breadth_first_order(graph, int(root), directed=False)
        parent[reached[1:]] = before[reached[1:]]
    rows = np.flatnonzero(parent >= 0)
    if len(rows):
        edge[rows] = np.asarray(graph[rows, parent[rows]]).reshape(-1) - 1
    return parent, edge


def _offsets(shape: tuple[int, ...]) -> Ints:
    """Flat distances to the six neighbours."""
    x, y = shape[1] * shape[2], shape[2]
    return np.array([-x, -y, -1, 1, y, x], np.int64)


def _slices(count: int) -> Iterator[slice]:
    for begin in range(0, count, _AT_ONCE):
        yield slice(begin, begin + _AT_ONCE)
