"""Which facets lie across the material (or the gap) from each other?

Rays from points of the facets, from vertices and from re-entrant sides, and the range query over
large facets. Each finds pairs of facets; nothing here decides what is thin. Lengths in mm.
Tested by tests/geometry/test_spans_steps.py.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lint3d.geometry.spans_pairs import closest_on_segments, dot
from lint3d.geometry.spans_surface import SpanSurface
from lint3d.geometry.spans_tree import BUDGET_EACH, BUDGET_MOST, facing_pairs

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

FACING_SEEN = 0.5  # cos 60 degrees: steeper facets are no contact, not even a first guess
RIDGE_MOST = 32  # points along one re-entrant side
RIDGE_WAYS = 3  # rays from each, from square to one facet to square to the other
TURN_COS = float(np.cos(np.radians(15.0)))  # how far normals spread before a vertex sends a ray
RIDGE_BUDGET = 5_000_000  # pairs of nodes looked at between re-entrant sides, and more for each
VERTICES_A_CELL = 8
REFIRES = 3  # how often a ray goes on through a copy of its own facet


def cross(
    surface: SpanSurface,
    inward: Floats,
    points: Floats,
    directions: Floats,
    reach: Floats | float,
) -> tuple[Ints, Floats, Floats]:
    """The first facet across, for rays that start on the surface.

    Returns
    -------
    facet : (k,) int64, -1 where nothing that faces the ray comes first
    distance : (k,) float64, mm, along the ray
    facing : (k,) float64, cosine between the ray and the facet's outer side
    """
    scene = surface.scene
    facet = scene.first_facet(points, directions, reach)
    distance = scene.distance(points, directions, facet)
    facing = -dot(directions, inward.take(facet, 0))
    for _ in range(REFIRES):
        # A second copy of the surface the ray starts from faces away: look past it.
        near = 4 * scene.nearest_mm
        again = np.flatnonzero((facet >= 0) & (facing <= 0) & (distance < near))
        if not len(again):
            break
        begin = points[again] + directions[again] * near
        far = np.broadcast_to(reach, len(points))[again]
        facet[again] = scene.first_facet(begin, directions[again], far)
        distance[again] = scene.distance(points[again], directions[again], facet[again])
        facing[again] = -dot(directions[again], inward[facet[again]])
    facing[facet < 0] = 0.0
    lost = (facet < 0) | (facing < FACING_SEEN) | (distance > reach) | (distance <= 0)
    facet[lost], distance[lost] = -1, np.inf
    return facet, distance, facing


def vertex_pairs(
    surface: SpanSurface,
    inward: Floats,
    reach: float,
    dense: Bools | None = None,
    cell: float = 0.0,
    most: int | None = None,
) -> tuple[Ints, Floats, bool]:
    """Pairs found by a ray from each vertex where facets turn, along its mean normal.

    These find the tip of a pit, which rays from its steep facets miss.

    Parameters
    ----------
    dense : (k,) bool, needles beside each other, see `spans_dense`: of the vertices on them only
        some in each cell of `cell` mm send rays, those that turn most
    most : how many rays may be sent; any number if None

    Returns
    -------
    pairs : (j, 2) int64, a facet at the vertex and the one across
    distance : (j,) float64, mm, from the vertex to the plane of the one across
    complete : False where there were too many vertices for each to send a ray
    """
    total, count = surface.normal_sums
    length = np.linalg.norm(total, axis=1)
    vertex = np.flatnonzero((length > 1e-3) & (length < TURN_COS * count))
    if dense is not None and dense.any():
        on_dense = np.zeros(len(count), dtype=bool)
        on_dense[surface.faces[dense]] = True
        sharpest = np.argsort(length[vertex] / count[vertex], kind="stable")
        vertex = vertex[sharpest]
        some = on_dense[vertex]
        few = first_in_cells(surface.vertices[vertex[some]], cell, VERTICES_A_CELL)
        vertex = np.sort(np.concatenate([vertex[~some], vertex[some][few]]))
    complete = most is None or len(vertex) <= most
    if most is not None:
        vertex = vertex[_spread(len(vertex), most)]
    # Looking inward is looking against the normals, on all facets alike.
    sign = -1.0 if (dot(inward[:1], surface.normals[:1]) < 0).any() else 1.0
    direction = sign * total[vertex] / length[vertex, None]
    facet, far, facing = cross(surface, inward, surface.vertices[vertex], direction, reach)
    hit = np.flatnonzero(facet >= 0)
    own = _facet_towards(surface, inward, vertex[hit], -inward[facet[hit]])
    return np.stack([own, facet[hit]], axis=1), far[hit] * facing[hit], complete


def _spread(count: int, most: int) -> Ints:
    """At most so many rows out of `count`, evenly spread."""
    return np.unique(np.linspace(0, max(count - 1, 0), min(count, most)).astype(np.int64))


def first_in_cells(points: Floats, cell: float, most: int) -> Ints:
    """Rows of the first few points in each cell of space, ascending."""
    if not len(points):
        return np.zeros(0, dtype=np.int64)
    low = points.min(0)
    size = max(cell, float((points.max(0) - low).max()) / 2**20)
    place = ((points - low) / size).astype(np.int64)
    key = (place[:, 0] << 42) + (place[:, 1] << 21) + place[:, 2]
    order = np.argsort(key, kind="stable")
    begin = np.flatnonzero(np.diff(key[order], prepend=-1))
    size_of = np.diff(begin, append=len(order))
    turn = np.arange(len(order)) - np.repeat(begin, size_of)
    return np.sort(order[turn < most])


def _facet_towards(surface: SpanSurface, inward: Floats, vertex: Ints, direction: Floats) -> Ints:
    """The facet at each vertex whose normal comes nearest to a direction."""
    start, around = surface.incidence
    count = start[vertex + 1] - start[vertex]
    begin = np.cumsum(count) - count
    owner = np.repeat(np.arange(len(vertex)), count)
    facet = around[start[vertex][owner] + np.arange(len(owner)) - begin[owner]]
    along = dot(inward[facet], direction[owner])
    order = np.lexsort((-along, owner))
    return facet[order[begin]]


def ridge_pairs(
    surface: SpanSurface,
    inward: Floats,
    outward_look: bool,
    reach: float,
    most: int | None = None,
) -> tuple[Ints, Floats, bool]:
    """Pairs found by rays from sides that jut into the space measured, like a groove's bottom.

    Parameters
    ----------
    most : how many rays may be sent; any number if None

    Returns
    -------
    pairs : (j, 2) int64, a facet at the side and the one across
    distance : (j,) float64, mm, from the side to the plane of the one across
    complete : False where there were too many sides for a ray every `reach`
    """
    facet, side, other = ridges(surface, outward_look)
    begin = surface.vertices[surface.faces[facet, side]]
    along = surface.vertices[surface.faces[facet, (side + 1) % 3]] - begin
    count = np.clip(np.ceil(np.linalg.norm(along, axis=1) / reach), 1, RIDGE_MOST).astype(np.int64)
    complete = most is None or RIDGE_WAYS * int(count.sum()) <= most
    if not complete and most is not None:
        few = _spread(len(facet), max(most // RIDGE_WAYS, 1))
        facet, other, begin, along = facet[few], other[few], begin[few], along[few]
        count = np.ones(len(few), dtype=np.int64)
    owner = np.repeat(np.arange(len(facet)), count)
    place = np.arange(len(owner)) - np.repeat(np.cumsum(count) - count, count) + 0.5
    points = begin[owner] + along[owner] * (place / count[owner])[:, None]
    pairs, distances = [np.zeros((0, 2), np.int64)], [np.zeros(0)]
    for share in np.linspace(0, 1, RIDGE_WAYS):
        direction = (1 - share) * inward[facet] + share * inward[other]
        direction /= np.linalg.norm(direction, axis=1)[:, None]
        across, far, facing = cross(surface, inward, points, direction[owner], reach)
        hit = np.flatnonzero(across >= 0)
        first, second = facet[owner[hit]], other[owner[hit]]
        back = -inward[across[hit]]
        own = np.where(dot(inward[first], back) >= dot(inward[second], back), first, second)
        pairs.append(np.stack([own, across[hit]], axis=1))
        distances.append(far[hit] * facing[hit])
    return np.concatenate(pairs), np.concatenate(distances), complete


def ridges(surface: SpanSurface, outward_look: bool) -> tuple[Ints, Ints, Ints]:
    """Re-entrant sides, each once: a facet, which of its sides, and the facet across."""
    turns = surface.turns
    keep = turns.rise < 0 if outward_look else turns.rise > 0
    return turns.facet[keep], turns.side[keep], turns.other[keep]


def ridges_crossed(
    surface: SpanSurface,
    inward: Floats,
    outward_look: bool,
    low: float,
    high: float,
    most: int | None = None,
    without: Bools | None = None,
) -> tuple[Ints, bool]:
    """Pairs of facets at long re-entrant sides that come near each other, like crossed grooves.

    Rays from points along such sides pass each other by; a range query does not.

    Parameters
    ----------
    most : how many pairs may be handed on; by the number of sides if None
    without : (k,) bool, facets whose sides are left out

    Returns
    -------
    pairs : (j, 2) int64
    complete : False where the budget ran out
    """
    facet, side, other = ridges(surface, outward_look)
    begin = surface.vertices[surface.faces[facet, side]]
    end = surface.vertices[surface.faces[facet, (side + 1) % 3]]
    is_long = np.linalg.norm(end - begin, axis=1) > low / 2
    if without is not None:
        is_long &= ~(without[facet] & without[other])
    long = np.flatnonzero(is_long)
    facet, other, begin, end = facet[long], other[long], begin[long], end[long]
    mean = inward[facet] + inward[other]
    mean /= np.maximum(np.linalg.norm(mean, axis=1), 1e-9)[:, None]
    sides = np.stack([begin, end, end], axis=1)
    budget = min(RIDGE_BUDGET + BUDGET_EACH * len(long), BUDGET_MOST)
    near, complete = facing_pairs(sides, mean, high, budget, flat=False, most=most)
    near = near[:most]
    one, two = near[:, 0], near[:, 1]
    p, q = closest_on_segments(begin[one], end[one] - begin[one], begin[two], end[two] - begin[two])
    step = q - p
    apart = np.linalg.norm(step, axis=1)
    opposed = (dot(step, mean[one]) > 0.5 * apart) & (dot(step, mean[two]) < -0.5 * apart)
    keep = (apart <= high) & opposed
    return np.stack([facet[one[keep]], facet[two[keep]]], axis=1), complete
