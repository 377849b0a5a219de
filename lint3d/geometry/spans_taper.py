"""Where is a taper thinnest that has no sharp side to end at?

Between two sides that enclose 8 to 30 degrees the shortest line may lean too much on one of them
to count, as at the cut-off end of a wedge that is askew. The thinnest place is then where lines
across cease to count, not where the sides come nearest. From points of both facets the ball across
is felt, and the best are followed down the taper. Lengths in mm.
Tested by tests/geometry/test_spans_taper.py.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lint3d.geometry.spans_across import ACCEPT_COS, straight_across
from lint3d.geometry.spans_behind import tapers_to_edge
from lint3d.geometry.spans_creep import Crept, creep
from lint3d.geometry.spans_knife import KnifeEdges
from lint3d.geometry.spans_pairs import dot
from lint3d.geometry.spans_surface import SpanSurface
from lint3d.geometry.spans_zoom import Contacts, no_contacts

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

TAPER_COS = float(np.cos(np.radians(8.0)))  # nearer to parallel the nearest place leans little
NEAR = (0.02, 0.1, 0.3)  # points: so far from the nearest place towards the corners and the middle
PAIRS_MOST = 3_000
FOLLOWED_MOST = 2_000
PAIRS_EACH = 4  # pairs looked at for each that may be followed


def may_taper(inward: Floats, contacts: Contacts, high: float) -> NDArray[np.bool_]:
    """(k,) which contacts are near and do not count, between sides that taper enough?"""
    facing = -dot(inward[contacts.pair[:, 0]], inward[contacts.pair[:, 1]])
    may: NDArray[np.bool_] = (
        ~contacts.counts
        & ~contacts.knife
        & (contacts.distance < high)
        & (facing >= ACCEPT_COS)
        & (facing < TAPER_COS)
    )
    return may


def tapers(
    surface: SpanSurface,
    inward: Floats,
    edges: KnifeEdges,
    near: Contacts,
    high: float,
    most: int = FOLLOWED_MOST,
) -> Contacts:
    """The tightest span between facets whose nearest points do not count.

    Parameters
    ----------
    near : (k,) nearest points of such facets, see `may_taper`
    high : mm, the top of the range of interest
    most : so many of them are followed, the tightest

    Returns
    -------
    Contacts : those found, at most one a pair; all of them count
    """
    near = near.take(np.argsort(near.distance, kind="stable")[: min(PAIRS_MOST, PAIRS_EACH * most)])
    if not len(near.pair):
        return near
    point, facet, owner = _points_on(surface, near)
    met = straight_across(surface, inward, point, facet, high)
    good = np.flatnonzero((met.facet >= 0) & (met.facing >= ACCEPT_COS) & (met.value <= high))
    pair = np.stack([facet[good], met.facet[good]], axis=1)
    sharp = tapers_to_edge(surface, inward, edges, pair, point[good], met.contact[good])
    good, pair = good[~sharp], pair[~sharp]
    order = np.lexsort((met.value[good], owner[good]))
    best = order[np.unique(owner[good][order], return_index=True)[1]]
    best = best[np.argsort(met.value[good[best]], kind="stable")[:most]]
    rows = good[best]
    if not len(rows):
        return no_contacts()
    start = Crept(
        pair[best],
        point[rows],
        met.contact[rows],
        met.value[rows],
        met.distance[rows],
        0.1 * surface.longest[facet[rows]],
    )
    found = creep(surface, inward, edges, start, high)
    yes = np.ones(len(rows), dtype=bool)
    distance = np.linalg.norm(found.contact - found.point, axis=1)
    return Contacts(found.pair, found.point, found.contact, distance, yes, ~yes)


def _points_on(surface: SpanSurface, near: Contacts) -> tuple[Floats, Ints, Ints]:
    """Points spread over both facets of each pair, dense where they are nearest: facet, pair."""
    points, facets, owners = [], [], []
    for facet, place in ((near.pair[:, 0], near.point), (near.pair[:, 1], near.contact)):
        corners = surface.corners[facet]
        middle = corners.mean(axis=1)
        aims = [
            middle,
            *corners.transpose(1, 0, 2),
            *((corners + np.roll(corners, 1, 1)) / 2).transpose(1, 0, 2),
        ]
        for aim in aims:
            for share in (*NEAR, 0.6):
                # A little off the sides, along which a ray may slip past.
                at = place + share * (aim - place)
                points.append(at + 0.01 * (middle - at))
                facets.append(facet)
                owners.append(np.arange(len(facet)))
    return np.concatenate(points), np.concatenate(facets), np.concatenate(owners)
