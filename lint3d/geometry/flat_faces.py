"""What is left of a surface if each of its flat faces is in as few facets as its outline asks?

Flat faces that were cut into thousands of facets say no more than their outlines do. Facets that
lie in one plane are one *flat face*; its outline keeps the corners and loses what lies on straight
lines between two of them. Bent surfaces, and whatever is not sure, stay as they are. Lengths in mm.
Guarded by tests/geometry/test_flat_faces.py.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lint3d.geometry.components import connected_groups
from lint3d.geometry.facet_turns import FacetTurns
from lint3d.geometry.topology import EdgeTable, edge_table
from lint3d.geometry.vectors import cross_product, square_to_one

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

#: Facets whose normals differ by less are looked at as one face (sine of the angle).
LEVEL = 1e-3
#: ... and so are those that differ by less than this, if rounding alone tilts them.
TILTED = 0.5
#: Corners of a flat face lie in its plane, and those of a straight line on that, to this, mm.
STRAY_MM = 1e-4
#: It is not worth it where fewer facets than this share would go, ...
LEAST_SHARE = 0.3
#: ... or there are more faces than this share of them, for each is cut by itself.
MOST_FACES = 0.1
#: The area is the same, to this share.
SAME_AREA = 1e-6


def stray_mm(step_mm: float) -> float:
    """How far a flat face may be from the facets that it was made of, mm."""
    return max(STRAY_MM, 2 * step_mm)


def with_few_facets(
    vertices: Floats, faces: Ints, table: EdgeTable, turns: FacetTurns, step_mm: float = 0.0
) -> tuple[Floats, Ints]:
    """The same surface with flat faces in few facets.

    Parameters
    ----------
    vertices : (n, 3) mm
    faces : (m, 3), closed and well wound
    table : EdgeTable of `faces`
    turns : FacetTurns of them
    step_mm : what rounding of coordinates can do to a distance

    Returns
    -------
    vertices, faces : no point strays by more than `stray_mm`; what was given if there is little to
        gain
    """
    stray = stray_mm(step_mm)
    flat = _flat_faces(vertices, faces, turns, stray, step_mm)
    is_flat = flat >= 0
    if is_flat.sum() < LEAST_SHARE * len(faces) or flat.max() >= MOST_FACES * len(faces):
        return vertices, faces
    border = _Border.of(table, turns, flat)
    pinched = border.pinched()
    if len(pinched):
        flat[np.isin(flat, pinched)] = -1
        border = _Border.of(table, turns, flat)
    fixed = np.zeros(len(vertices), bool)
    fixed[faces[flat < 0]] = True
    runs = border.straightened(vertices, fixed, stray)
    cut = _cut(vertices, runs, turns.normal, flat)
    if cut is None:
        return vertices, faces
    rows = np.concatenate([faces[flat < 0], cut])
    used, local = np.unique(rows, return_inverse=True)
    found = vertices[used], local.reshape(-1, 3).astype(np.int64)
    return found if _is_as_whole(*found, turns.twice) else (vertices, faces)


def _flat_faces(
    vertices: Floats, faces: Ints, turns: FacetTurns, stray: float, step_mm: float
) -> Ints:
    """(m,) number of the flat face of each facet, -1 for facets that are a face by themselves."""
    level = turns.gap2 <= LEVEL**2
    # Rounding tilts slivers: their corners lie in the plane of the next facet all the same.
    tilted = np.flatnonzero(~level & (turns.gap2 <= TILTED**2))
    level[tilted[_on_one_plane(vertices, faces, turns, tilted, 2 * step_mm)]] = True
    group = connected_groups(len(faces), turns.one[level], turns.two[level])
    count = int(group.max()) + 1
    size = np.bincount(group, minlength=count)
    weighted = [np.bincount(group, turns.normal[:, k] * turns.twice, count) for k in range(3)]
    normal: Floats = np.column_stack(weighted).astype(np.float64)
    area = np.linalg.norm(normal, axis=1)
    normal /= np.maximum(area, 1e-300)[:, None]
    # A corner of each, for the plane to go through.
    at = np.empty(count, np.int64)
    at[group] = faces[:, 0]
    level_of = np.einsum("ij,ij->i", vertices[at], normal)
    bent = size < 2
    for k in range(3):
        off = np.einsum("ij,ij->i", vertices[faces[:, k]], normal[group])
        bent[group[np.abs(off - level_of[group]) > stray]] = True
    number = np.where(bent, -1, np.cumsum(~bent) - 1)
    return number[group]


def _on_one_plane(
    vertices: Floats, faces: Ints, turns: FacetTurns, edges: Ints, off_mm: float
) -> Bools:
    """At which edges do the corners of one facet lie in the plane of the other?"""
    found = np.zeros(len(edges), bool)
    for mine, other in ((turns.one, turns.two), (turns.two, turns.one)):
        normal, at = turns.normal[mine[edges]], vertices[faces[mine[edges], 0]]
        arms = vertices[faces[other[edges]]] - at[:, None]
        found |= (np.abs(np.einsum("ikj,ij->ik", arms, normal)) <= off_mm).all(axis=1)
    return found


@dataclass(frozen=True, eq=False)
class _Border:
    """Edges between flat faces and others."""

    ends: Ints
    """(b, 2) vertices, the lower number first"""
    forth: Ints
    back: Ints
    """(b,) the flat face whose side runs from the lower to the higher vertex, and the other one"""

    @classmethod
    def of(cls, table: EdgeTable, turns: FacetTurns, flat: Ints) -> _Border:
        one, two = flat[turns.one], flat[turns.two]
        rows = np.flatnonzero(((one >= 0) | (two >= 0)) & (one != two))
        # The first use runs forward, unless it says else.
        swapped = table.is_reverse[table.start[rows]]
        one, two = one[rows], two[rows]
        return cls(
            table.ends[rows].astype(np.int64),
            np.where(swapped, two, one),
            np.where(swapped, one, two),
        )

    def pinched(self) -> Ints:
        """Faces whose outline meets itself in a vertex."""
        owner = np.concatenate([self.forth, self.back])
        start = np.concatenate([self.ends[:, 0], self.ends[:, 1]])
        start, owner = start[owner >= 0], owner[owner >= 0]
        key = np.sort(owner * (self.ends.max(initial=0) + np.int64(1)) + start)
        return np.unique(key[1:][np.diff(key) == 0] // (self.ends.max(initial=0) + 1))

    def straightened(self, vertices: Floats, fixed: Bools, stray: float) -> _Border:
        """The same with one edge for each straight line of them; `fixed` vertices stay."""
        fixed = fixed.copy()
        while True:
            runs, wrong = self._straightened(vertices, fixed, stray)
            if not len(wrong):
                return runs
            fixed[wrong] = True

    def _straightened(self, vertices: Floats, fixed: Bools, stray: float) -> tuple[_Border, Ints]:
        """... and vertices that must stay."""
        order = np.argsort(self.ends.ravel(), kind="stable")
        vertex, edge = self.ends.ravel()[order], order // 2
        first = np.flatnonzero(np.diff(vertex, prepend=-1))
        twice = np.diff(first, append=len(vertex)) == 2
        first = first[twice & ~fixed[vertex[first]]]
        middle, before, after = vertex[first], edge[first], edge[first + 1]
        one, two = (vertices[self.ends[e].sum(axis=1) - middle] for e in (before, after))
        goes_on = _off_line(vertices[middle], one, two) <= stray
        middle, before, after = middle[goes_on], before[goes_on], after[goes_on]
        run = connected_groups(len(self.ends), before, after)
        passed = np.zeros(len(fixed), bool)
        passed[middle] = True
        at_end = ~passed[self.ends]
        row, column = np.nonzero(at_end)
        by_run = np.argsort(run[row], kind="stable")
        row, column = row[by_run], column[by_run]
        count = int(run.max(initial=-1)) + 1
        ends_of = np.bincount(run[row], minlength=count)
        inner_run = run[before]
        closed = ends_of != 2
        if closed.any():
            return self, middle[closed[inner_run]]
        start, end = self.ends[row[::2], column[::2]], self.ends[row[1::2], column[1::2]]
        off = _off_line(vertices[middle], vertices[start[inner_run]], vertices[end[inner_run]])
        wrong = np.zeros(count, bool)
        wrong[inner_run[off > stray]] = True
        wrong |= start == end
        if wrong[inner_run].any():
            return self, middle[wrong[inner_run]]
        lower = column[::2] == 0
        forth, back = self.forth[row[::2]], self.back[row[::2]]
        return (
            _Border(
                np.column_stack([start, end]),
                np.where(lower, forth, back),
                np.where(lower, back, forth),
            ),
            np.zeros(0, np.int64),
        )


def _off_line(at: Floats, one: Floats, two: Floats) -> Floats:
    """How far points lie from the segments between others, mm; inf for those beyond an end."""
    along = two - one
    square = np.maximum(np.einsum("ij,ij->i", along, along), 1e-300)
    arm = at - one
    share = np.einsum("ij,ij->i", arm, along) / square
    off: Floats = np.linalg.norm(cross_product(arm, along), axis=1) / np.sqrt(square)
    off[(share <= 0) | (share >= 1)] = np.inf
    return off


def _cut(vertices: Floats, border: _Border, normals: Floats, flat: Ints) -> Ints | None:
    """Facets of all flat faces; None where an outline does not close."""
    owner = np.concatenate([border.forth, border.back])
    start = np.concatenate([border.ends[:, 0], border.ends[:, 1]])
    end = np.concatenate([border.ends[:, 1], border.ends[:, 0]])
    order = np.argsort(owner, kind="stable")
    order = order[np.searchsorted(owner[order], 0) :]
    owner, start, end = owner[order], start[order], end[order]
    first = np.flatnonzero(np.diff(owner, prepend=-1))
    size = np.diff(first, append=len(owner))
    some = np.empty(int(flat.max(initial=-1)) + 1, np.int64)
    some[flat[flat >= 0]] = np.flatnonzero(flat >= 0)
    normal = normals[some[owner[first]]]
    four = np.flatnonzero(size == 4)
    corners = first[four][:, None] + np.arange(4)
    cut, done = _cut_in_two(vertices, start[corners], end[corners], normal[four])
    three = np.flatnonzero(size == 3)
    corners = first[three][:, None] + np.arange(3)
    whole, closed = _triangles(start[corners], end[corners])
    rest = np.ones(len(first), bool)
    rest[four[done]] = False
    rest[three[closed]] = False
    found = [cut, whole]
    for k in np.flatnonzero(rest).tolist():
        rows = slice(first[k], first[k] + size[k])
        loops = _loops(start[rows].tolist(), end[rows].tolist())
        if loops is None:
            return None
        found.append(_cut_one(vertices, loops, normal[k]))
    return np.concatenate(found).astype(np.int64)


def _cut_one(vertices: Floats, loops: list[list[int]], normal: Floats) -> Ints:
    """Facets of one flat face within closed lines of vertices."""
    from manifold3d import triangulate

    axes = square_to_one(normal)
    parts = [vertices[loop] @ axes.T for loop in loops]
    return np.concatenate(loops)[np.asarray(triangulate(parts), np.int64)]


def _triangles(start: Ints, end: Ints) -> tuple[Ints, Bools]:
    """Faces of three sides (k, 3), in any order, and which are closed."""
    row = np.arange(len(start))
    a, b = start[:, 0], end[:, 0]
    c = end[row, (start == b[:, None]).argmax(axis=1)]
    closed = (c != a) & (end[row, (start == c[:, None]).argmax(axis=1)] == a)
    return np.column_stack([a, b, c])[closed], closed


def _cut_in_two(vertices: Floats, start: Ints, end: Ints, normal: Floats) -> tuple[Ints, Bools]:
    """Two facets for each face of four corners, and for which faces it could be done.

    `start` and `end` (k, 4) are those of its sides, in any order.
    """
    row = np.arange(len(start))
    ring = [start[:, 0], end[:, 0]]
    for _ in range(3):
        ring.append(end[row, (start == ring[-1][:, None]).argmax(axis=1)])
    a, b, c, d, again = ring
    done = (again == a) & (c != a) & (d != b)

    def both_face_out(p: Ints, q: Ints, r: Ints, s: Ints) -> Bools:
        across = vertices[r] - vertices[p]
        sides = (
            cross_product(vertices[q] - vertices[p], across),
            cross_product(across, vertices[s] - vertices[p]),
        )
        return (np.einsum("ij,ij->i", sides[0], normal) > 0) & (
            np.einsum("ij,ij->i", sides[1], normal) > 0
        )

    first, second = both_face_out(a, b, c, d), both_face_out(b, c, d, a)
    done &= first | second
    turned = (done & ~first)[:, None]
    facets = np.where(
        turned, np.column_stack([b, c, d, b, d, a]), np.column_stack([a, b, c, a, c, d])
    )
    return facets[done].reshape(-1, 3), done


def _loops(start: list[int], end: list[int]) -> list[list[int]] | None:
    """Closed lines of directed edges, no two of which start at one vertex."""
    after = dict(zip(start, end, strict=True))
    loops = []
    while after:
        at, going = after.popitem()
        loop = [at]
        while going != at:
            loop.append(going)
            following = after.pop(going, None)
            if following is None:
                return None
            going = following
        if len(loop) < 3:
            return None
        loops.append(loop)
    return loops


def _is_as_whole(vertices: Floats, faces: Ints, twice: Floats) -> bool:
    """Is every edge shared by two faces that agree, and the area what it was?"""
    table = edge_table(faces, len(vertices))
    first = table.start[:-1]
    if (table.users() != 2).any():
        return False
    if (table.is_reverse[first] == table.is_reverse[first + 1]).any():
        return False
    a, b, c = (vertices[faces[:, k]] for k in range(3))
    area = np.linalg.norm(cross_product(b - a, c - a), axis=1).sum()
    return bool(abs(area - twice.sum()) <= SAME_AREA * twice.sum())
