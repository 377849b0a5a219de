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
from typing import Any

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


def wide_rooms(distance: NDArray[np.float32], reach: float) -> tuple[NDArray[np.int32], int]:
    """Which points does a ball of this radius get to, and from which of them to which?

    What is wider than any width in question needs no cutting: each such room is a basin as it is.

    Parameters
    ----------
    distance : voxels, to the material; the outermost layer must be free and counts as outside
    reach : voxels

    Returns
    -------
    number : grid shape, 0 for the outside (the outermost layer and everything joined to it through
        points farther than `reach` from the material), 1 … n for other rooms, −1 elsewhere
    rooms : n
    """
    wide = distance > reach
    for axis in range(3):
        for end in (0, -1):
            wide[(slice(None),) * axis + (end,)] = True
    label, rooms = ndimage.label(wide, output=np.int32)
    outside = int(label[0, 0, 0])
    if outside != 1:
        raise ValueError("The first point of a grid must be its first free one.")
    label -= 1
    return label, rooms - 1


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
    offsets = neighbours(solid.shape)
    flat = number.reshape(-1)
    kind = np.int32 if flat.size < 2**31 - 1 else np.int64
    active: Any = np.flatnonzero((flat < 0) & ~solid.reshape(-1)).astype(kind)
    top, peak, size = _room_tops(level, number, rooms)
    wide = flat >= 0
    first = rooms + 1
    if first + len(active) >= 2**31:
        raise ValueError("The grid has too many free points; take a coarser one.")
    flat[active] = np.arange(first, first + len(active), dtype=np.int32)
    root = _climb(level, flat, active, offsets, first)
    tops = np.flatnonzero(root == np.arange(len(root), dtype=np.int32))
    rank = np.zeros(len(root), np.int32)
    rank[tops] = np.arange(len(tops), dtype=np.int32)
    root = rank[root]
    flat[active] = root[first:]
    own = active[tops[first:] - first]
    top = np.concatenate([top, own]).astype(np.int64)
    peak = np.concatenate([peak, level[own].astype(np.float64)])
    volume = np.bincount(root[first:], minlength=len(tops))
    volume[:first] += size
    volume[0] = 0
    del root, rank
    pair, saddle, step = _saddles(level, flat, active, wide, offsets, len(tops))
    return Basins(number, peak, top, volume, pair, saddle, step, rooms)


def _room_tops(
    level: NDArray[np.float32], number: NDArray[np.int32], rooms: int
) -> tuple[Ints, Floats, Ints]:
    """Widest point, its distance to the material and number of points of each wide room."""
    top, peak, size = np.full(rooms + 1, -1), np.full(rooms + 1, np.inf), np.zeros(rooms + 1, int)
    distance = level.reshape(number.shape)
    for room, box in enumerate(ndimage.find_objects(number)[:rooms], 1):
        inside = number[box] == room
        part = np.where(inside, distance[box], -1.0)
        at = np.unravel_index(int(np.argmax(part)), part.shape)
        index = [int(i) + side.start for i, side in zip(at, box, strict=True)]
        top[room] = np.ravel_multi_index(index, number.shape)
        peak[room], size[room] = part[at], np.count_nonzero(inside)
    return top, peak, size


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


def climb_from(distance: NDArray[np.float32], solid: Bools, core: Bools, start: int) -> list[int]:
    """Flat numbers of the points from `start` up to the top of its basin.

    On the outside's slopes the way ends with the first point that is surely outside.
    """
    level, is_solid = distance.reshape(-1), solid.reshape(-1)
    is_core = core.reshape(-1)
    offsets = neighbours(solid.shape)
    way = [int(start)]
    while not is_core[way[-1]]:
        here = way[-1]
        near = here + offsets
        near = near[~is_solid[near]]
        height = np.where(is_core[near], np.inf, level[near])
        best = max(zip(height.tolist(), near.tolist(), strict=True), default=(-1.0, -1))
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
    offsets = neighbours(basins.label.shape)[3:]
    if len(chambers.peak) < 2:
        return np.zeros((0, 2), np.int64), np.zeros((0, 2), np.int64), np.zeros(0)
    # Chamber of each label; the material's −1 takes the last entry.
    chamber = np.append(chambers.of_basin, -1).astype(np.int32)
    pairs, points, values = [], [], []
    ahead = int(offsets.max())
    for begin in range(0, len(label), _AT_ONCE):
        every = chamber[label[begin : begin + _AT_ONCE + ahead]]
        own = every[:_AT_ONCE]
        for offset in offsets.tolist():
            other = every[offset : offset + _AT_ONCE]
            own_here = own[: len(other)]
            found = np.flatnonzero((own_here != other) & (own_here >= 0) & (other >= 0))
            if len(found) == 0:
                continue
            one, two = found + begin, found + begin + offset
            value = np.minimum(level[one], level[two])
            swap = own_here[found] < other[found]
            pair = np.column_stack([own_here[found], other[found]]).astype(np.int64)
            point = np.column_stack([one, two])
            pair[swap], point[swap] = pair[swap][:, ::-1], point[swap][:, ::-1]
            keep = value <= reach
            pairs.append(pair[keep])
            points.append(point[keep])
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
    for some in _slices(len(active)):
        here = active[some].astype(np.int64)
        best, best_at = level[here], here.copy()
        for offset in offsets:
            there = here + offset
            # Material has level 0 and never wins; the outside wins over everything.
            other = level[there]
            better = (other > best) | ((other == best) & (there > best_at))
            best = np.where(better, other, best)
            best_at = np.where(better, there, best_at)
        up[first:][some] = number[best_at]
    while True:
        changed = False
        for some in _slices(len(up)):
            higher = up[up[some]]
            changed = changed or not np.array_equal(higher, up[some])
            up[some] = higher
        if not changed:
            return up


def _saddles(
    level: NDArray[np.float32],
    label: NDArray[np.int32],
    active: Ints,
    wide: Bools,
    offsets: Ints,
    count: int,
) -> tuple[Ints, Floats, Ints]:
    """Pairs of basins that meet, with the widest step between them."""
    keys, values, steps = [np.zeros(0, np.int64)], [np.zeros(0, np.float32)], []
    steps.append(np.zeros((0, 2), np.int64))
    for some in _slices(len(active)):
        here = active[some].astype(np.int64)
        own = label[here].astype(np.int64)
        for offset in offsets:
            other = label[here + offset]
            # Each step is met from both of its ends, unless one of them lies in a wide room.
            found = np.flatnonzero(
                (other >= 0) & (other != own) & ((other < own) | wide[here + offset])
            )
            one, two = here[found], here[found] + offset
            swap = other[found] > own[found]
            low, high = np.minimum(own[found], other[found]), np.maximum(own[found], other[found])
            value = np.minimum(level[one], level[two])
            step = np.column_stack([np.where(swap, one, two), np.where(swap, two, one)])
            key, value, row = _widest(low * np.int64(count) + high, value, np.arange(len(found)))
            keys.append(key)
            values.append(value)
            steps.append(step[row])
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


def _slices(count: int) -> Iterator[slice]:
    for begin in range(0, count, _AT_ONCE):
        yield slice(begin, begin + _AT_ONCE)
