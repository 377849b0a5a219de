"""How wide is the narrowest place of a way, exactly?

A way found on a grid is pulled to the middle of the passage: each of its points moves in the plane
across the way to where the distance to the facets is largest. What follows is bounded from both
sides:

- *from below*: balls about neighbouring points touch no facet, so a ball as large as the circle in
  which two of them meet slides from one to the other;
- *from above*: a plane section that the material closes all around lets no ball pass that is larger
  than the largest one that has its centre in it, and that is found by branch and bound, for the
  distance changes no faster than the place.

Lengths in mm, widths are diameters. Guarded by tests/geometry/test_throats.py.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from lint3d.geometry.throats_clearance import Clearance
from lint3d.geometry.throats_length import BEND_FACTOR, NECK_FACTOR, NeckLengths, neck_lengths
from lint3d.geometry.throats_route import Route, across, tolerance_of, unit
from lint3d.geometry.throats_section import Section, largest_in_section, wall_axis

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

#: Narrow places looked at one after the other before the wider answer is given.
_PLACES = 4
#: Side branches that a way runs into and back, at most.
_FOLDS = 4
#: A ball of a section is larger than those on the way if it is so by this share.
_WIDER = 0.02
#: Tilts of a cut that are tried, degrees.
_TILTS = (0.0, 5.0, -5.0, 10.0, -10.0, 16.0, -16.0, 23.0, -23.0, 31.0, -31.0)


@dataclass(frozen=True, eq=False)
class Way:
    """A line through the free space with the clearance around it."""

    point: Floats
    """(n, 3) mm"""
    width: Floats
    """(n,) mm, diameter of the largest ball about each point"""


@dataclass(frozen=True, eq=False)
class Throat:
    """The narrowest place of a way."""

    diameter: float
    """mm, the largest ball that was seen to pass; where it was only glimpsed, the best guess"""
    lower: float
    upper: float
    """mm, the largest ball that passes lies between the two"""
    position: Floats
    """(3,) mm, the middle of where the way is as narrow as this"""
    direction: Floats
    """(3,) unit vector along the way, in its sense"""
    lengths: NeckLengths
    way: Way
    face: int
    """a facet nearest to the throat"""

    @property
    def length(self) -> float:
        """mm, how far the way runs at no more than about this width"""
        return self.lengths.bounds[1]

    @property
    def length_lower(self) -> float:
        """mm, it surely runs so far"""
        return self.lengths.bounds[0]

    @property
    def length_upper(self) -> float:
        """mm, it surely runs no farther"""
        return self.lengths.bounds[2]

    def reversed(self) -> Throat:
        """The same throat, seen from the other end of the way."""
        way = Way(self.way.point[::-1], self.way.width[::-1])
        return replace(self, direction=-self.direction, way=way)


def narrowest(
    clearance: Clearance,
    path: Floats,
    pitch: float,
    upper: float = np.inf,
    opening: int | None = None,
) -> Throat:
    """Find the narrowest place of the passage that a path runs through.

    Parameters
    ----------
    clearance : of every facet that may be near
    path : (n, 3) mm, in the free space; no straight piece of it crosses the surface
    pitch : mm, how far the path may be off the middle
    upper : mm, diameter that is known to be too large (from the grid)
    opening : row of the path where it passes what is to be measured; side branches that it runs
        into and back beside that are left out; none are by default

    Returns
    -------
    Throat : `lower` and `upper` bound the largest ball that passes
    """
    path = np.asarray(path, np.float64)
    route = Route(clearance, path, pitch)
    best: Section | None = None
    for _ in range(_PLACES):
        route.settle()
        for _ in range(_FOLDS if opening is not None else 0):
            if not route.unfold(path[opening]):
                break
            route.settle()
        plain = _closing_section(clearance, route)
        best = _better(best, plain)
        # Where the section shows a larger ball the way moves there, before others are tried.
        shows_more = plain is not None and plain.found > (1 + _WIDER) * route.radius.min()
        if plain is not None and shows_more and _goes_through(clearance, route, plain):
            continue
        if not _is_tight(route, best):
            best = _better(best, _closing_section(clearance, route, tilted=True))
        if best is None or _is_tight(route, best) or not _goes_through(clearance, route, best):
            break
    route.leave_mouths(NECK_FACTOR, BEND_FACTOR)
    return _throat(clearance, route, best, upper / 2)


def glimpsed(clearance: Clearance, path: Floats, pitch: float, upper: float) -> Throat:
    """The narrowest place of a path that is pulled to the middle only roughly.

    Takes a tenth of the time of `narrowest`; the bounds stay as wide as the grid's.
    """
    return _throat(
        clearance,
        Route(clearance, np.asarray(path, np.float64), pitch, is_rough=True),
        None,
        upper / 2,
    )


def _better(one: Section | None, two: Section | None) -> Section | None:
    """The section that bounds more closely."""
    if one is None or two is None:
        return one or two
    return one if one.radius <= two.radius else two


def _is_tight(route: Route, section: Section | None) -> bool:
    """Does a section bound the way as closely as is asked for?"""
    if section is None:
        return False
    return section.radius <= route.lower() + 2 * tolerance_of(section.radius)


def _goes_through(clearance: Clearance, route: Route, section: Section) -> bool:
    """Was the way led through the largest ball of a section, and is it wider for that?"""
    row = int(np.argmin(route.radius))
    axis = wall_axis(clearance, clearance.corners, section.point, route.tangent(row), section.found)
    return route.reroute(row, section.point, axis)


def _closing_section(clearance: Clearance, route: Route, tilted: bool = False) -> Section | None:
    """The best plane section through the narrow part of a way that the material closes around."""
    found = None
    for row in _section_rows(route):
        radius = float(route.radius[row])
        plain, slanting = _normals(clearance, route, row)
        for normal in slanting if tilted else plain:
            section = largest_in_section(
                clearance, route.point[row], normal, radius, tolerance_of(radius) / 2
            )
            found = _better(found, section)
            if found is not None and found.radius <= radius + tolerance_of(radius):
                return found
    return found


def _section_rows(route: Route) -> list[int]:
    """Where to cut: the narrowest point, and the middle of what is as narrow.

    At the mouth of a neck a plane easily gets out of it; in the middle it does not.
    """
    row, middle = int(np.argmin(route.radius)), _middle_row(route)
    return [row] if middle == row else [middle, row]


def _middle_row(route: Route) -> int:
    """The middle of the longest stretch that is as narrow as the narrowest point.

    In a duct of constant width rounding decides which point is the narrowest; its middle is the
    same in any frame.
    """
    limit = float(route.radius.min())
    same = np.concatenate([[False], route.radius < limit + 2 * tolerance_of(limit), [False]])
    ends = np.flatnonzero(np.diff(same.astype(np.int8)))
    firsts, lasts = ends[::2], ends[1::2] - 1
    longest = int(np.argmax(route.at[lasts] - route.at[firsts]))
    first, last = int(firsts[longest]), int(lasts[longest])
    along = (route.at[first] + route.at[last]) / 2
    return first + int(np.argmin(np.abs(route.at[first : last + 1] - along)))


def _normals(clearance: Clearance, route: Route, row: int) -> tuple[list[Floats], list[Floats]]:
    """Directions in which the passage may run at a point of the way, and others tilted about one.

    Where it is narrowest, the facets that are touched lie across it: their spread tells its
    direction better than the way itself; where they leave it open, the way decides.
    """
    tangent = route.tangent(row)
    centre, radius = route.point[row], float(route.radius[row])
    spread = _around(tangent, 24) * radius * 0.2
    _, _, place = clearance.nearest(centre + spread)
    towards = place - centre
    length = np.linalg.norm(towards, axis=1)
    near = length < 1.25 * radius
    touching = towards[near] / length[near, None]
    moment = touching.T @ touching / max(len(touching), 1) - 0.05 * np.outer(tangent, tangent)
    contact = np.linalg.eigh(moment)[1][:, 0]
    contact = contact * np.sign(contact @ tangent or 1.0)
    walls = wall_axis(clearance, clearance.corners, centre, tangent, radius)
    walls = wall_axis(clearance, clearance.corners, centre, walls, radius)
    # A slit is touched on two sides only. About the line between them the cut may be tilted, and
    # it must not get out at the slit's ends.
    touch = np.linalg.eigh(touching.T @ touching)[1][:, 2] if len(touching) else tangent
    level = unit(tangent - (tangent @ touch) * touch)
    side = np.cross(touch, level)
    angles = np.radians(_TILTS)
    tilted = np.cos(angles)[:, None] * level + np.sin(angles)[:, None] * side
    return [tangent, walls, contact], list(tilted)


def _throat(clearance: Clearance, route: Route, section: Section | None, upper: float) -> Throat:
    row, middle = int(np.argmin(route.radius)), _middle_row(route)
    lower = route.lower()
    radius = float(route.radius[row])
    if section is not None:
        # Straightening costs a little width; the section knows the full one.
        upper = min(section.radius, upper)
        radius = max(radius, min(section.found, radius + tolerance_of(radius)))
    upper = max(upper, radius)
    point, radii = route.point, route.radius
    return Throat(
        diameter=2 * radius,
        lower=2 * lower,
        upper=2 * upper,
        position=route.point[middle],
        direction=route.tangent(middle),
        lengths=NeckLengths(lambda: neck_lengths(clearance, point, radii, row, radius)),
        way=Way(route.point, 2 * route.radius),
        face=int(clearance.nearest(route.point[middle : middle + 1])[1][0]),
    )


def _around(normal: Floats, count: int) -> Floats:
    one, two = across(normal)
    angle = 2 * np.pi * np.arange(count) / count
    ring: Floats = np.cos(angle)[:, None] * one + np.sin(angle)[:, None] * two
    return ring
