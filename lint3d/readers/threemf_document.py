"""What does one model member of a 3MF say? (reading it)

Goes through the XML once, keeps objects, components and build items, and counts whatever the Core
Specification 1.4 does not allow. Only broken XML, or a document that is no 3MF model at all, ends it.
Guarded by tests/readers/test_threemf_document.py.
"""

from __future__ import annotations

import re
from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from lint3d.errors import UnreadableFile
from lint3d.model import Region
from lint3d.readers import ReadLimits
from lint3d.readers import threemf_terms as terms
from lint3d.readers.faultlist import FaultList, Kind
from lint3d.readers.threemf_bulk import Block, blocks, read_block
from lint3d.readers.threemf_model import Model, ModelObject, Reference
from lint3d.readers.threemf_numbers import NO_INTEGER, integer, is_flat, number, transform
from lint3d.readers.threemf_resources import Resources
from lint3d.readers.threemf_xml import XmlSource, tell_encoding

EXPORT_AGAIN = "Export the file again, or tell the maker of the program that wrote it."
UNKNOWN_ELEMENT = Kind("element", "that 3MF does not have there, passed over", EXPORT_AGAIN)
UNKNOWN_ATTRIBUTE = Kind("element", "with an attribute that 3MF does not have", EXPORT_AGAIN)
TWICE = Kind("element", "that may stand there only once", EXPORT_AGAIN)
BAD_VERTEX = Kind("vertex", "with a coordinate that is missing or no finite number", EXPORT_AGAIN)
BAD_TRIANGLE = Kind("triangle", "with an index that is missing or no whole number, left out",
                    EXPORT_AGAIN)
BAD_MATRIX = Kind("transform", "that is not twelve finite numbers; what it belongs to was left out",
                  EXPORT_AGAIN)
FLAT_MATRIX = Kind("transform", "that presses its object flat; the object was left out",
                   "Scale no direction to zero, and export again.")
BAD_REFERENCE = Kind("reference", "without a usable object id, left out", EXPORT_AGAIN)
BAD_TYPE = Kind("object", "of a type that 3MF does not have, taken for a model", EXPORT_AGAIN)
EARLY_TRIANGLES = Kind("mesh", "whose triangles stand before its vertices", EXPORT_AGAIN)
EARLY_BUILD = Kind("build", "that stands before the resources", EXPORT_AGAIN)
BAD_METADATA = Kind("metadata entry", "whose name is missing, repeated or unknown", EXPORT_AGAIN)
INNER_NAMESPACE = Kind("element", "that declares a namespace which the root element should declare; "
                       "not every program reads that", EXPORT_AGAIN)
UNDECLARED = Kind("required extension", "whose prefix is not declared", EXPORT_AGAIN)
BAD_UUID = Kind("UUID", "that is ill-formed or used twice", EXPORT_AGAIN)
_UUID = re.compile(r"[0-9a-fA-F]{8}(-[0-9a-fA-F]{4}){3}-[0-9a-fA-F]{12}")


def read_model(
    content: bytes, member: str, limits: ReadLimits, faults: FaultList, uuids: set[str]
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
        source.feed(view[at : block.start])
        at = block.start
        if handler.expects(block):
            at = _feed_block(content, block, handler, source)
    source.feed(view[at:], True)
    return handler.finished()


def _feed_block(content: bytes, block: Block, handler: _ModelHandler, source: XmlSource) -> int:
    """Hand over as much of a list as can be read quickly; up to where?"""
    rows: list[NDArray[np.generic]] = []
    for chunk in read_block(content, block):
        if chunk is None:
            return block.start
        rows.append(chunk)
        handler.check_count(sum(map(len, rows)))
    for chunk in rows:
        handler.take(chunk, block)
    source.skip(block.end - block.start, content.count(b"\n", block.start, block.end))
    return block.end


class _ModelHandler:
    """Told by expat what stands in the model."""

    source: XmlSource

    def __init__(
        self, member: str, limits: ReadLimits, faults: FaultList, uuids: set[str]
    ) -> None:
        self._limits, self._faults, self._uuids = limits, faults, uuids
        self._path: list[str | None] = []
        """Tags of the open elements; None inside of something that is passed over."""
        self._prefixes: dict[str | None, str | None] = {}
        self._seen: set[str] = set()
        self._metadata: set[str] = set()
        self._object: ModelObject | None = None
        self._list_at = -1
        self._vertices: list[NDArray[np.float64] | list[tuple[float, float, float]]] = []
        self._triangles: list[NDArray[np.int64] | list[tuple[int, ...]]] = []
        self._triangle_count = 0
        self._resources = Resources(faults)
        self.model = Model(member)
        self._starts: dict[str, Callable[[dict[str, str]], None]] = {
            terms.MODEL: self._model, terms.RESOURCES: self._section, terms.BUILD: self._build,
            terms.METADATA: self._one_metadata, terms.OBJECT: self._start_object,
            terms.MESH: self._mesh, terms.COMPONENTS: self._components,
            terms.COMPONENT: self._component, terms.VERTICES: self._list,
            terms.TRIANGLES: self._list, terms.VERTEX: self._vertex,
            terms.TRIANGLE: self._triangle, terms.ITEM: self._item,
        }  # fmt: skip

    # What expat tells

    def start(self, tag: str, attributes: dict[str, str]) -> None:
        """An element begins."""
        parent = self._path[-1] if self._path else ""
        self._list_at = -1
        if parent is None:
            self._path.append(None)
        elif tag in terms.CHILDREN.get(parent, ()):
            self._path.append(tag)
            self._check_attributes(tag, attributes)
            if parent == terms.RESOURCES:
                self._resources.start(tag, attributes, self.source.here)
            elif parent == terms.BASE_MATERIALS:
                self._resources.member()
            if tag in self._starts:
                self._starts[tag](attributes)
        elif not self._path:
            raise self._no_model(tag)
        else:
            self._other(parent, tag, attributes)

    def end(self, tag: str) -> None:
        """An element ends."""
        closed = self._path.pop()
        self._list_at = -1
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

    # Lists, quickly

    def expects(self, block: Block) -> bool:
        """Is expat just behind the opening tag of this list?"""
        return self._list_at == block.tag

    def take(self, rows: NDArray[np.generic], block: Block) -> None:
        """A chunk of the list that expat stands in."""
        if block.is_vertices:
            self._vertices.append(rows.astype(np.float64, copy=False))
        else:
            self._triangles.append(rows.astype(np.int64, copy=False))
            self._triangle_count += len(rows)

    def check_count(self, more: int) -> None:
        """Raise `UnreadableFile` if there are too many triangles, or more vertices than they use."""
        if self._triangle_count + more > 3 * self._limits.faces:
            raise self._too_many()

    def finished(self) -> Model:
        """The model, once the document has ended."""
        if terms.RESOURCES not in self._seen:
            self._faults.add("has a model without resources.", EXPORT_AGAIN, self._whole())
        if terms.BUILD not in self._seen:
            self._faults.add("has a model without a build.", EXPORT_AGAIN, self._whole())
        self._resources.finish()
        return self.model

    def _whole(self) -> Region:
        return Region(member=self.model.member)

    def _no_model(self, tag: str) -> UnreadableFile:
        namespace, _, name = tag.rpartition(" ")
        what = f"'{name}' in the namespace '{namespace}'" if namespace else f"'{name}'"
        return UnreadableFile(
            f"has a part, {self.model.member}, that is no 3MF model of the Core Specification: its "
            f"root element is {what}.",
            "Export it again with a program that writes 3MF 1.0 or later.",
            self.source.here,
        )

    def _too_many(self) -> UnreadableFile:
        return UnreadableFile(
            f"has more triangles than the setting read.faces allows ({self._limits.faces}).",
            "Raise the setting, or export the part with a coarser tolerance.",
            self._whole(),
        )

    def _check_attributes(self, tag: str, attributes: dict[str, str]) -> None:
        known = terms.ATTRIBUTES.get(tag)
        for name in attributes:
            if " " not in name:
                if known is not None and name not in known:
                    self._faults.count(UNKNOWN_ATTRIBUTE, self.source.here)
            elif name.startswith(terms.PRODUCTION):
                if name.rpartition(" ")[2] not in terms.PRODUCTION_ATTRIBUTES:
                    self._faults.count(UNKNOWN_ATTRIBUTE, self.source.here)

    def _other(self, parent: str, tag: str, attributes: dict[str, str]) -> None:
        """An element that core does not have here: of an extension, or wrong."""
        namespace, _, name = tag.rpartition(" ")
        self._path.append(None)
        if namespace in (terms.CORE, ""):
            self._faults.count(UNKNOWN_ELEMENT, self.source.here)
            return
        known = terms.EXTENSION_ELEMENTS.get(namespace)
        if known is not None and name not in known:
            self._faults.count(UNKNOWN_ELEMENT, self.source.here)
        if parent == terms.RESOURCES:
            self._path[-1] = tag
            self._resources.start(tag, attributes, self.source.here)
        elif tag_group(parent):
            self._resources.member()
        elif self._object is not None and namespace not in terms.READ_EXTENSIONS:
            self._object.extensions.add(namespace)

    # Elements

    def _model(self, attributes: dict[str, str]) -> None:
        unit = attributes.get("unit", "millimeter")
        if unit not in terms.UNITS:
            self._faults.add(
                f"states the unit '{unit}', which 3MF does not have; millimeter was assumed.",
                f"Use one of {', '.join(sorted(terms.UNITS))}.", self.source.here,
            )  # fmt: skip
            unit = "millimeter"
        self.model.unit = unit
        for prefix in attributes.get("requiredextensions", "").split():
            uri = self._prefixes.get(prefix)
            if uri is None:
                self._faults.count(UNDECLARED, self.source.here)
            else:
                self.model.required.append(uri)

    def _section(self, attributes: dict[str, str]) -> None:
        self._once(self._path[-1] or "")

    def _build(self, attributes: dict[str, str]) -> None:
        self._once(terms.BUILD)
        if terms.RESOURCES not in self._seen:
            self._faults.count(EARLY_BUILD, self.source.here)
        self._uuid(attributes)

    def _once(self, key: str) -> None:
        if key in self._seen:
            self._faults.count(TWICE, self.source.here)
        self._seen.add(key)

    def _one_metadata(self, attributes: dict[str, str]) -> None:
        name = attributes.get("name", "")
        prefix, colon, _ = name.rpartition(":")
        in_model = len(self._path) == 2
        known = prefix in self._prefixes if colon else name in terms.METADATA_NAMES
        if not name or not known or (in_model and name in self._metadata):
            self._faults.count(BAD_METADATA, self.source.here)
        if in_model:
            self._metadata.add(name)

    def _start_object(self, attributes: dict[str, str]) -> None:
        where = self.source.here
        kind = attributes.get("type", "model")
        if kind not in terms.OBJECT_TYPES:
            self._faults.count(BAD_TYPE, where)
            kind = "model"
        identifier = integer(attributes.get("id"))
        name = " ".join(attributes.get("name", "").split()) or None
        self._object = ModelObject(identifier, self.model.member, name, kind, where)
        self._seen -= {terms.MESH, terms.COMPONENTS}
        self._uuid(attributes)
        if thumbnail := attributes.get("thumbnail"):
            self.model.thumbnails.append((thumbnail, where))
        self._resources.use(attributes.get("pid"), attributes.get("pindex"), where)

    def _end_object(self) -> None:
        made, self._object = self._object, None
        self._resources.end()
        if made is None:
            return
        if made.vertices is None and not made.components and not made.extensions:
            if terms.COMPONENTS not in self._seen:
                self._faults.add(f"has an {made.shown} without a mesh or components.",
                                 EXPORT_AGAIN, made.where)
        self.model.objects.setdefault(made.id, made)

    def _mesh(self, attributes: dict[str, str]) -> None:
        self._content(terms.MESH)
        self._vertices, self._triangles = [], []
        self._seen -= {terms.VERTICES, terms.TRIANGLES}

    def _components(self, attributes: dict[str, str]) -> None:
        self._content(terms.COMPONENTS)

    def _content(self, key: str) -> None:
        """An object has one mesh or one list of components."""
        if self._seen & {terms.MESH, terms.COMPONENTS}:
            self._faults.count(TWICE, self.source.here)
        self._seen.add(key)

    def _list(self, attributes: dict[str, str]) -> None:
        tag = self._path[-1] or ""
        self._once(tag)
        if tag == terms.TRIANGLES and terms.VERTICES not in self._seen:
            self._faults.count(EARLY_TRIANGLES, self.source.here)
        self._list_at = self.source.byte

    def _vertex(self, attributes: dict[str, str]) -> None:
        row = tuple(number(attributes.get(axis)) for axis in "xyz")
        if any(value != value for value in row):
            self._faults.count(BAD_VERTEX, self._in_object())
        if not self._vertices or isinstance(self._vertices[-1], np.ndarray):
            self._vertices.append([])
        self._vertices[-1].append(row)  # type: ignore[union-attr, arg-type]

    def _triangle(self, attributes: dict[str, str]) -> None:
        row = [integer(attributes.get(key)) for key in ("v1", "v2", "v3")]
        if NO_INTEGER in row:
            self._faults.count(BAD_TRIANGLE, self._in_object())
        for key in ("pid", "p1", "p2", "p3"):
            row.append(integer(attributes[key]) if key in attributes else -1)
        if not self._triangles or isinstance(self._triangles[-1], np.ndarray):
            self._triangles.append([])
        self._triangles[-1].append(tuple(row))  # type: ignore[union-attr]
        self._triangle_count += 1
        if self._triangle_count > self._limits.faces:
            raise self._too_many()

    def _in_object(self) -> Region:
        here = self.source.here
        identifier = str(self._object.id) if self._object else None
        return Region(member=here.member, start_line=here.start_line, object_id=identifier)

    def _end_mesh(self) -> None:
        made = self._object
        if made is None or made.vertices is not None:
            return
        made.vertices = _stacked(self._vertices, 3, np.float64)
        rows = _stacked(self._triangles, 7, np.int64)
        self._vertices, self._triangles = [], []
        if self._triangle_count > self._limits.faces:
            raise self._too_many()
        made.triangles = np.ascontiguousarray(rows[:, :3])
        self._resources.use_rows(rows[:, 3:], made)

    def _component(self, attributes: dict[str, str]) -> None:
        if (one := self._reference(attributes)) and self._object is not None:
            self._object.components.append(one)

    def _item(self, attributes: dict[str, str]) -> None:
        if one := self._reference(attributes):
            self.model.items.append(one)

    def _reference(self, attributes: dict[str, str]) -> Reference | None:
        where = self.source.here
        self._uuid(attributes)
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
        return Reference(identifier, path, matrix, where)

    def _uuid(self, attributes: dict[str, str]) -> None:
        """The production extension's UUID: well-formed, used once, or noted as missing."""
        value = attributes.get(f"{terms.PRODUCTION} UUID")
        if value is None:
            self.model.without_uuid.append(self.source.here)
            return
        if not _UUID.fullmatch(value) or value.lower() in self._uuids:
            self._faults.count(BAD_UUID, self.source.here)
        self._uuids.add(value.lower())


def tag_group(parent: str) -> bool:
    """Is this a resource whose children are its members?"""
    return parent in terms.PROPERTY_GROUPS


def _stacked(chunks: list[object], width: int, dtype: type) -> NDArray[np.generic]:
    """Chunks of rows as one array."""
    arrays = [np.asarray(chunk, dtype).reshape(-1, width) for chunk in chunks]
    if not arrays:
        return np.zeros((0, width), dtype)
    return arrays[0] if len(arrays) == 1 else np.concatenate(arrays)
