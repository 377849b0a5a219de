"""Which bodies of a part are one piece of material, and which body does each face belong to?

Bodies of one part that overlap or touch face to face are built as one piece, and are measured as
one by walls, drain and relief. The rules of assembly still look at each body on its own. A body
that is no sound solid stays by itself.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, TypeVar

import numpy as np

from lint3d.place import LeftOut, Note, Place

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from lint3d.model import Body

    Floats = NDArray[np.float64]
    Ints = NDArray[np.int64]


Told = TypeVar("Told", Place, LeftOut, Note)


@dataclass(frozen=True, eq=False, repr=False)
class Joined:
    """One piece of material made of several bodies, the largest first.

    A place or a `LeftOut` may lie on it (`of=joined`): it is told on the body whose face comes
    first.
    """

    bodies: tuple[Body, ...]
    vertices: Floats
    """(n, 3) mm"""
    faces: Ints
    """(m, 3) rows of `vertices`, out of the material"""
    body_of_face: Ints
    """(m,) which of `bodies` each face is a piece of"""
    face_in_body: Ints
    """(m,) and which of its faces"""
    coordinate_step_mm: float
    """How far coordinates may be off: by rounding, and by what joins faces that only touch"""

    def owner(self, face: int) -> tuple[Body, int]:
        """The body that a face is a piece of, and its row there."""
        return self.bodies[int(self.body_of_face[face])], int(self.face_in_body[face])

    def own_rows(self, faces: Sequence[int] | Ints, body: Body) -> Ints:
        """Rows in one body of those faces that are pieces of its own, each once, in their order."""
        rows = np.asarray(faces, np.int64)
        mine = self.face_in_body[rows[self.body_of_face[rows] == self.bodies.index(body)]]
        return mine[np.sort(np.unique(mine, return_index=True)[1])]

    def bodies_at(self, faces: Sequence[int] | Ints) -> list[Body]:
        """The bodies that any of the faces belong to, the one with the most of them first."""
        number = self.body_of_face[np.asarray(faces, np.int64)]
        count = np.bincount(number, minlength=len(self.bodies))
        return [self.bodies[i] for i in np.argsort(-count, kind="stable") if count[i]]

    def __repr__(self) -> str:
        return f"Joined({', '.join(repr(body.name) for body in self.bodies)})"

    def by_body(self, field: dict[str, Any]) -> Iterator[tuple[Body, dict[str, Any]]]:
        """A field over the joined faces (`face`, with a row of each other array), by body."""
        number = self.body_of_face[field["face"]]
        rows_of = {"face": self.face_in_body[field["face"]]}
        for i, body in enumerate(self.bodies):
            yield (
                body,
                {
                    key: rows_of.get(key, value)[number == i]
                    if np.shape(value)[:1] == number.shape
                    else value
                    for key, value in field.items()
                },
            )


def join_bodies(bodies: Sequence[Body]) -> list[Joined]:
    """Join the bodies that overlap or touch face to face; those that stand alone are in none.

    A body whose own solids share vertices or edges is a joined piece by itself.
    """
    parted = [_may_be_parted(body) for body in bodies]
    if len(bodies) < 2 and not any(parted):
        return []
    from lint3d.geometry.uniting import Material, unite

    found = []
    materials = [Material(b.vertices, b.faces, p) for b, p in zip(bodies, parted, strict=True)]
    for one in unite(materials):
        members = tuple(bodies[i] for i in one.members)
        step = max(body.coordinate_step_mm for body in members) + one.moved
        which = np.searchsorted(one.members, one.body)
        for array in (one.vertices, one.faces, which, one.face):
            array.setflags(write=False)
        found.append(Joined(members, one.vertices, one.faces, which, one.face, step))
    return found


def _may_be_parted(body: Body) -> bool:
    """Can the body be several solids that share vertices or edges?"""
    if not body.closed:
        return False
    outer = sum(shell.depth % 2 == 0 for shell in body.shells)
    return outer > 1 or bool((body.edges.users() > 2).any())


def on_one_body(told: Told) -> Told:
    """The same on the body whose face comes first, where it lay on a joined piece."""
    joined = told.of
    if not isinstance(joined, Joined):
        return told
    if not len(told.faces):
        return replace(told, of=joined.bodies[0])
    body, _ = joined.owner(int(told.faces[0]))
    moved = replace(told, of=body, faces=joined.own_rows(told.faces, body))
    if isinstance(moved, Place) and moved.other is None:
        others = [one for one in joined.bodies_at(told.faces) if one is not body]
        moved.other = others[0] if others else None
    return moved
