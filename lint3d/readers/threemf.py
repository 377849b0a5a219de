"""What does a 3MF hold?

3MF Core Specification 1.4 with the production extension's parts in other members. Lengths in the
unit that the model states (millimeter if none). One part for each mesh that the build places. Not
read: beam lattices, slices and whatever else another extension adds to the shape; a fault says so.
The steps: archive, package, models, meshes, build (`threemf_*.py`).
Guarded by tests/readers/test_threemf*.py and, against lib3mf in strict mode,
tests/outside/test_3mf_strict.py.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from lint3d.errors import UnreadableFile
from lint3d.model import Reading, ReadPart, Region
from lint3d.readers import ReadLimits
from lint3d.readers import threemf_terms as terms
from lint3d.readers.faultlist import FaultList, Kind
from lint3d.readers.plausible import COORDINATE_MAX
from lint3d.readers.threemf_archive import Archive, MissingMember
from lint3d.readers.threemf_attributes import Uuids
from lint3d.readers.threemf_build import (
    EMPTY,
    NOT_BUILT,
    NOT_SOLID,
    OTHER_ITEM,
    SUPPORT,
    Build,
    Key,
    placed_part,
)
from lint3d.readers.threemf_document import read_model
from lint3d.readers.threemf_mesh import UsableMesh, tell_split_vertices, usable_mesh
from lint3d.readers.threemf_model import Model, Reference
from lint3d.readers.threemf_package import (
    MODEL_RELATIONSHIP,
    PICTURE_RELATIONSHIPS,
    related_members,
    start_model,
)
from lint3d.units import length_factor

EXPORT_AGAIN = "Export the file again, or tell the maker of the program that wrote it."
NO_PART = Kind("reference", "to a model member that is not there, left out", EXPORT_AGAIN)
UNRELATED = Kind(
    "reference", "to a member that the model's relationships do not name", EXPORT_AGAIN
)
NESTED_PATH = Kind(
    "reference",
    "from one model member to another that is not the first, which the "
    "production extension forbids",
    EXPORT_AGAIN,
)
NO_UUID = Kind("element", "without the UUID that the production extension requires", EXPORT_AGAIN)
NO_THUMBNAIL = Kind("thumbnail", "that {is} not in the archive", EXPORT_AGAIN)
NO_TEXTURE = Kind("texture", "that {is} not in the archive (the shape was inspected)", EXPORT_AGAIN)
_SUPPORTS = ("support", "solidsupport")


class ThreeMfReader:
    """3MF."""

    name = "3mf"
    suffixes: tuple[str, ...] = (".3mf",)

    def claims(self, head: bytes, suffix: str, length: int) -> float:
        """A ZIP archive, or whatever else is called .3mf."""
        is_zip = head.startswith(b"PK")
        if suffix == ".3mf":
            return 1.0 if is_zip else 0.5
        return 0.4 if is_zip and (b"3D/" in head or b"[Content_Types].xml" in head) else 0.0

    def read(self, data: bytes | memoryview, limits: ReadLimits) -> Reading:
        """Read the whole file.

        Raises
        ------
        UnreadableFile : no archive, no model, broken XML, bounds exceeded, nothing to inspect
        """
        faults = FaultList()
        archive = Archive(bytes(data), limits, faults)
        root = start_model(archive, faults)
        models = _models(archive, root, limits, faults)
        build_uuid = models[root].build_without_uuid
        if build_uuid is not None:  # the build of another member is not looked at
            models[root].without_uuid.append(build_uuid)
        for model in models.values():
            _tell_extensions(model, faults)
            _tell_pictures(model, archive, faults)
        meshes = {
            (member, made.id): usable_mesh(made, faults)
            for member, model in models.items()
            for made in model.objects.values()
            if made.vertices is not None
        }
        build = Build(models, root, faults)
        _tell_objects(build, models[root], meshes, faults)
        parts = list(_parts(build, meshes, limits, faults))
        if not parts:
            raise faults.unreadable(
                "is a 3MF without a triangle that can be inspected.",
                "Export the part again and check that something was selected.",
            )
        return Reading("3MF", parts, models[root].unit, faults.faults(), archive.members)


def _models(archive: Archive, root: str, limits: ReadLimits, faults: FaultList) -> dict[str, Model]:
    """The root model and every model that is referred to from there."""
    uuids = Uuids(faults)
    models = {root: read_model(archive.read(root), root, limits, faults, uuids)}
    models[root].related = related_members(archive, root, faults)
    waiting = [root]
    while waiting:
        member = waiting.pop()
        for one in _references(models[member]):
            if one.path is None:
                continue
            if member != root:
                faults.count(NESTED_PATH, one.where)
            name = _model_member(one, archive, models[root], faults)
            if name is not None and name not in models:
                try:
                    models[name] = read_model(archive.read(name), name, limits, faults, uuids)
                    models[name].related = related_members(archive, name, faults)
                    waiting.append(name)
                    _same_unit(models[name], models[root], faults)
                except UnreadableFile as error:
                    _check_total(models, limits)
                    faults.add(error.message, error.remedy, Region(member=name))
                    models[name] = Model(name)
    return models


def _references(model: Model) -> Iterator[Reference]:
    yield from model.items
    for made in model.objects.values():
        yield from made.components


def _check_total(models: dict[str, Model], limits: ReadLimits) -> None:
    """A bound that is exceeded ends the reading; a broken member does not."""
    total = sum(len(made.triangles) for one in models.values() for made in one.objects.values())
    if total > limits.faces:
        raise UnreadableFile(
            f"has {total} triangles; the setting read.faces allows {limits.faces}.",
            "Raise the setting, or export the part with a coarser tolerance.",
        )


def _model_member(one: Reference, archive: Archive, root: Model, faults: FaultList) -> str | None:
    """The member that a path names; the reference is made to name it as the archive does."""
    try:
        name = archive.find((one.path or "").removeprefix("/"), one.where)
    except MissingMember:
        faults.count(NO_PART, one.where)
        return None
    if MODEL_RELATIONSHIP not in root.related.get(name, ()) or not (one.path or "").startswith("/"):
        faults.count(UNRELATED, one.where)
    one.path = name
    return name


def _same_unit(model: Model, root: Model, faults: FaultList) -> None:
    """Bring a model member to the unit of the root."""
    if model.unit == root.unit:
        return
    factor = length_factor(model.unit) / length_factor(root.unit)
    faults.add(
        f"has a model member, {model.member}, in {model.unit} while the first is in {root.unit}; "
        "its lengths were converted.",
        "Export all in one unit.",
        Region(member=model.member),
    )
    for made in model.objects.values():
        if made.vertices is not None:
            made.vertices = made.vertices * factor
        for one in made.components:
            if one.matrix is not None:
                one.matrix[3] *= factor


def _tell_extensions(model: Model, faults: FaultList) -> None:
    """What another extension adds was not inspected."""
    for uri in model.required:
        if uri not in terms.READ_EXTENSIONS:
            faults.add(
                f"requires an extension of 3MF that is not read here "
                f"({terms.EXTENSION_NAMES.get(uri, uri)}); what it adds was not inspected.",
                "Export the part as a plain mesh.",
                Region(member=model.member),
            )
    for made in model.objects.values():
        for uri in sorted(made.extensions - set(model.required)):
            faults.add(
                f"has parts of an extension that is not read here "
                f"({terms.EXTENSION_NAMES.get(uri, uri)}) in {made.shown}; they were not "
                "inspected.",
                "Export the part as a plain mesh.",
                made.region,
                harmless=uri not in terms.SHAPE_EXTENSIONS and made.vertices is not None,
            )
    if model.uses_paths or terms.PRODUCTION in model.required:
        for region in model.without_uuid:
            faults.count(NO_UUID, region)


def _tell_pictures(model: Model, archive: Archive, faults: FaultList) -> None:
    """Thumbnails and textures are in the archive, and textures are related to the model."""
    for kind, paths in ((NO_THUMBNAIL, model.thumbnails), (NO_TEXTURE, model.textures)):
        for path, region in paths:
            try:
                name = archive.find(path.removeprefix("/"), region)
            except MissingMember:
                faults.count(kind, region)
                continue
            if not PICTURE_RELATIONSHIPS & model.related.get(name, set()):
                faults.count(UNRELATED, region)


def _tell_objects(
    build: Build, root: Model, meshes: dict[Key, UsableMesh], faults: FaultList
) -> None:
    """What is wrong with whole objects, or worth knowing."""
    for key in sorted(build.built()):
        made = build.object(key)
        if made.type in _SUPPORTS:
            faults.count(SUPPORT, made.region)
        elif made.vertices is not None and made.type == "surface":
            faults.count(NOT_SOLID, made.region)
        elif made.vertices is None and not made.components:
            faults.count(EMPTY, made.region)
    for item in root.items:
        if (target := build.find(item, root.member)) and target.type == "other":
            faults.count(OTHER_ITEM, item.where)
    for key, mesh in meshes.items():
        made = build.object(key)
        if len(made.triangles) == 0 and not made.extensions:
            faults.count(EMPTY, made.region)
        tell_split_vertices(made, mesh, faults)
    for made in build.left_over():
        faults.count(NOT_BUILT, made.region)


def _parts(
    build: Build, meshes: dict[Key, UsableMesh], limits: ReadLimits, faults: FaultList
) -> Iterator[ReadPart]:
    for one in build.instances({key: len(mesh.faces) for key, mesh in meshes.items()}, limits):
        made = build.object(one.key)
        mesh = meshes[one.key]
        if not one.is_solid or len(mesh.faces) == 0:
            continue
        part = placed_part(one, made, mesh, faults)
        reach = float(np.abs(part.vertices).max())
        if not reach <= COORDINATE_MAX:
            faults.add(
                f"places {made.shown} further than {COORDINATE_MAX:.0e} units from the origin; it "
                "was left out.",
                "Check the transforms of the build.",
                made.region,
            )
            continue
        yield part
