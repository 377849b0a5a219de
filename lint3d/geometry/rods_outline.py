"""What is the largest circle in a section whose outline has corners that point inward?

The planes of the sides of a star, a keyed bore or a cross cut far into the circle that fits: it
rests on the inward corners, not on the planes beyond them. From the circle within the planes the
middle climbs, by linear programmes over the nearest points of the sides, as far as it can. What is
found counts only where there is a side all round: where one is missing the circle would come out.
Lengths in mm. Tested by tests/geometry/test_rods_outline.py. The method was made for this project;
no source.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lint3d.geometry.ray_fans import fan
from lint3d.geometry.rods_polygon import WITHIN, circles_before, nearest_on_sides
from lint3d.geometry.spans_surface import SpanSurface

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

ROOMIER = 1.01  # times as large as within the planes: else it is that one
CLIMBS_MOST = 24
STEPS = (1.0, 0.5, 0.25, 0.1)  # of the way to the circle of a programme
GAIN = 1e-5  # of the radius: a smaller one is none
RESTS = 1e-3  # of the radius: so far within the circle a side may be
ROUND = 24  # rays from its middle


@dataclass(frozen=True, eq=False)
class Outlines:
    """Sides of sections.

    Attributes
    ----------
    ends : (s, 2, 2) float64, mm
    section : (s,) int64
    """

    ends: Floats
    section: Ints

    def of(self, some: Bools) -> Outlines:
        """The sides of some sections."""
        rows = some[self.section]
        return Outlines(self.ends[rows], self.section[rows])

    def room(self, middle: Floats) -> Floats:
        """How far each section's nearest side is from a point."""
        least = np.full(len(middle), np.inf)
        np.minimum.at(least, self.section, nearest_on_sides(self.ends, middle[self.section])[1])
        return least


def roomiest(outlines: Outlines, radius: Floats, middle: Floats) -> tuple[Floats, Floats, Bools]:
    """Circles again, within the sides where the planes of the sides leave less room.

    Parameters
    ----------
    radius, middle : (c,) and (c, 2) float64, mm, within the planes of the sides

    Returns
    -------
    radius, middle : of the larger circle, or as given
    larger : (c,) bool
    """
    known = np.isfinite(radius) & (radius > 0)
    outlines = outlines.of(known)
    room = outlines.room(middle)
    # Most sections bulge all round: their circle rests on the planes and cannot be wider.
    live = known & np.isfinite(room) & (room > ROOMIER * radius)
    larger, where = live.copy(), np.array(middle)
    for _ in range(CLIMBS_MOST):
        if not live.any():
            break
        sides = outlines.of(live)
        aim = circles_before(sides.ends, sides.section, room, where)[1]
        live &= np.isfinite(aim).all(axis=1)
        sides = sides.of(live)
        best, best_room = where.copy(), np.where(live, room, np.inf)
        for share in STEPS:
            place = where + share * (aim - where)
            there = sides.room(place)
            gained = live & (there > best_room)
            best[gained], best_room[gained] = place[gained], there[gained]
        live &= best_room > (1 + GAIN) * room
        where[live], room[live] = best[live], best_room[live]
    larger &= room > ROOMIER * radius
    radius, middle = np.array(radius), np.array(middle)
    radius[larger], middle[larger] = room[larger], where[larger]
    return radius, middle, larger


def are_closed(
    surface: SpanSurface,
    inward: Floats,
    centre: Floats,
    across: tuple[Floats, Floats],
    radius: Floats,
) -> Bools:
    """(k,) is there a side all round each circle, near it and not within it?

    Parameters
    ----------
    inward : (m, 3) float64, unit normals of all facets into the space looked at
    centre : (k, 3) float64, mm
    across : (k, 3) and (k, 3) float64, unit, in the plane of the circle, square to each other
    radius : (k,) float64, mm
    """
    turns = (np.arange(ROUND) + 0.5) * 2 * np.pi / ROUND
    facet = fan(surface.scene, centre, *across, turns, WITHIN * radius)
    closed: Bools = np.asarray((facet >= 0).all(axis=1))
    for turn, met in zip(turns, facet.T, strict=True):
        way = across[0] * np.cos(turn) + across[1] * np.sin(turn)
        closed &= (way * inward[met]).sum(axis=1) < 0
        closed &= surface.scene.distance(centre, way, met) >= (1 - RESTS) * radius
    return closed
