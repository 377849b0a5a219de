"""What is the tightest span of each thin region, and how sure is that?

Pairs of facets are worked through in the order of a lower bound that costs next to nothing,
until no pair that is left can be tighter than the best found; the best are zoomed. What the
budget leaves open lowers the interval. Lengths in mm.
Tested by tests/geometry/test_spans_regions.py.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lint3d.geometry.spans import Spans
from lint3d.geometry.spans_ball import ball_of, ball_of_round_sides
from lint3d.geometry.spans_connect import Connected
from lint3d.geometry.spans_creep import ROUNDS as CREEP_ROUNDS
from lint3d.geometry.spans_creep import WAYS, Crept, creep
from lint3d.geometry.spans_effort import Effort
from lint3d.geometry.spans_pairs import distance_at_least
from lint3d.geometry.spans_zoom import Contacts, contacts_of, see_each_other, zoom

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

FIRST_ROUND = 8  # pairs of each region that are looked at first; four times more each round
ZOOMED = 4  # of which the best are zoomed
ROUNDS = 10
PAIRS_MOST = 200_000  # in one round, over all regions
TIE = 1e-9  # mm
TAPER_LEAST = 0.01  # slope of two facets against each other below which no taper is followed
CREPT, CREPT_MOST = 120, 4_000  # samples followed in each region, and in all
CREEP_SHARE = 4  # one in so many of the rays may go into following tapers
CLOSE_ENOUGH = 1e-3  # what may stay open, as a share of the low end of the range


@dataclass(eq=False)
class Tightest:
    """One contact a region, with the interval of its span.

    The interval runs from the distance between the facets to the diameter of the ball that
    touches both points: they differ where both sides taper, by 1 / cos 15 degrees at most.
    """

    contacts: Contacts
    lower: Floats
    upper: Floats


def tightest_of_each(spans: Spans, rows: Ints, graph: Connected, effort: Effort) -> Tightest:
    """Zoom the best places of each region.

    Parameters
    ----------
    rows : (r,) int64, the measured rows that fall into regions
    graph : their regions
    effort : what it may cost; what that leaves open lowers the interval
    """
    best = _best_rows(spans, rows, graph)
    pairs, bound, label = _candidates(spans, rows, graph, best.contacts.distance)
    cuts = np.searchsorted(label, np.arange(graph.count + 1))
    start, end = cuts[:-1].copy(), cuts[1:]
    share, pairs_left = FIRST_ROUND, effort.pairs
    for _ in range(ROUNDS):
        left = _least_left(bound, start, end)
        live = np.flatnonzero(left < best.contacts.distance - CLOSE_ENOUGH * spans.low)
        if not len(live) or pairs_left <= 0:
            break
        count = np.minimum(end[live] - start[live], max(1, min(share, PAIRS_MOST // len(live))))
        count = np.minimum(count, (pairs_left - (np.cumsum(count) - count)).clip(0))
        pairs_left -= int(count.sum())
        picked = np.repeat(start[live], count) + _ramp(count)
        start[live] += count
        picked = picked[bound[picked] < best.contacts.distance[label[picked]]]
        _look_into(spans, best, pairs[picked], label[picked])
        share *= 4
    left = _least_left(bound, start, end)
    best.lower = np.minimum(best.lower, np.maximum(left - spans.floor_mm, 0))
    starts = effort.rays // (CREEP_SHARE * CREEP_ROUNDS * WAYS)
    _creep_from_best(spans, rows, graph, best, min(CREPT_MOST, starts))
    ball = ball_of_round_sides(spans.surface, spans.inward, best.contacts)
    best.upper = np.maximum(best.upper, ball + spans.floor_mm)
    return best


def _creep_from_best(spans: Spans, rows: Ints, graph: Connected, best: Tightest, most: int) -> None:
    """Follow tapers from at most so many samples that could get tighter than the best contact."""
    surface = spans.surface
    first, second = spans.pair[rows].T
    facing = -np.einsum("ij,ij->i", spans.inward[first], spans.inward[second])
    spacing = np.sqrt(np.maximum(spans.area[rows], 0))
    spacing = np.maximum(spacing, 0.25 * surface.longest[first] * (spacing > 0))
    slope = np.sqrt(np.maximum(1 / np.maximum(facing, 0.1) ** 2 - 1, 0))
    hope = spans.value[rows] - 2 * np.minimum(spacing, spans.high) * slope
    label = graph.of_row
    order = np.flatnonzero((spacing > 0) & (hope < best.contacts.distance[label] - TIE))
    order = order[slope[order] > TAPER_LEAST]
    order = order[np.lexsort((hope[order], label[order]))]
    order = order[_ramp(np.unique(label[order], return_counts=True)[1]) < CREPT][:most]
    if not len(order):
        return
    row = rows[order]
    start = Crept(
        spans.pair[row].copy(),
        spans.point[row].copy(),
        spans.contact_point[row].copy(),
        spans.value[row].copy(),
        spans.interval[row, 1] - spans.floor_mm,
        spacing[order],
    )
    found = creep(surface, spans.inward, spans.edges, start, spans.high + spans.floor_mm)
    ranked = np.lexsort((found.value, label[order]))
    winner = ranked[np.unique(label[order][ranked], return_index=True)[1]]
    where = label[order][winner]
    # By the distance straight across: in a round pin the ball off the middle of a flat is
    # smaller than the pin is thick.
    better = found.above[winner] < best.contacts.distance[where] - TIE
    where, winner = where[better], winner[better]
    best.contacts.pair[where], best.contacts.point[where] = found.pair[winner], found.point[winner]
    best.contacts.contact[where] = found.contact[winner]
    best.contacts.distance[where] = found.value[winner]
    # What the last step could still have gained down the steepest slope.
    slack = 4 * found.step[winner] + spans.floor_mm
    best.lower[where] = np.minimum(best.lower[where], (found.value[winner] - slack).clip(0))
    best.upper[where] = found.above[winner] + spans.floor_mm


def _best_rows(spans: Spans, rows: Ints, graph: Connected) -> Tightest:
    """The smallest row of each region as it was measured."""
    if graph.count == 1:
        row = rows[[spans.value[rows].argmin()]]
    else:
        order = np.lexsort((spans.value[rows], graph.of_row))
        row = rows[order[np.unique(graph.of_row[order], return_index=True)[1]]]
    yes = np.ones(len(row), dtype=bool)
    contacts = Contacts(
        spans.pair[row].copy(),
        spans.point[row].copy(),
        spans.contact_point[row].copy(),
        spans.value[row].copy(),
        yes,
        ~yes,
    )
    return Tightest(contacts, spans.interval[row, 0].copy(), spans.interval[row, 1].copy())


def _candidates(
    spans: Spans, rows: Ints, graph: Connected, known: Floats
) -> tuple[Ints, Floats, Ints]:
    """Pairs that may be nearer than is known of their region, each once, by their lower bound."""
    guess_label = graph.of_pairs(spans.guesses)
    keep = guess_label >= 0
    pairs = np.sort(np.concatenate([spans.pair[rows], spans.guesses[keep]]), axis=1)
    label = np.concatenate([graph.of_row, guess_label[keep]])
    bound = distance_at_least(spans.surface, pairs)
    hope = bound < known[label]
    pairs, label, bound = pairs[hope], label[hope], bound[hope]
    size = np.int64(len(spans.surface.faces))
    key = pairs[:, 0] * size + pairs[:, 1]
    order = np.argsort(key)
    first = order[np.flatnonzero(np.diff(key[order], prepend=-1))]
    pairs, label, bound = pairs[first], label[first], bound[first]
    order = np.lexsort((bound, label))
    return pairs[order], bound[order], label[order]


def _look_into(spans: Spans, best: Tightest, pairs: Ints, label: Ints) -> None:
    """Work out pairs exactly, zoom the best of each region, keep what is tighter."""
    surface, inward, edges = spans.surface, spans.inward, spans.edges
    exact = contacts_of(surface, inward, edges, pairs)
    good = exact.counts & ~exact.knife
    rank = np.where(good, exact.distance, exact.distance + 1e9)
    order = np.lexsort((rank, label))
    place = _ramp(np.unique(label[order], return_counts=True)[1])
    chosen = order[place < ZOOMED]
    found = zoom(surface, inward, edges, pairs[chosen])
    _keep_tighter(spans, best, found, label[chosen])


def _keep_tighter(spans: Spans, best: Tightest, found: Contacts, label: Ints) -> None:
    """Put contacts that count and see each other in the place of those less tight."""
    good = np.flatnonzero(found.counts & ~found.knife)
    good = good[found.distance[good] <= best.contacts.distance[label[good]] + spans.floor_mm]
    good = good[see_each_other(spans.surface, spans.inward, found.take(good))]
    found, label = found.take(good), label[good]
    ball = ball_of(spans.inward, found)
    # Of contacts equally near the one whose ball is known best.
    rounded = np.round(found.distance / TIE)
    order = np.lexsort((ball, rounded, label))
    first = order[np.unique(label[order], return_index=True)[1]]
    where, winner, ball = label[first], found.take(first), ball[first]
    old = np.round(best.contacts.distance[where] / TIE)
    new = np.round(winner.distance / TIE)
    better = (new < old) | ((new == old) & (ball < best.upper[where]))
    where, winner = where[better], winner.take(better)
    best.contacts.put(where, winner)
    best.lower[where] = np.maximum(winner.distance - spans.floor_mm, 0)
    best.upper[where] = ball[better] + spans.floor_mm


def _least_left(bound: Floats, start: Ints, end: Ints) -> Floats:
    """The lower bound of the pairs not looked at yet; inf where none is left."""
    left = np.full(len(start), np.inf)
    rows = np.flatnonzero(start < end)
    left[rows] = bound[start[rows]]
    return left


def _ramp(count: Ints) -> Ints:
    """0 .. c - 1 for each count, one after another."""
    return np.arange(count.sum()) - np.repeat(np.cumsum(count) - count, count)
