"""Does an edge of one body pass through the material of another?

A body can reach into another with no vertex inside it: a letter that goes all through its plate.
Lengths in mm. Guarded by tests/geometry/test_piercing.py.
"""

from __future__ import annotations

import igl
import numpy as np
from numpy.typing import NDArray

from lint3d.geometry.rays import RayScene

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


def reaches_into(
    vertices: Floats, faces: Ints, other_vertices: Floats, other_faces: Ints, deep_mm: float
) -> bool:
    """Does any vertex or edge of a surface lie in the material of a closed body, deep enough?

    Parameters
    ----------
    vertices, faces : (n, 3) mm and (m, 3), the surface
    other_vertices, other_faces : the body, its faces looking out
    deep_mm : what lies nearer to its surface only touches it
    """
    near = _faces_near(vertices, faces, other_vertices)
    if not len(near):
        return False
    if _any_deep(vertices[np.unique(near)], other_vertices, other_faces, deep_mm):
        return True
    sides = near[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2)
    ends = np.unique(np.sort(sides, axis=1), axis=0)
    # No more of the body than its edges can meet: a plate has many faces, and many letters on it.
    scene = RayScene(other_vertices, _faces_near(other_vertices, other_faces, vertices[ends]))
    between = _between_crossings(vertices[ends], scene, deep_mm)
    return _any_deep(between, other_vertices, other_faces, deep_mm)


def _faces_near(vertices: Floats, faces: Ints, points: Floats) -> Ints:
    """(k, 3) those faces whose boxes meet the box of some points."""
    points = points.reshape(-1, 3)
    corner = vertices[faces]
    above = corner.max(axis=1) >= points.min(axis=0)
    below = corner.min(axis=1) <= points.max(axis=0)
    found: Ints = faces[(above & below).all(axis=1)]
    return found


def _between_crossings(ends: Floats, scene: RayScene, deep_mm: float) -> Floats:
    """(k, 3) mm: the middles between the first crossing along each line and the one after it.

    Up to the first crossing a line is where its first vertex is.
    """
    way = ends[:, 1] - ends[:, 0]
    length = np.linalg.norm(way, axis=1)
    sound = length > deep_mm
    start, length = ends[sound, 0], length[sound]
    way = way[sound] / length[:, None]
    facet = scene.first_facet(start, way, length)
    met = facet >= 0
    start, way, length = start[met], way[met], length[met]
    first = np.clip(scene.distance(start, way, facet[met]), 0.0, length)
    begin = start + first[:, None] * way
    rest = length - first
    facet = scene.first_facet(begin, way, rest)
    second = np.clip(scene.distance(begin, way, facet), 0.0, rest)
    middle: Floats = begin + (second / 2)[:, None] * way
    return middle


def _any_deep(points: Floats, vertices: Floats, faces: Ints, deep_mm: float) -> bool:
    """Does any point lie in a closed body, and not near its surface?"""
    low, high = vertices.min(axis=0), vertices.max(axis=0)
    points = np.ascontiguousarray(points[((points >= low) & (points <= high)).all(axis=1)])
    if not len(points):
        return False
    square = igl.point_mesh_squared_distance(points, vertices, faces)[0]
    deep = np.ascontiguousarray(points[square > deep_mm**2])
    if not len(deep):
        return False
    return bool((igl.fast_winding_number(vertices, faces, deep) > 0.5).any())
