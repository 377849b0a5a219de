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
from lint3d.geometry.spans_pairs import dot
from lint3d.geometry.spans_regions import ROD_RATIO
from lint3d.geometry.spans_surface import SpanSurface
from lint3d.geometry.vectors import square_to

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

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
        self.parts: list[Felt] = []

    def is_thin(self, facets: Ints) -> Bools:
        """(k,) are facets sides of bars: thin both ways at most of their points?"""
        step = self.reach
        felt, self.whole[facets], unsure = _felt_at(
            self.surface, self.inward, facets, self.reach, step
        )
        self.parts.append(felt)
        # Few points on a side of a triangle may all lie in its corners: more of them tell.
        closer, self.whole[unsure], _ = _felt_at(
            self.surface, self.inward, unsure, self.reach, step / CLOSER
        )
        self.parts.append(closer)
        return np.isin(facets, np.concatenate([felt.facet, closer.facet]))

    def felt(self) -> Felt:
        """All points thin both ways, by their facets."""
        names = Felt.__dataclass_fields__
        every = Felt(*(np.concatenate([getattr(one, n) for one in self.parts]) for n in names))
        return every.take(np.argsort(every.facet, kind="stable"))


def _felt_at(
    surface: SpanSurface, inward: Floats, facets: Ints, reach: float, step: float
) -> tuple[Felt, Bools, Ints]:
    """Points about `step` apart on some facets that are thin both ways.

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
    # Across the broader way of a flat bar, too: its sides all round give the axis.
    broad = ROD_RATIO * reach
    across, distance, facing = _across(surface, inward, point, facet, broad)
    good = across >= 0
    contact = point + inward[facet] * np.where(good, distance, 0.0)[:, None]
    rows = np.flatnonzero(good)
    rows = rows[_may_be_thin(surface, point[rows], contact[rows])]
    width, way = _chords(surface, point[rows], contact[rows])
    narrow = np.minimum(width, distance[rows])
    is_thin = np.zeros(len(point), dtype=bool)
    is_thin[rows] = (width <= ROD_RATIO * distance[rows]) & (narrow <= reach)
    is_thin[rows] &= distance[rows] <= END_RATIO * width
    # In the corners of a triangle a bar is flat; that is nothing against it.
    counts = is_thin | ~good | (facing >= SQUARE_COS)
    way, narrow = way[is_thin[rows]], narrow[is_thin[rows]]
    rows = rows[is_thin[rows]]
    all_points = np.bincount(owner[counts], minlength=len(facets))
    thin_points = np.bincount(owner[rows], minlength=len(facets))
    whole = (all_points > 0) & (thin_points == all_points)
    leaning = np.bincount(owner[~counts], minlength=len(facets))
    few = leaning + all_points <= FEW
    all_points += (leaning - thin_points).clip(0)
    # A facet that is thin both ways here and there, as at a corner, is no side of a bar.
    mostly = thin_points >= MOSTLY * all_points
    unsure = facets[few & ~mostly & (leaning > 0)]
    is_kept = mostly[owner[rows]]
    rows, way, narrow = rows[is_kept], way[is_kept], narrow[is_kept]
    # Of few points on a facet of a triangle most may lie in its corners.
    area = surface.areas[facets][owner] / np.maximum(thin_points, 1)[owner]
    felt = Felt(
        point[rows],
        contact[rows],
        facet[rows],
        across[rows],
        distance[rows],
        area[rows],
        way,
        narrow,
    )
    return felt, whole, unsure


def _across(
    surface: SpanSurface, inward: Floats, point: Floats, facet: Ints, reach: float
) -> tuple[Ints, Floats, Floats]:
    """What is met straight across: facet or -1, how far, and cosine to its outer side."""
    ways = inward[facet]
    across = surface.scene.first_facet(point, ways, np.full(len(point), reach))
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
