"""Which way leads through a neck, if places about it are known, and what bounds it?

The space about the places is cut into finer and finer cells until the way found there is bounded
closely, or finer ones gain nothing. Where a border tells that a larger ball gets across elsewhere,
the way is looked for there. Lengths in mm. Guarded by tests/geometry/test_voids_narrow.py and
tests/geometry/test_voids_led.py.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from lint3d.geometry.throats import Throat, narrowest
from lint3d.geometry.throats_clearance import Clearance
from lint3d.geometry.voids_border import TRIED, Across, Border, widest_over
from lint3d.geometry.voids_cells import ways_through_cells
from lint3d.geometry.voids_openings import (
    FAR_FROM_LIMIT,
    GRID_DOUBT,
    Contact,
    is_close,
    way_from_top,
)
from lint3d.geometry.voids_space import Space

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

#: A throat is followed well if its bounds are no farther apart than this.
GOOD_SHARE = 0.9
#: How many cells wide its passing ball is: more of them until it is followed well.
_CELLS_ACROSS = (3.0, 6.0, 12.0)
#: Finer cells that let hardly a larger ball pass than the last ones are the end of it.
_GAINS = 1.01
#: How far from the wall a way goes over to finer cells, voxels: more than its half diagonal.
_OFF_THE_WALL = 0.4
#: How often a wider way is looked for, and what it must gain.
_MOST_TRIES, _WIDER = 5, 1.002
#: How far off the middle of a gap places across it may be, voxels.
_OFF_MIDDLE = 0.25
#: An opening hangs together where balls of this share of its size may pass.
_ALL_OF = 0.1


def led_about(
    space: Space, clearance: Clearance, ends: tuple[int, int], places: Floats
) -> tuple[Contact, Throat, float] | None:
    """The widest way found through the space about some places.

    Parameters
    ----------
    ends : flat numbers of free points of the grid on both sides, near the places
    places : (n, 3) mm, in the neck or on its walls, about a voxel apart

    Returns
    -------
    where it leads, its throat, and the size of the finest cells that it was found in, mm
    """
    contact = contact_between(space, *ends)
    halves = [
        _off_the_wall(way_from_top(space, clearance, chamber, point), clearance, space.grid.pitch)
        for chamber, point in zip(contact.chambers, contact.step, strict=True)
    ]
    if not all(len(half) for half in halves):
        return None
    pitch = space.grid.pitch
    stops = halves[0][-1], halves[1][-1]
    best: tuple[Contact, Throat, float] | None = None
    for middle, finer in ways_through_cells(clearance, places, stops, pitch, _CELLS_ACROSS):
        path = np.vstack([halves[0], middle, halves[1][::-1]])
        throat = narrowest(clearance, path, finer, GRID_DOUBT * pitch)
        gains = best is None or throat.lower > _GAINS * best[1].lower
        if best is None or throat.lower > best[1].lower:
            best = contact, throat, finer
        if best[1].lower > GOOD_SHARE * best[1].upper or not gains:
            break
    return best


def _off_the_wall(way: Floats, clearance: Clearance, pitch: float) -> Floats:
    """A way without its last points that lie too near to the wall to go on from."""
    if len(way) == 0:
        return way
    free = np.flatnonzero(clearance.at(way) > _OFF_THE_WALL * pitch)
    return way[: free[-1] + 1] if len(free) else way


def contact_between(space: Space, start: int, goal: int) -> Contact:
    """An opening that the grid does not show, between two of its points."""
    label = space.basins.label.reshape(-1)
    one, two = (int(space.chambers.of_basin[label[end]]) for end in (start, goal))
    return Contact((one, two), (start, goal), 0.0)


def squeezed(
    border: Border,
    sides: tuple[Ints, Ints],
    opening: tuple[Contact, Throat],
    limits: tuple[float, ...] = (),
) -> tuple[Contact, Throat]:
    """An opening bounded by what the border tells, along a wider way through it if there is one.

    Parameters
    ----------
    sides : chambers on both sides, in the order of the opening
    limits : mm, near which the bounds are to be close
    """
    contact, throat = opening
    low = begin = throat.diameter
    for _ in range(_MOST_TRIES):
        is_near = any(abs(limit - throat.diameter) < FAR_FROM_LIMIT for limit in limits)
        bound, failed, across = widest_over(border, begin, throat.upper, is_near)
        throat = replace(throat, upper=max(min(throat.upper, bound), throat.diameter))
        if is_close(throat, limits) or (across is None and bound == np.inf):
            break
        if across is not None:
            at = border.openings(_ALL_OF * throat.lower)
            if not at.at(throat.way.point) & at.at(across.places):
                # Another opening, which is told by itself.
                break
            if not np.array_equal(border.first, sides[0]):
                across = across.reversed()
            found = _led_along(border, across)
            if found is not None and found[1].lower > _WIDER * throat.lower:
                upper = max(throat.upper, found[1].diameter)
                contact, throat = found[0], replace(found[1], upper=upper)
                low = begin = throat.diameter
                continue
            low = failed
        if throat.upper - low < 2 * TRIED[0] * low:
            break
        # Farther up fewer ways are left, and the widest is among them.
        begin = (low + throat.upper) / 2 / (1 + TRIED[0])
    return contact, throat


def _led_along(border: Border, across: Across) -> tuple[Contact, Throat] | None:
    """The way along places across a border, and on to the middles of both sides.

    Where walls stand between the places its throat is nothing.
    """
    space, clearance = border.space, border.clearance
    contact = contact_between(space, *across.ends)
    halves = [
        way_from_top(space, clearance, chamber, point)
        for chamber, point in zip(contact.chambers, contact.step, strict=True)
    ]
    if not all(len(half) for half in halves):
        return None
    path = np.vstack([halves[0], across.places, halves[1][::-1]])
    pitch = space.grid.pitch
    return contact, narrowest(clearance, path, _OFF_MIDDLE * pitch, GRID_DOUBT * pitch)
