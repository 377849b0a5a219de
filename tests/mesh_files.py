"""Bytes of STL and 3MF files, sound ones and whatever else a test or a fixture asks for.

The shape is a tetrahedron or a cube with sides of 10 mm at the origin. The same arguments give the
same bytes.
"""

from __future__ import annotations

import io
import struct
import zipfile
from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

TETRAHEDRON: Floats = 10.0 * np.array([[0, 0, 0], [1, 0, 0], [0, 1, 0], [0, 0, 1]], float)
TETRAHEDRON_FACES = np.array([[0, 2, 1], [0, 1, 3], [1, 2, 3], [0, 3, 2]])
_CUBE_FACES = np.array(
    [[0, 1, 3], [0, 3, 2], [4, 6, 7], [4, 7, 5], [0, 4, 5], [0, 5, 1],
     [2, 3, 7], [2, 7, 6], [0, 2, 6], [0, 6, 4], [1, 5, 7], [1, 7, 3]]
)  # fmt: skip
_CUBE = 10.0 * np.array([[x, y, z] for x in (0, 1) for y in (0, 1) for z in (0, 1)], float)
#: (12, 3, 3) corners of a cube's facets, seen from outside counter-clockwise.
CUBE: Floats = _CUBE[_CUBE_FACES]

FACET = np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("attribute", "<u2")])


def unit_normals(corners: Floats) -> Floats:
    """(m, 3) of facets (m, 3, 3); zero where a facet has no area."""
    across = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    length = np.linalg.norm(across, axis=1, keepdims=True)
    return np.divide(across, length, out=np.zeros_like(across), where=length > 0)


def binary_stl(
    corners: Floats = CUBE,
    normals: Floats | None = None,
    header: bytes = b"made for a test",
    stated: int | None = None,
) -> bytes:
    """Facets (m, 3, 3) with their own or other normals, and their number or another one."""
    facets = np.zeros(len(corners), FACET)
    facets["normal"] = unit_normals(corners) if normals is None else normals
    facets["corners"] = corners
    count = len(corners) if stated is None else stated
    return header.ljust(80)[:80] + struct.pack("<I", count) + facets.tobytes()


def ascii_stl(
    corners: Floats = CUBE, name: str = "cube", end: str = "\n", normals: Floats | None = None
) -> bytes:
    """One solid, seven lines a facet."""
    normals = unit_normals(corners) if normals is None else normals
    lines = [f"solid {name}".rstrip()]
    for normal, facet in zip(normals, corners, strict=True):
        lines.append("  facet normal " + " ".join(f"{value:g}" for value in normal))
        lines.append("    outer loop")
        lines += ["      vertex " + " ".join(f"{value:.6e}" for value in one) for one in facet]
        lines += ["    endloop", "  endfacet"]
    return (end.join([*lines, f"endsolid {name}".rstrip()]) + end).encode("utf-8")


CORE = "http://schemas.microsoft.com/3dmanufacturing/core/2015/02"
PRODUCTION = 'xmlns:p="http://schemas.microsoft.com/3dmanufacturing/production/2015/06"'
MATERIALS = 'xmlns:m="http://schemas.microsoft.com/3dmanufacturing/material/2015/02"'
BEAMS = 'xmlns:b="http://schemas.microsoft.com/3dmanufacturing/beamlattice/2017/02"'
DECLARATION = '<?xml version="1.0" encoding="UTF-8"?>\n'
CONTENT_TYPES = (
    DECLARATION + '<Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types">\n'
    '<Default Extension="rels" '
    'ContentType="application/vnd.openxmlformats-package.relationships+xml"/>\n'
    '<Default Extension="model" '
    'ContentType="application/vnd.ms-package.3dmanufacturing-3dmodel+xml"/>\n</Types>'
)
RELATIONSHIPS = (
    DECLARATION
    + '<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships">\n'
    '<Relationship Target="/3D/3dmodel.model" Id="rel0" '
    'Type="http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel"/>\n</Relationships>'
)
MODEL_MEMBER = "3D/3dmodel.model"


def vertices_xml(vertices: Floats = TETRAHEDRON) -> str:
    """One <vertex/> a line."""
    return "\n".join(f'<vertex x="{x:g}" y="{y:g}" z="{z:g}"/>' for x, y, z in vertices)


def triangles_xml(faces: NDArray[np.int64] = TETRAHEDRON_FACES) -> str:
    """One <triangle/> a line."""
    return "\n".join(f'<triangle v1="{a}" v2="{b}" v3="{c}"/>' for a, b, c in faces)


def mesh_xml(vertices: str | None = None, triangles: str | None = None) -> str:
    """A <mesh>, the tetrahedron's unless said otherwise."""
    return (
        f"<mesh>\n<vertices>\n{vertices_xml() if vertices is None else vertices}\n</vertices>\n"
        f"<triangles>\n{triangles_xml() if triangles is None else triangles}\n</triangles>\n</mesh>"
    )


def object_xml(number: object = 1, content: str | None = None, more: str = "") -> str:
    """An <object>, with the tetrahedron unless said otherwise."""
    inside = mesh_xml() if content is None else content
    return f'<object id="{number}" {more}>\n{inside}\n</object>\n'


def components_xml(*numbers: int, more: str = "") -> str:
    """<components> of the objects with these numbers."""
    each = "".join(f'<component objectid="{number}" {more}/>' for number in numbers)
    return f"<components>{each}</components>"


def item_xml(number: int = 1, transform: str | None = None) -> str:
    """A build item."""
    matrix = "" if transform is None else f' transform="{transform}"'
    return f'<item objectid="{number}"{matrix}/>'


def model_xml(
    resources: str | None = None,
    build: str = '<item objectid="1"/>',
    attributes: str = 'unit="millimeter"',
    before: str = DECLARATION,
    inside: str = "",
    after: str = "",
) -> str:
    """A <model>; `inside` stands before its resources, `after` behind its build."""
    return (
        f'{before}<model {attributes} xmlns="{CORE}">\n{inside}<resources>\n'
        f"{object_xml() if resources is None else resources}</resources>\n"
        f"<build>\n{build}\n</build>\n{after}</model>\n"
    )


def threemf(
    model: str | bytes | None = "",
    types: str | None = CONTENT_TYPES,
    relationships: str | None = RELATIONSHIPS,
    more: Mapping[str, str | bytes] | None = None,
    member: str = MODEL_MEMBER,
    method: int = zipfile.ZIP_DEFLATED,
) -> bytes:
    """An archive; what is None is left out, and an empty model is the tetrahedron."""
    wanted = {
        "[Content_Types].xml": types,
        "_rels/.rels": relationships,
        member: model_xml() if model == "" else model,
        **(more or {}),
    }
    return zipped({name: text for name, text in wanted.items() if text is not None}, method)


def zipped(members: Mapping[str, str | bytes], method: int = zipfile.ZIP_DEFLATED) -> bytes:
    """A ZIP archive that does not depend on the clock or the machine."""
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w", method) as archive:
        for name, text in members.items():
            entry = zipfile.ZipInfo(name, date_time=(1980, 1, 1, 0, 0, 0))
            entry.compress_type, entry.create_system = method, 3
            archive.writestr(entry, text)
    return buffer.getvalue()
