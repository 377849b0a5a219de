"""Which objects of a 3MF are built, how often, and where?

Each build item is followed down to the meshes of its components; each mesh so found is a part, with
all transforms on the way applied. A transform that mirrors turns the triangles round, so that what
was outside stays outside (a mirrored part is still a part). Only objects of type model are
inspected: support and solidsupport are told as information; a surface has no inside, and an object
of type other must not be built on its own (inside of another it is part of that), so both are
faults.
Guarded by tests/readers/test_threemf_build.py.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lint3d.errors import UnreadableFile
from lint3d.model import ReadPart
from lint3d.readers import ReadLimits
from lint3d.readers.faultlist import FaultList, Kind
from lint3d.readers.threemf_mesh import ThreeMfProvenance, UsableMesh
from lint3d.readers.threemf_model import Model, ModelObject, Reference
from lint3d.readers.threemf_resources import NO_OBJECT

#: More instances than this are taken for an attack.
MAX_INSTANCES = 100_000
EXPORT_AGAIN = "Export the file again, or tell the maker of the program that wrote it."
SUPPORT = Kind(
    "object",
    "of type support or solidsupport, which {is} no part of the model and {was} not inspected",
    "Nothing need be done.",
    harmless=True,
)
NOT_BUILT = Kind(
    "object",
    "that {is} not in the build and {was} not inspected on its own",
    "Put it on the plate if it is to be inspected.",
    harmless=True,
)
MIRRORED = Kind(
    "instance",
    "that {its} transform mirrors; {its} triangles were turned round, so that "
    "outside stays outside",
    "Nothing need be done if a mirrored part is meant.",
    harmless=True,
)
CYCLE = Kind(
    "component",
    "leading back to the object that it belongs to, left out",
    "Take the object out of its own components.",
)
NOT_SOLID = Kind(
    "object",
    "of type surface in the build, without an inside, not inspected",
    "Give the object the type model, or take it out of the build.",
)
OTHER_ITEM = Kind(
    "build item",
    "of an object of type other, which must not be built and was not inspected",
    "Give the object the type model, or take it out of the build.",
)
EMPTY = Kind("object", "without a triangle", "Delete the object, or export it again.")

Key = tuple[str, int]


@dataclass(frozen=True, eq=False)
class Instance:
    """A mesh somewhere."""

    key: Key
    matrix: NDArray[np.float64] | None
    """(4, 3), None for "as it is"."""
    is_solid: bool
    """Is it of type model, or of type other inside of one that is?"""


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
        if not models[root].item_count:
            items = self._everything(models[root])
        self._items = [item for item in items if self._target(item, root) is not None]
        self._order = self._acyclic_order()

    def instances(self, face_count: dict[Key, int], limits: ReadLimits) -> Iterator[Instance]:
        """Every mesh that is built, in the order of the build.

        Raises
        ------
        UnreadableFile : more faces or instances than are allowed
        """
        self._check_counts(face_count, limits)
        for item in self._items:
            top = self._key(item, self._root)
            inside = self._objects[top].type == "model"
            stack = [Instance(top, item.matrix, inside)]
            while stack:
                one = stack.pop()
                made = self._objects[one.key]
                if made.vertices is not None:
                    yield one
                inner = [self._inner(part, made, one, inside) for part in made.components]
                stack.extend(reversed(inner))

    def _inner(self, part: Reference, made: ModelObject, outer: Instance, inside: bool) -> Instance:
        key = self._key(part, made.member)
        kind = self._objects[key].type
        is_solid = kind == "model" or (kind == "other" and inside)
        return Instance(key, _product(part.matrix, outer.matrix), is_solid)

    def left_over(self) -> list[ModelObject]:
        """Objects of type model that are neither built nor a component of another."""
        used = {self._key(item, self._root) for item in self._items}
        for made in self._objects.values():
            used |= {self._key(part, made.member) for part in made.components}
        return [
            made for key, made in self._objects.items() if key not in used and made.type == "model"
        ]

    def built(self) -> set[Key]:
        """Every object that is built, directly or as a component."""
        return set(self._order)

    def find(self, reference: Reference, member: str) -> ModelObject | None:
        """The object that is referred to from a member, if it is there."""
        return self._objects.get(self._key(reference, member))

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
        made = self.find(reference, member)
        if made is None and reference.path is not None:  # the others were told by their model
            self._faults.count(NO_OBJECT, reference.where)
        return made

    def _acyclic_order(self) -> list[Key]:
        """Built objects, components before what they belong to; those that lead back are cut."""
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


def placed_part(one: Instance, made: ModelObject, mesh: UsableMesh, faults: FaultList) -> ReadPart:
    """A mesh at its place."""
    vertices, faces = mesh.vertices, mesh.faces
    if one.matrix is not None:
        # Column by column: a matrix product may round equal rows differently.
        x, y, z = vertices.T[:, :, None]
        vertices = x * one.matrix[0] + y * one.matrix[1] + z * one.matrix[2] + one.matrix[3]
        if np.linalg.slogdet(one.matrix[:3])[0] < 0:
            faces = np.ascontiguousarray(faces[:, ::-1])
            faults.count(MIRRORED, made.region)
    provenance = ThreeMfProvenance(made.member, str(made.id))
    return ReadPart(made.name, vertices, faces, provenance, facet=mesh.rows)


def _product(
    inner: NDArray[np.float64] | None, outer: NDArray[np.float64] | None
) -> NDArray[np.float64] | None:
    """First the inner transform, then the outer one: points are rows."""
    if inner is None or outer is None:
        return outer if inner is None else inner
    moved = inner @ outer[:3]
    moved[3] += outer[3]
    return moved
