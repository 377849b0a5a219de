"""Which contacts do rays straight across miss, and what exactly are they?

Contacts between large facets, at ridges, at the tips of pits: found by range queries and by rays
from vertices and re-entrant sides, then worked out exactly. Lengths in mm.
Tested by tests/geometry/test_spans_steps.py.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lint3d.geometry.spans_across import ACCEPT_COS
from lint3d.geometry.spans_dense import long_facets
from lint3d.geometry.spans_feelers import ridge_pairs, ridges_crossed, vertex_pairs
from lint3d.geometry.spans_knife import KnifeEdges
from lint3d.geometry.spans_pairs import dot, share_vertex
from lint3d.geometry.spans_slanted import is_outfaced, slanted
from lint3d.geometry.spans_surface import SpanSurface
from lint3d.geometry.spans_taper import FOLLOWED_MOST, TAPER_COS, may_taper, tapers
from lint3d.geometry.spans_tree import facing_pairs
from lint3d.geometry.spans_zoom import Contacts, contacts_of, join, see_each_other, zoom

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

BESIDE_MOST = 3_000_000  # pairs looked at to see whether a guess is already covered
TAPERS_MOST = 20_000  # first guesses on sides that taper that are looked at
TAPER_COST = 120  # pairs that may be compared instead of following one taper
STEEP_ALL_OF = 10_000  # a surface of no more facets is searched all over for what tapers
SLANTED_MOST = 3_000  # pairs between which lines that lean are looked for
ORPHANS_MOST = 50_000  # first guesses off any measured facet that are followed up


def first_guesses(
    surface: SpanSurface,
    inward: Floats,
    outward_look: bool,
    reach: float,
    dense: Bools | None = None,
    cell: float = 0.0,
    most: int | None = None,
) -> tuple[Ints, Floats, bool]:
    """Pairs near which a tight place may lie, from vertices and re-entrant sides.

    Parameters
    ----------
    dense, cell : see `vertex_pairs`
    most : how many rays vertices may send, and how many re-entrant sides

    Returns
    -------
    pairs, distance : see `vertex_pairs` and `ridge_pairs`
    complete : False where `most` was met
    """
    pairs, distance, every = vertex_pairs(surface, inward, reach, dense, cell, most)
    more, also, all_sides = ridge_pairs(surface, inward, outward_look, reach, most)
    pairs = np.concatenate([pairs, more])
    apart = ~share_vertex(surface.faces, pairs[:, 0], pairs[:, 1])
    distance = np.concatenate([distance, also])
    return pairs[apart], distance[apart], every and all_sides


def tips_of(surface: SpanSurface, pair: Ints, distance: Floats) -> Ints:
    """Vertices where facets across from each other meet in nothing but that vertex.

    Parameters
    ----------
    pair : (k, 2) int64, second -1 if none
    distance : (k,) float64, mm, between a point of the first and one of the second
    """
    # Facets with a vertex in common lie within reach of each other.
    reach = surface.longest[pair[:, 0]] + surface.longest[pair[:, 1]]
    rows = pair[(pair[:, 1] >= 0) & (distance <= 1.001 * reach)]
    rows = rows[share_vertex(surface.faces, rows[:, 0], rows[:, 1])]
    first, second = surface.faces[rows[:, 0]], surface.faces[rows[:, 1]]
    same = (first[:, :, None] == second[:, None, :]).any(2)
    single = same.sum(1) == 1
    return np.unique(first[single][same[single]])


def exact_contacts(
    surface: SpanSurface,
    inward: Floats,
    edges: KnifeEdges,
    pair: Ints,
    guesses: Ints,
    guess_mm: Floats,
    dense: Bools,
    setting: tuple[float, float, bool],
    pairs_most: int | None = None,
    idle: Bools | None = None,
) -> tuple[Contacts, bool]:
    """Contacts the sample rays do not give: between large facets, and off measured facets.

    Parameters
    ----------
    dense : (k,) bool, long facets that are covered by points, see `dense_facets`
    pairs_most : how many pairs of large facets may be compared; by their number if None
    idle : (k,) bool, facets not looked at, where there are too many for a point each

    Returns
    -------
    contacts : Contacts
    complete : False where a limit on work was met
    """
    low, high, outward_look = setting
    dense = dense if idle is None else dense | idle
    large = np.flatnonzero(long_facets(surface, high) & ~dense)
    near, complete = facing_pairs(surface.corners[large], inward[large], high, most=pairs_most)
    if pairs_most is not None:
        near = near[:pairs_most]
    crossed, all_crossed = ridges_crossed(
        surface, inward, outward_look, low, high, pairs_most, idle
    )
    direct = np.concatenate([large[near], crossed])
    direct = direct[~share_vertex(surface.faces, direct[:, 0], direct[:, 1])]
    between = contacts_of(surface, inward, edges, direct)
    lone = np.flatnonzero(_off_measured(surface, pair[pair[:, 1] >= 0], guesses, high))
    lone = lone[np.argsort(guess_mm[lone], kind="stable")]
    unique = np.unique(np.sort(guesses[lone], axis=1), axis=0, return_index=True)[1]
    most = ORPHANS_MOST if pairs_most is None else min(ORPHANS_MOST, pairs_most)
    complete = complete and all_crossed and len(unique) <= most
    lone = lone[np.sort(unique)][:most]
    followed = zoom(surface, inward, edges, guesses[lone])
    parts, hidden = [], []
    for contacts in (between, followed):
        good = contacts.take(contacts.counts & (contacts.distance <= high))
        seen = see_each_other(surface, inward, good)
        parts.append(good.take(seen))
        hidden.append(good.take(~seen & ~good.knife))
    level, all_level = _level(surface, inward, edges, pair, dense, high, pairs_most)
    parts.append(level.take(see_each_other(surface, inward, level)))
    tapering, all_steep = _steep(surface, inward, pair, dense, high, pairs_most)
    steep = contacts_of(surface, inward, edges, tapering)
    steep = steep.take(steep.distance < high)
    near_by = join([between, steep.take(straightest(inward, pair, steep))])
    askew, all_askew = _askew(surface, inward, edges, guesses, guess_mm, near_by, high, pairs_most)
    askew = askew.take(~is_outfaced(surface, inward, askew))
    doubtful = join([between.take(may_taper(inward, between, high)), steep, *hidden])
    doubtful = doubtful.take(np.argsort(doubtful.distance, kind="stable")[:SLANTED_MOST])
    aside = slanted(surface, inward, edges, doubtful.pair, high)
    return join([*parts, askew, aside]), complete and all_askew and all_level and all_steep


def straightest(inward: Floats, measured: Ints, contacts: Contacts) -> Bools:
    """Does neither facet of each contact face another more squarely that was met from it?

    In a round bar every facet beside the opposite one is near, and tapers.
    """
    if not len(contacts.pair):
        return np.zeros(0, dtype=bool)
    best = _most_square(inward, measured)
    own = -dot(inward[contacts.pair[:, 0]], inward[contacts.pair[:, 1]])
    straightest: Bools = np.asarray((best[contacts.pair] <= own[:, None] + 1e-6).all(axis=1))
    return straightest


def _most_square(inward: Floats, measured: Ints) -> Floats:
    """(k,) cosine to the outer side of the facet that each faces most squarely; -1 if none."""
    measured = measured[measured[:, 1] >= 0]
    best = np.full(len(inward), -1.0)
    facing = -dot(inward[measured[:, 0]], inward[measured[:, 1]])
    for column in (0, 1):
        np.maximum.at(best, measured[:, column], facing)
    return best


def _steep(
    surface: SpanSurface,
    inward: Floats,
    measured: Ints,
    dense: Bools,
    high: float,
    most: int | None,
) -> tuple[Ints, bool]:
    """Pairs of facets that taper, of which one is small and lies at a side where it ends.

    And whether these are all: False where a limit on work was met.
    """
    chosen = _at_ends(surface, high) & ~dense
    facing = (ACCEPT_COS, TAPER_COS)
    pairs, complete = _pairs_with_small(surface, inward, chosen, high, most, facing)
    if not complete:
        # A thin bar with edges, cut finely: a small facet that faces another squarely is as thick
        # as the rays from it say, and tapers towards very many.
        chosen &= long_facets(surface, high) | (_most_square(inward, measured) < TAPER_COS)
        pairs, complete = _pairs_with_small(surface, inward, chosen, high, most, facing)
    return pairs, complete


def _level(
    surface: SpanSurface,
    inward: Floats,
    edges: KnifeEdges,
    measured: Ints,
    dense: Bools,
    high: float,
    most: int | None,
) -> tuple[Contacts, bool]:
    """Contacts that count between nearly parallel facets, one of which meets nothing across it.

    Such a facet is small and lies aside of the other, so that rays straight across pass both. And
    whether these are all.
    """
    lone = np.ones(len(inward), dtype=bool)
    lone[measured[measured[:, 1] >= 0].ravel()] = False
    chosen = _at_ends(surface, high) & ~dense & (lone | long_facets(surface, high))
    pairs, complete = _pairs_with_small(surface, inward, chosen, high, most, (TAPER_COS, 2.0))
    found = contacts_of(surface, inward, edges, pairs)
    return found.take(found.counts & (found.distance <= high) & ~found.knife), complete


def _at_ends(surface: SpanSurface, high: float) -> Bools:
    """(k,) which facets are large or lie at a side where the surface turns? All, if they are few.

    Where a surface runs on, what small facets face is found by rays from them and those beside.
    """
    large = long_facets(surface, high)
    turns = surface.turns
    chosen: Bools = large | (len(large) <= STEEP_ALL_OF)
    chosen[turns.facet] = chosen[turns.other] = True
    return chosen


def _pairs_with_small(
    surface: SpanSurface,
    inward: Floats,
    chosen: Bools,
    high: float,
    most: int | None,
    facing: tuple[float, float],
) -> tuple[Ints, bool]:
    """Pairs of chosen facets, apart and so near to opposite, of which one is small; all of them?"""
    large = long_facets(surface, high)
    rows = np.flatnonzero(chosen)
    if large[rows].all():
        return np.zeros((0, 2), dtype=np.int64), True
    corners = surface.corners[rows]
    near, complete = facing_pairs(corners, inward[rows], high, most=most, facing=facing)
    pairs = rows[near[:most]]
    pairs = pairs[~large[pairs].all(axis=1)]
    return pairs[~share_vertex(surface.faces, pairs[:, 0], pairs[:, 1])], complete


def _askew(
    surface: SpanSurface,
    inward: Floats,
    edges: KnifeEdges,
    guesses: Ints,
    guess_mm: Floats,
    between: Contacts,
    high: float,
    most: int | None,
) -> tuple[Contacts, bool]:
    """Contacts of guesses and of large facets that taper and whose nearest places do not count."""
    facing = -np.einsum("ij,ij->i", inward[guesses[:, 0]], inward[guesses[:, 1]])
    rows = np.flatnonzero((facing >= ACCEPT_COS) & (facing < TAPER_COS))
    looked_at = TAPERS_MOST if most is None else min(TAPERS_MOST, most)
    rows = rows[np.argsort(guess_mm[rows], kind="stable")][:looked_at]
    pairs = np.unique(np.sort(guesses[rows], axis=1), axis=0)
    near = contacts_of(surface, inward, edges, pairs)
    near = join([near.take(may_taper(inward, near, high)) for near in (near, between)])
    if most is None:
        return tapers(surface, inward, edges, near, high), True
    # Each pair that is followed costs the rays of as many that are only compared.
    followed = max(most // TAPER_COST, 1)
    complete = len(near.pair) <= followed or followed >= FOLLOWED_MOST
    return tapers(surface, inward, edges, near, high, min(followed, FOLLOWED_MOST)), complete


def _off_measured(surface: SpanSurface, measured: Ints, guesses: Ints, high: float) -> Bools:
    """Is neither a small facet of a guess nor the guess itself among the measured contacts?

    Those that are will be looked at with the region they fall into.
    """
    size = np.int64(len(surface.faces))
    busy = np.zeros(len(surface.faces), dtype=bool)
    busy[measured.ravel()] = True
    busy[long_facets(surface, high)] = False
    off: Bools = np.logical_not(busy[guesses].any(1))
    rows = np.flatnonzero(off)
    if not len(rows):
        return off
    known = np.concatenate([measured, measured[:, ::-1]])
    key = guesses[rows, 0] * size + guesses[rows, 1]
    off[rows[np.isin(key, known[:, 0] * size + known[:, 1])]] = False
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
