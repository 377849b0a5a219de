"""Which objects of a 3MF are built, how often, and where?

Each build item is followed down to the meshes of its components; each mesh so found is a part, with
all transforms on the way applied. A transform that mirrors turns the triangles round, so that what
was outside stays outside (a mirrored part is still a part). Objects are looked at as the build says:
those of the types support and solidsupport are no part of the model and are noted; surface and other
have no inside, and a fault says that they were not inspected.
Guarded by tests/readers/test_threemf_build.py.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lint3d.errors import UnreadableFile
from lint3d.model import ReadPart
from lint3d.readers import ReadLimits
from lint3d.readers.faultlist import FaultList, Kind
from lint3d.readers.threemf_mesh import ThreeMfProvenance, UsableMesh
from lint3d.readers.threemf_model import Model, ModelObject, Reference

#: More instances than this are taken for an attack.
MAX_INSTANCES = 100_000
EXPORT_AGAIN = "Export the file again, or tell the maker of the program that wrote it."
NO_OBJECT = Kind("reference", "to an object that is not there, left out", EXPORT_AGAIN)
CYCLE = Kind("component", "that leads back to the object it belongs to, left out",
             "Take the object out of its own components.")
NOT_SOLID = Kind("object", "of type surface or other in the build; it has no inside and was not "
                 "inspected", "Give the object the type model, or take it out of the build.")
OTHER_ITEM = Kind("build item", "that is an object of type other, which must not be built",
                  "Give the object the type model, or take it out of the build.")
EMPTY = Kind("object", "without a triangle", "Delete the object, or export it again.")

Key = tuple[str, int]


@dataclass(frozen=True, eq=False)
class Instance:
    """A mesh somewhere."""

    key: Key
    matrix: NDArray[np.float64] | None
    """(4, 3), None for "as it is"."""


class Build:
    """Objects of all model members, and what the build makes of them."""

    def __init__(self, models: dict[str, Model], root: str, faults: FaultList) -> None:
        self._faults = faults
        self._objects: dict[Key, ModelObject] = {
            (member, identifier): made
            for member, model in models.items()
            for identifier, made in model.objects.items()
        }
        self._root = root
        items = models[root].items
        if not items:
            items = self._everything(models[root])
        self._items = [item for item in items if self._target(item, root) is not None]
        self._order = self._acyclic_order()

    def instances(
        self, face_count: dict[Key, int], limits: ReadLimits
    ) -> Iterator[Instance]:
        """Every mesh that is built, in the order of the build.

        Raises
        ------
        UnreadableFile : more faces or instances than are allowed
        """
        self._check_counts(face_count, limits)
        for item in self._items:
            stack = [Instance(self._key(item, self._root), item.matrix)]
            while stack:
                one = stack.pop()
                made = self._objects[one.key]
                if made.vertices is not None:
                    yield one
                inner = [
                    Instance(self._key(part, made.member), _product(part.matrix, one.matrix))
                    for part in made.components
                ]
                stack.extend(reversed(inner))

    def left_over(self) -> list[str]:
        """Names of objects that are neither built nor a component of another."""
        used = {self._key(item, self._root) for item in self._items}
        for made in self._objects.values():
            used |= {self._key(part, made.member) for part in made.components}
        return [made.shown for key, made in self._objects.items() if key not in used]

    def built(self) -> set[Key]:
        """Every object that is built, directly or as a component."""
        return set(self._order)

    def object(self, key: Key) -> ModelObject:
        """An object."""
        return self._objects[key]

    def _everything(self, root: Model) -> list[Reference]:
        self._faults.add(
            "has a build without items, so nothing of it would be printed; its objects were "
            "inspected where they stand.",
            "Put the objects on the plate before exporting.",
        )
        inner = {
            self._key(part, made.member)
            for made in self._objects.values()
            for part in made.components
        }
        return [
            Reference(made.id, None, None, made.where)
            for made in root.objects.values()
            if (made.member, made.id) not in inner and made.type == "model"
        ]

    def _key(self, reference: Reference, member: str) -> Key:
        return (reference.path or member, reference.object_id)

    def _target(self, reference: Reference, member: str) -> ModelObject | None:
        made = self._objects.get(self._key(reference, member))
        if made is None:
            self._faults.count(NO_OBJECT, reference.where)
        return made

    def _acyclic_order(self) -> list[Key]:
        """Built objects, components before what they belong to; components that lead back are cut."""
        order: list[Key] = []
        state: dict[Key, bool] = {}  # False: open, True: done
        for item in self._items:
            stack = [self._key(item, self._root)]
            while stack:
                key = stack[-1]
                if key in state:
                    stack.pop()
                    if not state[key]:
                        state[key] = True
                        order.append(key)
                    continue
                state[key] = False
                made = self._objects[key]
                made.components = [
                    part for part in made.components if self._leads_on(part, made, state)
                ]
                for part in made.components:
                    inner = self._key(part, made.member)
                    if inner not in state:
                        stack.append(inner)
        return order

    def _leads_on(self, part: Reference, made: ModelObject, state: dict[Key, bool]) -> bool:
        if self._target(part, made.member) is None:
            return False
        if state.get(self._key(part, made.member)) is False:
            self._faults.count(CYCLE, part.where)
            return False
        return True

    def _check_counts(self, face_count: dict[Key, int], limits: ReadLimits) -> None:
        """Count before anything is copied: components of components multiply."""
        faces: dict[Key, int] = {}
        steps: dict[Key, int] = {}
        for key in self._order:
            made = self._objects[key]
            inner = [self._key(part, made.member) for part in made.components]
            faces[key] = face_count.get(key, 0) + sum(faces[one] for one in inner)
            steps[key] = 1 + sum(steps[one] for one in inner)
        keys = [self._key(item, self._root) for item in self._items]
        for what, total, allowed, setting in (
            ("triangles", sum(faces[key] for key in keys), limits.faces, " (setting read.faces)"),
            ("objects", sum(steps[key] for key in keys), MAX_INSTANCES, ""),
        ):
            if total > allowed:
                raise UnreadableFile(
                    f"builds {total if total < 1e15 else 'over 1e15'} {what}, counting each "
                    f"instance; {allowed} are allowed{setting}.",
                    "Build fewer instances at a time; one of each is enough to be inspected.",
                )


def placed_part(one: Instance, made: ModelObject, mesh: UsableMesh) -> ReadPart:
    """A mesh at its place."""
    vertices, faces = mesh.vertices, mesh.faces
    notes: dict[str, Any] = {}
    if one.matrix is not None:
        vertices = vertices @ one.matrix[:3] + one.matrix[3]
        if np.linalg.det(one.matrix[:3]) < 0:
            faces = np.ascontiguousarray(faces[:, ::-1])
            notes["mirrored"] = True
    provenance = ThreeMfProvenance(made.member, str(made.id))
    return ReadPart(made.name, vertices, faces, provenance, facet=mesh.rows, notes=notes)


def _product(
    inner: NDArray[np.float64] | None, outer: NDArray[np.float64] | None
) -> NDArray[np.float64] | None:
    """First the inner transform, then the outer one: points are rows."""
    if inner is None or outer is None:
        return outer if inner is None else inner
    moved = inner @ outer[:3]
    moved[3] += outer[3]
    return moved
