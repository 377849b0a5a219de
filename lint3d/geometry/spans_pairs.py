"""How near do two facets come, and does what lies between them count as a span?

Exact closest points of pairs of triangles, in float64 over plain arrays, and the test of a
contact: does each side lie square to the line between the points, or recede from it like a true
ridge? Lengths in mm. Tested by tests/geometry/test_spans_pairs.py.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from lint3d.geometry.side_by_side import side_by_side
from lint3d.geometry.spans_surface import SpanSurface
from lint3d.geometry.vectors import cross_product

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

# Steepest contact that is still a wall. Tried: at 15 degrees wedges of 5-30 degrees are caught
# and corners of 40-60 pass; at 30 degrees a corner of 60 alarms. A little more: twelve equal teeth
# lean by 15 degrees to the last digit, and rounding would choose among them.
LEAN_COS = float(np.cos(np.radians(15.25)))
LEVEL = 1e-4  # sine of the slope up to which a side counts as square to a direction
HUB_LEAST = 128  # sides at a vertex above which they are looked up, not gone through
SIDES_AT_ONCE = 300_000
PAIRS_AT_ONCE = 50_000  # work arrays that stay in the cache
TRIANGLES_AT_ONCE = 4_000  # work arrays that stay in the processor's cache
RIDGE_RISE = float(np.sin(np.radians(1.0)))  # facets round a ridge may rise by rounding only


def dot(first: Floats, second: Floats) -> Floats:
    """Row by row scalar product of two (k, 3) arrays."""
    product: Floats = np.einsum("ij,ij->i", first, second)
    return product


def closest_on_segments(
    begin: Floats, along: Floats, begin_other: Floats, along_other: Floats
) -> tuple[Floats, Floats]:
    """Closest points of pairs of segments.

    Parameters
    ----------
    begin, along : (k, 3) float64, mm, one end and the vector to the other end
    begin_other, along_other : the same of the other segment

    Returns
    -------
    (k, 3), (k, 3) float64, mm

    References
    ----------
    Ericson, Real-Time Collision Detection (2005), section 5.1.9.
    """
    apart = begin - begin_other
    a, e, b = dot(along, along), dot(along_other, along_other), dot(along, along_other)
    c, f = dot(along, apart), dot(along_other, apart)
    denominator = a * e - b * b
    with np.errstate(divide="ignore", invalid="ignore"):
        s = np.where(denominator > 1e-14 * a * e, (b * f - c * e) / denominator, 0.5)
        s = np.clip(np.nan_to_num(s), 0.0, 1.0)
        t_free = (b * s + f) / e
        t = np.clip(np.nan_to_num(t_free), 0.0, 1.0)
        again = np.clip(np.nan_to_num((b * t - c) / a), 0.0, 1.0)
    s = np.where(t == t_free, s, again)
    return begin + along * s[:, None], begin_other + along_other * t[:, None]


def closest_on_triangles(
    first: Floats, second: Floats, normal_first: Floats, normal_second: Floats
) -> tuple[Floats, Floats, Floats]:
    """Closest points of pairs of triangles that do not cross.

    Parameters
    ----------
    first, second : (k, 3, 3) float64, mm
    normal_first, normal_second : (k, 3) float64, unit normals, either way round

    Returns
    -------
    point, contact : (k, 3) float64, mm, on the first and on the second
    distance : (k,) float64, mm
    """
    parts = [
        _closest_of_some(*(one[i : i + TRIANGLES_AT_ONCE] for one in given))
        for given in [(first, second, normal_first, normal_second)]
        for i in range(0, max(len(first), 1), TRIANGLES_AT_ONCE)
    ]
    if len(parts) == 1:
        return parts[0]
    point, contact, distance = (np.concatenate(column) for column in zip(*parts, strict=True))
    return point, contact, distance


def _closest_of_some(
    first: Floats, second: Floats, normal_first: Floats, normal_second: Floats
) -> tuple[Floats, Floats, Floats]:
    """Closest points by the fifteen ways two triangles can be nearest: all tried at once."""
    k = len(first)
    corners, corners_other = first.transpose(1, 0, 2), second.transpose(1, 0, 2)
    foot, over = _feet(corners, second, normal_second)
    foot_other, over_other = _feet(corners_other, first, normal_first)
    along, along_other = np.roll(corners, -1, 0) - corners, np.roll(corners_other, -1, 0)
    along_other = along_other - corners_other
    sides = [np.repeat(one, 3, axis=0).reshape(-1, 3) for one in (corners, along)]
    sides += [np.tile(one, (3, 1, 1)).reshape(-1, 3) for one in (corners_other, along_other)]
    near, near_other = (one.reshape(9, k, 3) for one in closest_on_segments(*sides))
    # Of ways that are equally near the first counts: corners of the two in turns, then sides.
    points = np.concatenate([_in_turns(corners, foot_other), near])
    contacts = np.concatenate([_in_turns(foot, corners_other), near_other])
    gap = points - contacts
    squared = np.einsum("wij,wij->wi", gap, gap)
    squared[:6][~_in_turns(over, over_other)] = np.inf
    best, row = squared.argmin(axis=0), np.arange(k)
    return points[best, row], contacts[best, row], np.sqrt(squared[best, row])


def _in_turns(one: NDArray[Any], two: NDArray[Any]) -> NDArray[Any]:
    return np.stack([one, two], axis=1).reshape(2 * len(one), *one.shape[1:])


def _feet(corners: Floats, triangle: Floats, normal: Floats) -> tuple[Floats, Bools]:
    """Feet (c, k, 3) of corners on the planes of triangles, and whether they lie inside (c, k)."""
    height = np.einsum("cij,ij->ci", corners - triangle[:, 0], normal)
    foot = corners - normal * height[..., None]
    turn = np.empty((3, *height.shape))
    for i in range(3):
        side = triangle[:, (i + 1) % 3] - triangle[:, i]
        turn[i] = np.einsum("cij,ij->ci", cross_product(side, foot - triangle[:, i]), normal)
    inside: Bools = np.logical_or((turn >= 0).all(0), (turn <= 0).all(0))
    return foot, inside


def share_vertex(faces: Ints, first: Ints, second: Ints) -> Bools:
    """Do two facets have a corner in common?"""
    one, two = faces[first], faces[second]
    return (one[:, :, None] == two[:, None, :]).any((1, 2))


def stands_square(
    surface: SpanSurface, inward: Floats, facet: Ints, point: Floats, towards: Floats
) -> Bools:
    """Does the surface at a point of a facet face a direction, or recede from it?

    True where the facet's inward normal is within 15 degrees of `towards`, and where every facet
    round the point (at a side or corner) falls away from it: a true ridge, like the bottom of a
    V-groove.

    Parameters
    ----------
    inward : (k, 3) float64, unit normals into the space that is measured, per facet
    facet : (j,) int64
    point : (j, 3) float64, mm, on the facet
    towards : (j, 3) float64, unit, from the point to the other side
    """
    cosine = dot(inward[facet], towards)
    square = cosine >= LEAN_COS
    # A line that leaves on the wrong side of the facet runs outside the space measured.
    rows = np.flatnonzero(~square & (cosine > 1e-3))
    if len(rows):
        square[rows] = _recedes(surface, facet[rows], point[rows], towards[rows])
    return square


def _recedes(surface: SpanSurface, facet: Ints, point: Floats, towards: Floats) -> Bools:
    """Does all the surface round a point on a side or corner of a facet lie behind it?"""
    corners = surface.corners[facet]
    longest = surface.longest[facet]
    near = 1e-6 * longest
    corner_gap = np.linalg.norm(corners - point[:, None], axis=2)
    recedes = np.zeros(len(facet), dtype=bool)
    at_corner = corner_gap.min(1) <= near
    rows = np.flatnonzero(at_corner)
    vertex = surface.faces[facet[rows], corner_gap[rows].argmin(1)]
    recedes[rows] = _corner_recedes(surface, vertex, towards[rows])
    for side in range(3):
        begin = corners[:, side]
        along = corners[:, (side + 1) % 3] - begin
        length = np.linalg.norm(along, axis=1)
        share = np.clip(dot(point - begin, along) / length**2, 0, 1)
        off = np.linalg.norm(begin + along * share[:, None] - point, axis=1)
        # Along a level side any point will do: one off its ends, which may touch an end wall.
        level = np.abs(dot(along, towards)) <= LEVEL * length
        share = np.where(level, np.clip(share, 0.01, 0.99), share)
        rows = np.flatnonzero(
            (off <= near) & (level | ~at_corner) & (surface.neighbours[facet, side] >= 0)
        )
        unit = along[rows] / length[rows, None]
        base = begin[rows] + along[rows] * share[rows, None]
        falls = np.abs(dot(unit, towards[rows])) <= RIDGE_RISE
        for face in (facet[rows], surface.neighbours[facet[rows], side]):
            # Square to the side: along a sliver its far corner would seem hardly to rise.
            away = surface.corners[face].mean(1) - base
            away -= unit * dot(away, unit)[:, None]
            falls &= dot(away, towards[rows]) <= RIDGE_RISE * np.linalg.norm(away, axis=1)
        recedes[rows] |= falls
    return recedes


def _corner_recedes(surface: SpanSurface, vertex: Ints, towards: Floats) -> Bools:
    """Do all sides that leave a vertex fall away from a direction?"""
    start, _ = surface.incidence
    count = start[vertex + 1] - start[vertex]
    recedes = np.ones(len(vertex), dtype=bool)
    hub = count > HUB_LEAST
    rows = np.flatnonzero(~hub)
    cuts = np.searchsorted(np.cumsum(count[rows]), np.arange(0, count[rows].sum(), SIDES_AT_ONCE))
    for some in np.split(rows, cuts[1:]):
        recedes[some] = _few_recede(surface, vertex[some], towards[some])
    rows = np.flatnonzero(hub)
    rows = rows[np.argsort(vertex[rows], kind="stable")]
    for some in np.split(rows, np.flatnonzero(np.diff(vertex[rows])) + 1) if len(rows) else ():
        recedes[some] = _many_recede(surface, int(vertex[some[0]]), towards[some])
    rows = np.flatnonzero(recedes & ~hub)
    recedes[rows] = ~_rises_between(surface, vertex[rows], towards[rows])
    return recedes


def _facets_round(surface: SpanSurface, vertex: Ints) -> tuple[Ints, Ints]:
    """All facets round some vertices: the row of the vertex, and the facet."""
    start, around = surface.incidence
    count = start[vertex + 1] - start[vertex]
    owner = np.repeat(np.arange(len(vertex)), count)
    offset = np.arange(len(owner)) - np.repeat(np.cumsum(count) - count, count)
    return owner, around[start[vertex][owner] + offset]


def _rises_between(surface: SpanSurface, vertex: Ints, towards: Floats) -> Bools:
    """(j,) does a facet rise towards a direction between its two sides that leave a vertex?

    A sliver may have its broad corner there: its sides run nearly opposite ways, and both fall.
    """
    owner, facet = _facets_round(surface, vertex)
    here = (surface.faces[facet] == vertex[owner, None]).argmax(axis=1)
    corners = surface.corners[facet]
    row = np.arange(len(facet))
    one, two = (corners[row, (here + turn) % 3] - corners[row, here] for turn in (1, 2))
    normal = cross_product(one, two)
    normal /= np.maximum(np.linalg.norm(normal, axis=1), 1e-300)[:, None]
    way = towards[owner] - normal * dot(normal, towards[owner])[:, None]
    inside = (dot(cross_product(one, way), normal) > 0) & (dot(cross_product(way, two), normal) > 0)
    rises = np.zeros(len(vertex), dtype=bool)
    rises[owner[inside & (np.linalg.norm(way, axis=1) > RIDGE_RISE)]] = True
    return rises


def _few_recede(surface: SpanSurface, vertex: Ints, towards: Floats) -> Bools:
    """(j,) vertices with some sides each, looked at one by one."""
    owner, facet = _facets_round(surface, vertex)
    step = surface.corners[facet] - surface.vertices[vertex][owner][:, None]
    rise = np.einsum("ijk,ik->ij", step, towards[owner])
    length = np.linalg.norm(step, axis=2)
    falls = (rise <= RIDGE_RISE * length + 1e-12).all(1)
    recedes = np.ones(len(vertex), dtype=bool)
    recedes[owner[~falls]] = False
    return recedes


def _many_recede(surface: SpanSurface, vertex: int, towards: Floats) -> Bools:
    """One hub of very many sides, in (j, 3) directions: the side that rises most is the nearest."""
    start, around = surface.incidence
    corners = surface.corners[around[start[vertex] : start[vertex + 1]]].reshape(-1, 3)
    step = corners - surface.vertices[vertex]
    length = np.linalg.norm(step, axis=1)
    step, length = step[length > 0], length[length > 0]
    unit = step / length[:, None]
    gap = cKDTree(unit).query(towards)[0]
    recedes: Bools = 1 - gap**2 / 2 <= RIDGE_RISE + 1e-12 / length.max()
    return recedes


def distance_at_least(surface: SpanSurface, pairs: Ints) -> Floats:
    """A lower bound of the distance between facets: from the corners of each to the other's plane.

    Returns
    -------
    (j,) float64, mm : 0 where the planes cross within the facets
    """
    bound = np.zeros(len(pairs))

    def fill(start: int) -> None:
        rows = slice(start, start + PAIRS_AT_ONCE)
        for own, other in ((0, 1), (1, 0)):
            first, second = pairs[rows, own], pairs[rows, other]
            normal, begin = surface.normals[second], surface.corners[second, 0]
            one, two, three = (dot(surface.corners[first, i] - begin, normal) for i in range(3))
            least = np.minimum(np.minimum(one, two), three)
            most = np.maximum(np.maximum(one, two), three)
            np.maximum(bound[rows], np.maximum(least, -most), out=bound[rows])

    side_by_side(fill, range(0, len(pairs), PAIRS_AT_ONCE), before=lambda: surface.corners)
    return bound
