"""Does the thickness taper to nothing here, at a sharp edge or tip?

A knife edge is a side whose two facets enclose at most 30 degrees of the space measured; seen
outward the same is a crevice. Contacts in the strip behind it get thinner the nearer one looks,
so their smallest value says nothing: they are told apart from walls. Lengths in mm.
Tested by tests/geometry/test_spans_steps.py.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from lint3d.geometry.spans_pairs import dot, share_vertex
from lint3d.geometry.spans_surface import SpanSurface
from lint3d.geometry.vectors import cross_product

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

KNIFE_COS = float(np.cos(np.radians(30.5)))
PARALLEL_COS = float(np.cos(np.radians(0.5)))  # flatter than this two sides do not taper
APEX_MISS = 0.35  # how far the apex that two facets point to may miss, as a share of its distance
ASIDE = 0.01  # how far lines of sight keep off an end wall, as a share of the thickness
POINTS_MOST = 2_000_000
BOUNDED_LEAST = 2_000  # points from which it pays to search by how far away each may be
NEARLY_NEAREST = 0.05  # share by which a point on an edge may be farther away than the nearest


@dataclass(eq=False)
class KnifeEdges:
    """Sharp sides and tips of the space measured.

    Attributes
    ----------
    facet, other : (e,) int64, the two facets of each sharp side
    angle : (e,) float64, degrees they enclose
    ends : (e, 2) int64, vertices
    tips : (t,) int64, vertices where facets across from each other meet in a point
    spacing : mm, between the points of `tree`
    tree : points along the sharp sides, then the tips; None if there are none
    owner : (p,) int64, which side each point of the tree is on; e + i for tip i
    """

    facet: Ints
    other: Ints
    angle: Floats
    ends: Ints
    tips: Ints
    spacing: float
    tree: cKDTree | None
    owner: Ints


def knife_edges(
    surface: SpanSurface, inward: Floats, outward_look: bool, tips: Ints, spacing: float
) -> KnifeEdges:
    """Find the sharp sides, and make them ready to be looked up.

    Parameters
    ----------
    tips : (t,) int64, vertices known to be tips (a cone's)
    spacing : mm, about half the smallest thickness of interest
    """
    turns = surface.turns
    enclosed = -dot(inward[turns.facet], inward[turns.other])
    keep = (enclosed >= KNIFE_COS) & (turns.rise > 0 if outward_look else turns.rise < 0)
    keep[keep] = _fold(surface, turns.facet[keep], turns.side[keep], turns.other[keep])
    facet, side, other = turns.facet[keep], turns.side[keep], turns.other[keep]
    ends = np.stack([surface.faces[facet, side], surface.faces[facet, (side + 1) % 3]], axis=1)
    tips = np.setdiff1d(tips, ends.ravel())
    begin = surface.vertices[ends[:, 0]]
    along = surface.vertices[ends[:, 1]] - begin
    length = np.linalg.norm(along, axis=1)
    spacing = max(spacing, float(length.sum()) / POINTS_MOST)
    count = np.ceil(length / spacing).astype(np.int64) + 1
    owner = np.repeat(np.arange(len(facet)), count)
    place = np.arange(len(owner)) - np.repeat(np.cumsum(count) - count, count)
    share = (place / np.maximum(count[owner] - 1, 1))[:, None]
    points = np.concatenate([begin[owner] + along[owner] * share, surface.vertices[tips]])
    owner = np.concatenate([owner, len(facet) + np.arange(len(tips))])
    angle = np.degrees(np.arccos(np.clip(enclosed[keep], -1, 1)))
    tree = _tree_of(points) if len(points) else None
    return KnifeEdges(facet, other, angle, ends, tips, spacing, tree, owner)


def _tree_of(points: Floats) -> cKDTree:
    """Points ready to be looked up, also from the middle of a ring of them.

    Nodes that are drawn in to their points make that a hundred times slower.
    """
    return cKDTree(points, compact_nodes=False, balanced_tree=False)


def _fold(surface: SpanSurface, facet: Ints, side: Ints, other: Ints) -> Bools:
    """Do two facets lie on the same hand of the side that they share?

    Where more than two meet, or one is turned over, two that go on from each other may look
    opposite ways.
    """
    begin = surface.vertices[surface.faces[facet, side]]
    along = surface.vertices[surface.faces[facet, (side + 1) % 3]] - begin
    along /= np.maximum(np.linalg.norm(along, axis=1), 1e-300)[:, None]
    away = []
    for one in (facet, other):
        # Of the corners two lie on the side: their mean lies to the hand of the third.
        step = surface.corners[one].mean(axis=1) - begin
        step -= along * dot(step, along)[:, None]
        away.append(step)
    fold: Bools = dot(away[0], away[1]) > 0
    return fold


def _nearest_within(tree: cKDTree, points: Floats, bound: Floats) -> tuple[Floats, Ints]:
    """One of the nearest in a tree, if that is no farther than a bound; inf, or any, where it is.

    Edges in a ring are about as far as each other from a point off them, so that a search for the
    nearest looks at a good part of them all; where it may end early it mostly does.
    """
    if len(points) <= BOUNDED_LEAST:
        found: tuple[Floats, Ints] = tree.query(points, eps=NEARLY_NEAREST)
        return found
    far, row = np.full(len(points), np.inf), np.zeros(len(points), dtype=np.int64)
    size = np.frexp(bound)[1]
    for number in np.unique(size):
        some = np.flatnonzero(size == number)
        far[some], row[some] = tree.query(
            points[some], eps=NEARLY_NEAREST, distance_upper_bound=2.0**number
        )
    return far, np.minimum(row, tree.n - 1)


def tapers_to_edge(
    surface: SpanSurface,
    inward: Floats,
    edges: KnifeEdges,
    pair: Ints,
    points: Floats,
    contacts: Floats,
) -> Bools:
    """Is each contact in the strip behind a knife edge or tip?

    Parameters
    ----------
    pair : (j, 2) int64, the facets of the contact
    points, contacts : (j, 3) float64, mm

    Returns
    -------
    (j,) bool : also True where the two facets share a vertex
    """
    knife = np.zeros(len(pair), dtype=bool)
    gap = points - contacts
    size = surface.longest[pair[:, 0]] + surface.longest[pair[:, 1]]
    near = np.flatnonzero(dot(gap, gap) <= size * size)
    knife[near] = share_vertex(surface.faces, pair[near, 0], pair[near, 1])
    if edges.tree is None:
        return knife
    first, second = inward[pair[:, 0]], inward[pair[:, 1]]
    facing = -dot(first, second)
    rows = np.flatnonzero(~knife & (facing < PARALLEL_COS) & (facing > 0))
    if not len(rows):
        return knife
    towards = -(first[rows] + second[rows])
    towards /= np.linalg.norm(towards, axis=1)[:, None]
    middle = (points[rows] + contacts[rows]) / 2
    gap = np.linalg.norm(points[rows] - contacts[rows], axis=1)
    half = np.sqrt((1 - facing[rows]) / (1 + facing[rows]))  # tan of half the angle
    distance = gap / (2 * half)
    apex = middle + towards * distance[:, None]
    bound = APEX_MISS * distance + edges.spacing
    miss, nearest = _nearest_within(edges.tree, apex, bound)
    near = np.flatnonzero(miss <= bound)
    # The strip leads to the edge through the space measured, not across another surface.
    target = edges.tree.data[nearest[near]]
    # Off an end wall that both may lie in: along the edge, towards the middle of the facets.
    along = cross_product(first[rows[near]], second[rows[near]])
    along /= np.linalg.norm(along, axis=1)[:, None]
    heart = surface.corners[pair[rows[near]]].mean((1, 2)) - middle[near]
    aside = along * (np.sign(dot(heart, along)) * ASIDE * gap[near])[:, None]
    start = middle[near] + aside
    stop = middle[near] + 0.98 * (target - middle[near]) + aside
    free = ~surface.scene.is_blocked(start, stop, np.full((len(near), 2), -1))
    knife[rows[near[free]]] = True
    return knife
