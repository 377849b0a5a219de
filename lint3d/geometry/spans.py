"""How thick is the material, or how wide the gap, at points spread over a surface?

A span is the diameter of the inscribed ball that touches the surface at a point and again across
the material (looking inward: walls) or across the void (looking outward: gaps). A contact
counts where both sides lie square to the line between them to 15 degrees, or recede from it
like a true ridge, and where nothing stands between them. Values above the range of interest are
lower bounds. Thin places that taper to nothing at a sharp side are told apart (`knife`).
Lengths in mm, float64. Connected thin regions: `lint3d.geometry.spans_regions`.
Tested by tests/geometry/test_spans.py.

References
----------
Thickness as the largest inscribed ball: Hildebrand & Rueegsegger, J. Microscopy 185 (1997) 67.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from lint3d.geometry.sampling import spread_points
from lint3d.geometry.spans_feelers import cross, ridge_pairs, ridges_crossed, vertex_pairs
from lint3d.geometry.spans_knife import KnifeEdges, knife_edges, tapers_to_edge
from lint3d.geometry.spans_pairs import share_vertex
from lint3d.geometry.spans_surface import SpanSurface
from lint3d.geometry.spans_tree import facing_pairs
from lint3d.geometry.spans_zoom import Contacts, contacts_of, join, see_each_other, zoom

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]
Look = Literal["inward", "outward"]

ACCEPT_COS = float(np.cos(np.radians(30.0)))  # steepest facet across whose distance is a span
IN_PLACE_COS = float(np.cos(np.radians(5.0)))  # near enough to opposite to be read straight across
LARGE = 2.0  # facets longer than this many times the range go through the range query
BESIDE_MOST = 3_000_000  # pairs looked at to see whether a guess is already covered
ORPHANS_MOST = 50_000  # first guesses off any measured facet that are followed up


@dataclass(eq=False)
class Spans:
    """Spans at points of a surface, one way round.

    Attributes
    ----------
    point : (n, 3) float64, mm, on the surface
    value : (n,) float64, mm; `high` where nothing was met within the range
    interval : (n, 2) float64, mm, the truth lies within; upper is inf for a lower bound
    face, contact_face : (n,) int64, rows of the mesh that was given; contact_face -1 if none
    contact_point : (n, 3) float64, mm, NaN if none
    area : (n,) float64, mm2 of surface that the point stands for; 0 for a zoomed place
    knife : (n,) bool, in the strip behind a knife edge (outward: in a crevice)
    low, high : mm, the range of interest
    look : "inward" or "outward"
    complete : False if the range query over large facets ran out of budget; samples alone stand
    """

    point: Floats
    value: Floats
    interval: Floats
    face: Ints
    contact_point: Floats
    contact_face: Ints
    area: Floats
    knife: Bools
    low: float
    high: float
    look: Look
    complete: bool
    surface: SpanSurface
    inward: Floats
    edges: KnifeEdges
    pair: Ints  # (n, 2) facets of `surface`, second -1 if none
    guesses: Ints  # (g, 2) pairs near which a tighter place may lie
    guess_mm: Floats  # (g,) about how far apart they are
    floor_mm: float  # uncertainty that the coordinates alone leave

    @property
    def measured(self) -> Bools:
        """(n,) bool : is the value a span, not a lower bound?"""
        return self.pair[:, 1] >= 0

    @cached_property
    def samples_each(self) -> Ints:
        """(k,) int64 : points spread over each facet of `surface`."""
        first = self.pair[self.area > 0, 0]
        return np.bincount(first, minlength=len(self.surface.faces))


def spans(surface: SpanSurface, low: float, high: float, look: Look = "inward") -> Spans:
    """Measure spans over the whole surface.

    Parameters
    ----------
    surface : see `surface_from_mesh`
    low, high : mm, the range of interest: thin places down to `low` apart are looked for,
        values beyond `high` are not told apart
    look : "inward" for walls, "outward" for gaps

    Returns
    -------
    Spans

    Raises
    ------
    ValueError : the range is not 0 < low <= high
    """
    if not 0 < low <= high < np.inf:
        raise ValueError(f"range of interest must be 0 < low <= high, got {low} to {high}")
    inward = -surface.normals if look == "inward" else surface.normals
    floor = float(np.sqrt(3.0)) * surface.resolution
    reach = high + floor
    point, facet, area = spread_points(
        surface.corners, surface.areas, surface.longest, low,
        4 * len(surface.faces) + 200_000,
    )
    met = _straight_across(surface, inward, point, facet, reach)
    pairs, guess = _first_guesses(surface, inward, look, reach)
    steep = (met.facet >= 0) & (met.facing < ACCEPT_COS)
    pairs = np.concatenate([pairs, np.stack([facet, met.facet], axis=1)[steep]])
    guess = np.concatenate([guess, met.distance[steep] * met.facing[steep]])
    met.facet[steep] = -1
    pair = np.stack([facet, met.facet], axis=1)
    edges = knife_edges(
        surface, inward, look == "outward", _tips(surface, pair), low / 2
    )
    found, complete = _exact_contacts(
        surface, inward, edges, pair, pairs, guess, (low, high, look)
    )
    return _assemble(
        surface, inward, edges, (low, high, look, complete, floor),
        (point, area, pair, met), found, (pairs, guess),
    )


@dataclass(eq=False)
class _Met:
    """What rays straight in from points of the surface met."""

    facet: Ints
    distance: Floats
    facing: Floats
    contact: Floats
    value: Floats
    lower: Floats


def _straight_across(
    surface: SpanSurface, inward: Floats, point: Floats, facet: Ints, reach: float
) -> _Met:
    """Facet across each point, with the ball there.

    Against a plane tilted by psi the ball at distance t straight across has the diameter
    t (1 - tan^2(psi / 2)) = 2 t cos psi / (1 + cos psi); it touches where the bisector leads.
    Up to 5 degrees the distance straight across stands; beyond, the ball's, if it touches
    within the facet; the other of the two is the other end of the interval.
    """
    direction = inward[facet]
    across, distance, facing = cross(surface, inward, point, direction, reach)
    hit = np.flatnonzero(across >= 0)
    lower, value = np.full(len(point), np.inf), distance.copy()
    lower[hit] = distance[hit] * 2 * facing[hit] / (1 + facing[hit])
    contact = np.full(point.shape, np.nan)
    contact[hit] = point[hit] + direction[hit] * distance[hit, None]
    rows = hit[(facing[hit] < IN_PLACE_COS) & (facing[hit] >= ACCEPT_COS)]
    # The line to where the ball touches halves the angle between the two normals.
    towards = direction[rows] - inward[across[rows]]
    towards /= np.linalg.norm(towards, axis=1)[:, None]
    lean = np.einsum("ij,ij->i", towards, direction[rows])
    touch = point[rows] + towards * (lower[rows] * lean)[:, None]
    inside = _inside(surface, across[rows], touch)
    value[rows[inside]] = lower[rows[inside]]
    contact[rows[inside]] = touch[inside]
    return _Met(across, distance, facing, contact, value, lower)


def _inside(surface: SpanSurface, facet: Ints, point: Floats) -> Bools:
    """Does a point in the plane of a facet lie within it?"""
    corners, normal = surface.corners[facet], surface.normals[facet]
    inside = np.ones(len(facet), dtype=bool)
    for side in range(3):
        along = corners[:, (side + 1) % 3] - corners[:, side]
        turn = np.cross(along, point - corners[:, side])
        inside &= np.einsum("ij,ij->i", turn, normal) >= 0
    return inside


def _first_guesses(
    surface: SpanSurface, inward: Floats, look: Look, reach: float
) -> tuple[Ints, Floats]:
    """Pairs near which a tight place may lie, from vertices and re-entrant sides."""
    pairs, distance = vertex_pairs(surface, inward, reach)
    more, also = ridge_pairs(surface, inward, look == "outward", reach)
    pairs = np.concatenate([pairs, more])
    apart = ~share_vertex(surface.faces, pairs[:, 0], pairs[:, 1])
    return pairs[apart], np.concatenate([distance, also])[apart]


def _tips(surface: SpanSurface, pair: Ints) -> Ints:
    """Vertices where facets across from each other meet in nothing but that vertex."""
    rows = pair[pair[:, 1] >= 0]
    rows = rows[share_vertex(surface.faces, rows[:, 0], rows[:, 1])]
    first, second = surface.faces[rows[:, 0]], surface.faces[rows[:, 1]]
    same = (first[:, :, None] == second[:, None, :]).any(2)
    single = same.sum(1) == 1
    return np.unique(first[single][same[single]])


def _exact_contacts(
    surface: SpanSurface, inward: Floats, edges: KnifeEdges, pair: Ints, guesses: Ints,
    guess_mm: Floats, setting: tuple[float, float, Look],
) -> tuple[Contacts, bool]:
    """Contacts the sample rays do not give: between large facets, and off measured facets."""
    low, high, look = setting
    large = np.flatnonzero(surface.longest > LARGE * high)
    near, complete = facing_pairs(surface.corners[large], inward[large], high)
    crossed = ridges_crossed(surface, inward, look == "outward", low, high)
    direct = np.concatenate([large[near], crossed])
    direct = direct[~share_vertex(surface.faces, direct[:, 0], direct[:, 1])]
    between = contacts_of(surface, inward, edges, direct)
    lone = np.flatnonzero(_off_measured(surface, pair[pair[:, 1] >= 0], guesses, high))
    lone = lone[np.argsort(guess_mm[lone], kind="stable")]
    unique = np.unique(np.sort(guesses[lone], axis=1), axis=0, return_index=True)[1]
    lone = lone[np.sort(unique)][:ORPHANS_MOST]
    followed = zoom(surface, inward, edges, guesses[lone])
    parts = []
    for contacts in (between, followed):
        good = contacts.take(contacts.counts & (contacts.distance <= high))
        parts.append(good.take(see_each_other(surface, good)))
    return join(parts), complete


def _off_measured(surface: SpanSurface, measured: Ints, guesses: Ints, high: float) -> Bools:
    """Is neither a small facet of a guess nor the guess itself among the measured contacts?

    Those that are will be looked at with the region they fall into.
    """
    size = np.int64(len(surface.faces))
    busy = np.zeros(len(surface.faces), dtype=bool)
    busy[measured.ravel()] = True
    busy[surface.longest > LARGE * high] = False
    known = np.concatenate([measured, measured[:, ::-1]])
    same = np.isin(guesses[:, 0] * size + guesses[:, 1], known[:, 0] * size + known[:, 1])
    off: Bools = ~(busy[guesses].any(1) | same)
    rows = np.flatnonzero(off)
    off[rows[_beside_measured(surface, known, guesses[rows])]] = False
    return off


def _beside_measured(surface: SpanSurface, known: Ints, guesses: Ints) -> Bools:
    """Does a facet of a guess have a measured contact at a vertex of the other facet?

    Parameters
    ----------
    known : (p, 2) int64, measured pairs, both ways round
    guesses : (g, 2) int64
    """
    known = known[np.argsort(known[:, 0], kind="stable")]
    beside = np.zeros(len(guesses), dtype=bool)
    for own, other in ((0, 1), (1, 0)):
        start = np.searchsorted(known[:, 0], guesses[:, own])
        count = np.searchsorted(known[:, 0], guesses[:, own], side="right") - start
        count = np.where(np.cumsum(count) <= BESIDE_MOST, count, 0)
        owner = np.repeat(np.arange(len(guesses)), count)
        place = np.arange(len(owner)) - np.repeat(np.cumsum(count) - count, count)
        partner = known[start[owner] + place, 1]
        near = share_vertex(surface.faces, partner, guesses[owner, other])
        beside[owner[near]] = True
    return beside


def _assemble(
    surface: SpanSurface, inward: Floats, edges: KnifeEdges,
    setting: tuple[float, float, Look, bool, float],
    samples: tuple[Floats, Floats, Ints, _Met], found: Contacts,
    guesses: tuple[Ints, Floats],
) -> Spans:
    """Samples and exact contacts as one table, in the rows of the mesh that was given."""
    low, high, look, complete, floor = setting
    point, area, pair, met = samples
    beyond = met.value > high
    pair[beyond, 1] = -1
    none = pair[:, 1] < 0
    value = np.where(none, high, met.value)
    below = np.where(none, high, np.minimum(met.lower, met.value))
    above = np.where(none, np.inf, np.maximum(met.distance, met.value))
    met.contact[none] = np.nan
    knife = np.zeros(len(pair), dtype=bool)
    rows = np.flatnonzero(~none)
    knife[rows] = tapers_to_edge(
        surface, inward, edges, pair[rows], point[rows], met.contact[rows]
    )
    ball = ball_of(inward, found)
    interval = np.stack(
        [np.concatenate([below, found.distance]), np.concatenate([above, ball])], axis=1
    )
    interval += np.array([-floor, floor])
    pair = np.concatenate([pair, found.pair])
    ids = np.concatenate([surface.face_ids, [-1]])
    return Spans(
        np.concatenate([point, found.point]),
        np.concatenate([value, found.distance]),
        interval.clip(0),
        ids[pair[:, 0]],
        np.concatenate([met.contact, found.contact]),
        ids[pair[:, 1]],
        np.concatenate([area, np.zeros(len(found.pair))]),
        np.concatenate([knife, found.knife]),
        low, high, look, complete, surface, inward, edges, pair, *guesses, floor,
    )


def ball_of(inward: Floats, contacts: Contacts) -> Floats:
    """Diameter of the ball that touches both points of a contact, by the squarer of its sides.

    Returns
    -------
    (k,) float64, mm : the distance itself at a ridge
    """
    step = contacts.contact - contacts.point
    with np.errstate(divide="ignore", invalid="ignore"):
        towards = step / contacts.distance[:, None]
    lean = np.maximum(
        np.einsum("ij,ij->i", inward[contacts.pair[:, 0]], towards),
        -np.einsum("ij,ij->i", inward[contacts.pair[:, 1]], towards),
    )
    # A ridge on both sides has no square side: the ball touches along the line itself.
    square = lean >= np.cos(np.radians(15.1))
    ball: Floats = np.where(square, contacts.distance / np.where(square, lean, 1), contacts.distance)
    return ball
