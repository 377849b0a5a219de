"""Which bodies are one piece of material, and what is their common surface?

Bodies that overlap, hold each other in their material or lie face to face on each other become one
solid (manifold3d). Each face of it tells which face of which body it is a piece of. Lengths in mm.
Guarded by tests/geometry/test_uniting.py.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lint3d.geometry.clearance import Surface, near_boxes
from lint3d.geometry.clearance_slender import perhaps_near
from lint3d.geometry.components import connected_groups
from lint3d.geometry.contacts import contact
from lint3d.geometry.overlap import contains, may_contain
from lint3d.geometry.parting import part_solids
from lint3d.geometry.shells import facet_areas, facet_volumes, sum_by_shell
from lint3d.geometry.vectors import cross_product

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

#: Faces that lie on each other are pushed into each other by so many times what rounding may have
#: parted them by; thus they overlap for certain.
_PUSH = 2.0
#: Directions of faces that differ by less than this (squared, as a share) are one.
_SAME_WAY = 1e-5


@dataclass(frozen=True, eq=False)
class United:
    """One piece of material made of several bodies."""

    members: tuple[int, ...]
    """which of the given bodies, ascending"""
    vertices: Floats
    """(n, 3) mm"""
    faces: Ints
    """(m, 3) out of the material"""
    body: Ints
    """(m,) which of the given bodies each face is a piece of"""
    face: Ints
    """(m,) and which of its faces"""
    moved: float
    """mm, how far coordinates were moved at most to make touching faces overlap"""


@dataclass(frozen=True, eq=False)
class Material:
    """The surface of one body as it is given to `unite`."""

    vertices: Floats
    """(n, 3) mm"""
    faces: Ints
    """(m, 3) out of the material"""
    is_parted: bool = False
    """May it be several solids that share vertices or edges?"""


def unite(bodies: Sequence[Material]) -> list[United]:
    """Make one surface of each group of solids that overlap or touch.

    Returns
    -------
    list of United, by their first members; what stands alone, and what is no sound solid, is in
    none
    """
    solids = [one for number, body in enumerate(bodies) for one in _solids_of(number, body)]
    meetings = _Meetings(solids)
    pairs = np.array(meetings.pairs, np.int64).reshape(-1, 2)
    # Solids of one body go together whether they meet or not.
    body = np.array([one.body for one in solids], np.int64)
    same = np.flatnonzero(body[1:] == body[:-1])
    pairs = np.concatenate([pairs, np.stack([same, same + 1], axis=1)])
    if len(pairs) == 0:
        return []
    group = connected_groups(len(solids), pairs[:, 0], pairs[:, 1])
    size = np.bincount(group)
    found = (_united(np.flatnonzero(group == g), meetings) for g in np.flatnonzero(size > 1))
    return [one for one in found if one is not None]


@dataclass(frozen=True, eq=False)
class _Piece:
    """A solid, and where its faces come from."""

    body: int
    row: Ints
    """(k,) which face of the body each of its faces is"""
    vertices: Floats
    faces: Ints
    """(k, 3)"""


def _solids_of(number: int, body: Material) -> list[_Piece]:
    """The solids that a body is made of; itself where they cannot be told apart."""
    whole = [_Piece(number, np.arange(len(body.faces)), body.vertices, body.faces)]
    if not body.is_parted or not len(body.faces):
        return whole
    step = float(np.sqrt(3) * np.spacing(np.float32(np.abs(body.vertices).max())))
    label = part_solids(body.vertices, body.faces, step)
    if label is None or not label.any():
        return whole
    volume = sum_by_shell(facet_volumes(body.vertices, body.faces, label), label)
    rows = [np.flatnonzero(label == i) for i in range(len(volume))]
    outer = np.flatnonzero(volume > 0)
    held: dict[int, list[Ints]] = {int(i): [rows[i]] for i in outer}
    by_size = sorted(outer.tolist(), key=lambda i: volume[i])
    for cavity in np.flatnonzero(volume <= 0):
        around = Surface(body.vertices, body.faces[rows[cavity]])
        holder = next(
            (i for i in by_size if _holds(Surface(body.vertices, body.faces[rows[i]]), around)),
            None,
        )
        if holder is None:
            return whole
        held[holder].append(rows[cavity])
    return [_piece(number, body, np.sort(np.concatenate(own))) for own in held.values()]


def _piece(number: int, body: Material, rows: Ints) -> _Piece:
    used, faces = np.unique(body.faces[rows], return_inverse=True)
    return _Piece(number, rows, body.vertices[used], faces.reshape(-1, 3).astype(np.int64))


class _Meetings:
    """Pairs of sound bodies that meet, and how their faces must move to overlap for certain."""

    def __init__(self, bodies: Sequence[_Piece]) -> None:
        self.bodies = bodies
        self.surfaces: dict[int, Surface] = {}
        self.solids: dict[int, Any] = {}
        self.pairs: list[tuple[int, int]] = []
        #: of each body: faces to push out, and how far
        self.push: dict[int, list[tuple[Ints, float]]] = {}
        rows = np.array([i for i, body in enumerate(bodies) if len(body.faces)], np.int64)
        if len(rows) > 1:
            low = np.array([bodies[i].vertices.min(axis=0) for i in rows])
            high = np.array([bodies[i].vertices.max(axis=0) for i in rows])
            step = np.spacing(np.float32(max(np.abs(low).max(), np.abs(high).max())))
            reach = 2 * np.sqrt(3) * float(step)
            pairs = rows[near_boxes(low, high, reach)]
            for one, two in perhaps_near([b.vertices for b in bodies], pairs, reach).tolist():
                self._meet(one, two)

    def _meet(self, one: int, two: int) -> None:
        a, b = self._surface(one), self._surface(two)
        reach = a.uncertainty_mm + b.uncertainty_mm
        met = contact(a, b, reach)
        if met is None:
            inside = _holds(a, b) or _holds(b, a)
            if inside and self.solid(one) is not None and self.solid(two) is not None:
                self.pairs.append((one, two))
            return
        if self.solid(one) is None or self.solid(two) is None:
            return
        self.pairs.append((one, two))
        rows = np.unique(met.two[~met.is_exact])
        if len(rows):
            self.push.setdefault(two, []).append((rows, _PUSH * reach))

    def _surface(self, number: int) -> Surface:
        if number not in self.surfaces:
            self.surfaces[number] = Surface(self.bodies[number].vertices, self.bodies[number].faces)
        return self.surfaces[number]

    def solid(self, number: int) -> Any:
        """The body as a solid, None if it is none."""
        if number not in self.solids:
            body = self.bodies[number]
            is_sheet = _encloses_nothing(body.vertices, body.faces)
            self.solids[number] = None if is_sheet else _solid(body.vertices, body.faces)
        return self.solids[number]


def _encloses_nothing(vertices: Floats, faces: Ints) -> bool:
    """Is it a sheet, whose volume is that of its rounding? A union would lose it without a word."""
    none = np.zeros(len(faces), np.int64)
    area = float(facet_areas(vertices, faces).sum())
    step = float(np.spacing(np.float32(np.abs(vertices).max(initial=0.0))))
    return bool(abs(sum_by_shell(facet_volumes(vertices, faces, none), none)[0]) <= step * area)


def _holds(outer: Surface, inner: Surface) -> bool:
    return may_contain(outer, inner) and contains(outer, inner.corners[0, 0])


def _united(members: Ints, meetings: _Meetings) -> United | None:
    """The union of some bodies; None if it fails."""
    import manifold3d

    solids, moved = [], 0.0
    for number in members.tolist():
        solid = meetings.solid(number)
        if solid is None:
            return None
        if number in meetings.push:
            vertices, faces = meetings.bodies[number].vertices, meetings.bodies[number].faces
            shift = _shifts(vertices, faces, meetings.push[number])
            moved = max(moved, float(np.linalg.norm(shift, axis=1).max()))
            solid = _solid(vertices + shift, faces)
            if solid is None:
                return None
        solids.append(solid)
    whole = manifold3d.Manifold.batch_boolean(solids, manifold3d.OpType.Add)
    if whole.status() != manifold3d.Error.NoError or whole.is_empty():
        return None
    mesh = whole.to_mesh64()
    faces = np.asarray(mesh.tri_verts).astype(np.int64)
    run = np.asarray(mesh.run_index).astype(np.int64) // 3
    origin = np.array([_identity(solid) for solid in solids])
    order = np.argsort(origin)
    of_run = order[np.searchsorted(origin[order], np.asarray(mesh.run_original_id, np.int64))]
    pieces = [meetings.bodies[number] for number in members.tolist()]
    piece = np.repeat(of_run, np.diff(run))
    first = np.cumsum([0, *(len(one.row) for one in pieces[:-1])])
    row = np.concatenate([one.row for one in pieces])
    return United(
        tuple(sorted({one.body for one in pieces})),
        np.asarray(mesh.vert_properties, np.float64)[:, :3].copy(),
        faces,
        np.array([one.body for one in pieces], np.int64)[piece],
        row[first[piece] + np.asarray(mesh.face_id).astype(np.int64)],
        moved,
    )


def _identity(solid: Any) -> int:
    """The number by which faces of a union name the solid that they came from."""
    return int(np.asarray(solid.to_mesh64().run_original_id)[0])


def _solid(vertices: Floats, faces: Ints) -> Any:
    """A solid whose faces are numbered as given; None if the faces do not join as in a solid."""
    import manifold3d

    used, compact = np.unique(faces, return_inverse=True)
    mesh = manifold3d.Mesh64(
        np.ascontiguousarray(vertices[used]),
        np.ascontiguousarray(compact.reshape(-1, 3), np.uint64),
        face_id=np.arange(len(faces), dtype=np.uint64),
    )
    solid = manifold3d.Manifold(mesh)
    if solid.status() != manifold3d.Error.NoError or not solid.volume() > 0:
        return None
    return solid


def _shifts(vertices: Floats, faces: Ints, pushes: list[tuple[Ints, float]]) -> Floats:
    """(n, 3) mm, how far each vertex moves so that some faces come out by a given length.

    A vertex where faces of several directions meet moves by the shortest way that brings all out.
    """
    rows = np.concatenate([rows for rows, _ in pushes])
    length = np.concatenate([np.full(len(rows), by) for rows, by in pushes])
    corners = vertices[faces[rows]]
    normal = cross_product(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    size = np.linalg.norm(normal, axis=1)
    normal /= np.where(size > 0, size, 1.0)[:, None]
    used, vertex = np.unique(faces[rows], return_inverse=True)
    vertex, normal = vertex.ravel(), np.repeat(normal, 3, axis=0)
    by = np.repeat(length, 3)
    square, right = np.zeros((len(used), 3, 3)), np.zeros((len(used), 3))
    np.add.at(square, vertex, normal[:, :, None] * normal[:, None, :])
    np.add.at(right, vertex, normal * by[:, None])
    inverse = np.linalg.pinv(square, rcond=_SAME_WAY, hermitian=True)
    move = np.einsum("kij,kj->ki", inverse, right)
    # Where many directions meet none may be served at the price of a long way.
    most = 3 * float(by.max())
    way = np.linalg.norm(move, axis=1)
    move *= np.minimum(1.0, most / np.maximum(way, 1e-300))[:, None]
    shift = np.zeros_like(vertices)
    shift[used] = move
    return shift
