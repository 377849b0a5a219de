"""How do the vertices and triangles of a mesh gather, quickly or one by one?

Chunks come from `threemf_bulk.py`, single elements from expat. A vertex without a number is kept as
NaN and a triangle without one as `NO_INTEGER`, so that the numbers of the others stay right.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lint3d.errors import UnreadableFile
from lint3d.model import Region
from lint3d.readers.faultlist import FaultList, Kind
from lint3d.readers.threemf_numbers import NO_INTEGER, integer, number

EXPORT_AGAIN = "Export the file again, or tell the maker of the program that wrote it."
BAD_VERTEX = Kind(
    "vertex",
    "with a coordinate that is missing or no finite number; triangles that use it were left out",
    EXPORT_AGAIN,
)
BAD_TRIANGLE = Kind(
    "triangle", "with an index that is missing or no whole number, left out", EXPORT_AGAIN
)


class MeshLists:
    """The lists of the mesh that is being read, and a count over all meshes of the model."""

    def __init__(self, member: str, faces_allowed: int, faults: FaultList) -> None:
        self._member, self._allowed, self._faults = member, faces_allowed, faults
        self._triangle_count = 0
        self.start()

    def start(self) -> None:
        """A mesh begins."""
        self._vertices = _Rows(3, np.float64)
        self._triangles = _Rows(7, np.int64)

    def add_vertex(self, attributes: dict[str, str], where: Callable[[], Region]) -> None:
        """One vertex; `where` tells where it stands, should that be asked."""
        row = tuple(number(attributes.get(axis)) for axis in "xyz")
        if any(value != value for value in row):
            self._faults.count(BAD_VERTEX, where())
        self._vertices.add(row)

    def add_triangle(self, attributes: dict[str, str], where: Callable[[], Region]) -> None:
        """One triangle."""
        corners = tuple(integer(attributes.get(key)) for key in ("v1", "v2", "v3"))
        if NO_INTEGER in corners:
            self._faults.count(BAD_TRIANGLE, where())
        properties = (
            integer(attributes[key]) if key in attributes else -1
            for key in ("pid", "p1", "p2", "p3")
        )
        self._triangles.add((*corners, *properties))
        self._count(1)

    def take(self, chunks: list[NDArray[Any]], *, are_vertices: bool) -> None:
        """What `read_block` made of a list."""
        for chunk in chunks:
            (self._vertices if are_vertices else self._triangles).take(chunk)
            if not are_vertices:
                self._count(len(chunk))

    def check_count(self, rows: int) -> None:
        """Raise `UnreadableFile` for more triangles than allowed, or vertices than these use."""
        if rows > 3 * self._allowed:
            self._count(rows)

    def finish(self) -> tuple[NDArray[np.float64], NDArray[np.int64], NDArray[np.int64]]:
        """Vertices (n, 3), triangles (m, 3), properties (m, 4) pid p1 p2 p3 with -1 for none."""
        vertices, rows = self._vertices.stacked(), self._triangles.stacked()
        self.start()
        return vertices, np.ascontiguousarray(rows[:, :3]), rows[:, 3:]

    def _count(self, more: int) -> None:
        self._triangle_count += more
        if self._triangle_count > self._allowed:
            raise UnreadableFile(
                f"has more triangles than the setting read.faces allows ({self._allowed}).",
                "Raise the setting, or export the part with a coarser tolerance.",
                Region(member=self._member),
            )


class _Rows:
    """Rows of numbers that come in chunks or one by one."""

    def __init__(self, width: int, dtype: type) -> None:
        self._width, self._dtype = width, dtype
        self._chunks: list[NDArray[Any]] = []
        self._single: list[tuple[float, ...]] = []

    def add(self, row: tuple[float, ...]) -> None:
        self._single.append(row)

    def take(self, chunk: NDArray[Any]) -> None:
        self._close()
        self._chunks.append(chunk)

    def stacked(self) -> NDArray[Any]:
        self._close()
        empty: NDArray[Any] = np.zeros((0, self._width), self._dtype)
        return self._chunks[0] if len(self._chunks) == 1 else np.concatenate([empty, *self._chunks])

    def _close(self) -> None:
        """Single rows become a chunk."""
        if self._single:
            self._chunks.append(np.array(self._single, self._dtype).reshape(-1, self._width))
            self._single = []
