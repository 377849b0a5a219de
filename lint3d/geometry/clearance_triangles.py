"""How far apart are two triangles, exactly, and where do they come nearest?

The nearest points of two triangles are a corner of one and a point of the other, or lie on two
edges, or the triangles cross and the distance is 0. All three are worked out for many pairs at
once, in float64; a distance that is returned is always that of the two points returned with it.
Triangles without area are edges or points and do as well. Lengths in mm. Within, x, y and z come
first, (3, k, ...): products of whole rows are worked out several times faster than sums over three
numbers that lie side by side. Guarded by tests/geometry/test_clearance_triangles.py.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lint3d.geometry.portions import chunks

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

# Temporary arrays of nine edge pairs a row stay in the processor's cache.
_PAIRS_AT_ONCE = 1 << 12
_TINY = 1e-300


def triangle_distances(one: Floats, two: Floats) -> tuple[Floats, Floats, Floats]:
    """How near do the triangles of each pair come?

    Parameters
    ----------
    one, two : (k, 3, 3) float64, mm, corners

    Returns
    -------
    distance : (k,) float64, mm, 0.0 where they meet or cross
    point_one, point_two : (k, 3) float64, mm, nearest points
    """
    distance = np.zeros(len(one))
    points = np.zeros((2, len(one), 3))
    for part in chunks(len(one), _PAIRS_AT_ONCE):
        # About the first corner, so that nothing is lost far from the origin.
        origin = one[part, :1]
        found = _distances(_by_axis(one[part] - origin), _by_axis(two[part] - origin))
        distance[part] = np.sqrt(found[0])
        points[0, part] = found[1].T + origin[:, 0]
        points[1, part] = found[2].T + origin[:, 0]
    return distance, points[0], points[1]


def nearest_on_each(point: Floats, corners: Floats) -> tuple[Floats, Floats]:
    """How far is one point from each triangle, and where is it nearest?

    Parameters
    ----------
    point : (3,) float64, mm
    corners : (k, 3, 3) float64, mm

    Returns
    -------
    distance : (k,) float64, mm
    nearest : (k, 3) float64, mm, on the triangles
    """
    origin = np.zeros((3, len(corners), 1))
    squared, nearest = _corners_to_triangles(origin, _by_axis(corners - point))
    return np.sqrt(squared[:, 0]), nearest[:, :, 0].T + point


def points_to_triangles(points: Floats, corners: Floats) -> Floats:
    """How far are points from the triangle of their row?

    Parameters
    ----------
    points : (k, p, 3) float64, mm
    corners : (k, 3, 3) float64, mm

    Returns
    -------
    distance : (k, p) float64, mm
    """
    origin = corners[:, :1]
    squared, _ = _corners_to_triangles(_by_axis(points - origin), _by_axis(corners - origin))
    return np.sqrt(squared)


def _by_axis(points: Floats) -> Floats:
    """(k, p, 3) as (3, k, p), each axis in one piece."""
    return np.ascontiguousarray(np.moveaxis(points, -1, 0))


def _dot(first: Floats, second: Floats) -> Floats:
    """Scalar product over the first axis."""
    found: Floats = first[0] * second[0]
    found += first[1] * second[1]
    found += first[2] * second[2]
    return found


def _cross(first: Floats, second: Floats) -> Floats:
    """Cross product over the first axis."""
    (a, b, c), (x, y, z) = first, second
    return np.stack([b * z - c * y, c * x - a * z, a * y - b * x])


def _after(corners: Floats) -> Floats:
    """The next corner of each, (..., 3) along the last axis."""
    return corners[..., [1, 2, 0]]


def _distances(one: Floats, two: Floats) -> tuple[Floats, Floats, Floats]:
    """Squared distances (k,) with both nearest points (3, k), of a portion of pairs (3, k, 3)."""
    squared_one, on_two = _corners_to_triangles(one, two)
    squared_two, on_one = _corners_to_triangles(two, one)
    squared_edge, edge_one, edge_two = _edges_to_edges(one, two)
    squared = np.concatenate([squared_one, squared_two, squared_edge], axis=1)
    first = np.concatenate([one, on_one, edge_one], axis=2)
    second = np.concatenate([on_two, two, edge_two], axis=2)
    row, best = np.arange(one.shape[1]), squared.argmin(axis=1)
    least, first, second = squared[row, best], first[:, row, best], second[:, row, best]
    for a, b in ((one, two), (two, one)):
        crosses, where = _edges_cross(a, b)
        least = np.where(crosses, 0.0, least)
        first = np.where(crosses, where, first)
        second = np.where(crosses, where, second)
    return least, first, second


def _corners_to_triangles(point: Floats, corners: Floats) -> tuple[Floats, Floats]:
    """Points (3, k, p), a triangle a row (3, k, 3): squared distance (k, p), nearest (3, k, p)."""
    starts, ways = corners, _after(corners) - corners
    squares = np.maximum(_dot(ways, ways), _TINY)
    inside, nearest = _feet(point, corners)
    away = point - nearest
    squared = np.where(inside, _dot(away, away), np.inf)
    for edge in (2, 1, 0):  # of equals the first edge is taken
        start, along = starts[:, :, edge, None], ways[:, :, edge, None]
        share = np.clip(_dot(point - start, along) / squares[:, edge, None], 0.0, 1.0)
        on_edge = start + share * along
        away = point - on_edge
        further = _dot(away, away)
        nearer = further <= squared
        np.copyto(squared, further, where=nearer)
        np.copyto(nearest, on_edge, where=nearer)
    return squared, nearest


def _feet(point: Floats, corners: Floats) -> tuple[Bools, Floats]:
    """Foot of the perpendicular from each point on its triangle's plane, and is it inside?"""
    u, v = corners[:, :, 1] - corners[:, :, 0], corners[:, :, 2] - corners[:, :, 0]
    normal = _cross(u, v)
    square = _dot(normal, normal)[:, None]
    from_corner = point - corners[:, :, :1]
    square_safe = np.maximum(square, _TINY)
    share_v = _dot(from_corner, _cross(normal, u)[:, :, None]) / square_safe
    share_u = _dot(from_corner, _cross(v, normal)[:, :, None]) / square_safe
    inside: Bools = (share_u >= 0) & (share_v >= 0) & (share_u + share_v <= 1) & (square > _TINY)
    height = _dot(from_corner, normal[:, :, None]) / square_safe
    return inside, point - height * normal[:, :, None]


def _edges_to_edges(one: Floats, two: Floats) -> tuple[Floats, Floats, Floats]:
    """Nearest points of the lines through each two edges, kept within the edges: (..., k, 9).

    Where they run out of an edge, or the edges are parallel, the nearest points of the edges
    belong to a corner and are found there.
    """
    start_one, along_one = one[..., None], (_after(one) - one)[..., None]
    start_two, along_two = two[:, :, None], (_after(two) - two)[:, :, None]
    between = start_one - start_two
    a, e = _dot(along_one, along_one), _dot(along_two, along_two)
    b = _dot(along_one, along_two)
    c = _dot(along_one, between)
    f = _dot(along_two, between)
    spread = a * e - b * b
    share_one = np.clip((b * f - c * e) / np.where(spread > 0, spread, np.inf), 0.0, 1.0)
    share_two = np.clip((b * share_one + f) / np.maximum(e, _TINY), 0.0, 1.0)
    share_one = np.clip((b * share_two - c) / np.maximum(a, _TINY), 0.0, 1.0)
    on_one = start_one + share_one * along_one
    on_two = start_two + share_two * along_two
    away = on_one - on_two
    squared, pairs = _dot(away, away), one.shape[1]
    return squared.reshape(pairs, 9), on_one.reshape(3, pairs, 9), on_two.reshape(3, pairs, 9)


def _edges_cross(edges: Floats, corners: Floats) -> tuple[Bools, Floats]:
    """Does an edge of one triangle of the pair pass through the other (k,), and where (3, k)?"""
    u, v = corners[:, :, 1] - corners[:, :, 0], corners[:, :, 2] - corners[:, :, 0]
    height = _dot(edges - corners[:, :, :1], _cross(u, v)[:, :, None])
    after = _after(height)
    passes = (height > 0) != (after > 0)
    drop = height - after
    share = np.where(passes, height / np.where(drop != 0, drop, 1.0), 0.0)
    where = edges + share * (_after(edges) - edges)
    inside, _ = _feet(where, corners)
    passes &= inside
    first = passes.argmax(axis=1)
    return passes.any(axis=1), where[:, np.arange(edges.shape[1]), first]
