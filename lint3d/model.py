"""What can a rule look at?

`Source` (a file) holds `Part`s (its objects), a part holds `Body`s (an outer shell with the shells
inside it), and an `Assembly` is all parts that are printed together. Lengths are mm, float64, after
every transform in the file, z up. Arrays are read-only.

What is *not* here: reading files (`loading.py`, `readers/`), limits (`sheet.py`).
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING, Any, Literal, Protocol

if TYPE_CHECKING:
    import numpy as np
    import trimesh
    from numpy.typing import NDArray

    from lint3d.geometry.topology import EdgeTable
    from lint3d.joined import Joined

    Floats = NDArray[np.float64]
    Ints = NDArray[np.int64]

Scope = Literal["body", "part", "source", "assembly"]
#: From narrow to wide: where the inputs of a rule differ, the widest wins.
SCOPES: tuple[Scope, ...] = ("body", "part", "source", "assembly")


@dataclass(frozen=True)
class Region:
    """Where in a file something stands: bytes, lines, or an object of an archive's member."""

    byte_offset: int | None = None
    byte_length: int | None = None
    start_line: int | None = None
    end_line: int | None = None
    member: str | None = None
    """Path of a member inside an archive, without a leading slash."""
    object_id: str | None = None
    facet: int | None = None
    """Number of the facet within its file (STL) or object (3MF), from 0."""


class Provenance(Protocol):
    """Where each facet of a part came from. Readers bring their own."""

    def locate(self, facet: int) -> Region:
        """Region of facet number `facet` of this part (a row of the reader's `faces`)."""
        ...


@dataclass(frozen=True)
class Fault:
    """Something wrong with the file itself, found while reading.

    `fatal` faults leave nothing to inspect (`file/unreadable`); the others are `file/malformed`:
    something could be read, but not all of it can be trusted.
    """

    message: str
    remedy: str
    count: int = 1
    region: Region | None = None
    fatal: bool = False
    harmless: bool = False
    """Worth knowing, but nothing is lost or doubtful: *informational*, and the run is complete"""


@dataclass(eq=False)
class ReadPart:
    """One object as a reader hands it over: in the file's own unit, with transforms applied."""

    name: str | None
    vertices: NDArray[Any]
    """(n, 3) float32 or float64, file units. Not welded; for STL simply 3 rows a facet."""
    faces: Ints
    """(m, 3) int64, row numbers of `vertices`; every index in range, every coordinate finite."""
    provenance: Provenance
    facet: Ints | None = None
    """(m,) the number that `provenance.locate` takes for each face; None = 0 .. m-1."""
    notes: dict[str, Any] = field(default_factory=dict)


@dataclass(eq=False)
class Reading:
    """What a reader made of a file."""

    format: str
    """Plain name of the format, as reports show it: "STL (binary)", "STL (ASCII)", "3MF"."""
    parts: list[ReadPart]
    unit: str | None = None
    """Unit the file states (one of `units.LENGTH_UNITS`), None if the format has none."""
    faults: list[Fault] = field(default_factory=list)
    members: list[tuple[str, int, str]] = field(default_factory=list)
    """Archive members that were read: path, length in bytes, SHA-256 in hex."""


@dataclass(eq=False)
class Source:
    """A file that was asked for, whether or not it could be read."""

    uri: str
    """Relative, percent-encoded, forward slashes; never a machine path."""
    path: str
    """As given on the command line (for messages)."""
    digest: str | None = None
    """SHA-256 of the bytes, hex; None if there were none to read."""
    length: int | None = None
    format: str | None = None
    unit: str = "mm"
    unit_origin: Literal["found", "given", "assumed"] = "assumed"
    faults: list[Fault] = field(default_factory=list)
    members: list[tuple[str, int, str]] = field(default_factory=list)
    parts: list[Part] = field(default_factory=list)

    @property
    def name(self) -> str:
        return self.uri

    def __repr__(self) -> str:
        return f"Source({self.uri!r})"


@dataclass(eq=False)
class Part:
    """One object of a file, its vertices welded."""

    name: str
    source: Source
    vertices: Floats
    """(n, 3) mm"""
    faces: Ints
    """(m, 3) rows of `vertices`"""
    facet: Ints
    """(m,) which facet of the file each face came from"""
    provenance: Provenance
    stitched: int = 0
    """Vertices on open edges that were welded within the tolerance."""
    weld_tolerance_mm: float = 0.0
    edges: EdgeTable | None = None
    """Every edge of `faces` with its users"""
    shells: list[Shell] = field(default_factory=list)
    bodies: list[Body] = field(default_factory=list)
    notes: dict[str, Any] = field(default_factory=dict)

    @cached_property
    def joined(self) -> dict[Body, Joined]:
        """Of each body that overlaps or touches another: the one piece that they are.

        Worked out when first asked for.
        """
        from lint3d.joined import join_bodies

        return {body: one for one in join_bodies(self.bodies) for body in one.bodies}

    def region_of(self, face: int) -> Region:
        """Where in the file face number `face` of this part stands."""
        return self.provenance.locate(int(self.facet[face]))

    def __repr__(self) -> str:
        return f"Part({self.name!r}, {len(self.faces)} faces)"


@dataclass(eq=False)
class Shell:
    """A connected set of faces of a part."""

    faces: Ints
    """(k,) rows of the part's `faces`"""
    closed: bool
    volume: float
    """mm3, signed: negative when its faces, as given, look inward; meaningless unless closed"""
    depth: int
    """How many other shells hold it: even = outside of a body, odd = a cavity."""


@dataclass(eq=False)
class Body:
    """An outer shell, closed or not, with the shells it holds directly."""

    name: str
    part: Part
    shells: list[Shell]
    """The outer shell first, then its cavities by falling volume."""
    face_in_part: Ints
    """(k,) which face of the part each face of this body is"""
    vertices: Floats
    """(n, 3) mm"""
    faces: Ints
    """(k, 3) rows of `vertices`, turned so that they look out of the material"""
    faces_as_given: Ints
    """(k, 3) the same faces, turned as in the file"""

    @cached_property
    def edges(self) -> EdgeTable:
        """Every edge of `faces_as_given` with its users."""
        from lint3d.geometry.topology import edge_table

        if self.part.edges is not None and len(self.faces) == len(self.part.faces):
            return self.part.edges
        return edge_table(self.faces_as_given, len(self.vertices))

    @property
    def source(self) -> Source:
        return self.part.source

    @property
    def closed(self) -> bool:
        """True if every shell of it is closed."""
        return all(shell.closed for shell in self.shells)

    @property
    def joined(self) -> Joined | None:
        """The piece that this body is a part of; None if it stands alone in its part."""
        return self.part.joined.get(self)

    @cached_property
    def mesh(self) -> trimesh.Trimesh:
        """The body as a `trimesh.Trimesh` in mm, unprocessed."""
        import trimesh

        return trimesh.Trimesh(self.vertices, self.faces, process=False, validate=False)

    @cached_property
    def coordinate_step_mm(self) -> float:
        """How far apart neighbouring single-precision coordinates may lie, in whatever unit."""
        largest = float(abs(self.vertices).max()) if len(self.vertices) else 0.0
        return 2.0**-23 * largest

    def region_of(self, face: int) -> Region:
        """Where in the file face number `face` of this body stands."""
        return self.part.region_of(int(self.face_in_part[face]))

    def __repr__(self) -> str:
        return f"Body({self.name!r}, {len(self.faces)} faces)"


@dataclass(eq=False)
class Assembly:
    """All parts that are printed in one common frame."""

    sources: list[Source]

    @property
    def parts(self) -> list[Part]:
        return [part for source in self.sources for part in source.parts]

    @property
    def bodies(self) -> list[Body]:
        return [body for part in self.parts for body in part.bodies]
