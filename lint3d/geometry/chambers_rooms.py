"""Which rooms are wider than anything in question, and what is outside?

Most points of a large grid lie in such rooms, so they are scanned line by line: a *run* is a
stretch of wide points along z, and runs of neighbouring lines that overlap are in one room. Nothing
as large as the grid is made besides the result. Widths are distances to the material in voxels.
Guarded by tests/geometry/test_chambers_rooms.py.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lint3d.geometry.components import connected_groups
from lint3d.geometry.portions import chunks

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

#: Grid points treated at a time: what stays in a processor's cache.
AT_ONCE = 1 << 19


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
    begin, end = _runs(distance, reach)
    if len(begin) == 0 or begin[0] != 0:
        raise ValueError("The first point of a grid must be its first free one.")
    shape = distance.shape
    links = [_overlaps(begin, end, stride, shape) for stride in (shape[2], shape[1] * shape[2])]
    one, two = np.concatenate(links, axis=1)
    room = connected_groups(len(begin), one, two)
    # Wide and other stretches in turn: lengths of both, and what each is labelled with.
    value = np.full(2 * len(begin), -1, np.int32)
    value[::2] = room
    length = np.diff(np.column_stack([begin, end]).reshape(-1), append=distance.size)
    return np.repeat(value, length).reshape(shape), int(room.max())


def set_outside(distance: NDArray[np.float32], number: NDArray[np.int32]) -> None:
    """Make the outside infinitely wide, in place."""
    level, label = distance.reshape(-1), number.reshape(-1)
    for some in chunks(len(level)):
        level[some][label[some] == 0] = np.inf


def room_tops(
    level: NDArray[np.float32], number: NDArray[np.int32], rooms: int
) -> tuple[Ints, Floats, Ints]:
    """Widest point, its distance to the material and number of points of each wide room.

    Entry 0, the outside's, is −1, infinite and 0.
    """
    top, peak, size = np.full(rooms + 1, -1), np.full(rooms + 1, np.inf), np.zeros(rooms + 1, int)
    if rooms == 0:
        return top, peak, size
    peak[1:] = -1.0
    flat = number.reshape(-1)
    for some in chunks(len(flat), AT_ONCE):
        own = flat[some]
        rows = np.flatnonzero(own > 0)
        if len(rows) == 0:
            continue
        own, high = own[rows], level[some][rows]
        many = np.bincount(own)
        size[: len(many)] += many
        for room in np.flatnonzero(many).tolist():
            mine = high if many[room] == len(own) else np.where(own == room, high, np.float32(-1.0))
            at = int(np.argmax(mine))
            if mine[at] > peak[room]:
                peak[room] = mine[at]
                top[room] = rows[at] + some.start
    return top, peak, size


def _runs(distance: NDArray[np.float32], reach: float) -> tuple[Ints, Ints]:
    """Flat numbers of the first point of each run and of the point after its last.

    The outermost layer counts as wide.
    """
    rows, deep = distance.shape[1], distance.shape[2]
    line = distance.reshape(-1, deep)
    at_once = max(AT_ONCE // deep, 1)
    found = []
    for some in chunks(len(line), at_once):
        wide = line[some] > reach
        row = np.arange(some.start, some.start + len(wide))
        plane, at = np.divmod(row, rows)
        ends = (plane == 0) | (plane == distance.shape[0] - 1) | (at == 0) | (at == rows - 1)
        wide[ends] = True
        wide[:, [0, -1]] = True
        turns = np.ones((len(wide), deep + 1), bool)
        np.not_equal(wide[:, 1:], wide[:, :-1], out=turns[:, 1:-1])
        which, place = np.divmod(np.flatnonzero(turns.reshape(-1)), deep + 1)
        found.append((some.start + which) * deep + place)
    turn = np.concatenate(found) if found else np.zeros(0, np.int64)
    return turn[::2], turn[1::2]


def _overlaps(begin: Ints, end: Ints, stride: int, shape: tuple[int, ...]) -> Ints:
    """(2, k) runs that lie side by side in lines `stride` apart."""
    rows = np.arange(len(begin))
    if stride == shape[2]:
        # The last line of a plane has no neighbour in the next.
        rows = rows[(begin // stride) % shape[1] < shape[1] - 1]
    first = np.searchsorted(end, begin[rows] + stride, side="right")
    count = np.searchsorted(begin, end[rows] + stride, side="left") - first
    owner = np.repeat(np.arange(len(rows)), count)
    place = np.arange(len(owner)) - np.repeat(np.cumsum(count) - count, count)
    return np.stack([rows[owner], first[owner] + place])
