"""Which places between the points are thinner than a limit?

A thin place that is narrower than points lie apart, like the cut-off end of a wedge or the lip of
a cup, shows at some points only, or at none. Pairs of facets that come nearer than the limit are
worked out exactly: those that points met, then those beside thin ones, and so on along the strip.
So what is thin all along hangs together, and what is apart stays so. Lengths in mm.
Tested by tests/geometry/test_spans_between.py.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from lint3d.geometry.each_once import distinct
from lint3d.geometry.spans import Spans
from lint3d.geometry.spans_across import ACCEPT_COS, IN_PLACE_COS
from lint3d.geometry.spans_ball import ball_of
from lint3d.geometry.spans_dense import long_facets
from lint3d.geometry.spans_effort import Effort
from lint3d.geometry.spans_exact import straightest
from lint3d.geometry.spans_pairs import distance_at_least, dot, share_vertex
from lint3d.geometry.spans_straight import nearest_straight
from lint3d.geometry.spans_zoom import Contacts, contacts_of, join, see_each_other

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

ROUNDS = 200  # steps along a strip from what is known of it
PAIRS_MOST = 1_000_000  # worked out in all


def filled_in(spans: Spans, limit: float, effort: Effort) -> Spans:
    """The same spans, with exact contacts nearer than a limit that points passed by.

    Parameters
    ----------
    limit : mm
    effort : what it may cost; with less of it thin places between points may stay apart

    Returns
    -------
    Spans : the table that was handed in, and further rows with an area of 0
    """
    search = _Search(spans, limit, min(PAIRS_MOST, effort.pairs))
    search.look_into(search.doubtful())
    search.spread()
    return _with_contacts(spans, search.found())


def may_have_more(spans: Spans, limit: float) -> bool:
    """May a place between the points be thinner than a limit, if none at the points is?"""
    return bool(len(_Search(spans, limit, 1).doubtful()))


class _Search:
    """Pairs of facets looked at so far, and those that are thin."""

    def __init__(self, spans: Spans, limit: float, most: int) -> None:
        self.spans, self.limit, self.left = spans, limit, most
        self.size = np.int64(len(spans.surface.faces))
        self.is_thin = spans.thinner_than(limit)
        self.pairs = spans.pair[self.is_thin]
        # Needles in a heap are linked by where their contacts lie: each of them faces all others.
        large = long_facets(spans.surface, spans.high) & ~spans.dense
        self.busy = np.zeros(len(large), dtype=bool)  # small thin facets: linked as they are
        self.busy[self.pairs] = True
        self.busy[large] = False
        self.seen = np.zeros(0, dtype=np.int64)
        self.parts: list[Contacts] = []

    @cached_property
    def known(self) -> Ints:
        """What is thin at points stays as it is: of millions of pairs no more than once in order,
        and not at all where there is nothing to compare with them."""
        return distinct(self._keys(self.pairs))

    def _keys(self, pairs: Ints) -> Ints:
        key: Ints = pairs.min(axis=1) * self.size + pairs.max(axis=1)
        return key

    def _fresh(self, pairs: Ints) -> Ints:
        """Those not looked at so far, each once, that may be nearer than the limit."""
        pairs = pairs[(pairs >= 0).all(axis=1) & (pairs[:, 0] != pairs[:, 1])]
        pairs = pairs[~(self.busy[pairs[:, 0]] & self.busy[pairs[:, 1]])]
        if not len(pairs):
            return pairs
        key = self._keys(pairs)
        order = np.argsort(key, kind="stable")
        first = order[np.flatnonzero(np.diff(key[order], prepend=-1))]
        for old in (self.known, self.seen):
            if len(old):
                place = np.minimum(np.searchsorted(old, key[first]), len(old) - 1)
                first = first[old[place] != key[first]]
        pairs = pairs[first]
        inward = self.spans.inward
        pairs = pairs[-dot(inward[pairs[:, 0]], inward[pairs[:, 1]]) >= ACCEPT_COS]
        pairs = pairs[distance_at_least(self.spans.surface, pairs) < self.limit]
        return pairs[~share_vertex(self.spans.surface.faces, pairs[:, 0], pairs[:, 1])]

    def doubtful(self) -> Ints:
        """Pairs that points met farther apart than the limit, and that may come nearer."""
        spans = self.spans
        may_be = spans.measured & ~spans.knife & ~self.is_thin
        met = spans.pair[may_be & (spans.facets_apart < self.limit)]
        return self._fresh(np.concatenate([met, spans.guesses]))

    def look_into(self, pairs: Ints) -> Ints:
        """Work pairs out; those that are thin."""
        spans = self.spans
        pairs = pairs[: self.left]
        if not len(pairs):
            return pairs
        self.left -= len(pairs)
        self.seen = distinct(np.concatenate([self.seen, self._keys(pairs)]))
        surface, inward, edges = spans.surface, spans.inward, spans.edges
        exact = contacts_of(surface, inward, edges, pairs)
        near = exact.take(exact.distance < self.limit)
        found = near.take(near.counts & ~near.knife)
        if not near.counts.all():
            askew = nearest_straight(surface, inward, edges, near.pair[~near.counts])
            found = join([found, askew.take(askew.counts & (askew.distance < self.limit))])
        if not len(found.pair):
            return found.pair
        # In a round hole of few flats the chord to the one beside the opposite one is no span.
        tilts = -dot(inward[found.pair[:, 0]], inward[found.pair[:, 1]]) < IN_PLACE_COS
        if tilts.any():
            found = found.take(~tilts | straightest(inward, spans.pair, found))
        found = found.take(see_each_other(surface, inward, found))
        self.parts.append(found)
        return found.pair

    def spread(self) -> None:
        """Look at what lies beside thin pairs, and beside those that are found there."""
        neighbours = self.spans.surface.neighbours
        # Within what is thin all over everything is linked as it is.
        beside_idle = (~self.busy[neighbours] & (neighbours >= 0)).any(axis=1) | ~self.busy
        inner = ~beside_idle[self.pairs].any(axis=1)
        new = np.concatenate([self.pairs[~inner], *(part.pair for part in self.parts)])
        for _ in range(ROUNDS):
            if self.left <= 0 or not len(new):
                break
            beside = [
                np.stack([neighbours[new[:, own], side], new[:, 1 - own]], axis=1)
                for own in (0, 1)
                for side in range(3)
            ]
            new = self.look_into(self._fresh(np.concatenate(beside)))

    def found(self) -> Contacts:
        return join(self.parts)


def _with_contacts(spans: Spans, found: Contacts) -> Spans:
    """Further rows of a table of spans."""
    if not len(found.pair):
        return spans
    ids = spans.surface.face_ids
    ball = ball_of(spans.inward, found)
    interval = np.stack([found.distance, np.maximum(ball, found.distance)], axis=1)
    interval = np.maximum(interval + [-spans.floor_mm, spans.floor_mm], 0)
    return replace(
        spans,
        point=np.concatenate([spans.point, found.point]),
        value=np.concatenate([spans.value, found.distance]),
        interval=np.concatenate([spans.interval, interval]),
        face=np.concatenate([spans.face, ids[found.pair[:, 0]]]),
        contact_point=np.concatenate([spans.contact_point, found.contact]),
        contact_face=np.concatenate([spans.contact_face, ids[found.pair[:, 1]]]),
        area=np.concatenate([spans.area, np.zeros(len(ball))]),
        knife=np.concatenate([spans.knife, np.zeros(len(ball), dtype=bool)]),
        pair=np.concatenate([spans.pair, found.pair]),
    )
