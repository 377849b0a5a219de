"""What is the largest circle in a section across a bar of flat sides?

A section of a bar is taken as the polygon that its sides' planes enclose; the circle in it then
comes to rest between the sides themselves, for rounding tilts the planes of small facets. Lengths
in mm. Tested by tests/geometry/test_rods_circle.py and tests/geometry/test_rods.py.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lint3d.geometry.rods_outline import Outlines, are_closed, roomiest
from lint3d.geometry.rods_polygon import LIKE, WITHIN, largest_circles, lines_cut, nearest_held
from lint3d.geometry.rods_sides import with_sides_beside
from lint3d.geometry.spans_surface import SpanSurface
from lint3d.geometry.vectors import square_to

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

STATIONS = 5  # sections along each bar, at ends and between
NEAR_END = 1e-3  # sections at the ends stand this share of the length inside
TAPERED = 5e-3  # sides that lean more on average are no rounding
STEADY = 300.0  # steps of the coordinates: a facet that high is tilted by at most 0.2 degrees


def narrowest_circles(
    surface: SpanSurface, inward: Floats, facet: Ints, bar: Ints, axis: Floats
) -> tuple[list[tuple[float, float, float, float]], Floats, Bools]:
    """Diameter of the largest circle in the narrowest section of each bar, and its middle.

    Where a bar tapers that is its very end; a ball that touches its sides there is a little larger.

    Parameters
    ----------
    inward : (m, 3) float64, unit normals of all facets into the space looked at
    facet, bar : (f,) int64, sides of bars
    axis : (b, 3) float64, unit

    Returns
    -------
    list of (diameter, sagitta, below, above) mm : inf where the sides do not close; sagitta is how
    far a circle through the corners would lie outside the flats, both sides together; below and
    above is by how much it may be less and more at the very end
    (b, 3) float64, mm : the middle of the circle; NaN where the sides do not close
    (b,) bool : does it rest on inward corners, with a side seen all round?
    """
    count = len(axis)
    if not count:
        return [], np.zeros((0, 3)), np.zeros(0, dtype=bool)
    one, two = square_to(axis)
    cut = _in_sections(surface, inward, facet, bar, axis, (one, two))
    again = np.flatnonzero(cut.refused)
    if len(again):
        some = cut.refused[bar]
        more, owner = with_sides_beside(surface, facet[some], bar[some], axis, WITHIN)
        owner = np.searchsorted(again, owner)
        other = _in_sections(surface, inward, more, owner, axis[again], (one[again], two[again]))
        cut.put(again[~other.refused], other, ~other.refused)
    # The sides of a mouth cut aslant do not close the section: those are no sections of the bar.
    best = np.where(np.isfinite(cut.radius), cut.radius, np.inf).argmin(axis=1)
    rows = np.arange(count)
    narrow, flats = cut.radius[rows, best], cut.sides[rows, best]
    closed = np.isfinite(narrow)
    sagitta = sagitta_of(2 * narrow, flats)
    level = cut.middle[rows, best]
    level[~closed] = np.nan
    centre = one * level[:, :1] + two * level[:, 1:] + axis * cut.station[rows, best][:, None]
    # The ball is a little larger than the section; and where the axis leans a little, too, the end
    # is nearer than was thought.
    lean = cut.lean[rows, best]
    ball = (np.where(closed, narrow, 0.0) + lean * cut.inside) * np.hypot(1.0, lean)
    above = np.where(closed, ball - narrow, 0.0)
    told = (2 * narrow, sagitta, 2 * cut.doubt[rows, best], 2 * above)
    return list(zip(*(one.tolist() for one in told), strict=True)), centre, cut.wider[rows, best]


@dataclass(frozen=True, eq=False)
class _Sections:
    """Sections along bars, with the largest circle in each, and how the bars taper at their ends.

    Attributes
    ----------
    station, radius, sides : (b, STATIONS), mm along the axis, mm and how many unlike sides
    middle : (b, STATIONS, 2) float64, mm
    wider : (b, STATIONS) bool, does the circle rest on inward corners?
    refused : (b,) bool, is there more room than within the planes, but not a side all round?
    inside : (b,) mm, how far from the very ends the sections there stand
    lean : (b, STATIONS), how much less the radius gets a mm of the way there; 0 if no less
    doubt : (b, STATIONS) mm, by how much it may be less where they hardly taper
    """

    station: Floats
    radius: Floats
    sides: Ints
    middle: Floats
    wider: Bools
    refused: Bools
    inside: Floats
    lean: Floats
    doubt: Floats

    def put(self, rows: Ints, other: _Sections, some: Bools) -> None:
        """Set some bars as some are in another."""
        for name in self.__dataclass_fields__:
            getattr(self, name)[rows] = getattr(other, name)[some]


def _in_sections(
    surface: SpanSurface,
    inward: Floats,
    facet: Ints,
    bar: Ints,
    axis: Floats,
    across: tuple[Floats, Floats],
) -> _Sections:
    """Sections along each bar; those near the ends are told for the very ends.

    Parameters
    ----------
    across : (b, 3) and (b, 3) float64, unit, square to the axis and to each other
    """
    count = len(axis)
    height = np.einsum("fcj,fj->fc", surface.corners[facet], axis[bar])
    low, high = np.full(count, np.inf), np.full(count, -np.inf)
    np.minimum.at(low, bar, height.min(axis=1))
    np.maximum.at(high, bar, height.max(axis=1))
    share = np.linspace(NEAR_END, 1 - NEAR_END, STATIONS)
    station = low[:, None] + (high - low)[:, None] * share
    hit = (height.min(axis=1)[:, None] <= station[bar]) & (
        height.max(axis=1)[:, None] >= station[bar]
    )
    side, where = np.nonzero(hit)
    normal = -inward[facet[side]]
    flat = _flattened(normal, across, bar[side])
    length = np.linalg.norm(flat, axis=1)
    keep = length > 0.5
    side, where, normal, flat = side[keep], where[keep], normal[keep], flat[keep]
    mine, owner = facet[side], bar[side]
    level, section = station[owner, where], owner * STATIONS + where
    offset = np.einsum("ij,ij->i", normal, surface.corners[mine, 0])
    offset -= np.einsum("ij,ij->i", normal, axis[owner]) * level
    flat, offset = flat / length[keep, None], offset / length[keep]
    radius, sides, middle = _within_steady(surface, mine, flat, offset, section, count * STATIONS)
    tilt = np.einsum("ij,ij->i", normal, axis[owner]) / length[keep]
    inside = NEAR_END * (high - low).clip(0.0)  # of a bar without sides it is nothing
    lean, doubt = _at_ends(surface, mine, flat, offset, tilt, section, inside, radius)
    cut = lines_cut(surface.corners[mine], height[side] - level[:, None])
    flat_ends = np.stack([_flattened(cut[:, i], across, owner) for i in (0, 1)], axis=1)
    radius, middle, held = nearest_held(flat_ends, section, radius, middle)
    wider, refused = _widened(
        surface, inward, (axis, *across), station, Outlines(flat_ends, section), radius, middle
    )
    radius, held = radius.reshape(count, -1), (held | wider).reshape(count, -1)
    # Where some sides are missing all round only planes tell, less sharply: they count for less.
    sharp = np.where(held, radius, np.inf).min(axis=1)[:, None]
    radius[~held & (radius >= (1 - LIKE) * sharp)] = np.inf
    radius -= lean * inside[:, None]
    return _Sections(
        station,
        radius,
        sides.reshape(count, -1),
        middle.reshape(count, -1, 2),
        wider.reshape(count, -1),
        np.asarray(refused.reshape(count, -1).any(axis=1)),
        inside,
        lean,
        doubt,
    )


def _widened(
    surface: SpanSurface,
    inward: Floats,
    ways: tuple[Floats, Floats, Floats],
    station: Floats,
    outlines: Outlines,
    radius: Floats,
    middle: Floats,
) -> tuple[Bools, Bools]:
    """Widen, in place, the circles that planes of sides beyond inward corners cut.

    Parameters
    ----------
    ways : (b, 3) each, unit: the axes, and both ways across

    Returns
    -------
    (c,) bool and (c,) bool : which were widened, and which would be but for a side that is missing
    """
    roomier, moved, larger = roomiest(outlines, radius, middle)
    rows = np.flatnonzero(larger)
    bar = rows // STATIONS
    axis, one, two = (way[bar] for way in ways)
    centre = one * moved[rows, :1] + two * moved[rows, 1:] + axis * station.ravel()[rows, None]
    closed = are_closed(surface, inward, centre, (one, two), roomier[rows])
    refused = np.zeros(len(radius), dtype=bool)
    refused[rows], larger[rows] = ~closed, closed
    radius[larger], middle[larger] = roomier[larger], moved[larger]
    return larger, refused


def _at_ends(
    surface: SpanSurface,
    side: Ints,
    flat: Floats,
    offset: Floats,
    tilt: Floats,
    section: Ints,
    inside: Floats,
    radius: Floats,
) -> tuple[Floats, Floats]:
    """How the sections at the ends become less up to the very ends: `lean` and `doubt`.

    Parameters
    ----------
    tilt : (s,) how much a side comes nearer along the axis, mm a mm
    radius : (b * STATIONS,) mm
    """
    count = len(radius)
    station = np.arange(count) % STATIONS
    at_end = ((station == 0) | (station == STATIONS - 1)) & np.isfinite(radius)
    number = np.maximum(np.bincount(section, minlength=count), 1)
    tilted = np.where(at_end, np.bincount(section, np.abs(tilt), minlength=count) / number, 0.0)
    tapers = tilted > TAPERED
    far = np.repeat(inside, STATIONS)
    doubt = np.where(tapers, 0.0, 2 * tilted * far)
    lean = np.zeros(count)
    rows = np.flatnonzero(tapers[section])
    if len(rows):
        here = section[rows]
        moved = offset[rows] - tilt[rows] * np.where(station == 0, -far, far)[here]
        ended = _within_steady(surface, side[rows], flat[rows], moved, here, count)[0]
        some = tapers & np.isfinite(ended) & (far > 0)
        lean[some] = ((radius[some] - ended[some]) / far[some]).clip(0.0)
    return lean.reshape(-1, STATIONS), doubt.reshape(-1, STATIONS)


def _within_steady(
    surface: SpanSurface, side: Ints, flat: Floats, offset: Floats, section: Ints, count: int
) -> tuple[Floats, Ints, Floats]:
    """`largest_circles`, where they close the section, within sides that rounding hardly tilts.

    A bar that is cut very finely has no others.
    """
    steady = 2 * surface.areas[side] / surface.longest[side] >= STEADY * surface.resolution
    radius, sides, middle = largest_circles(flat[steady], offset[steady], section[steady], count)
    some = ~np.isfinite(radius)[section]
    every = largest_circles(flat[some], offset[some], section[some], count)
    closed = np.isfinite(every[0])
    for one, other in zip((radius, sides, middle), every, strict=True):
        one[closed] = other[closed]
    return radius, sides, middle


def _flattened(vectors: Floats, across: tuple[Floats, Floats], bar: Ints) -> Floats:
    """(k, 2) the parts of vectors (k, 3) along both ways across their bar."""
    return np.stack([np.einsum("ij,ij->i", vectors, way[bar]) for way in across], axis=1)


def sagitta_of(diameter: Floats, flats: Ints) -> Floats:
    """How far a circle through the corners lies outside the flats, both sides together, mm.

    0 for fewer than six flats: those are drawn as they are.
    """
    with np.errstate(invalid="ignore"):
        outside: Floats = np.where(
            flats >= 6, diameter * (1 / np.cos(np.pi / np.maximum(flats, 3)) - 1), 0
        )
    return outside


def circles_within(
    surface: SpanSurface, inward: Floats, side: Ints, place: Ints, axis: Floats, middle: Floats
) -> tuple[Floats, Ints, Floats]:
    """Largest circle within the planes of given sides, in one section each.

    Parameters
    ----------
    inward : (m, 3) float64, unit normals of all facets into the space looked at
    side, place : (s,) int64, facets, and the section each is a side of
    axis, middle : (k, 3) float64, unit and mm, square to each section and a point of it

    Returns
    -------
    diameter : (k,) float64, mm : inf where the sides do not close
    flats : (k,) int64, sides of unlike direction
    centre : (k, 3) float64, mm : NaN where the sides do not close
    """
    one, two = square_to(axis)
    normal = -inward[side]
    flat = np.stack([np.einsum("ij,ij->i", normal, way[place]) for way in (one, two)], axis=1)
    offset = np.einsum("ij,ij->i", normal, surface.corners[side, 0] - middle[place])
    length = np.linalg.norm(flat, axis=1)
    keep = length > 0.5
    flat, offset = flat[keep] / length[keep, None], offset[keep] / length[keep]
    radius, flats, level = _within_steady(surface, side[keep], flat, offset, place[keep], len(axis))
    level[~np.isfinite(radius)] = np.nan
    centre = middle + one * level[:, :1] + two * level[:, 1:]
    return 2 * radius, flats, centre
