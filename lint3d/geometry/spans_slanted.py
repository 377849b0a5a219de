"""Which is the shortest line between two facets that stands square enough on both?

Where two facets enclose an angle, or lie aside of each other, their nearest points may be joined by
a line that leans too much to count, or that something else stands in, and straight across from
neither may the other be met. Of all lines that lean by at most 15 degrees the shortest is looked
for: for each direction it runs through a corner of what the two share when they are looked at that
way. Lengths in mm. Tested by tests/geometry/test_spans_slanted.py.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from lint3d.geometry.captive_sweep import common_corners
from lint3d.geometry.spans_across import ACCEPT_COS
from lint3d.geometry.spans_behind import tapers_to_edge
from lint3d.geometry.spans_feelers import cross
from lint3d.geometry.spans_knife import KnifeEdges
from lint3d.geometry.spans_pairs import LEAN_COS, dot
from lint3d.geometry.spans_surface import SpanSurface
from lint3d.geometry.spans_zoom import IN_PLACE, INSET, Contacts, join, no_contacts, see_each_other
from lint3d.geometry.vectors import cross_product, square_to

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]
Test = Callable[[Contacts], Bools]

LEAN = float(np.arccos(LEAN_COS))
# A line that leans by 15 degrees on both its sides is so much shorter than the way straight across
# to the side that the second one bends off from.
OUTFACED = 1.001 * LEAN_COS / float(np.cos(2 * LEAN))
WITHIN = 0.9999  # of the leaning that is allowed
ROUNDED = 8.0  # coordinate steps off a side where it is sure which facet lies across
GRID = np.linspace(-1, 1, 5)
ROUNDS = 6  # in which the step between directions is halved
ROWS_AT_ONCE = 40_000
AGAIN_MOST = 500
AT_CORNER = ((0.0, 0.0),)
WITHIN_SHARED = ((0.5, 0.0), (0.0, 0.5), (0.0, 1.0))  # see `_shortest_along`
WAYS = np.stack([sign * one for one in np.eye(4) for sign in (1, -1)])


def slanted(
    surface: SpanSurface, inward: Floats, edges: KnifeEdges, pair: Ints, high: float
) -> Contacts:
    """The shortest line that counts between the facets of each pair.

    Parameters
    ----------
    inward : (k, 3) float64, unit normals into the space measured
    edges : lines in the strip behind these are left out
    pair : (j, 2) int64
    high : mm, longer ones are left out

    Returns
    -------
    Contacts : those found, at most one a pair; all of them count
    """
    facing = -dot(inward[pair[:, 0]], inward[pair[:, 1]])
    pair = pair[facing > np.cos(2 * LEAN)]
    if not len(pair):
        return no_contacts()
    found = _looked_for(surface, inward, pair, high, _sees(surface, inward))
    good = _counts(surface, inward, edges)(found)
    # Where the shortest does not count, a longer one may.
    again = _looked_for(
        surface,
        inward,
        found.pair[~good][:AGAIN_MOST],
        high,
        lambda lines: _sees(surface, inward)(lines) & _counts(surface, inward, edges)(lines),
    )
    # Of a direction the shortest may be hidden by what is beside it, and longer ones not.
    size = len(surface.faces)
    hidden = ~np.isin(pair @ [size, 1], found.pair @ [size, 1])
    aside = _looked_for(
        surface, inward, pair[hidden][:AGAIN_MOST], high, _sees(surface, inward), WITHIN_SHARED
    )
    aside = aside.take(_counts(surface, inward, edges)(aside))
    return join([found.take(good), again, aside])


def _sees(surface: SpanSurface, inward: Floats) -> Test:
    return lambda lines: see_each_other(surface, inward, lines)


def _counts(surface: SpanSurface, inward: Floats, edges: KnifeEdges) -> Test:
    """Does nothing that faces either end lie straight across, and do both sides not taper to edges?

    What lies straight across has the last word: in a round pin of few facets lines that lean are
    shorter than the pin is thick.
    """

    def counts(lines: Contacts) -> Bools:
        good = np.ones(len(lines.pair), dtype=bool)
        for facing in _straight_across(surface, inward, lines, IN_PLACE):
            good &= facing < ACCEPT_COS
        rows = np.flatnonzero(good)
        some = lines.take(rows)
        good[rows] = ~tapers_to_edge(surface, inward, edges, some.pair, some.point, some.contact)
        return good

    return counts


def is_outfaced(surface: SpanSurface, inward: Floats, lines: Contacts) -> Bools:
    """Does something straight across from an end of each line face it more squarely?

    In a round bar of few facets lines from a facet to one beside the opposite are shorter than
    the bar is thick. Between the two sides of a taper only these sides face each other.
    """
    own = -dot(inward[lines.pair[:, 0]], inward[lines.pair[:, 1]])
    outfaced = np.zeros(len(lines.pair), dtype=bool)
    if not len(outfaced):
        return outfaced
    for facing in _straight_across(surface, inward, lines, OUTFACED):
        outfaced |= facing > own + 1e-6
    for facing in _beside_an_end(surface, inward, lines):
        outfaced |= facing > own + 1e-6
    return outfaced


def _beside_an_end(surface: SpanSurface, inward: Floats, lines: Contacts) -> list[Floats]:
    """The same as `_straight_across`, a rounding aside of each end, across the edge between both.

    A ray from a side of a narrow flat may slip past the flat opposite to the one beside that, for
    coordinates are rounded, and with them the way it looks: what is met only so near to a side is
    not what lies across.
    """
    met = []
    reach = OUTFACED * lines.distance
    for column, place in ((0, lines.point), (1, lines.contact)):
        facet = lines.pair[:, column]
        height = 2 * surface.areas[facet] / surface.longest[facet]
        step = ROUNDED * surface.resolution * (1 + lines.distance / height)
        step = np.minimum(step, height / 4)[:, None]
        own = inward[facet]
        aside = inward[lines.pair[:, 1 - column]]
        aside = aside - own * dot(aside, own)[:, None]
        aside /= np.maximum(np.linalg.norm(aside, axis=1), 1e-300)[:, None]
        for begin in (place + step * aside, place - step * aside):
            across, _, facing = cross(surface, inward, begin, own, reach)
            met.append(np.where(across < 0, 0.0, facing))
    return met


def _straight_across(
    surface: SpanSurface, inward: Floats, lines: Contacts, share: float
) -> list[Floats]:
    """How squarely does what lies straight across, within a share of its length, face each line?

    Returns
    -------
    list of two : for each end (k,) float64, the cosine between the ray and the facet met; 0 where
        nothing is met
    """
    met = []
    for own, place in ((lines.pair[:, 0], lines.point), (lines.pair[:, 1], lines.contact)):
        begin = place + INSET * (surface.corners[own].mean(axis=1) - place)
        across, _, facing = cross(surface, inward, begin, inward[own], share * lines.distance)
        met.append(np.where(across < 0, 0.0, facing))
    return met


def _looked_for(
    surface: SpanSurface,
    inward: Floats,
    pair: Ints,
    high: float,
    test: Test,
    within: tuple[tuple[float, float], ...] = AT_CORNER,
) -> Contacts:
    """The shortest line that passes a test between the facets of each pair, where there is one.

    Parameters
    ----------
    within : where lines of a direction are tried, see `_shortest_along`
    """
    if not len(pair):
        return no_contacts()
    yes = np.ones(len(pair), dtype=bool)
    nowhere = np.zeros((len(pair), 3))
    best = Contacts(pair, nowhere, nowhere.copy(), np.full(len(pair), float(high)), yes, ~yes)
    at = np.full((len(pair), 4), np.nan)
    # Places within are many more, and moved after: fewer directions do.
    grid = GRID if within == AT_CORNER else GRID[1::2]
    for x in grid:
        for y in grid:
            for place in within:
                _try(surface, inward, np.tile([x, y, *place], (len(pair), 1)), best, at, test)
    kept = np.isfinite(at[:, 0])
    best, at = best.take(kept), at[kept]
    step = (GRID[1] - GRID[0]) / 2
    ways = WAYS[: 4 if within == AT_CORNER else 8]
    for _ in range(ROUNDS if len(best.pair) else 0):
        for way in ways:
            place = np.clip(at + step * way, (-1, -1, 0, 0), 1)
            _try(surface, inward, place, best, at, test)
        step /= 2
    return best


def _try(
    surface: SpanSurface, inward: Floats, place: Floats, best: Contacts, at: Floats, test: Test
) -> None:
    """Put lines in some directions into `best`, and their directions into `at`, where shorter."""
    for start in range(0, len(place), ROWS_AT_ONCE):
        some = np.arange(start, min(start + ROWS_AT_ONCE, len(place)))
        pair = best.pair[some]
        way = _directions(inward[pair[:, 0]], -inward[pair[:, 1]], place[some, :2])
        line = _shortest_along(surface, pair, way, place[some, 2:])
        good = (line.distance > 0) & (line.distance < best.distance[some] - 1e-9)
        rows, line = some[good], line.take(good)
        if not len(rows):
            continue
        passed = test(line)
        best.put(rows[passed], line.take(passed))
        at[rows[passed]] = place[rows[passed]]


def _directions(first: Floats, second: Floats, place: Floats) -> Floats:
    """Directions that lean by at most 15 degrees from both of two.

    Parameters
    ----------
    first, second : (k, 3) unit, at most 30 degrees apart
    place : (k, 2), where in the lens that these directions fill, from -1 to 1: along the turn from
        the one to the other, and across
    """
    middle = first + second
    middle /= np.linalg.norm(middle, axis=1)[:, None]
    across = cross_product(first, second)
    length = np.linalg.norm(across, axis=1)
    across = np.where(length[:, None] > 1e-6, across, square_to(middle)[0])
    across /= np.linalg.norm(across, axis=1)[:, None]
    along = cross_product(across, middle)
    half = np.arccos(np.clip(dot(first, middle), -1, 1))
    turn = place[:, 0] * WITHIN * np.maximum(LEAN - half, 0)
    room = np.arccos(np.minimum(LEAN_COS / np.cos(half + np.abs(turn)), 1.0))
    tilt = place[:, 1] * WITHIN * room
    way = middle * np.cos(turn)[:, None] + along * np.sin(turn)[:, None]
    found: Floats = way * np.cos(tilt)[:, None] + across * np.sin(tilt)[:, None]
    return found


def _shortest_along(
    surface: SpanSurface, pair: Ints, way: Floats, within: Floats | None = None
) -> Contacts:
    """The shortest line of a given direction between two facets; of length inf if there is none.

    Parameters
    ----------
    within : (k, 2), shares of the way from there to the next shortest corner of what the two have
        in common, then to the middle of its corners: a line there instead
    """
    one, two = surface.corners[pair[:, 0]], surface.corners[pair[:, 1]]
    frame = np.stack(square_to(way), axis=2)
    origin = one.mean(axis=1, keepdims=True)
    points, valid = common_corners((one - origin) @ frame, (two - origin) @ frame)
    # Lines through these points in the given direction meet both planes.
    start = origin + points @ frame.transpose(0, 2, 1)
    ends = []
    for facet, corners in ((pair[:, 0], one), (pair[:, 1], two)):
        normal = surface.normals[facet]
        height = np.einsum("kij,kj->ki", corners[:, :1] - start, normal)
        ends.append(height / dot(way, normal)[:, None])
    length = np.where(valid, ends[1] - ends[0], np.inf)
    column = length.argmin(axis=1)
    row = np.arange(len(pair))
    begin = start[row, column]
    if within is not None and within.any():
        begin, ends = _drawn_in(start, length, ends, within)
        length, column = (ends[1] - ends[0]), np.zeros(len(pair), dtype=np.int64)
    yes = np.ones(len(pair), dtype=bool)
    return Contacts(
        pair,
        begin + way * ends[0][row, column][:, None],
        begin + way * ends[1][row, column][:, None],
        length[row, column],
        yes,
        ~yes,
    )


def _drawn_in(
    start: Floats, length: Floats, ends: list[Floats], within: Floats
) -> tuple[Floats, list[Floats]]:
    """Lines of one direction moved off the shortest, with where they end: both are linear."""
    order = np.argsort(length, axis=1, kind="stable")[:, :2]
    shared = np.isfinite(length)
    weight = shared / np.maximum(shared.sum(axis=1), 1)[:, None] * within[:, 1:]
    first, row = order[:, 0], np.arange(len(start))
    second = np.where(shared[row, order[:, 1]], order[:, 1], first)
    weight[row, second] += (1 - within[:, 1]) * within[:, 0]
    weight[row, first] += (1 - within[:, 1]) * (1 - within[:, 0])
    weight[~shared.any(axis=1)] = np.nan
    moved = np.einsum("kc,kcj->kj", weight, start)
    return moved, [np.einsum("kc,kc->k", weight, one)[:, None] for one in ends]
