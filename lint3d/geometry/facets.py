"""Which faces enclose nothing or stand twice?

Lengths in mm. Needs coordinates, but no neighbours. Guarded by tests/geometry/test_facets.py.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lint3d.geometry.portions import chunks
from lint3d.geometry.topology import Faults, has_repeated_vertex
from lint3d.geometry.vectors import cross_product

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

#: What single-precision rounding can do to a distance, in units of half a step (2^-24) of the
#: largest coordinate. Rounding moves a point by at most sqrt(3) of them, so three points on a line
#: can end up to 2 sqrt(3) = 3.5 off it; twice that covers a part that was written, moved and
#: written again, and a little is left over.
STEPS_OF_ROUNDING = 8.0

#: Corners of one plane may lie so many steps of their coordinates off it, both sides together.
IN_PLANE_STEPS = 4


def coordinate_resolution_mm(vertices: Floats) -> float:
    """Below which distance can a file with single-precision coordinates say nothing?

    Returns
    -------
    float, mm : 8 * 2^-24 * the largest coordinate (5e-5 mm for a 100 mm part at the origin)

    Examples
    --------
    >>> coordinate_resolution_mm(np.array([[0.0, 0, -128]]))
    6.103515625e-05
    """
    largest = float(np.abs(vertices).max()) if len(vertices) else 0.0
    return STEPS_OF_ROUNDING * 2.0**-24 * largest


def facet_heights(vertices: Floats, faces: Ints) -> Floats:
    """(m,) float64, mm: the smallest height of each face, 0 if it is a point."""
    height = np.empty(len(faces))
    for rows in chunks(len(faces)):
        a, b, c = (vertices[faces[rows, corner]] for corner in range(3))
        one, two, three = b - a, c - a, c - b
        twice_area = np.linalg.norm(cross_product(one, two), axis=1)
        squares = [np.einsum("ij,ij->i", side, side) for side in (one, two, three)]
        longest = np.sqrt(np.maximum.reduce(squares))
        height[rows] = np.divide(twice_area, longest, out=np.zeros_like(longest), where=longest > 0)
    return height


def facet_normals(vertices: Floats, faces: Ints) -> Floats:
    """(m, 3) float64: unit normal of each face by the right-hand rule, zero if it has no area."""
    normals = np.empty((len(faces), 3))
    for rows in chunks(len(faces)):
        a, b, c = (vertices[faces[rows, corner]] for corner in range(3))
        normal = cross_product(b - a, c - a)
        length = np.linalg.norm(normal, axis=1)[:, None]
        normals[rows] = np.divide(normal, length, out=np.zeros_like(normal), where=length > 0)
    return normals


def degenerate_faces(vertices: Floats, faces: Ints, resolution_mm: float | None = None) -> Bools:
    """Which faces have no area at the resolution of their coordinates?

    A face whose smallest height is within the resolution may be a line or lie either way round: a
    turn of the part or a new export decides. The limit follows from the coordinates and not from
    the face, so that the verdict is the same in any frame of the same size.

    Parameters
    ----------
    vertices : (n, 3) float64, mm
    faces : (m, 3) int64
    resolution_mm : optional; by default `coordinate_resolution_mm(vertices)`

    Returns
    -------
    (m,) bool
    """
    if resolution_mm is None:
        resolution_mm = coordinate_resolution_mm(vertices)
    flat = facet_heights(vertices, faces) <= resolution_mm
    result: Bools = flat | has_repeated_vertex(faces)
    return result


def lie_in_plane(vertices: Floats, faces: Ints, step_mm: float) -> bool:
    """Do the faces lie in one plane, as far as their coordinates can tell, in any frame?

    Parameters
    ----------
    vertices : (n, 3) float64, mm
    faces : (m, 3) int64, at least one
    step_mm : distance below which coordinates cannot be told apart

    Examples
    --------
    >>> corners = np.array([[0.0, 0, 0], [5, 0, 0], [5, 5, 0], [0, 5, 1]])
    >>> lie_in_plane(corners, np.array([[0, 1, 2]]), 1e-6)
    True
    >>> lie_in_plane(corners, np.array([[0, 1, 2], [0, 2, 3]]), 1e-6)
    False
    """
    if len(faces) == 1:
        return True
    points = vertices[np.unique(faces)]
    points = points - points.mean(axis=0)
    across = np.linalg.eigh(points.T @ points)[1][:, 0]
    return bool(np.ptp(points @ across) <= IN_PLANE_STEPS * step_mm)


def duplicate_faces(faces: Ints) -> Faults:
    """Faces on the same three vertices as an earlier face, either way round.

    Returns
    -------
    Faults : `place` (k, 3) has one row for each surplus copy; its affected face is the copy. Faces
        that name a vertex twice are not looked at.

    Examples
    --------
    >>> duplicate_faces(np.array([[0, 1, 2], [2, 1, 0], [1, 2, 3]])).face
    array([1])
    """
    empty = np.zeros(0, np.int64)
    if len(faces) == 0:
        return Faults(np.zeros((0, 3), np.int64), empty, empty)
    copies = _surplus_copies(faces)
    return Faults(faces[copies].astype(np.int64), copies, np.arange(len(copies)))


def _surplus_copies(faces: Ints) -> Ints:
    low, high = faces.min(axis=1), faces.max(axis=1)
    middle = faces.sum(axis=1) - low - high
    count = np.int64(high.max()) + 1
    # Two vertices of a face fit in one number. Faces that share these two are few: compare the
    # rest.
    pair = low * count + middle
    order = np.argsort(pair)
    again = pair[order][1:] == pair[order][:-1]
    shared = np.zeros(len(faces), bool)
    shared[order[1:][again]] = True
    shared[order[:-1][again]] = True
    rows = np.flatnonzero(shared & ~has_repeated_vertex(faces))
    by_vertices = np.lexsort((rows, high[rows], middle[rows], low[rows]))
    rows = rows[by_vertices]
    same = (pair[rows][1:] == pair[rows][:-1]) & (high[rows][1:] == high[rows][:-1])
    copies: Ints = np.sort(rows[1:][same])
    return copies
