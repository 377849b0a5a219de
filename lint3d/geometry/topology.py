"""How do the faces of a mesh join: which edges, vertices and faces are not as in a sound solid?

Everything follows from one table of edges (`edge_table`), built once by sorting. Only vertex
numbers matter here, no coordinates. Faces that name a vertex twice enclose nothing: they have no
edges in the table (`facets.py` reports them) and their neighbours are judged as if they were not
there. Guarded by tests/geometry/test_topology.py and tests/outside/test_solid_references.py.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lint3d.geometry.components import connected_groups

Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

#: Share of edges of one face only beyond which faces enclose nothing that can be told. A part with
#: some faces missing stays far below it: a cube without one side has 4 of 17. common practice, no
#: source
MOST_OPEN_EDGES = 0.25


@dataclass(frozen=True, eq=False)
class EdgeTable:
    """Every edge with the faces that use it.

    A *use* is one side of one face. Uses are sorted by edge, then by direction, then by face.
    """

    vertex_count: int
    face_count: int
    ends: NDArray[np.int32]
    """(e, 2) vertices of each edge, the lower number first; edges ascend."""
    start: NDArray[np.int32]
    """(e + 1,) uses of edge i are rows start[i] to start[i + 1]."""
    use: NDArray[np.int32]
    """(u,) which side of which face: 3 * face + corner the side starts from."""
    is_reverse: Bools
    """(u,) does the face run from the higher to the lower vertex?"""

    @property
    def edge_count(self) -> int:
        return len(self.ends)

    def users(self) -> NDArray[np.int32]:
        """(e,) how many faces use each edge."""
        count: NDArray[np.int32] = np.diff(self.start)
        return count

    def faces_of(self, edges: Ints) -> tuple[Ints, Ints]:
        """Faces that use the given edges, and which row of `edges` each belongs to."""
        rows, owner = expand_runs(self.start, edges)
        return self.use[rows].astype(np.int64) // 3, owner


@dataclass(frozen=True, eq=False)
class Faults:
    """Places where a mesh is not sound, and the faces affected."""

    place: Ints
    """(k, w) the vertices of each fault: two for an edge, one for a vertex, three for a face."""
    face: Ints
    """(a,) affected faces, fault by fault."""
    fault: Ints
    """(a,) ascending: the row of `place` that each affected face belongs to."""

    def __len__(self) -> int:
        return len(self.place)


def edge_table(faces: Ints, vertex_count: int) -> EdgeTable:
    """Sort the sides of all faces by the edge they lie on.

    Parameters
    ----------
    faces : (m, 3) int64, row numbers of the vertices
    vertex_count : how many vertices there are

    Returns
    -------
    EdgeTable

    Raises
    ------
    IndexError : a face names a vertex that does not exist
    ValueError : more than 715 million faces or 2^31 vertices (the table numbers sides in 32 bits)

    Examples
    --------
    >>> edge_table(np.array([[0, 1, 2]]), 3).ends.tolist()
    [[0, 1], [0, 2], [1, 2]]
    """
    _require_in_range(faces, vertex_count)
    from_ = faces.ravel()
    to = np.empty_like(faces)
    to[:, 0], to[:, 1], to[:, 2] = faces[:, 1], faces[:, 2], faces[:, 0]
    to = to.ravel()
    sound = ~has_repeated_vertex(faces)
    side = np.flatnonzero(np.repeat(sound, 3)).astype(np.int32)
    if len(side) < len(from_):
        from_, to = from_[side], to[side]
    reverse = from_ > to
    # One sortable number a use: lower vertex, higher vertex, direction.
    keys = np.minimum(from_, to)
    keys *= np.int64(max(vertex_count, 1))
    keys += np.maximum(from_, to)
    keys <<= 1
    keys |= reverse
    del from_, to
    return _table_from_keys(keys, side, vertex_count, len(faces))


def _require_in_range(faces: Ints, vertex_count: int) -> None:
    if len(faces) and (faces.min() < 0 or faces.max() >= vertex_count):
        raise IndexError(
            f"faces name vertices {faces.min()} to {faces.max()}, "
            f"but there are only {vertex_count} vertices"
        )
    if 3 * len(faces) >= 2**31 or vertex_count >= 2**31:
        raise ValueError(f"{len(faces)} faces on {vertex_count} vertices are too many to number")


def _table_from_keys(
    keys: Ints, side: NDArray[np.int32], vertex_count: int, face_count: int
) -> EdgeTable:
    order = _argsort_with_ties_by_row(keys)
    keys = keys[order]
    use = side[order]
    del order
    is_reverse = (keys & 1).astype(bool)
    keys >>= 1
    first = np.flatnonzero(
        np.concatenate((np.ones(min(len(keys), 1), bool), keys[1:] != keys[:-1]))
    )
    ends = np.empty((len(first), 2), np.int32)
    low, high = np.divmod(keys[first], np.int64(max(vertex_count, 1)))
    ends[:, 0], ends[:, 1] = low, high
    start = np.append(first, len(keys)).astype(np.int32)
    return EdgeTable(vertex_count, face_count, ends, start, use, is_reverse)


def _argsort_with_ties_by_row(keys: Ints) -> Ints:
    """Like a stable argsort, but quick: numpy's fast sort, then ties put in order of row."""
    order: Ints = np.argsort(keys)
    sorted_keys = keys[order]
    tied = np.flatnonzero(sorted_keys[1:] == sorted_keys[:-1])
    if len(tied):
        # Equal keys are rare in a sound mesh (each direction of an edge is used once).
        rows = np.unique(np.concatenate([tied, tied + 1]))
        again = np.lexsort((order[rows], sorted_keys[rows]))
        order[rows] = order[rows][again]
    return order


def has_repeated_vertex(faces: Ints) -> Bools:
    """(m,) does the face name a vertex twice?"""
    one, two, three = faces[:, 0], faces[:, 1], faces[:, 2]
    repeated: Bools = (one == two) | (two == three) | (three == one)
    return repeated


def is_in_pieces(table: EdgeTable) -> bool:
    """Are more than `MOST_OPEN_EDGES` of all edges those of one face only?

    What such faces enclose cannot be told, and to look for it in a heap of them takes for ever.
    """
    users = table.users()
    return int((users == 1).sum()) > MOST_OPEN_EDGES * len(users)


def open_edges(table: EdgeTable) -> Faults:
    """Edges that a single face uses: the surface ends there."""
    return _edge_faults(table, np.flatnonzero(table.users() == 1))


def crowded_edges(table: EdgeTable) -> Faults:
    """Edges that more than two faces use: what is inside is not defined there."""
    return _edge_faults(table, np.flatnonzero(table.users() > 2))


def same_way_edges(table: EdgeTable) -> Faults:
    """Edges that two faces use in the same direction: one of the two is turned over."""
    first = table.start[:-1][table.users() == 2]
    edges = np.flatnonzero(table.users() == 2)
    return _edge_faults(table, edges[table.is_reverse[first] == table.is_reverse[first + 1]])


def _edge_faults(table: EdgeTable, edges: Ints) -> Faults:
    face, fault = table.faces_of(edges)
    return Faults(table.ends[edges].astype(np.int64), face, fault)


def nonmanifold_vertices(table: EdgeTable, faces: Ints) -> Faults:
    """Vertices whose faces are not one fan: surfaces that meet in a point.

    Faces of one fan hang together through edges at that vertex, whatever number of faces uses an
    edge: the end of a crowded edge is a crowded edge's fault and not a vertex's.

    Parameters
    ----------
    table : EdgeTable of `faces`
    faces : (m, 3) int64

    Returns
    -------
    Faults : `place` (k, 1), with all faces around each vertex
    """
    fans = _fan_count(table, faces)
    vertex = np.flatnonzero(fans > 1)
    corner = np.flatnonzero((fans > 1)[faces].ravel())
    corner = corner[~has_repeated_vertex(faces)[corner // 3]]
    fault = np.searchsorted(vertex, faces.ravel()[corner])
    order = np.argsort(fault, kind="stable")
    return Faults(vertex[:, None], corner[order] // 3, fault[order])


def _fan_count(table: EdgeTable, faces: Ints) -> Ints:
    """(n,) into how many fans do the faces around each vertex fall?"""
    uses = consecutive_uses(table)
    one, two = table.use[uses], table.use[uses + 1]
    corners = faces.ravel()
    # Two uses of an edge join the corners at its low end and those at its high end.
    ends_one = np.stack([one, _next_corner(one)])
    ends_two = np.stack([two, _next_corner(two)])
    crossed = table.is_reverse[uses] != table.is_reverse[uses + 1]
    ends_two[:, crossed] = ends_two[::-1, crossed]
    fan = connected_groups(3 * len(faces), ends_one.ravel(), ends_two.ravel())
    # A group of corners all lie at one vertex: count groups by their first corner.
    highest = np.maximum.accumulate(fan)
    is_first = np.diff(highest, prepend=-1) > 0
    is_first &= np.repeat(~has_repeated_vertex(faces), 3)
    return np.bincount(corners[is_first], minlength=table.vertex_count)


def _next_corner(corner: NDArray[np.int32]) -> NDArray[np.int32]:
    """Number of the next corner round the same face."""
    following: NDArray[np.int32] = corner + 1
    following[corner % 3 == 2] -= 3
    return following


def consecutive_uses(table: EdgeTable) -> Ints:
    """Uses that are followed by another use of the same edge: k users of an edge give k - 1."""
    is_last = np.zeros(len(table.use), bool)
    is_last[table.start[1:] - 1] = True
    return np.flatnonzero(~is_last)


def face_links(table: EdgeTable) -> tuple[NDArray[np.int32], NDArray[np.int32]]:
    """Pairs of faces that link all faces sharing an edge, whatever their number."""
    uses = consecutive_uses(table)
    return table.use[uses] // 3, table.use[uses + 1] // 3


def euler_number(table: EdgeTable, faces: Ints) -> int:
    """Vertices - edges + faces, counting vertices that faces use: 2 for a ball, 0 for a ring."""
    sound = faces[~has_repeated_vertex(faces)]
    used = np.zeros(table.vertex_count, bool)
    used[sound.ravel()] = True
    return int(np.count_nonzero(used)) - table.edge_count + len(sound)


def expand_runs(start: NDArray[Any], rows: NDArray[Any]) -> tuple[Ints, Ints]:
    """All positions of the given runs, and which entry of `rows` each belongs to."""
    begin = start[rows].astype(np.int64)
    length = start[rows + 1] - begin
    owner = np.repeat(np.arange(len(rows)), length)
    offset = np.cumsum(length) - length
    return np.arange(len(owner)) - offset[owner] + begin[owner], owner
