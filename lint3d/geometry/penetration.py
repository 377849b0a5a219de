"""How deep do two triangles run into each other?

The distance by which one of two convex sets must be moved to separate them is the smallest overlap
of their shadows on a few axes (separating axis theorem). Lengths in mm. Guarded by
tests/geometry/test_penetration.py.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lint3d.geometry.vectors import cross_product

Floats = NDArray[np.float64]


def penetration_depth_mm(one: Floats, two: Floats, resolution_mm: float) -> Floats:
    """How far must each triangle move out of its partner?

    Parameters
    ----------
    one, two : (k, 3, 3) float64, mm: corners of the two triangles of each pair
    resolution_mm : triangles that lie within this distance of a common plane are judged within it

    Returns
    -------
    (k,) float64, mm : 0 or less if the triangles are apart, or touch without crossing; for
        triangles in a common plane the depth is measured within the plane

    Examples
    --------
    >>> flat = np.array([[[0.0, 0, 0], [4, 0, 0], [0, 4, 0]]])
    >>> penetration_depth_mm(flat, flat[:, :, [0, 2, 1]] + [1, 1, -1], 1e-6)
    array([1.])
    """
    middle = one[:, :1]
    one, two = one - middle, two - middle
    sides_one, sides_two = _sides(one), _sides(two)
    normal_one = _unit(cross_product(sides_one[:, 0], sides_one[:, 1]))
    normal_two = _unit(cross_product(sides_two[:, 0], sides_two[:, 1]))
    depth = np.minimum(_overlap(normal_one, one, two), _overlap(normal_two, one, two))
    for row in range(3):
        for column in range(3):
            axis = cross_product(sides_one[:, row], sides_two[:, column])
            depth = np.minimum(depth, _overlap(_unit(axis), one, two))
    thick_one = _reach_from_plane(normal_one, one, two)
    thick_two = _reach_from_plane(normal_two, two, one)
    flat = np.flatnonzero(np.minimum(thick_one, thick_two) <= resolution_mm)
    if len(flat):
        # The triangle whose plane holds both is the better one to look along.
        first = thick_one[flat] <= thick_two[flat]
        normal = np.where(first[:, None], normal_one[flat], normal_two[flat])
        depth[flat] = _overlap_in_plane(normal, one[flat], two[flat])
    return depth


def in_common_plane(one: Floats, two: Floats, resolution_mm: float) -> NDArray[np.bool_]:
    """(k,) do the two triangles of each pair lie in one plane, to within the resolution?"""
    middle = one[:, :1]
    one, two = one - middle, two - middle
    normal_one = _unit(cross_product(one[:, 1] - one[:, 0], one[:, 2] - one[:, 0]))
    normal_two = _unit(cross_product(two[:, 1] - two[:, 0], two[:, 2] - two[:, 0]))
    thick_one = _reach_from_plane(normal_one, one, two)
    thick_two = _reach_from_plane(normal_two, two, one)
    flat: NDArray[np.bool_] = np.minimum(thick_one, thick_two) <= resolution_mm
    return flat


def _reach_from_plane(normal: Floats, triangle: Floats, other: Floats) -> Floats:
    """How far do the other triangle's corners lie from this triangle's plane?"""
    away = np.einsum("kij,kj->ki", other - triangle[:, :1], normal)
    farthest: Floats = np.abs(away).max(axis=1)
    return farthest


def _sides(triangles: Floats) -> Floats:
    sides: Floats = triangles[:, [1, 2, 0]] - triangles
    return sides


def _unit(vectors: Floats) -> Floats:
    """Unit vectors; what has hardly a direction (near-parallel sides) becomes zero."""
    length = np.linalg.norm(vectors, axis=1)
    scale = np.abs(vectors).max(initial=0.0)
    good = length > 1e-12 * scale
    return np.divide(vectors, length[:, None], out=np.zeros_like(vectors), where=good[:, None])


def _overlap(axis: Floats, one: Floats, two: Floats) -> Floats:
    """(k,) overlap of two triangles' shadows on unit axes; infinite where there is no axis."""
    shadow_one = np.einsum("kij,kj->ki", one, axis)
    shadow_two = np.einsum("kij,kj->ki", two, axis)
    overlap = np.minimum(
        shadow_one.max(axis=1) - shadow_two.min(axis=1),
        shadow_two.max(axis=1) - shadow_one.min(axis=1),
    )
    overlap[~axis.any(axis=1)] = np.inf
    return overlap


def _overlap_in_plane(normal: Floats, one: Floats, two: Floats) -> Floats:
    depth = np.full(len(one), np.inf)
    for sides in (_sides(one), _sides(two)):
        for row in range(3):
            axis = _unit(cross_product(normal, sides[:, row]))
            depth = np.minimum(depth, _overlap(axis, one, two))
    return depth
