"""Where is a surface thin both ways: across, and square to that?

At points spread over it the way straight across is felt, and from its middle the shortest chord
square to it. Lengths in mm. Tested by tests/geometry/test_rods.py.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lint3d.geometry.ray_fans import chords
from lint3d.geometry.rods_search import searched
from lint3d.geometry.sampling import spread_points
from lint3d.geometry.side_by_side import side_by_side
from lint3d.geometry.spans_pairs import dot
from lint3d.geometry.spans_regions import ROD_RATIO
from lint3d.geometry.spans_surface import SpanSurface
from lint3d.geometry.vectors import cross_product, square_to

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

POINTS_AT_ONCE = 20_000  # from which all is felt at once, on one core
POINTS_MOST = 60_000  # points felt at once, beside one a facet
DIRECTIONS = 8  # chords felt through each place, over half a turn
CHORD_REACH = 20.0  # they are felt up to this many times the thickness each way
AT_MOST_OFF = 1.1  # how much longer than the shortest chord the nearest of four may be
#: Cosine to the steepest side across that may be felt: sides of a triangle lean by 60 degrees and
#: more; from those that lean farther it says little how thick the bar is.
LEANS_COS = 0.2
#: Ends of a ridge face each other, too, and are farther apart than so many times its breadth there.
END_RATIO = 3.0
SQUARE_COS = float(np.cos(np.radians(30.0)))
ALONG_SINE = 0.5  # sine between a contact and the way of a bar near it, else that says nothing
ALIKE = 0.1  # how much the chord there may differ from that near it, as a share
FEW = 12  # points on a facet that are too few to say how much of it lies in corners of a bar
CLOSER = 4  # times closer points are looked at there
MOSTLY = 0.85  # of its points at which a side of a bar is thin both ways


@dataclass(eq=False)
class Felt:
    """Points that are thin both ways."""

    point: Floats
    contact: Floats
    facet: Ints
    facet_across: Ints
    thick: Floats
    area: Floats
    way: Floats
    narrow: Floats
    wide: Floats  # the shortest chord square to the contact, of the place or of one near it

    def take(self, rows: Ints | Bools) -> Felt:
        return Felt(
            self.point[rows],
            self.contact[rows],
            self.facet[rows],
            self.facet_across[rows],
            self.thick[rows],
            self.area[rows],
            self.way[rows],
            self.narrow[rows],
            self.wide[rows],
        )


def thin_both_ways(surface: SpanSurface, inward: Floats, reach: float) -> tuple[Felt, Bools]:
    """Points thin both ways, and (k,) which facets are so at all their points."""
    looks = _Looks(surface, inward, reach)
    searched(surface, looks.is_thin)
    return looks.felt(), looks.whole


class _Looks:
    """Facets felt so far."""

    def __init__(self, surface: SpanSurface, inward: Floats, reach: float) -> None:
        self.surface, self.inward, self.reach = surface, inward, reach
        self.whole: Bools = np.zeros(len(surface.faces), dtype=bool)
        self.is_side: Bools = np.zeros(len(surface.faces), dtype=bool)
        self.along: Floats = np.zeros((len(surface.faces), 3))
        self.wide: Floats = np.zeros(len(surface.faces))
        self.parts: list[Felt] = []

    def is_thin(self, facets: Ints, near: Ints) -> Bools:
        """(k,) are facets sides of bars: thin both ways at most of their points?

        Parameters
        ----------
        near : (k,) int64, for each one near it that is such a side, or -1
        """
        step = self.reach
        wide = np.where(near >= 0, self.wide[near], 0.0)
        felt, self.whole[facets], unsure = _felt_at(
            self.surface, self.inward, facets, (self.along[near], wide), self.reach, step
        )
        self._keep(felt)
        # Few points on a side of a triangle may all lie in its corners: more of them tell.
        closer, self.whole[unsure], _ = _felt_at(
            self.surface,
            self.inward,
            unsure,
            (np.zeros((len(unsure), 3)), np.zeros(len(unsure))),
            self.reach,
            step / CLOSER,
        )
        self._keep(closer)
        return self.is_side[facets]

    def _keep(self, felt: Felt) -> None:
        self.parts.append(felt)
        self.is_side[felt.facet] = True
        self.along[felt.facet] = felt.way
        self.wide[felt.facet] = felt.wide

    def felt(self) -> Felt:
        """All points thin both ways, by their facets."""
        names = Felt.__dataclass_fields__
        every = Felt(*(np.concatenate([getattr(one, n) for one in self.parts]) for n in names))
        return every.take(np.argsort(every.facet, kind="stable"))


def _felt_at(
    surface: SpanSurface,
    inward: Floats,
    facets: Ints,
    near: tuple[Floats, Floats],
    reach: float,
    step: float,
) -> tuple[Felt, Bools, Ints]:
    """Points about `step` apart on some facets that are thin both ways.

    Parameters
    ----------
    near : the way (f, 3) a bar runs near each facet, and how wide (f,) it is; 0 if none is known

    Returns
    -------
    felt : Felt
    whole : (f,) bool, which facets are so all over
    unsure : (j,) int64, facets of which points so far apart do not say whether they mostly are
    """
    point, owner, _ = spread_points(
        surface.corners[facets],
        surface.areas[facets],
        surface.longest[facets],
        step,
        POINTS_MOST + len(facets),
    )
    facet = facets[owner]
    across, distance, facing, contact, width, way, wide = _felt_from(
        surface, inward, (point, facet), near, owner, reach
    )
    good = across >= 0
    narrow = np.minimum(width, distance)
    is_thin = good & _is_thin(width, distance, reach)
    # In the corners of a triangle a bar is flat; that is nothing against it.
    counts = is_thin | ~good | (facing >= SQUARE_COS)
    rows = np.flatnonzero(is_thin)
    all_points = np.bincount(owner[counts], minlength=len(facets))
    thin_points = np.bincount(owner[rows], minlength=len(facets))
    whole = (all_points > 0) & (thin_points == all_points)
    leaning = np.bincount(owner[~counts], minlength=len(facets))
    few = leaning + all_points <= FEW
    all_points += (leaning - thin_points).clip(0)
    # A facet that is thin both ways here and there, as at a corner, is no side of a bar.
    mostly = thin_points >= MOSTLY * all_points
    # Nor do few points on a side of a hole with slanting lips: beyond the near lip nothing is
    # across from the far one.
    beyond = np.bincount(owner[~good], minlength=len(facets))
    at_lip = (thin_points > 0) & (beyond > 0) & (thin_points + beyond == all_points)
    unsure = facets[few & ~mostly & ((leaning > 0) | at_lip)]
    rows = rows[mostly[owner[rows]]]
    # Of few points on a facet of a triangle most may lie in its corners.
    area = surface.areas[facets][owner] / np.maximum(thin_points, 1)[owner]
    felt = Felt(
        point[rows],
        contact[rows],
        facet[rows],
        across[rows],
        distance[rows],
        area[rows],
        way[rows],
        narrow[rows],
        wide[rows],
    )
    return felt, whole, unsure


def _felt_from(
    surface: SpanSurface,
    inward: Floats,
    place: tuple[Floats, Ints],
    near: tuple[Floats, Floats],
    owner: Ints,
    reach: float,
) -> tuple[Ints, Floats, Floats, Floats, Floats, Floats, Floats]:
    """What lies across from points, and how wide it is there, on two cores.

    Returns
    -------
    across, distance, facing : see `_across`
    contact : (k, 3) mm, straight across
    width : (k,) mm, the shortest chord square to that, inf where it is not thin; way : (k, 3)
    wide : (k,) mm, the width that those beside it are compared with
    """
    point, facet = place
    count = len(point)
    across = np.empty(count, dtype=np.int64)
    distance, facing, width, wide = (np.empty(count) for _ in range(4))
    contact, way = np.empty((count, 3)), np.empty((count, 3))

    def feel(start: int) -> None:
        rows = slice(start, start + POINTS_AT_ONCE)
        of = owner[rows]
        some = (point[rows], facet[rows]), (near[0].take(of, 0), near[1][of])
        felt = _felt_from_some(surface, inward, *some, reach)
        across[rows], distance[rows], facing[rows], contact[rows] = felt[:4]
        width[rows], way[rows], wide[rows] = felt[4:]

    side_by_side(feel, range(0, count, POINTS_AT_ONCE), before=lambda: surface.scene)
    return across, distance, facing, contact, width, way, wide


def _felt_from_some(
    surface: SpanSurface,
    inward: Floats,
    place: tuple[Floats, Ints],
    near: tuple[Floats, Floats],
    reach: float,
) -> tuple[Ints, Floats, Floats, Floats, Floats, Floats, Floats]:
    point, facet = place
    # Across the broader way of a flat bar, too: its sides all round give the axis.
    broad = ROD_RATIO * reach
    across, distance, facing = _across(surface, inward, point, facet, broad)
    good = across >= 0
    contact = point + inward.take(facet, 0) * np.where(good, distance, 0.0)[:, None]
    width, way = np.full(len(point), np.inf), np.zeros((len(point), 3))
    along, wide = near
    rows = np.flatnonzero(good & (wide > 0))
    width[rows], way[rows] = _chord_beside(surface, point[rows], contact[rows], along[rows])
    # What is as wide as the bar near it needs one chord: a wider one may run askew.
    like = good & _is_thin(width, distance, reach) & (np.abs(width - wide) <= ALIKE * wide)
    rows = np.flatnonzero(good & ~like)
    width[rows] = np.inf
    rows = rows[_may_be_thin(surface, point[rows], contact[rows])]
    width[rows], way[rows] = _chords(surface, point[rows], contact[rows])
    wide[rows] = width[rows]
    return across, distance, facing, contact, width, way, wide


def _is_thin(width: Floats, distance: Floats, reach: float) -> Bools:
    """Is a place, so far across and so wide square to that, thin both ways?"""
    thin: Bools = (width <= ROD_RATIO * distance) & (np.minimum(width, distance) <= reach)
    return thin & (distance <= END_RATIO * width)


def _across(
    surface: SpanSurface, inward: Floats, point: Floats, facet: Ints, reach: float
) -> tuple[Ints, Floats, Floats]:
    """What is met straight across: facet or -1, how far, and cosine to its outer side."""
    ways = inward[facet]
    across = surface.scene.first_facet(point, ways, reach)
    distance = surface.scene.distance(point, ways, across)
    facing = np.where(across >= 0, -dot(ways, inward[across]), 0.0)
    lost = (facing < LEANS_COS) | (distance > reach) | (distance <= 0)
    across[lost] = -1
    return across, distance, facing


def _may_be_thin(surface: SpanSurface, points: Floats, contacts: Floats) -> Bools:
    """Is one of four chords square to each contact short enough? Most of a wall ends here.

    Of ways 45 degrees apart one is at most 22.5 off the shortest: 1.08 times as long.
    """
    _, one, two, thick = _frame(points, contacts)
    middle, reach = (points + contacts) / 2, AT_MOST_OFF * ROD_RATIO * thick
    thin = np.zeros(len(points), dtype=bool)
    for turn in np.arange(4) * np.pi / 4:
        way = one * np.cos(turn) + two * np.sin(turn)
        rows = np.flatnonzero(~thin)
        for sense in (way, -way):
            facet = surface.scene.first_facet(middle[rows], sense[rows], reach[rows])
            rows = rows[facet >= 0]
        thin[rows] = True
    return thin


def _chord_beside(
    surface: SpanSurface, points: Floats, contacts: Floats, along: Floats
) -> tuple[Floats, Floats]:
    """The chord (k,) square to each contact and to the way a bar runs near it, and that way (k, 3).

    No shorter than the shortest: where it is short enough the place is thin. One chord for eight.
    """
    across, _, _, thick = _frame(points, contacts)
    sideways = cross_product(across, along)
    sine = np.linalg.norm(sideways, axis=1)
    sideways /= np.maximum(sine, 1e-300)[:, None]
    way = cross_product(sideways, across)
    middle, reach = (points + contacts) / 2, ROD_RATIO * thick
    turn = np.zeros(1)
    length = chords(surface.scene, middle, sideways, way, turn, reach)[:, 0]
    return np.where(sine >= ALONG_SINE, length, np.inf), way


def _frame(points: Floats, contacts: Floats) -> tuple[Floats, Floats, Floats, Floats]:
    """Unit vectors along each contact and square to it, two of them, and its length."""
    step = contacts - points
    thick = np.linalg.norm(step, axis=1)
    across = step / np.maximum(thick, 1e-300)[:, None]
    return across, *square_to(across), thick


def _chords(surface: SpanSurface, points: Floats, contacts: Floats) -> tuple[Floats, Floats]:
    """Shortest chord (k,) square to each contact, and the way (k, 3) of the longest."""
    _, one, two, thick = _frame(points, contacts)
    middle, reach = (points + contacts) / 2, CHORD_REACH * thick
    turns = np.arange(DIRECTIONS) * np.pi / DIRECTIONS
    length = chords(surface.scene, middle, one, two, turns, reach, reach)
    best = turns[length.argmax(axis=1)]
    return length.min(axis=1), one * np.cos(best)[:, None] + two * np.sin(best)[:, None]
