"""Where exactly is the tightest place near a contact?

From a pair of facets the search steps to neighbouring facets while the exact distance falls and
the contact stays one. Lengths in mm. Tested by tests/geometry/test_spans_steps.py.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lint3d.geometry.spans_behind import tapers_to_edge
from lint3d.geometry.spans_feelers import cross
from lint3d.geometry.spans_knife import KnifeEdges
from lint3d.geometry.spans_pairs import (
    closest_on_triangles,
    dot,
    share_vertex,
    stands_square,
)
from lint3d.geometry.spans_surface import SpanSurface

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

STEPS_MOST = 60
PAIRS_AT_ONCE = 100_000
STRAIGHT_COS = float(np.cos(np.radians(0.5)))  # leaning less than this is straight
NEARLY_PARALLEL = float(np.cos(np.radians(5.0)))
IN_PLACE = 1.5  # what lies straight across within this many times a contact's length outdoes it
ASIDE = 0.3  # a straighter contact this far off, as a share of the length, is in the same place
INSET = 1e-3  # ends of a line of sight are drawn in from sides, which it would only graze


@dataclass(eq=False)
class Contacts:
    """Exact contacts of pairs of facets.

    Attributes
    ----------
    pair : (k, 2) int64
    point, contact : (k, 3) float64, mm, on the first and on the second facet
    distance : (k,) float64, mm
    counts : (k,) bool, both sides stand square to the line between, and it leaves from their
        inner sides
    knife : (k,) bool, in the strip behind a knife edge
    """

    pair: Ints
    point: Floats
    contact: Floats
    distance: Floats
    counts: Bools
    knife: Bools

    def take(self, rows: Ints | Bools) -> Contacts:
        """Some of the rows."""
        return Contacts(*(getattr(self, name)[rows] for name in self.__dataclass_fields__))

    def put(self, rows: Ints, other: Contacts) -> None:
        """Write rows in place."""
        for name in self.__dataclass_fields__:
            getattr(self, name)[rows] = getattr(other, name)


def no_contacts() -> Contacts:
    """None at all."""
    places, rows = np.zeros((0, 3)), np.zeros(0, dtype=bool)
    return Contacts(np.zeros((0, 2), np.int64), places, places, np.zeros(0), rows, rows)


def join(parts: list[Contacts]) -> Contacts:
    """One after another."""
    parts = [part for part in parts if len(part.pair)] or [no_contacts()]
    if len(parts) == 1:
        return parts[0]
    return Contacts(
        *(np.concatenate([getattr(p, n) for p in parts]) for n in Contacts.__dataclass_fields__)
    )


def contacts_of(surface: SpanSurface, inward: Floats, edges: KnifeEdges, pair: Ints) -> Contacts:
    """Exact closest points of pairs of facets, judged."""
    parts = [
        _contacts_of(surface, inward, edges, pair[i : i + PAIRS_AT_ONCE])
        for i in range(0, len(pair), PAIRS_AT_ONCE)
    ]
    return join(parts)


def _contacts_of(surface: SpanSurface, inward: Floats, edges: KnifeEdges, pair: Ints) -> Contacts:
    first, second = pair[:, 0], pair[:, 1]
    point, contact, distance = closest_on_triangles(
        surface.corners[first],
        surface.corners[second],
        surface.normals[first],
        surface.normals[second],
    )
    step = contact - point
    with np.errstate(divide="ignore", invalid="ignore"):
        towards = step / distance[:, None]
    # Touching facets have no line between them: the normal stands in.
    touching = distance < 1e-12
    towards[touching] = inward[first[touching]]
    counts = np.ones(len(pair), dtype=bool)
    for facet, place, way in ((first, point, towards), (second, contact, -towards)):
        rows = np.flatnonzero(counts)
        counts[rows] = stands_square(surface, inward, facet[rows], place[rows], way[rows])
    knife = share_vertex(surface.faces, first, second)
    rows = np.flatnonzero(counts & ~knife)
    are_outdone = _outdone(surface, inward, pair[rows], point[rows], contact[rows], towards[rows])
    counts[rows[are_outdone]] = False
    rows = rows[~are_outdone]
    knife[rows] = tapers_to_edge(surface, inward, edges, pair[rows], point[rows], contact[rows])
    return Contacts(pair, point, contact, distance, counts, knife)


def _outdone(
    surface: SpanSurface,
    inward: Floats,
    pair: Ints,
    point: Floats,
    contact: Floats,
    towards: Floats,
) -> Bools:
    """Do contacts that lean on both sides have a straighter one in the same place?

    In a round pin of few facets the chord to the facet beside the opposite one is shorter than
    the pin is thick. What lies straight across, if it is nearly parallel or much more so, has
    the last word.
    """
    lean = np.maximum(dot(inward[pair[:, 0]], towards), -dot(inward[pair[:, 1]], towards))
    rows = np.flatnonzero(lean < STRAIGHT_COS)
    are = np.zeros(len(pair), dtype=bool)
    if not len(rows):
        return are
    length = np.linalg.norm(contact[rows] - point[rows], axis=1)
    facing = -dot(inward[pair[rows, 0]], inward[pair[rows, 1]])
    for own, place in ((pair[rows, 0], point[rows]), (pair[rows, 1], contact[rows])):
        step = surface.corners[own].mean(1) - place
        far = ASIDE * length / np.maximum(np.linalg.norm(step, axis=1), 1e-300)
        for share, angle_share in ((np.full(len(rows), INSET), 0.6), (np.minimum(far, 1), 0.4)):
            begin = place + share[:, None] * step
            across, _, _ = cross(surface, inward, begin, inward[own], IN_PLACE * length)
            straight = np.where(across >= 0, -dot(inward[own], inward[across]), -1.0)
            # 1 - cos grows with the square of the angle.
            are[rows] |= 1 - straight < angle_share**2 * (1 - facing)
            if angle_share == 0.6:
                are[rows] |= (straight >= NEARLY_PARALLEL) & (straight > facing + 2e-5)
    return are


def zoom(surface: SpanSurface, inward: Floats, edges: KnifeEdges, pair: Ints) -> Contacts:
    """Descend from pairs of facets to the tightest contacts near them.

    Parameters
    ----------
    inward : (k, 3) float64, unit normals into the space that is measured
    edges : what tapers to nothing; contacts there are not walked into
    pair : (j, 2) int64

    Returns
    -------
    Contacts : (j,), the best found from each; `counts` False where none counts
    """
    state = contacts_of(surface, inward, edges, pair)
    active = np.arange(len(pair))
    for _ in range(STEPS_MOST):
        if not len(active):
            break
        owner, around = _pairs_around(surface, state.pair[active])
        if not len(owner):
            break
        trial = contacts_of(surface, inward, edges, around)
        # What counts comes before what does not, then the nearer.
        rank = _rank(trial)
        order = np.lexsort((rank, owner))
        first = order[np.unique(owner[order], return_index=True)[1]]
        mine = active[owner[first]]
        better = rank[first] < _rank(state.take(mine)) - 1e-12
        state.put(mine[better], trial.take(first[better]))
        active = mine[better]
    return state


def _rank(contacts: Contacts) -> Floats:
    """Smaller is better; anything that counts is better than anything that does not."""
    return np.where(contacts.counts & ~contacts.knife, contacts.distance, contacts.distance + 1e9)


def _pairs_around(surface: SpanSurface, pair: Ints) -> tuple[Ints, Ints]:
    """The pairs one step away: (owner row, pair), not sharing a vertex."""
    first, second = pair[:, 0], pair[:, 1]
    steps = [np.stack([surface.neighbours[first, side], second], axis=1) for side in range(3)] + [
        np.stack([first, surface.neighbours[second, side]], axis=1) for side in range(3)
    ]
    around = np.concatenate(steps)
    owner = np.tile(np.arange(len(pair)), len(steps))
    keep = (around >= 0).all(1) & (around[:, 0] != around[:, 1])
    owner, around = owner[keep], around[keep]
    keep = ~share_vertex(surface.faces, around[:, 0], around[:, 1])
    return owner[keep], around[keep]


def see_each_other(surface: SpanSurface, inward: Floats, contacts: Contacts) -> Bools:
    """Does no other facet stand between the two sides of each contact?"""
    if not len(contacts.pair):
        return np.zeros(0, dtype=bool)
    ends = []
    for column, place in ((0, contacts.point), (1, contacts.contact)):
        middle = surface.corners[contacts.pair[:, column]].mean(1)
        step = middle - place
        length = np.linalg.norm(step, axis=1)
        most = np.minimum(INSET * length, 0.05 * contacts.distance)
        ends.append(place + step * (most / np.maximum(length, 1e-300))[:, None])
    free: Bools = ~surface.scene.is_blocked(ends[0], ends[1], contacts.pair)
    rows = np.flatnonzero(free & (contacts.distance <= 2 * surface.resolution))
    if len(rows):
        free[rows] = _is_between(surface, inward, contacts.take(rows))
    return free


def _is_between(surface: SpanSurface, inward: Floats, contacts: Contacts) -> Bools:
    """Facets that lie on each other: does the space measured lie between them, or on both sides?

    Where two bodies touch there is a gap of nothing, but no wall of nothing: beyond either facet
    one is in material, as the next facet tells.
    """
    first = contacts.pair[:, 0]
    way = inward[first]
    corner = surface.corners[first].mean(axis=1) - contacts.point
    start = (contacts.point + contacts.contact) / 2 + INSET * corner
    start += way * (4 * surface.resolution + 2 * surface.scene.nearest_mm)
    met = surface.scene.first_facet(start, way, np.inf)
    # Where nothing more is met one is outside, which is measured looking outward.
    outward_look = dot(way, surface.normals[first]) > 0
    between: Bools = np.where(met < 0, ~outward_look, dot(inward[met], way) > 0)
    return between
