"""Into which chambers does a free space fall, and where do they meet?

Every free grid point climbs to its highest neighbour in the distance field; points that end on the
same top form a *basin*. Two basins meet at a *saddle*, the widest step between them. Basins that
differ by less than the grid can tell are one *chamber*: where a duct keeps its width the grid's own
noise would otherwise cut it in pieces. The outside is chamber 0. Widths in this module are
distances to the material in voxels, taken at grid points; exact ones are the business of
`throats.py`. Guarded by tests/geometry/test_chambers.py.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_array, csr_array
from scipy.sparse.csgraph import breadth_first_order, connected_components, minimum_spanning_tree

from lint3d.geometry.chambers_rooms import room_tops
from lint3d.geometry.chambers_steps import steps_between
from lint3d.geometry.portions import chunks

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

#: Basins whose lower top is less than this times the saddle between them are one chamber.
MERGE_RATIO = 1.2
#: So are basins whose lower top stands less than this above the saddle, voxels.
MERGE_STEP = 1.0


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
    rooms: int = 0
    """basins 1 … rooms are wide rooms, in which no way is followed"""


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


def find_basins(
    distance: NDArray[np.float32], solid: Bools, number: NDArray[np.int32], rooms: int
) -> Basins:
    """Cut the free space into basins.

    Parameters
    ----------
    distance : voxels, from each free point to the nearest material point; infinite outside
    solid : which points are material
    number, rooms : from `wide_rooms`; `number` is written over and becomes the label
    """
    level = distance.reshape(-1)
    flat = number.reshape(-1)
    active = _points_to_cut(flat, solid.reshape(-1))
    top, peak, size = room_tops(level, number, rooms)
    first = rooms + 1
    if first + len(active) >= 2**31:
        raise ValueError("The grid has too many free points; take a coarser one.")
    flat[active] = np.arange(first, first + len(active), dtype=np.int32)
    root = _climb(level, flat, active, neighbours(solid.shape), first)
    tops = _number_tops(root)
    flat[active] = root[first:]
    own = active[tops[first:] - first]
    top = np.concatenate([top, own]).astype(np.int64)
    peak = np.concatenate([peak, level[own].astype(np.float64)])
    volume = np.zeros(len(tops), np.int64)
    for some in chunks(len(active)):
        volume += np.bincount(root[first:][some], minlength=len(tops))
    volume[:first] += size
    volume[0] = 0
    del root, active
    pair, saddle, step = _saddles(level, number, len(tops))
    return Basins(number, peak, top, volume, pair, saddle, step, rooms)


def _points_to_cut(number: NDArray[np.int32], solid: Bools) -> Ints:
    """Flat numbers of the free points that are in no wide room, in as few bytes as they need."""
    kind = np.int32 if number.size < 2**31 - 1 else np.int64
    found = [np.zeros(0, kind)]
    for some in chunks(len(number)):
        inside = number[some] < 0
        inside &= ~solid[some]
        rows = np.flatnonzero(inside)
        if len(rows):
            found.append((rows + some.start).astype(kind))
    every: Ints = np.concatenate(found)
    return every


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
        csr_array(
            (np.ones(len(tree)), (basins.pair[tree, 0], basins.pair[tree, 1])), shape=(count, count)
        ),
        directed=False,
    )[1]
    joined = np.unique(joined, return_index=True, return_inverse=True)[2]
    return Chambers(
        chamber,
        basins.peak[highest],
        np.where(highest == 0, -1, basins.top[highest]),
        np.bincount(chamber, basins.volume, chambers).astype(np.int64),
        parent,
        gate,
        level,
        joined[highest].astype(np.int64),
    )


def climb_from(distance: NDArray[np.float32], solid: Bools, start: int) -> list[int]:
    """Flat numbers of the points from `start` up to the top of its basin.

    On the outside's slopes the way ends with the first point that is surely outside.
    """
    level, is_solid = distance.reshape(-1), solid.reshape(-1)
    offsets = neighbours(solid.shape)
    way = [int(start)]
    while np.isfinite(level[way[-1]]):
        here = way[-1]
        near = here + offsets
        near = near[~is_solid[near]]
        best = max(zip(level[near].tolist(), near.tolist(), strict=True), default=(-1.0, -1))
        if best <= (float(level[here]), here):
            break
        way.append(best[1])
    return way


def contacts(
    basins: Basins, chambers: Chambers, distance: NDArray[np.float32], reach: float
) -> tuple[Ints, Ints, Floats]:
    """Every step from one chamber into another that is no wider than `reach` voxels.

    Returns
    -------
    (k, 2) chambers, the lower number second; (k, 2) flat numbers of the points, in that order;
    (k,) distance to the material at the step, voxels
    """
    label = basins.label.reshape(-1)
    level = distance.reshape(-1)
    if len(chambers.peak) < 2:
        return np.zeros((0, 2), np.int64), np.zeros((0, 2), np.int64), np.zeros(0)
    pairs, points, values = [], [], []
    for one, two in steps_between(basins.label):
        value = np.minimum(level[one], level[two])
        pair = chambers.of_basin[np.column_stack([label[one], label[two]])]
        keep = (value <= reach) & (pair[:, 0] != pair[:, 1])
        pair, point = pair[keep], np.column_stack([one, two])[keep]
        swap = pair[:, 0] < pair[:, 1]
        pair[swap], point[swap] = pair[swap][:, ::-1], point[swap][:, ::-1]
        pairs.append(pair)
        points.append(point)
        values.append(value[keep])
    if not pairs:
        return np.zeros((0, 2), np.int64), np.zeros((0, 2), np.int64), np.zeros(0)
    return np.concatenate(pairs), np.concatenate(points), np.concatenate(values).astype(np.float64)


def _climb(
    level: NDArray[np.float32],
    number: NDArray[np.int32],
    active: Ints,
    offsets: Ints,
    first: int,
) -> NDArray[np.int32]:
    """(first + active,) the room or top that each active point ends on; 0 is the outside."""
    up = np.arange(len(active) + first, dtype=np.int32)
    # In this order, of equally high points the one with the largest number wins.
    order = [*offsets[:3].tolist(), 0, *offsets[3:].tolist()]
    for some in chunks(len(active)):
        here = active[some].astype(np.int64)
        best, best_at = level[here + order[0]], here + order[0]
        for offset in order[1:]:
            # Material has level 0 and never wins; the outside wins over everything.
            there = here + offset
            other = level[there]
            higher = other >= best
            np.copyto(best, other, where=higher)
            np.copyto(best_at, there, where=higher)
        up[first:][some] = number[best_at]
    while True:
        changed = False
        for some in chunks(len(up)):
            higher = up[up[some]]
            changed = changed or not np.array_equal(higher, up[some])
            up[some] = higher
        if not changed:
            return up


def _number_tops(root: NDArray[np.int32]) -> Ints:
    """Number the things that are their own root from 0, in place; returns which those are."""
    found = [np.zeros(0, np.int64)]
    for some in chunks(len(root)):
        part = root[some]
        found.append(np.flatnonzero(part == np.arange(some.start, some.start + len(part))))
        found[-1] += some.start
    tops = np.concatenate(found)
    # Below zero: the number is known already.
    root[tops] = -1 - np.arange(len(tops), dtype=np.int32)
    for some in chunks(len(root)):
        part = root[some]
        part[:] = np.where(part < 0, part, root[np.maximum(part, 0)])
    np.subtract(-1, root, out=root)
    return tops


def _saddles(
    level: NDArray[np.float32], label: NDArray[np.int32], count: int
) -> tuple[Ints, Floats, Ints]:
    """Pairs of basins that meet, with the widest step between them."""
    flat = label.reshape(-1)
    keys, values, steps = [np.zeros(0, np.int64)], [np.zeros(0, np.float32)], []
    steps.append(np.zeros((0, 2), np.int64))
    for one, two in steps_between(label):
        value = np.minimum(level[one], level[two])
        own, other = flat[one].astype(np.int64), flat[two].astype(np.int64)
        low, high = np.minimum(own, other), np.maximum(own, other)
        key, value, row = _widest(low * count + high, value, np.arange(len(one)))
        step = np.column_stack([one[row], two[row]])
        swap = own[row] > other[row]
        step[swap] = step[swap][:, ::-1]
        keys.append(key)
        values.append(value)
        steps.append(step)
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
    rows: Ints = order[kept - 1]
    return rows


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


def neighbours(shape: tuple[int, ...]) -> Ints:
    """(6,) flat distances to the six neighbours of a point."""
    x, y = shape[1] * shape[2], shape[2]
    return np.array([-x, -y, -1, 1, y, x], np.int64)
