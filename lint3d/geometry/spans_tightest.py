"""What is the tightest span of each thin region, and how sure is that?

The best places of each region are zoomed to the exact distance between facets, round after
round, until what is left cannot matter: a place that was not zoomed could still lose about as
much as those that were. Lengths in mm. Tested by tests/geometry/test_spans_regions.py.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lint3d.geometry.spans import Spans, ball_of
from lint3d.geometry.spans_connect import Connected
from lint3d.geometry.spans_zoom import Contacts, see_each_other, zoom

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

FIRST_ROUND = 12  # places of each region zoomed in the first round, four times more each round
ROUNDS = 5
ZOOMS_MOST = 40_000  # in one round, over all regions
CLOSE_ENOUGH = 1e-3  # mm left open by places that were not zoomed, as a share of the range's low
LOSS_FACTOR = 2.0  # a place not zoomed may lose this many times the most that zoomed ones lost


@dataclass(eq=False)
class Tightest:
    """One contact a region, with the interval of its span."""

    contacts: Contacts
    lower: Floats
    upper: Floats


def tightest_of_each(spans: Spans, rows: Ints, graph: Connected) -> Tightest:
    """Zoom the best places of each region.

    Parameters
    ----------
    rows : (r,) int64, the measured rows that fall into regions
    graph : their regions
    """
    best = _best_rows(spans, rows, graph)
    pairs, guess, label = _candidates(spans, rows, graph)
    loss = np.zeros(graph.count)
    open_from = _cuts(label, graph.count)
    end = open_from[1:].copy()
    open_from = open_from[:-1].copy()
    share = FIRST_ROUND
    for _ in range(ROUNDS):
        left = _left_open(guess, open_from, end, loss)
        live = np.flatnonzero(left < best.contacts.distance - CLOSE_ENOUGH * spans.low)
        if not len(live):
            break
        share_now = max(1, min(share, ZOOMS_MOST // len(live)))
        count = np.minimum(end[live] - open_from[live], share_now)
        picked = np.repeat(open_from[live], count) + _ramp(count)
        open_from[live] += count
        _zoom_into(spans, best, pairs[picked], guess[picked], label[picked], loss)
        share *= 4
    left = _left_open(guess, open_from, end, loss)
    best.lower = np.minimum(best.lower, np.maximum(left - spans.floor_mm, 0))
    return best


def _best_rows(spans: Spans, rows: Ints, graph: Connected) -> Tightest:
    """The smallest row of each region as it was measured."""
    order = np.lexsort((spans.value[rows], graph.of_row))
    row = rows[order[np.unique(graph.of_row[order], return_index=True)[1]]]
    yes = np.ones(len(row), dtype=bool)
    contacts = Contacts(
        spans.pair[row].copy(), spans.point[row].copy(), spans.contact_point[row].copy(),
        spans.value[row].copy(), yes, ~yes,
    )
    return Tightest(contacts, spans.interval[row, 0].copy(), spans.interval[row, 1].copy())


def _candidates(spans: Spans, rows: Ints, graph: Connected) -> tuple[Ints, Floats, Ints]:
    """Pairs worth a zoom, each once, by region and then by their first guess."""
    guess_label = graph.of_pairs(spans.guesses)
    keep = guess_label >= 0
    pairs = np.concatenate([spans.pair[rows], spans.guesses[keep]])
    guess = np.concatenate([spans.interval[rows, 0] + spans.floor_mm, spans.guess_mm[keep]])
    label = np.concatenate([graph.of_row, guess_label[keep]])
    order = np.lexsort((guess, label))
    pairs, guess, label = pairs[order], guess[order], label[order]
    size = np.int64(len(spans.surface.faces))
    once = np.sort(pairs, axis=1)
    first = np.sort(np.unique(once[:, 0] * size + once[:, 1], return_index=True)[1])
    return pairs[first], guess[first], label[first]


def _zoom_into(
    spans: Spans, best: Tightest, pairs: Ints, guess: Floats, label: Ints, loss: Floats
) -> None:
    """Zoom pairs; keep what is tighter than the best so far, and learn how much they lost."""
    found = zoom(spans.surface, spans.inward, spans.edges, pairs)
    good = np.flatnonzero(found.counts & ~found.knife)
    good = good[see_each_other(spans.surface, found.take(good))]
    found, label = found.take(good), label[good]
    np.maximum.at(loss, label, guess[good] - found.distance)
    order = np.lexsort((found.distance, label))
    first = order[np.unique(label[order], return_index=True)[1]]
    where, winner = label[first], found.take(first)
    better = winner.distance <= best.contacts.distance[where]
    where, winner = where[better], winner.take(better)
    best.contacts.put(where, winner)
    best.lower[where] = np.maximum(winner.distance - spans.floor_mm, 0)
    best.upper[where] = ball_of(spans.inward, winner) + spans.floor_mm


def _left_open(guess: Floats, start: Ints, end: Ints, loss: Floats) -> Floats:
    """The least that places not zoomed could come to; inf where none is left."""
    left = np.full(len(start), np.inf)
    rows = np.flatnonzero(start < end)
    left[rows] = guess[start[rows]] - LOSS_FACTOR * loss[rows]
    # Until something was zoomed nothing is known of what could be lost.
    left[rows[loss[rows] == 0]] = np.minimum(left[rows[loss[rows] == 0]], guess[start[rows[loss[rows] == 0]]])
    return left


def _cuts(label: Ints, count: int) -> Ints:
    return np.searchsorted(label, np.arange(count + 1))


def _ramp(count: Ints) -> Ints:
    """0 .. c - 1 for each count, one after another."""
    return np.arange(count.sum()) - np.repeat(np.cumsum(count) - count, count)
