"""Which member of the archive is the model, and do the package's own tables fit?

The Open Packaging Conventions (ISO/IEC 29500-2): `[Content_Types].xml` says what each member is,
`_rels/.rels` names the start part. A table that is missing or wrong is a fault as long as the model
can be found all the same. Guarded by tests/readers/test_threemf_package.py.
"""

from __future__ import annotations

import posixpath
from dataclasses import dataclass

from lint3d.errors import UnreadableFile
from lint3d.model import Region
from lint3d.readers.faultlist import FaultList, Kind
from lint3d.readers.threemf_archive import Archive, MissingMember
from lint3d.readers.threemf_xml import XmlSource, parse

CONTENT_TYPES = "[Content_Types].xml"
ROOT_RELATIONSHIPS = "_rels/.rels"
USUAL_MODEL = "3D/3dmodel.model"
_TYPES_NS = "http://schemas.openxmlformats.org/package/2006/content-types"
_RELATIONSHIPS_NS = "http://schemas.openxmlformats.org/package/2006/relationships"
MODEL_TYPE = "application/vnd.ms-package.3dmanufacturing-3dmodel+xml"
RELATIONSHIPS_TYPE = "application/vnd.openxmlformats-package.relationships+xml"
MODEL_RELATIONSHIP = "http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel"
TEXTURE_RELATIONSHIP = "http://schemas.microsoft.com/3dmanufacturing/2013/01/3dtexture"
THUMBNAIL_RELATIONSHIP = (
    "http://schemas.openxmlformats.org/package/2006/relationships/metadata/thumbnail"
)
PICTURE_RELATIONSHIPS = frozenset({TEXTURE_RELATIONSHIP, THUMBNAIL_RELATIONSHIP})
EXPORT_AGAIN = "Export the file again."

UNKNOWN = Kind("element", "foreign to a package's tables", EXPORT_AGAIN)
DOUBLE = Kind("relationship", "whose Id or whose type and target another one has too", EXPORT_AGAIN)
NO_TARGET = Kind("relationship", "to a member that the archive does not have", EXPORT_AGAIN)
RELATIVE = Kind(
    "relationship",
    "whose target lacks the '/' at its beginning, which not every program reads",
    EXPORT_AGAIN,
)
DOUBLE_TYPE = Kind("content type", "stated twice for the same name or suffix", EXPORT_AGAIN)


@dataclass(frozen=True)
class Relationship:
    """One line of a relationships part."""

    id: str
    type: str
    target: str
    external: bool
    where: Region


def start_model(archive: Archive, faults: FaultList) -> str:
    """Name of the member that holds the model.

    Raises
    ------
    UnreadableFile : there is none
    """
    types = _content_types(archive, faults)
    relationships = read_relationships(archive, "", faults)
    name = _start_part(archive, relationships, faults)
    if types is not None:
        _check_types(types, name, faults)
    return name


def related_members(archive: Archive, member: str, faults: FaultList) -> dict[str, set[str]]:
    """Members that a member's own relationships name, with the types of these relationships."""
    found: dict[str, set[str]] = {}
    for one in read_relationships(archive, member, faults) or []:
        if one.external:
            continue
        try:
            name = archive.find(_resolved(one.target, member), one.where)
        except MissingMember:
            if one.type == MODEL_RELATIONSHIP or one.type in PICTURE_RELATIONSHIPS:
                faults.count(NO_TARGET, one.where)
        else:
            found.setdefault(name, set()).add(one.type)
    return found


def relationships_of(member: str) -> str:
    """Path of the part that holds a member's relationships; "" is the package itself.

    Examples
    --------
    >>> relationships_of("3D/3dmodel.model"), relationships_of("")
    ('3D/_rels/3dmodel.model.rels', '_rels/.rels')
    """
    folder, name = posixpath.split(member)
    return posixpath.join(folder, "_rels", f"{name}.rels")


def read_relationships(
    archive: Archive, member: str, faults: FaultList
) -> list[Relationship] | None:
    """Relationships of a member, None if there is no such part or it cannot be read."""
    path = relationships_of(member)
    try:
        name = archive.find(path, Region(member=path))
    except MissingMember:
        return None
    handler = _Relationships(faults)
    try:
        parse(archive.read(name), name, handler, faults)
    except UnreadableFile as error:
        faults.add(error.message, error.remedy, Region(member=name))
        return None
    met: set[str | tuple[str, str]] = set()
    for one in handler.found:
        marks: set[str | tuple[str, str]] = {one.id, (one.type, one.target)}
        if met & marks:
            faults.count(DOUBLE, one.where)
        met |= marks
    return handler.found


def _start_part(
    archive: Archive, relationships: list[Relationship] | None, faults: FaultList
) -> str:
    """The one start part; a fault and the usual name if the relationships do not tell."""
    where = Region(member=ROOT_RELATIONSHIPS)
    if relationships is None and ROOT_RELATIONSHIPS not in archive:
        faults.add(f"has no {ROOT_RELATIONSHIPS}, which names the model.", EXPORT_AGAIN, where)
    models = [one for one in relationships or [] if one.type == MODEL_RELATIONSHIP]
    models = [one for one in models if not one.external]
    _check_targets(archive, relationships or [], faults)
    if relationships is not None and not models:
        faults.add(f"names no model in {ROOT_RELATIONSHIPS}.", EXPORT_AGAIN, where)
    if len(models) > 1:
        faults.add(
            f"names {len(models)} models in {ROOT_RELATIONSHIPS}; the first was read.",
            EXPORT_AGAIN,
            where,
        )
    for target in [*(_resolved(one.target, "") for one in models[:1]), USUAL_MODEL]:
        try:
            return archive.find(target, where)
        except MissingMember:
            continue
    target = _resolved(models[0].target, "") if models else USUAL_MODEL
    raise faults.unreadable(f"has no member {target}, which should hold the model.", EXPORT_AGAIN)


def _check_targets(archive: Archive, relationships: list[Relationship], faults: FaultList) -> None:
    for one in relationships:
        where = one.where
        if one.external or one.type not in (MODEL_RELATIONSHIP, THUMBNAIL_RELATIONSHIP):
            continue
        if not one.target.startswith("/"):
            faults.count(RELATIVE, where)
        try:
            archive.find(_resolved(one.target, ""), where)
        except MissingMember:
            faults.count(NO_TARGET, where)


def _resolved(target: str, source: str) -> str:
    """A target as a member's path, seen from the member that it stands in."""
    if target.startswith("/"):
        return target[1:]
    return posixpath.normpath(posixpath.join(posixpath.dirname(source), target)).lstrip("./")


@dataclass(frozen=True)
class _Types:
    by_suffix: dict[str, str]
    by_name: dict[str, str]

    def of(self, member: str) -> str | None:
        suffix = member.rpartition("/")[2].rpartition(".")[2].lower()
        return self.by_name.get("/" + member) or self.by_suffix.get(suffix)


def _content_types(archive: Archive, faults: FaultList) -> _Types | None:
    """The table of content types, None (with a fault) if it cannot be had."""
    try:
        name = archive.find(CONTENT_TYPES, Region(member=CONTENT_TYPES))
    except MissingMember:
        faults.add(f"has no {CONTENT_TYPES}, which every 3MF has.", EXPORT_AGAIN)
        return None
    handler = _ContentTypes(faults)
    try:
        parse(archive.read(name), name, handler, faults)
    except UnreadableFile as error:
        faults.add(error.message, error.remedy, Region(member=name))
        return None
    return handler.types


def _check_types(types: _Types, model: str, faults: FaultList) -> None:
    for member, expected in ((model, MODEL_TYPE), (ROOT_RELATIONSHIPS, RELATIONSHIPS_TYPE)):
        if types.of(member) != expected:
            faults.add(
                f"does not state in {CONTENT_TYPES} that {member} is {expected}.",
                EXPORT_AGAIN,
                Region(member=CONTENT_TYPES),
            )


class _Table:
    """Two levels of elements in one namespace."""

    namespace = ""
    root = ""
    source: XmlSource

    def __init__(self, faults: FaultList) -> None:
        self._faults, self._depth = faults, 0

    def start(self, tag: str, attributes: dict[str, str]) -> None:
        self._depth += 1
        namespace, _, name = tag.rpartition(" ")
        known = namespace == self.namespace and (
            name == self.root
            if self._depth == 1
            else self._depth == 2 and self.row(name, attributes)
        )
        if not known:
            self._faults.count(UNKNOWN, self.source.here)

    def end(self, tag: str) -> None:
        self._depth -= 1

    def row(self, name: str, attributes: dict[str, str]) -> bool:
        raise NotImplementedError


class _Relationships(_Table):
    namespace, root = _RELATIONSHIPS_NS, "Relationships"

    def __init__(self, faults: FaultList) -> None:
        super().__init__(faults)
        self.found: list[Relationship] = []

    def row(self, name: str, attributes: dict[str, str]) -> bool:
        external = attributes.get("TargetMode", "Internal") == "External"
        values = [attributes.get(key, "") for key in ("Id", "Type", "Target")]
        if name != "Relationship":
            return False
        self.found.append(Relationship(values[0], values[1], values[2], external, self.source.here))
        return all(values)


class _ContentTypes(_Table):
    namespace, root = _TYPES_NS, "Types"

    def __init__(self, faults: FaultList) -> None:
        super().__init__(faults)
        self.types = _Types({}, {})

    def row(self, name: str, attributes: dict[str, str]) -> bool:
        if name == "Default":
            table, key = self.types.by_suffix, attributes.get("Extension", "").lower()
        elif name == "Override":
            table, key = self.types.by_name, attributes.get("PartName", "")
        else:
            return False
        if key in table:
            self._faults.count(DOUBLE_TYPE, self.source.here)
        table.setdefault(key, attributes.get("ContentType", ""))
        return bool(key)
