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
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from lint3d.geometry.sampling import spread_points
from lint3d.geometry.spans_across import ACCEPT_COS, Across, nothing, some_across, straight_across
from lint3d.geometry.spans_ball import ball_of
from lint3d.geometry.spans_behind import tapers_to_edge
from lint3d.geometry.spans_dense import dense_facets, thinned_out
from lint3d.geometry.spans_effort import FEELERS_SHARE, effort_of_step
from lint3d.geometry.spans_exact import exact_contacts, first_guesses, tips_of
from lint3d.geometry.spans_knife import KnifeEdges, knife_edges
from lint3d.geometry.spans_pairs import distance_at_least
from lint3d.geometry.spans_surface import SpanSurface
from lint3d.geometry.spans_zoom import Contacts, no_contacts

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]
Look = Literal["inward", "outward"]


@dataclass(eq=False)
class LookedAt:
    """Points spread over a surface, most of which met nothing.

    Attributes
    ----------
    point : (p, 3) float64, mm
    facet : (p,) int64, of the surface
    row : (r,) int64, those that met something, ascending: what the first rows of a table tell of
    """

    point: Floats
    facet: Ints
    row: Ints


@dataclass(eq=False)
class Spans:
    """Spans at points of a surface, one way round.

    At all points that were looked at, or at those alone from which something was met: see `spans`.

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
    complete : False if a limit on work was met: then some contacts between samples are missing
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
    dense: Bools  # (k,) needles that are covered by points
    stands_for: Ints  # (s, 2) such a needle without a point of its own, and the row near it
    samples_each: Ints  # (k,) points spread over each facet of `surface`
    looked_at: LookedAt | None  # all points spread over it, where not each has a row
    floor_mm: float  # uncertainty that the coordinates alone leave

    @property
    def measured(self) -> Bools:
        """(n,) bool : is the value a span, not a lower bound?"""
        return self.pair[:, 1] >= 0

    def thinner_than(self, limit: float) -> Bools:
        """(n,) bool : may it be so, in mm, its uncertainty included, and behind no knife edge?"""
        thin: Bools = self.measured & ~self.knife & (self.interval[:, 0] < limit)
        return thin

    def at_every_point(self) -> tuple[Floats, Floats, Ints]:
        """Where (p, 3), span (p,) and face (p,) of all points looked at; `high` for no less."""
        value = np.where(self.measured, self.value, self.high)
        if self.looked_at is None:
            return self.point, value, self.face
        every = self.looked_at
        known = len(every.row)
        told = np.full(len(every.facet), self.high)
        told[every.row] = value[:known]
        return (
            _then(every.point, self.point[known:]),
            _then(told, value[known:]),
            _then(self.surface.face_ids[every.facet], self.face[known:]),
        )

    @cached_property
    def facets_apart(self) -> Floats:
        """(n,) mm, a lower bound of the distance between both facets; 0 without a second one.

        Asked at every limit of every rule: kept, as each answer takes as long as reading the pairs.
        """
        apart = np.zeros(len(self.pair))
        rows = np.flatnonzero(self.measured)
        apart[rows] = distance_at_least(self.surface, self.pair[rows])
        return apart


def spans(
    surface: SpanSurface,
    low: float,
    high: float,
    look: Look = "inward",
    *,
    everywhere: bool = True,
) -> Spans:
    """Measure spans over the whole surface.

    Parameters
    ----------
    surface : see `surface_from_mesh`
    low, high : mm, the range of interest: thin places down to `low` apart are looked for,
        values beyond `high` are not told apart
    look : "inward" for walls, "outward" for gaps
    everywhere : also tell of points from which nothing was met within the range: on a large sound
        surface that is all but a few of millions

    Returns
    -------
    Spans

    Raises
    ------
    ValueError : the range is not 0 < low <= high
    RaysSpent : so many large facets lie across each other that no part of it can be told
    """
    if not 0 < low <= high < np.inf:
        raise ValueError(f"range of interest must be 0 < low <= high, got {low} to {high}")
    inward = -surface.normals if look == "inward" else surface.normals
    floor = float(np.sqrt(3.0)) * surface.resolution
    reach = high + floor
    effort, count = effort_of_step(surface), len(surface.faces)
    # Where not each facet may send a ray there is no use in more than one point each.
    most = 4 * count + 200_000 if count <= effort.rays else count
    point, facet, area = _samples(surface, low, most)
    dense = dense_facets(surface, low, high, point, facet)
    kept, area, stands_for = thinned_out(surface, low, dense, point, facet, area)
    if len(kept) < len(facet):
        point, facet = point[kept], facet[kept]
    too_many = len(point) > effort.rays
    if too_many:
        some = np.linspace(0, len(point) - 1, effort.points).astype(np.int64)
        area = area[some] * (len(point) / len(some))
        point, facet, stands_for = point[some], facet[some], stands_for[:0]
    each = np.bincount(facet if area.all() else facet[area > 0], minlength=count)
    if look == "outward" and surface.has_no_gaps(low):
        edges = knife_edges(surface, inward, True, np.zeros(0, np.int64), low / 2)
        looked_at = None if everywhere else LookedAt(point, facet, np.zeros(0, np.int64))
        if looked_at is not None:
            point, facet, area = point[:0], facet[:0], area[:0]
        return _assemble(
            surface,
            inward,
            edges,
            (low, high, look, not too_many, floor),
            (point, area, np.stack([facet, np.full_like(facet, -1)], axis=1), nothing(len(point))),
            no_contacts(),
            (np.zeros((0, 2), np.int64), np.zeros(0)),
            (dense, stands_for, each),
            looked_at,
        )
    row, met = some_across(surface, inward, point, facet, reach, everywhere)
    every, looked_at = facet, None if everywhere else LookedAt(point, facet, row)
    if not everywhere:
        stands_for = _on_rows(stands_for, row, len(point))
        point, facet, area = point[row], facet[row], area[row]
    feelers = effort.rays // FEELERS_SHARE
    pairs, guess, all_felt = first_guesses(
        surface, inward, look == "outward", reach, dense, low, feelers
    )
    steep = (met.facet >= 0) & (met.facing < ACCEPT_COS)
    pairs = np.concatenate([pairs, np.stack([facet, met.facet], axis=1)[steep]])
    guess = np.concatenate([guess, met.distance[steep] * met.facing[steep]])
    met.facet[steep] = -1
    idle = ~_looked_at(every, met.facet, count) if too_many else None
    pair = np.stack([facet, met.facet], axis=1)
    tips = tips_of(surface, pair, met.distance)
    edges = knife_edges(surface, inward, look == "outward", tips, low / 2)
    found, complete = exact_contacts(
        surface,
        inward,
        edges,
        pair,
        pairs,
        guess,
        dense,
        (low, high, look == "outward"),
        effort.pairs,
        idle,
    )
    return _assemble(
        surface,
        inward,
        edges,
        (low, high, look, complete and all_felt and not too_many, floor),
        (point, area, pair, met),
        found,
        (pairs, guess),
        (dense, stands_for, each),
        looked_at,
    )


def _samples(surface: SpanSurface, low: float, most: int) -> tuple[Floats, Ints, Floats]:
    """Points spread over the surface, see `spread_points`. Kept for the look the other way."""
    if (low, most) not in surface.samples:
        found = spread_points(surface.corners, surface.areas, surface.longest, low, most)
        for one in found:
            one.setflags(write=False)
        surface.samples.clear()
        surface.samples[low, most] = found
    return surface.samples[low, most]


def _looked_at(own: Ints, met: Ints, count: int) -> Bools:
    """(count,) which facets have a point of their own or were met from one."""
    looked_at = np.zeros(count, dtype=bool)
    looked_at[own] = True
    looked_at[met[met >= 0]] = True
    return looked_at


def _on_rows(stands_for: Ints, row: Ints, count: int) -> Ints:
    """Needles and the points near them, as rows of those that are left; without those of others."""
    number = np.full(count, -1)
    number[row] = np.arange(len(row))
    near = number[stands_for[:, 1]]
    return np.stack([stands_for[near >= 0, 0], near[near >= 0]], axis=1)


def _assemble(
    surface: SpanSurface,
    inward: Floats,
    edges: KnifeEdges,
    setting: tuple[float, float, Look, bool, float],
    samples: tuple[Floats, Floats, Ints, Across],
    found: Contacts,
    guesses: tuple[Ints, Floats],
    dense: tuple[Bools, Ints, Ints],
    looked_at: LookedAt | None,
) -> Spans:
    """Samples and exact contacts as one table, in the rows of the mesh that was given."""
    low, high, look, complete, floor = setting
    point, area, pair, met = samples
    none = (pair[:, 1] < 0) | (met.value > high)
    pair[none, 1] = -1
    value = met.value
    value[none] = high
    met.contact[none] = np.nan
    knife = np.zeros(len(pair), dtype=bool)
    rows = np.flatnonzero(~none)
    knife[rows] = tapers_to_edge(surface, inward, edges, pair[rows], point[rows], met.contact[rows])
    ball = ball_of(inward, found)
    count = len(value)
    interval = np.empty((count + len(ball), 2))
    np.minimum(met.lower, value, out=interval[:count, 0])
    np.maximum(met.distance, value, out=interval[:count, 1])
    interval[:count][none] = high, np.inf
    interval[count:, 0], interval[count:, 1] = found.distance, ball
    interval += [-floor, floor]
    np.maximum(interval, 0, out=interval)
    pair = _then(pair, found.pair)
    ids = np.concatenate([surface.face_ids, [-1]])
    return Spans(
        _then(point, found.point),
        _then(value, found.distance),
        interval,
        ids[pair[:, 0]],
        _then(met.contact, found.contact),
        ids[pair[:, 1]],
        _then(area, np.zeros(len(ball))),
        _then(knife, found.knife),
        low,
        high,
        look,
        complete,
        surface,
        inward,
        edges,
        pair,
        *guesses,
        dense[0],
        dense[1],
        dense[2],
        looked_at,
        floor,
    )


def _then(first: NDArray[Any], second: NDArray[Any]) -> NDArray[Any]:
    """One after the other, without a copy where there is no other."""
    return np.concatenate([first, second]) if len(second) else first


def spans_at(
    surface: SpanSurface, points: Floats, facets: Ints, high: float, look: Look = "inward"
) -> tuple[Floats, Floats, Ints]:
    """Spans at points of one's own choice.

    Parameters
    ----------
    surface : see `surface_from_mesh`
    points : (k, 3) float64, mm, on the surface
    facets : (k,) int64, the row of `surface.faces` that each point lies on
    high : mm, what lies beyond is not told apart
    look : "inward" for walls, "outward" for gaps

    Returns
    -------
    value : (k,) float64, mm; `high` where nothing was met
    interval : (k, 2) float64, mm; upper is inf for a lower bound
    contact_facet : (k,) int64, row of `surface.faces`, -1 if none
    """
    inward = -surface.normals if look == "inward" else surface.normals
    floor = float(np.sqrt(3.0)) * surface.resolution
    met = straight_across(surface, inward, points, facets, high + floor)
    none = (met.facet < 0) | (met.facing < ACCEPT_COS) | (met.value > high)
    value = np.where(none, high, met.value)
    below = np.where(none, high, np.minimum(met.lower, met.value)) - floor
    above = np.where(none, np.inf, met.distance + floor)
    return value, np.stack([below.clip(0), above], axis=1), np.where(none, -1, met.facet)
