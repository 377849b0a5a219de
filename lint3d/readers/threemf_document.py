"""What does one model member of a 3MF say? (reading it)

Goes through the XML once, keeps objects, components and build items, and counts whatever the Core
Specification 1.4 does not allow. Only broken XML, or a document that is no 3MF model at all, ends
it.
Guarded by tests/readers/test_threemf_document.py.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any

from numpy.typing import NDArray

from lint3d.errors import UnreadableFile
from lint3d.model import Region
from lint3d.readers import ReadLimits
from lint3d.readers import threemf_terms as terms
from lint3d.readers.faultlist import FaultList, Kind
from lint3d.readers.threemf_attributes import (
    UNKNOWN_ATTRIBUTE,
    UNKNOWN_ELEMENT,
    Uuids,
    check_colour,
    check_material,
    has_unknown_attribute,
)
from lint3d.readers.threemf_bulk import Block, blocks, read_block
from lint3d.readers.threemf_lists import MeshLists
from lint3d.readers.threemf_model import Model, ModelObject, Reference
from lint3d.readers.threemf_numbers import IDENTITY, integer, is_flat, transform
from lint3d.readers.threemf_resources import Resources
from lint3d.readers.threemf_xml import XmlSource, tell_encoding

EXPORT_AGAIN = "Export the file again, or tell the maker of the program that wrote it."
TWICE = Kind("element", "that may stand there only once", EXPORT_AGAIN)
BAD_MATRIX = Kind(
    "transform",
    "of other than twelve finite numbers; what it belongs to was left out",
    EXPORT_AGAIN,
)
FLAT_MATRIX = Kind(
    "transform",
    "pressing its object flat; the object was left out",
    "Scale no direction to zero, and export again.",
)
BAD_REFERENCE = Kind("reference", "without a usable object id, left out", EXPORT_AGAIN)
BAD_TYPE = Kind("object", "of a type that 3MF does not have, taken for a model", EXPORT_AGAIN)
NO_CONTENT = Kind("object", "without a mesh or components", EXPORT_AGAIN)
COMPONENTS_PROPERTY = Kind("object", "of components with a property of its own", EXPORT_AGAIN)
EARLY_TRIANGLES = Kind("mesh", "whose triangles stand before its vertices", EXPORT_AGAIN)
EARLY_BUILD = Kind("build", "before the resources", EXPORT_AGAIN)
BAD_METADATA = Kind("metadata entry", "whose name is missing, repeated or unknown", EXPORT_AGAIN)
INNER_NAMESPACE = Kind(
    "namespace",
    "declared inside of the model instead of at its root element, which not every program reads",
    EXPORT_AGAIN,
)
UNDECLARED = Kind("required extension", "whose prefix is not declared", EXPORT_AGAIN)
CHARACTER_REFERENCE = Kind(
    "character reference",
    "(&#…;), which not every program reads",
    "Write the letter itself, in UTF-8.",
)
BROKEN_MATRIX = Kind(
    "transform",
    "with a tab or a line end inside, which not every program reads",
    "Separate its numbers by spaces.",
)
_REFUSED = {
    CHARACTER_REFERENCE: re.compile(rb"&#"),
    BROKEN_MATRIX: re.compile(rb"transform\s*=\s*[\"'][^\"'<>]*[\t\r\n]"),
}


def read_model(
    content: bytes, member: str, limits: ReadLimits, faults: FaultList, uuids: Uuids
) -> Model:
    """Read one model member. `uuids` are those met before in the package.

    Raises
    ------
    UnreadableFile : broken XML, no 3MF model, too many triangles
    """
    handler = _ModelHandler(member, limits, faults, uuids)
    source = XmlSource(member, handler, faults)
    source.on_namespace(handler.namespace)
    tell_encoding(content, member, faults)
    view = memoryview(content)
    at = 0
    for block in blocks(content):
        _feed(source, view[at : block.start], faults)
        at = block.start
        if handler.list_at == block.tag:
            at = _feed_block(content, block, handler, source)
    _feed(source, view[at:], faults, True)
    handler.finish()
    return handler.model


def _feed(source: XmlSource, piece: memoryview, faults: FaultList, is_last: bool = False) -> None:
    """What XML 1.0 allows, but the reference reader of 3MF refuses, is told from the raw text."""
    raw = bytes(piece)
    for kind, pattern in _REFUSED.items():
        places = [found.start() for found in pattern.finditer(raw)]
        if places:
            line = source.next_line + raw.count(b"\n", 0, places[0])
            faults.count(kind, Region(member=source.member, start_line=line), len(places))
    source.feed(piece, is_last)


def _feed_block(content: bytes, block: Block, handler: _ModelHandler, source: XmlSource) -> int:
    """Take a list that can be read quickly; up to which byte was it taken?"""
    chunks: list[NDArray[Any]] = []
    for chunk in read_block(content, block):
        if chunk is None:
            return block.start
        chunks.append(chunk)
        handler.lists.check_count(sum(map(len, chunks)))
    handler.lists.take(chunks, are_vertices=block.is_vertices)
    source.skip(block.end - block.start, content.count(b"\n", block.start, block.end))
    return block.end


class _ModelHandler:
    """Told by expat what stands in the model."""

    source: XmlSource

    def __init__(self, member: str, limits: ReadLimits, faults: FaultList, uuids: Uuids) -> None:
        self.model = Model(member)
        self.lists = MeshLists(member, limits.faces, faults)
        self.list_at = -1
        """Byte of the opening tag, if that of a list was the last thing told."""
        self._faults, self._uuids = faults, uuids
        self._resources = Resources(faults)
        self._path: list[str | None] = []
        """Tags of the open elements; None inside of something that is passed over."""
        self._prefixes: dict[str | None, str | None] = {}
        self._seen: set[str] = set()
        self._metadata: set[str] = set()
        self._object: ModelObject | None = None
        self._starts: dict[str, Callable[[dict[str, str]], None]] = {
            terms.MODEL: self._model,
            terms.RESOURCES: self._start_resources,
            terms.BUILD: self._build,
            terms.METADATA: self._one_metadata,
            terms.OBJECT: self._start_object,
            terms.MESH: self._start_mesh,
            terms.COMPONENTS: self._components,
            terms.COMPONENT: self._component,
            terms.VERTICES: self._start_vertices,
            terms.TRIANGLES: self._start_triangles,
            terms.VERTEX: lambda found: self.lists.add_vertex(found, self._in_object),
            terms.TRIANGLE: lambda found: self.lists.add_triangle(found, self._in_object),
            terms.ITEM: self._item,
        }

    # What expat tells

    def start(self, tag: str, attributes: dict[str, str]) -> None:
        """An element begins."""
        parent = self._path[-1] if self._path else ""
        self.list_at = -1
        if parent is None:
            self._path.append(None)
        elif tag in terms.CHILDREN.get(parent, ()):
            self._path.append(tag)
            if has_unknown_attribute(tag, attributes):
                self._faults.count(UNKNOWN_ATTRIBUTE, self.source.here)
            if parent == terms.RESOURCES:
                self._resources.start(tag, attributes, self.source.here)
            elif parent == terms.BASE_MATERIALS:
                self._resources.member()
                check_colour(attributes, self.source.here, self._faults)
            if tag in self._starts:
                self._starts[tag](attributes)
        elif not self._path:
            raise self._no_model(tag)
        else:
            self._other(parent, tag, attributes)

    def end(self, tag: str) -> None:
        """An element ends."""
        closed = self._path.pop()
        self.list_at = -1
        if closed == terms.OBJECT:
            self._end_object()
        elif closed == terms.MESH:
            self._end_mesh()

    def namespace(self, prefix: str | None, uri: str | None) -> None:
        """A namespace is declared."""
        if self._path:
            self._faults.count(INNER_NAMESPACE, self.source.here)
        else:
            self._prefixes[prefix] = uri

    def finish(self) -> None:
        """The document has ended: what is missing?"""
        where = Region(member=self.model.member)
        for tag, name in ((terms.RESOURCES, "resources"), (terms.BUILD, "a build")):
            if tag not in self._seen:
                self._faults.add(f"has a model without {name}.", EXPORT_AGAIN, where)
        self._resources.finish()

    def _no_model(self, tag: str) -> UnreadableFile:
        namespace, _, name = tag.rpartition(" ")
        what = f"'{name}' in the namespace '{namespace}'" if namespace else f"'{name}'"
        return UnreadableFile(
            f"has a part, {self.model.member}, that is no 3MF model of the Core Specification: its "
            f"root element is {what}.",
            "Export it again with a program that writes 3MF 1.0 or later.",
            self.source.here,
        )

    def _other(self, parent: str, tag: str, attributes: dict[str, str]) -> None:
        """An element that core does not have here: of an extension, or wrong."""
        namespace, _, name = tag.rpartition(" ")
        where = self.source.here
        self._path.append(None)
        if namespace in (terms.CORE, ""):
            self._faults.count(UNKNOWN_ELEMENT, where)
            return
        if namespace == terms.MATERIALS:
            check_material(parent, name, attributes, where, self._faults)
        if parent == terms.RESOURCES:
            self._path[-1] = tag
            self._resources.start(tag, attributes, where)
            if tag == terms.TEXTURE:
                self.model.textures.append((attributes.get("path", ""), where))
        elif parent in terms.PROPERTY_GROUPS:
            self._resources.member()
        elif self._object is not None and namespace not in terms.READ_EXTENSIONS:
            self._object.extensions.add(namespace)

    def _once(self, key: str) -> None:
        if key in self._seen:
            self._faults.count(TWICE, self.source.here)
        self._seen.add(key)

    # The model's own elements

    def _model(self, attributes: dict[str, str]) -> None:
        unit = attributes.get("unit", "millimeter")
        if unit not in terms.UNITS:
            self._faults.add(
                f"states the unit '{unit[:40]}', which 3MF does not have; millimeter was assumed.",
                f"Use one of {', '.join(sorted(terms.UNITS))}.",
                self.source.here,
            )
            unit = "millimeter"
        self.model.unit = unit
        for prefix in attributes.get("requiredextensions", "").split():
            uri = self._prefixes.get(prefix)
            if uri is None:
                self._faults.count(UNDECLARED, self.source.here)
            else:
                self.model.required.append(uri)

    def _start_resources(self, attributes: dict[str, str]) -> None:
        self._once(terms.RESOURCES)

    def _build(self, attributes: dict[str, str]) -> None:
        self._once(terms.BUILD)
        if terms.RESOURCES not in self._seen:
            self._faults.count(EARLY_BUILD, self.source.here)
        if not self._uuids.note(attributes, self.source.here):
            self.model.build_without_uuid = self.source.here

    def _one_metadata(self, attributes: dict[str, str]) -> None:
        name = attributes.get("name", "")
        prefix, colon, _ = name.rpartition(":")
        in_model = len(self._path) == 2
        known = prefix in self._prefixes if colon else name in terms.METADATA_NAMES
        if not name or not known or (in_model and name in self._metadata):
            self._faults.count(BAD_METADATA, self.source.here)
        if in_model:
            self._metadata.add(name)

    # Objects

    def _start_object(self, attributes: dict[str, str]) -> None:
        where = self.source.here
        kind = attributes.get("type", "model")
        if kind not in terms.OBJECT_TYPES:
            self._faults.count(BAD_TYPE, where)
            kind = "model"
        name = " ".join(attributes.get("name", "").split()) or None
        made = ModelObject(integer(attributes.get("id")), self.model.member, name, kind, where)
        made.has_property = not attributes.keys().isdisjoint(("pid", "pindex"))
        self._object = made
        self._seen -= {terms.MESH, terms.COMPONENTS}
        self._need_uuid(attributes)
        if thumbnail := attributes.get("thumbnail"):
            self.model.thumbnails.append((thumbnail, where))
        self._resources.use(attributes.get("pid"), attributes.get("pindex"), where)

    def _end_object(self) -> None:
        made, self._object = self._object, None
        self._resources.end()
        if made is None:
            return
        if not made.extensions and not self._seen & {terms.MESH, terms.COMPONENTS}:
            self._faults.count(NO_CONTENT, made.region)
        self.model.objects.setdefault(made.id, made)

    def _start_mesh(self, attributes: dict[str, str]) -> None:
        self._content(terms.MESH)
        self.lists.start()
        self._seen -= {terms.VERTICES, terms.TRIANGLES}

    def _end_mesh(self) -> None:
        made = self._object
        if made is None or made.vertices is not None:
            return
        made.vertices, made.triangles, properties = self.lists.finish()
        self._resources.use_rows(properties, made)

    def _content(self, key: str) -> None:
        """An object has one mesh or one list of components."""
        if self._seen & {terms.MESH, terms.COMPONENTS}:
            self._faults.count(TWICE, self.source.here)
        self._seen.add(key)

    def _start_vertices(self, attributes: dict[str, str]) -> None:
        self._once(terms.VERTICES)
        self.list_at = self.source.byte

    def _start_triangles(self, attributes: dict[str, str]) -> None:
        self._once(terms.TRIANGLES)
        if terms.VERTICES not in self._seen:
            self._faults.count(EARLY_TRIANGLES, self.source.here)
        self.list_at = self.source.byte

    def _in_object(self) -> Region:
        identifier = str(self._object.id) if self._object else None
        return Region(member=self.model.member, start_line=self.source.line, object_id=identifier)

    # References

    def _components(self, attributes: dict[str, str]) -> None:
        self._content(terms.COMPONENTS)
        if self._object is not None and self._object.has_property:
            self._faults.count(COMPONENTS_PROPERTY, self._object.region)

    def _component(self, attributes: dict[str, str]) -> None:
        if (one := self._reference(attributes)) and self._object is not None:
            self._object.components.append(one)

    def _item(self, attributes: dict[str, str]) -> None:
        self.model.item_count += 1
        if one := self._reference(attributes):
            self.model.items.append(one)

    def _reference(self, attributes: dict[str, str]) -> Reference | None:
        where = self.source.here
        self._need_uuid(attributes)
        path = attributes.get(f"{terms.PRODUCTION} path")
        self.model.uses_paths |= path is not None
        identifier = integer(attributes.get("objectid"))
        if identifier <= 0:
            self._faults.count(BAD_REFERENCE, where)
            return None
        if path is None:
            self._resources.refer(identifier, where)
        matrix = None
        if (text := attributes.get("transform")) is not None:
            matrix = transform(text)
            if matrix is None or is_flat(matrix):
                self._faults.count(BAD_MATRIX if matrix is None else FLAT_MATRIX, where)
                return None
            if (matrix == IDENTITY).all():
                matrix = None
        return Reference(identifier, path, matrix, where)

    def _need_uuid(self, attributes: dict[str, str]) -> None:
        if not self._uuids.note(attributes, self.source.here):
            self.model.without_uuid.append(self.source.here)
