"""Where do SARIF objects point: to which file, archive member, region, part and body?

Paths are relative to a base without an address, so that a report is the same on every machine. A
place inside an archive points at the nested artifact; bodies and parts are logical locations.
"""

from __future__ import annotations

import re
from typing import Any
from urllib.parse import quote

from lint3d.inspection import Artifact, Inspection, Result
from lint3d.likeness_text import likeness_facts
from lint3d.model import Region
from lint3d.report.plain import plain, writable

#: What relative paths start from; named by custom of the format, without an address of its own.
BASE = "SRCROOT"
#: By format as readers name it, or by the suffix of an archive's member.
#: model/stl, model/3mf: IANA media types; others: 3MF Core 1.4, ISO/IEC 29500-2. From memory.
_MEDIA_TYPES = (
    ("stl", "model/stl"),
    ("3mf", "model/3mf"),
    (".model", "application/vnd.ms-package.3dmanufacturing-3dmodel+xml"),
    (".rels", "application/vnd.openxmlformats-package.relationships+xml"),
    (".xml", "application/xml"),
    (".png", "image/png"),
)
_ESCAPE = re.compile(r"(%[0-9A-Fa-f]{2})")


class Locations:
    """All files, members, parts and bodies of an inspection, and references to them."""

    def __init__(self, inspection: Inspection) -> None:
        files = sorted(inspection.artifacts, key=_family)
        self._index = {(item.parent, item.uri): index for index, item in enumerate(files)}
        self.artifacts = [self._artifact(item) for item in files]
        self._logical: dict[tuple[str, str], int] = {}
        self.logical_locations: list[dict[str, Any]] = []
        self._name_bodies(files, inspection.results)

    def artifact_location(self, uri: str, member: str | None = None) -> dict[str, Any]:
        """Reference to a file, or to a member of an archive if the report lists that member."""
        inner = self._index.get((uri, member)) if member else None
        if member and inner is not None:
            return {"uri": _member_uri(member), "index": inner}
        found: dict[str, Any] = {"uri": writable(uri), "uriBaseId": BASE}
        outer = self._index.get((None, uri))
        return found if outer is None else {**found, "index": outer}

    def is_nested(self, result: Result) -> bool:
        """True if the result points into an archive's member that the report lists."""
        return result.region is not None and (result.uri, result.region.member) in self._index

    def of_file(self, uri: str, region: Region | None = None) -> dict[str, Any]:
        """A location in a file, by its region if that is known."""
        if not uri:
            return {}
        member = region.member if region else None
        physical: dict[str, Any] = {"artifactLocation": self.artifact_location(uri, member)}
        if region and (span := _span(region)):
            physical["region"] = span
        return {"physicalLocation": physical}

    def of_result(self, result: Result) -> dict[str, Any]:
        """Where a result is: region, body, and the number of the facet."""
        location = self.of_file(result.uri, result.region)
        name = result.part if result.body is None else result.body
        if name is not None:
            location["logicalLocations"] = [self.logical(result.uri, name)]
        details = self._details(result.uri, result.region) if result.region else {}
        if result.centre is not None:
            details["centre"] = plain(result.centre)
        if details:
            location["properties"] = details
        return location

    def of_other(self, result: Result) -> dict[str, Any] | None:
        """The second body of a pair, as a related location."""
        if result.other is None:
            return None
        uri = result.other_uri or result.uri
        return {
            "id": 1,
            **self.of_file(uri),
            "logicalLocations": [self.logical(uri, result.other)],
            "message": {"text": writable(f"The other body: '{result.other}'.")},
        }

    def logical(self, uri: str, name: str) -> dict[str, Any]:
        """Reference to a part or body."""
        reference: dict[str, Any] = {"fullyQualifiedName": _qualified(uri, name)}
        index = self._logical.get((uri, name))
        return reference if index is None else {"index": index, **reference}

    def _details(self, uri: str, region: Region) -> dict[str, Any]:
        """What a region of the format cannot say: object and facet, and a member not listed."""
        listed = (uri, region.member) in self._index
        facts = {
            "member": None if listed else region.member,
            "objectId": region.object_id,
            "facet": region.facet,
        }
        return {key: plain(value) for key, value in facts.items() if value is not None}

    def _artifact(self, item: Artifact) -> dict[str, Any]:
        if item.parent is None:
            found: dict[str, Any] = {"location": {"uri": writable(item.uri), "uriBaseId": BASE}}
        else:
            found = {"location": {"uri": _member_uri(item.uri)}}
            parent = self._index.get((None, item.parent))
            if parent is not None:
                found["parentIndex"] = parent
        if item.length is not None:
            found["length"] = item.length
        if item.parent is None:
            found["roles"] = ["analysisTarget"]
        if media_type := _media_type(item):
            found["mimeType"] = media_type
        if item.digest is not None:
            found["hashes"] = {"sha-256": item.digest}
        if item.parent is None:
            found["properties"] = _file_facts(item)
        return found

    def _name_bodies(self, files: list[Artifact], results: list[Result]) -> None:
        """List every part and body once; a part that is one body is listed as that body."""
        part_of: dict[tuple[str, str], str | None] = {
            (file.uri, body): None for file in files for body in file.bodies
        }
        for result in sorted(results, key=lambda result: result.sort_key()):
            if result.body is not None:
                key = (result.uri, result.body)
                part_of[key] = part_of.get(key) or result.part
            if result.other is not None:
                part_of.setdefault((result.other_uri or result.uri, result.other), None)
        parts = {(result.uri, result.part) for result in results if result.part is not None}
        for uri, part in sorted(parts - part_of.keys()):
            self._add(uri, part, "part")
        for (uri, body), owner in part_of.items():
            self._add(uri, body, "body", None if (uri, owner) in part_of else owner)
        for file in files:
            for body, shape in zip(file.bodies, file.shapes, strict=False):
                if shape is not None:
                    entry = self.logical_locations[self._logical[file.uri, body]]
                    entry["properties"] = {"likeness": likeness_facts(shape)}

    def _add(self, uri: str, name: str, kind: str, part: str | None = None) -> None:
        entry: dict[str, Any] = {"name": writable(name), "kind": kind}
        if part is not None:
            entry["parentIndex"] = self._logical[uri, part]
        entry["fullyQualifiedName"] = _qualified(uri, name)
        self._logical[uri, name] = len(self.logical_locations)
        self.logical_locations.append(entry)


def _family(item: Artifact) -> tuple[str, bool, str]:
    """Members stand behind their archive."""
    return (item.parent or item.uri, item.parent is not None, item.uri)


def _span(region: Region) -> dict[str, int]:
    """Lines of a text, bytes of anything else."""
    if region.start_line is not None:
        return {"startLine": region.start_line, "endLine": region.end_line or region.start_line}
    if region.byte_offset is not None:
        length = {} if region.byte_length is None else {"byteLength": region.byte_length}
        return {"byteOffset": region.byte_offset, **length}
    return {}


def _qualified(uri: str, name: str) -> str:
    return writable(f"{uri}#{name}")


def _member_uri(path: str) -> str:
    """The path with everything escaped that a URI cannot hold; what is escaped stays as it is."""
    pieces = _ESCAPE.split(path.lstrip("/"))
    return "".join(
        piece if odd % 2 else quote(piece, safe="/", errors="surrogateescape")
        for odd, piece in enumerate(pieces)
    )


def _media_type(item: Artifact) -> str | None:
    told = (item.format or "" if item.parent is None else item.uri).lower()
    for mark, media_type in _MEDIA_TYPES:
        if told.endswith(mark) if item.parent is not None else told.startswith(mark):
            return media_type
    return None


def _file_facts(item: Artifact) -> dict[str, Any]:
    """What is known of a file beside its bytes; null where nothing is."""
    facts = {
        "format": item.format,
        "unit": item.unit,
        "unitOrigin": item.unit_origin,
        "bodies": len(item.bodies),
        "faces": item.faces,
    }
    return {key: plain(value) for key, value in facts.items()}
