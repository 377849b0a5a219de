"""Small closed shapes with known answers, and binary STL bytes of them.

A shape is an (m, 3, 3) float64 array: the corners of m facets, mm, counter-clockwise seen from
outside.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from lint3d import Part, ReadPart, Region, Source
from lint3d.bodies import build_part

Facets = NDArray[np.float64]

_CORNERS = np.array([[x, y, z] for x in (0, 1) for y in (0, 1) for z in (0, 1)], np.float64)
_CUBE = np.array(
    [
        [0, 1, 3], [0, 3, 2], [4, 6, 7], [4, 7, 5], [0, 4, 5], [0, 5, 1],
        [2, 3, 7], [2, 7, 6], [0, 2, 6], [0, 6, 4], [1, 5, 7], [1, 7, 3],
    ]
)  # fmt: skip


def box(size: float | Sequence[float] = 10.0, at: Sequence[float] = (0, 0, 0)) -> Facets:
    """A box with its lowest corner in `at`: 12 facets."""
    return _CORNERS[_CUBE] * np.asarray(size, np.float64) + np.asarray(at, np.float64)


def inverted(facets: Facets) -> Facets:
    """The same facets, turned over."""
    return facets[:, ::-1].copy()


def joined(*shapes: Facets) -> Facets:
    """All facets in one array."""
    return np.concatenate(shapes)


def turned(facets: Facets, seed: int) -> Facets:
    """The shape in a random frame."""
    q, r = np.linalg.qr(np.random.default_rng(seed).normal(size=(3, 3)))
    frame = q * np.sign(np.diag(r))
    if np.linalg.det(frame) < 0:
        frame[:, 0] *= -1
    moved: Facets = facets @ frame.T
    return moved


def stl_bytes(facets: Facets, header: bytes = b"a part of the tests") -> bytes:
    """Binary STL; a facet without area has a normal of zero length."""
    rows = np.zeros(
        len(facets), [("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("attribute", "<u2")]
    )
    across = np.cross(facets[:, 1] - facets[:, 0], facets[:, 2] - facets[:, 0])
    length = np.linalg.norm(across, axis=1, keepdims=True)
    rows["normal"] = across / np.where(length > 0, length, 1)
    rows["corners"] = facets
    return header.ljust(80, b" ")[:80] + len(facets).to_bytes(4, "little") + rows.tobytes()


def write_stl(path: Path, facets: Facets) -> Path:
    """Write a binary STL and return its path."""
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(stl_bytes(facets))
    return path


class NthFacet:
    """Provenance of a shape that was in no file: the number of the facet."""

    def locate(self, facet: int) -> Region:
        return Region(facet=facet)


def part_of(
    facets: Facets, name: str = "part-1", uri: str = "a.stl", weld_mm: float = 1e-4
) -> Part:
    """The facets as a part of a file, welded and split into bodies."""
    source = Source(uri=uri, path=uri, format="made by hand")
    faces = np.arange(3 * len(facets), dtype=np.int64).reshape(-1, 3)
    read = ReadPart(name, facets.reshape(-1, 3), faces, NthFacet())
    part = build_part(read, name, source, 1.0, weld_mm)
    source.parts.append(part)
    return part


def source_of(*shapes: Facets, uri: str = "a.stl") -> Source:
    """A file with one part for each shape."""
    source = Source(uri=uri, path=uri, format="made by hand")
    for number, facets in enumerate(shapes, 1):
        part = part_of(facets, f"part-{number}", uri)
        part.source = source
        source.parts.append(part)
    return source
