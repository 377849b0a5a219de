"""Does the thickness taper to nothing here, at a sharp edge or tip?

Contacts in the strip behind such an edge get thinner the nearer one looks, so their smallest value
says nothing: they are told apart from walls. Flat sides point to the edge. Round ones do not quite,
and coarse round ones not at all: there the thickness is felt on the way to the edge. Lengths in mm.
Tested by tests/geometry/test_spans_behind.py and test_spans_steps.py.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from lint3d.geometry.spans_knife import KnifeEdges
from lint3d.geometry.spans_pairs import dot, share_vertex
from lint3d.geometry.spans_surface import SpanSurface
from lint3d.geometry.vectors import cross_product

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

PARALLEL_COS = float(np.cos(np.radians(0.5)))  # flatter than this two sides do not taper
APEX_MISS = 0.35  # how far the apex that two facets point to may miss, as a share of its distance
#: Between round faces the edge may be so many times as far off as that apex, if the thickness falls
#: all the way: facets of coarse round faces point too far, those of a ball on a plate too near.
#: Nearer than that lies the bevel of a wall that hardly tapers.
EDGE_NEAREST, EDGE_FARTHEST = 0.35, 12.0
AHEAD = 0.6  # cosine between the way to the edge and that in which both sides taper
STEPS, STEP_LEFT = 9, 0.85  # on the way to the edge the thickness is felt: what is left after each
FALLS = 0.97  # what is left of the thickness at most after a step
FALLEN = 0.45  # and after all of them, where 0.23 of the way is left
ASIDE = 0.01  # how far lines of sight keep off an end wall, as a share of the thickness
BOUNDED_LEAST = 2_000  # points from which it pays to search by how far away each may be
NEARLY_NEAREST = 0.05  # share by which a point on an edge may be farther away than the nearest
#: How far facets behind a blunt edge, between round faces, may turn from those of the edge.
ROUND_COS = float(np.cos(np.radians(10.0)))


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
    if edges.tree is None and edges.blunt is None:
        return knife
    facing = -dot(inward[pair[:, 0]], inward[pair[:, 1]])
    rows = np.flatnonzero(~knife & (facing < PARALLEL_COS) & (facing > 0))
    if not len(rows):
        return knife
    strip = _strips(inward, pair[rows], points[rows], contacts[rows], facing[rows])
    if edges.tree is not None:
        found, _ = _points_to(surface, inward, strip, edges.tree, edges.spacing)
        knife[rows[found]] = True
        rows, strip = rows[~found], strip.take(~found)
        found = _leads_to(surface, inward, strip, edges.tree, edges.spacing)
        knife[rows[found]] = True
        rows, strip = rows[~found], strip.take(~found)
    if edges.blunt is not None:
        found, nearest = _points_to(surface, inward, strip, edges.blunt, edges.spacing)
        found[found] = _goes_on_from(inward, strip.pair[found], edges.blunt_facets[nearest[found]])
        knife[rows[found]] = True
    return knife


@dataclass(eq=False)
class _Strip:
    """Places between two sides that taper: all (k,) or (k, 3), mm and unit."""

    pair: Ints
    middle: Floats
    across: Floats  # from the second side to the first
    gap: Floats
    towards: Floats  # the way in which they taper
    distance: Floats  # to the apex they point to

    @property
    def apex(self) -> Floats:
        return self.middle + self.towards * self.distance[:, None]

    def take(self, rows: Bools | Ints) -> _Strip:
        return _Strip(*(getattr(self, name)[rows] for name in self.__dataclass_fields__))


def _strips(inward: Floats, pair: Ints, points: Floats, contacts: Floats, facing: Floats) -> _Strip:
    towards = -(inward[pair[:, 0]] + inward[pair[:, 1]])
    towards /= np.linalg.norm(towards, axis=1)[:, None]
    across = points - contacts
    gap = np.linalg.norm(across, axis=1)
    across /= np.maximum(gap, 1e-300)[:, None]
    half = np.sqrt((1 - facing) / (1 + facing))  # tan of half the angle
    return _Strip(pair, (points + contacts) / 2, across, gap, towards, gap / (2 * half))


def _points_to(
    surface: SpanSurface, inward: Floats, strip: _Strip, tree: cKDTree, spacing: float
) -> tuple[Bools, Ints]:
    """Do both sides point to an edge of a tree, past nothing else, and to which of its points?"""
    bound = APEX_MISS * strip.distance + spacing
    miss, nearest = _nearest_within(tree, strip.apex, bound)
    near = np.flatnonzero(miss <= bound)
    some = strip.take(near)
    # The strip leads to the edge through the space measured, not across another surface.
    target = tree.data[nearest[near]]
    aside = _off_an_end(surface, inward, some)
    start = some.middle + aside
    stop = some.middle + 0.98 * (target - some.middle) + aside
    found = np.zeros(len(miss), dtype=bool)
    found[near] = ~surface.scene.is_blocked(start, stop, np.full((len(near), 2), -1))
    return found, nearest


def _leads_to(
    surface: SpanSurface, inward: Floats, strip: _Strip, tree: cKDTree, spacing: float
) -> Bools:
    """Between round faces: does the thickness fall to nothing all the way to an edge of a tree?"""
    found = np.zeros(len(strip.gap), dtype=bool)
    for place in (strip.apex, strip.middle):
        rows = np.flatnonzero(~found)
        some = strip.take(rows)
        bound = EDGE_FARTHEST * some.distance + spacing
        miss, nearest = _nearest_within(tree, place[rows], bound)
        target = tree.data[nearest]
        step = target - some.middle
        far = np.linalg.norm(step, axis=1)
        share = far / some.distance
        near = (miss <= bound) & (share >= EDGE_NEAREST) & (share <= EDGE_FARTHEST)
        near &= dot(step, some.towards) >= AHEAD * far
        falls = _falls_to_nothing(surface, inward, some.take(near), target[near])
        found[rows[near]] = falls
    return found


def _off_an_end(surface: SpanSurface, inward: Floats, strip: _Strip) -> Floats:
    """A step (k, 3) off an end wall that both sides may end in: along the edge, to their middle."""
    along = cross_product(inward[strip.pair[:, 0]], inward[strip.pair[:, 1]])
    along /= np.linalg.norm(along, axis=1)[:, None]
    heart = surface.corners[strip.pair].mean((1, 2)) - strip.middle
    return along * (np.sign(dot(heart, along)) * ASIDE * strip.gap)[:, None]


def _goes_on_from(inward: Floats, pair: Ints, edge: Ints) -> Bools:
    """Do facets of a pair (k, 2) turn little from those of an edge (k, 2), in whichever order?"""
    same = np.minimum(
        dot(inward[pair[:, 0]], inward[edge[:, 0]]), dot(inward[pair[:, 1]], inward[edge[:, 1]])
    )
    swapped = np.minimum(
        dot(inward[pair[:, 0]], inward[edge[:, 1]]), dot(inward[pair[:, 1]], inward[edge[:, 0]])
    )
    on: Bools = np.maximum(same, swapped) >= ROUND_COS
    return on


def _falls_to_nothing(surface: SpanSurface, inward: Floats, strip: _Strip, edge: Floats) -> Bools:
    """Does the thickness fall all the way from places to points (k, 3) on sharp edges?"""
    falls = np.ones(len(edge), dtype=bool)
    aside = _off_an_end(surface, inward, strip)
    place, edge, thick = strip.middle + aside, edge + aside, strip.gap.copy()
    for _ in range(STEPS):
        rows = np.flatnonzero(falls)
        start = edge[rows] + STEP_LEFT * (place[rows] - edge[rows])
        across, reach = strip.across[rows], thick[rows]
        one = _to_a_side(surface, inward, start, across, reach)
        two = _to_a_side(surface, inward, start, -across, reach)
        good = one + two <= FALLS * reach
        falls[rows[~good]] = False
        rows, apart = rows[good], (one[good] - two[good]) / 2
        place[rows] = start[good] + across[good] * apart[:, None]
        thick[rows] = (one + two)[good]
    fallen: Bools = falls & (thick <= FALLEN * strip.gap)
    return fallen


def _to_a_side(
    surface: SpanSurface, inward: Floats, start: Floats, way: Floats, reach: Floats
) -> Floats:
    """How far it is (k,) to what bounds the space measured; inf from outside it, or if too far."""
    facet = surface.scene.first_facet(start, way, reach)
    far = surface.scene.distance(start, way, facet)
    far[(facet < 0) | (dot(way, inward[facet]) >= 0)] = np.inf
    return far
