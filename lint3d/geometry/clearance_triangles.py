"""How far apart are two triangles, exactly, and where do they come nearest?

The nearest points of two triangles are a corner of one and a point of the other, or lie on two
edges, or the triangles cross and the distance is 0. All three are worked out for many pairs at
once, in float64; a distance that is returned is always that of the two points returned with it.
Triangles without area are edges or points and do as well. Lengths in mm. Guarded by
tests/geometry/test_clearance_triangles.py.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lint3d.geometry.portions import chunks
from lint3d.geometry.vectors import cross_product

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
        found = _distances(one[part] - origin, two[part] - origin)
        distance[part] = np.sqrt(found[0])
        points[0, part] = found[1] + origin[:, 0]
        points[1, part] = found[2] + origin[:, 0]
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
    origin = np.zeros((len(corners), 1, 3))
    squared, nearest = _corners_to_triangles(origin, corners - point)
    return np.sqrt(squared[:, 0]), nearest[:, 0] + point


def _distances(one: Floats, two: Floats) -> tuple[Floats, Floats, Floats]:
    """Squared distances with both nearest points, of a portion of pairs."""
    squared_one, on_two = _corners_to_triangles(one, two)
    squared_two, on_one = _corners_to_triangles(two, one)
    squared_edge, edge_one, edge_two = _edges_to_edges(one, two)
    squared = np.concatenate([squared_one, squared_two, squared_edge], axis=1)
    first = np.concatenate([one, on_one, edge_one], axis=1)
    second = np.concatenate([on_two, two, edge_two], axis=1)
    row, best = np.arange(len(one)), squared.argmin(axis=1)
    least, first, second = squared[row, best], first[row, best], second[row, best]
    for a, b in ((one, two), (two, one)):
        crosses, where = _edges_cross(a, b)
        least = np.where(crosses, 0.0, least)
        first = np.where(crosses[:, None], where, first)
        second = np.where(crosses[:, None], where, second)
    return least, first, second


def _corners_to_triangles(point: Floats, corners: Floats) -> tuple[Floats, Floats]:
    """Points (k, p, 3) against one triangle a row: squared distance (k, p), nearest (k, p, 3)."""
    start = corners[:, None, :, :]
    along = np.roll(corners, -1, axis=1)[:, None] - start
    length = np.einsum("koij,koij->koi", along, along)
    share = np.einsum("kpij,koij->kpi", point[:, :, None] - start, along)
    share = np.clip(share / np.maximum(length, _TINY), 0.0, 1.0)
    on_edge = start + share[..., None] * along
    away = point[:, :, None] - on_edge
    squared_edge = np.einsum("kpij,kpij->kpi", away, away)
    best = squared_edge.argmin(axis=2)[..., None]
    squared = np.take_along_axis(squared_edge, best, 2)[..., 0]
    nearest = np.take_along_axis(on_edge, best[..., None], 2)[:, :, 0]
    inside, foot = _feet(point, corners)
    away = point - foot
    below = np.einsum("kpj,kpj->kp", away, away)
    inside &= below < squared
    return np.where(inside, below, squared), np.where(inside[..., None], foot, nearest)


def _feet(point: Floats, corners: Floats) -> tuple[Bools, Floats]:
    """Foot of the perpendicular from each point on its triangle's plane, and is it inside?"""
    u, v = corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]
    normal = cross_product(u, v)
    square = np.einsum("kj,kj->k", normal, normal)[:, None]
    from_corner = point - corners[:, None, 0]
    square_safe = np.maximum(square, _TINY)
    share_v = np.einsum("kpj,kj->kp", from_corner, cross_product(normal, u)) / square_safe
    share_u = np.einsum("kpj,kj->kp", from_corner, cross_product(v, normal)) / square_safe
    inside: Bools = (share_u >= 0) & (share_v >= 0) & (share_u + share_v <= 1) & (square > _TINY)
    height = np.einsum("kpj,kj->kp", from_corner, normal) / square_safe
    return inside, point - height[..., None] * normal[:, None]


def _edges_to_edges(one: Floats, two: Floats) -> tuple[Floats, Floats, Floats]:
    """Nearest points of the lines through each two edges, kept within the edges: (k, 9, ...).

    Where they run out of an edge, or the edges are parallel, the nearest points of the edges
    belong to a corner and are found there.
    """
    start_one = np.repeat(one, 3, axis=1)
    along_one = np.repeat(np.roll(one, -1, axis=1) - one, 3, axis=1)
    start_two = np.tile(two, (1, 3, 1))
    along_two = np.tile(np.roll(two, -1, axis=1) - two, (1, 3, 1))
    between = start_one - start_two
    a = np.einsum("kij,kij->ki", along_one, along_one)
    e = np.einsum("kij,kij->ki", along_two, along_two)
    b = np.einsum("kij,kij->ki", along_one, along_two)
    c = np.einsum("kij,kij->ki", along_one, between)
    f = np.einsum("kij,kij->ki", along_two, between)
    spread = a * e - b * b
    share_one = np.clip((b * f - c * e) / np.where(spread > 0, spread, np.inf), 0.0, 1.0)
    share_two = np.clip((b * share_one + f) / np.maximum(e, _TINY), 0.0, 1.0)
    share_one = np.clip((b * share_two - c) / np.maximum(a, _TINY), 0.0, 1.0)
    on_one = start_one + share_one[..., None] * along_one
    on_two = start_two + share_two[..., None] * along_two
    away = on_one - on_two
    return np.einsum("kij,kij->ki", away, away), on_one, on_two


def _edges_cross(edges: Floats, corners: Floats) -> tuple[Bools, Floats]:
    """Does an edge of one triangle of the pair pass through the other, and where?"""
    u, v = corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]
    normal = cross_product(u, v)
    height = np.einsum("kij,kj->ki", edges - corners[:, :1], normal)
    after = np.roll(height, -1, axis=1)
    passes = (height > 0) != (after > 0)
    drop = height - after
    share = np.where(passes, height / np.where(drop != 0, drop, 1.0), 0.0)
    where = edges + share[..., None] * (np.roll(edges, -1, axis=1) - edges)
    inside, _ = _feet(where, corners)
    passes &= inside
    first = passes.argmax(axis=1)
    row = np.arange(len(edges))
    return passes.any(axis=1), where[row, first]
