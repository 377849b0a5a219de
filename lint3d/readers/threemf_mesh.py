"""Which triangles of a 3MF object can be inspected, and do they share their vertices?

3MF Core Specification 1.4, section 4.1: in an object of type model every edge belongs to exactly
two triangles that run through it in opposite directions; edges are told by the *numbers* of their
vertices. Guarded by tests/readers/test_threemf_mesh.py.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lint3d.geometry.weld import weld_exact
from lint3d.model import Region
from lint3d.readers.faultlist import FaultList, Kind, counted
from lint3d.readers.plausible import COORDINATE_MAX
from lint3d.readers.threemf_model import ModelObject
from lint3d.readers.threemf_numbers import NO_INTEGER

EXPORT_AGAIN = "Export the part again, or mend it in the CAD program."
NEGATIVE = Kind("triangle", "with a negative vertex number, left out", EXPORT_AGAIN)
OUT_OF_RANGE = Kind(
    "triangle", "with the number of a vertex that is not there, left out", EXPORT_AGAIN
)
REPEATED = Kind("triangle", "naming a vertex twice, left out", EXPORT_AGAIN)
TOO_FAR = Kind(
    "triangle",
    f"with a corner further than {COORDINATE_MAX:.0e} units from the origin, left out",
    "Such numbers come from damaged data; export the part again.",
)


@dataclass(eq=False)
class UsableMesh:
    """What is left of an object's mesh."""

    vertices: NDArray[np.float64]
    """(n, 3), finite wherever a face uses them"""
    faces: NDArray[np.int64]
    """(m, 3)"""
    rows: NDArray[np.int64] | None
    """(m,) number of each face in the file's list; None = 0 .. m-1"""


@dataclass(frozen=True)
class ThreeMfProvenance:
    """Member, object and number of each triangle."""

    member: str
    object_id: str

    def locate(self, facet: int) -> Region:
        return Region(member=self.member, object_id=self.object_id, facet=facet)


def usable_mesh(made: ModelObject, faults: FaultList) -> UsableMesh:
    """Leave out what cannot be a triangle, and count it."""
    vertices = made.vertices if made.vertices is not None else np.zeros((0, 3))
    triangles = made.triangles
    where = ThreeMfProvenance(made.member, str(made.id))
    good = np.ones(len(triangles), bool)
    for kind, bad in _wrong_numbers(triangles, len(vertices)):
        _leave_out(kind, bad, good, where, faults)
    finite, near = _usable_vertices(vertices)
    if not (finite.all() and near.all()):
        safe = np.where(good[:, None], triangles, 0)
        for kind, fine in ((NOT_TOLD, finite), (TOO_FAR, near)):
            _leave_out(kind, np.asarray(~fine[safe].all(axis=1)), good, where, faults)
        vertices = np.where((finite & near)[:, None], vertices, 0.0)
    if good.all():
        return UsableMesh(vertices, triangles, None)
    rows = np.flatnonzero(good)
    return UsableMesh(vertices, triangles[rows], rows)


def _wrong_numbers(
    triangles: NDArray[np.int64], vertex_count: int
) -> list[tuple[Kind, NDArray[np.bool_]]]:
    if len(triangles) == 0:
        return []
    a, b, c = triangles.T
    found = [(REPEATED, (a == b) | (b == c) | (c == a))]
    if int(triangles.min()) < 0:
        found.insert(0, (NEGATIVE, ((triangles < 0) & (triangles != NO_INTEGER)).any(axis=1)))
        found.insert(0, (NOT_TOLD, (triangles == NO_INTEGER).any(axis=1)))
    if int(triangles.max()) >= vertex_count:
        found.insert(-1, (OUT_OF_RANGE, (triangles >= vertex_count).any(axis=1)))
    return found


#: Left out without another word: the reader of the XML has counted them.
NOT_TOLD = Kind("triangle", "", "")


def _leave_out(
    kind: Kind,
    bad: NDArray[np.bool_],
    good: NDArray[np.bool_],
    where: ThreeMfProvenance,
    faults: FaultList,
) -> None:
    """Each triangle is counted under the first trouble it has."""
    bad = bad & good
    if bad.any():
        if kind is not NOT_TOLD:
            faults.count(kind, where.locate(int(np.argmax(bad))), int(np.count_nonzero(bad)))
        good &= ~bad


def _usable_vertices(
    vertices: NDArray[np.float64],
) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    finite = np.asarray(np.isfinite(vertices).all(axis=1))
    with np.errstate(invalid="ignore"):
        near = np.asarray(~(np.abs(vertices) > COORDINATE_MAX).any(axis=1))
    return finite, near


def tell_split_vertices(made: ModelObject, mesh: UsableMesh, faults: FaultList) -> None:
    """A fault if the triangles fit together by position, but not by number.

    If they do not fit by position either, the rules over the body tell more, and nothing is said.
    """
    if made.type != "model" or len(mesh.faces) == 0 or mesh.rows is not None:
        return
    if is_closed_by_number(mesh.faces):
        return
    vertices, index = weld_exact(mesh.vertices)
    welded = index[mesh.faces]
    a, b, c = welded.T
    welded = welded[(a != b) & (b != c) & (c != a)]
    if len(vertices) == len(mesh.vertices) or not is_closed_by_number(welded):
        return
    used = np.unique(mesh.faces)
    repeated = len(used) - len(np.unique(index[used]))
    faults.add(
        f"has triangles in {made.shown} that do not share their vertices: it has "
        f"{counted(repeated, 'vertex')} more than positions. 3MF Core 1.4, "
        "§4.1, wants each edge shared by two triangles by the numbers of its vertices; they were "
        "joined by position.",
        "Merge vertices of equal position before exporting.",
        made.region,
        repeated,
    )


def is_closed_by_number(faces: NDArray[np.int64]) -> bool:
    """Is every edge used exactly once in each direction?

    Parameters
    ----------
    faces : (m, 3) int64, not negative

    Examples
    --------
    >>> tetrahedron = np.array([[0, 2, 1], [0, 1, 3], [1, 2, 3], [0, 3, 2]])
    >>> is_closed_by_number(tetrahedron), is_closed_by_number(tetrahedron[:3])
    (True, False)
    """
    if len(faces) == 0:
        return False
    start, end = faces.ravel(), np.roll(faces, -1, axis=1).ravel()
    stride = int(faces.max()) + 1
    there = np.sort(start * stride + end)
    if (there[1:] == there[:-1]).any():
        return False
    return bool((there == np.sort(end * stride + start)).all())
