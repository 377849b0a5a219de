"""How wide is the narrowest place of a way, exactly?

A way found on a grid is pulled to the middle of the passage: each of its points moves in the plane
across the way to where the distance to the facets is largest. What follows is bounded from both
sides:

- *from below*: balls about neighbouring points touch no facet, so a ball as large as the circle in
  which two of them meet slides from one to the other;
- *from above*: a plane section that the material closes all around lets no ball pass that is larger
  than the largest one that has its centre in it, and that is found by branch and bound, for the
  distance changes no faster than the place.

No step is longer than 0.7 of the distance to the facets, so no wall is ever jumped. Lengths in mm,
widths are diameters. Guarded by tests/geometry/test_throats.py.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from lint3d.geometry.throats_clearance import Clearance
from lint3d.geometry.throats_section import Section, largest_in_section, wall_axis

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

#: Share of the clearance that one step may be long.
SAFE_STEP = 0.7
#: How far apart the two bounds may be in the end, as a share of the width and in mm.
TOLERANCE_SHARE, TOLERANCE_MM = 0.003, 0.004
#: Directions tried around a point, turned by the golden angle from round to round so that no sharp
#: ridge hides between them.
_DIRECTIONS = 8
_GOLDEN = np.pi * (3.0 - np.sqrt(5.0))
_ROUNDS_FIRST, _ROUNDS_LAST = 8, 40
#: Steps end at this share of the tolerance.
_FINEST_SHARE = 0.05
#: How far a point may move off its path, voxels.
_LEASH = 3.0
#: Balls nearly overlap up to this times the sum of their radii.
_NEARLY = 1.8
#: Rounds of filling in points where the way is narrow.
_SETTLING = 40
#: Rounds in which zigzags are taken out.
_STRAIGHTENING = 24
#: Narrow places looked at one after the other before the wider answer is given.
_PLACES = 4
#: Tilts of a cut that are tried, degrees.
_TILTS = (0.0, 5.0, -5.0, 10.0, -10.0, 16.0, -16.0, 23.0, -23.0, 31.0, -31.0)
#: A neck is as long as the way runs below this times its throat; bounds of that statement.
NECK_FACTOR_LOW, NECK_FACTOR, NECK_FACTOR_HIGH = 1.01, 1.05, 1.2
#: A bend may be this much wider than the neck without ending it (a mitre of 90° reaches 1.17).
BEND_FACTOR = 1.5


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
    """mm, the largest ball that was seen to pass"""
    lower: float
    upper: float
    """mm, the largest ball that passes lies between the two"""
    position: Floats
    """(3,) mm"""
    direction: Floats
    """(3,) unit vector along the way, in its sense"""
    length: float
    """mm, how far the way runs at no more than about this width"""
    length_lower: float
    length_upper: float
    way: Way
    face: int
    """a facet nearest to the throat"""

    def reversed(self) -> Throat:
        """The same throat, seen from the other end of the way."""
        way = Way(self.way.point[::-1], self.way.width[::-1])
        return replace(self, direction=-self.direction, way=way)


def narrowest(clearance: Clearance, path: Floats, pitch: float, upper: float = np.inf) -> Throat:
    """Find the narrowest place of the passage that a path runs through.

    Parameters
    ----------
    clearance : of every facet that may be near
    path : (n, 3) mm, in the free space; no straight piece of it crosses the surface
    pitch : mm, how far the path may be off the middle
    upper : mm, diameter that is known to be too large (from the grid)

    Returns
    -------
    Throat : `lower` and `upper` bound the largest ball that passes
    """
    route = _Route(clearance, np.asarray(path, np.float64), pitch)
    best: Section | None = None
    for _ in range(_PLACES):
        route.settle()
        row = int(np.argmin(route.radius))
        best = _better(best, _closing_section(clearance, route))
        if best is None or best.radius <= route.lower() + 2 * _tolerance(best.radius):
            break
        if not route.reroute(row, best.point):
            break
    return _throat(clearance, route, best, upper / 2)


def _better(one: Section | None, two: Section | None) -> Section | None:
    """The section that bounds more closely."""
    if one is None or two is None:
        return one or two
    return one if one.radius <= two.radius else two


def _closing_section(clearance: Clearance, route: _Route) -> Section | None:
    """The best plane section through the narrow part of a way that the material closes around."""
    found = None
    for row in _section_rows(route):
        radius = float(route.radius[row])
        for normal in _normals(clearance, route, row):
            section = largest_in_section(
                clearance, route.point[row], normal, radius, _tolerance(radius) / 2
            )
            found = _better(found, section)
            if found is not None and found.radius <= radius + _tolerance(radius):
                return found
    return found


def _section_rows(route: _Route) -> list[int]:
    """Where to cut: the narrowest point, and the middle of what is as narrow.

    At the mouth of a neck a plane easily gets out of it; in the middle it does not.
    """
    row = int(np.argmin(route.radius))
    limit = float(route.radius[row])
    same = np.concatenate([[False], route.radius < limit + 2 * _tolerance(limit), [False]])
    ends = np.flatnonzero(np.diff(same.astype(np.int8)))
    firsts, lasts = ends[::2], ends[1::2] - 1
    longest = int(np.argmax(route.at[lasts] - route.at[firsts]))
    first, last = int(firsts[longest]), int(lasts[longest])
    along = (route.at[first] + route.at[last]) / 2
    middle = first + int(np.argmin(np.abs(route.at[first : last + 1] - along)))
    return [row] if middle == row else [middle, row]


def _normals(clearance: Clearance, route: _Route, row: int) -> list[Floats]:
    """Directions in which the passage may run at a point of the way.

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
    unit = towards[near] / length[near, None]
    moment = unit.T @ unit / max(len(unit), 1) - 0.05 * np.outer(tangent, tangent)
    contact = np.linalg.eigh(moment)[1][:, 0]
    contact = contact * np.sign(contact @ tangent or 1.0)
    walls = wall_axis(clearance, clearance.corners, centre, tangent, radius)
    walls = wall_axis(clearance, clearance.corners, centre, walls, radius)
    # A slit is touched on two sides only. About the line between them the cut may be tilted, and
    # it must not get out at the slit's ends.
    touch = np.linalg.eigh(unit.T @ unit)[1][:, 2] if len(unit) else tangent
    level = _unit(tangent - (tangent @ touch) * touch)
    side = np.cross(touch, level)
    angles = np.radians(_TILTS)
    tilted = np.cos(angles)[:, None] * level + np.sin(angles)[:, None] * side
    return [tangent, walls, contact, *tilted]


def _throat(clearance: Clearance, route: _Route, section: Section | None, upper: float) -> Throat:
    row = int(np.argmin(route.radius))
    lower = route.lower()
    radius = float(route.radius[row])
    if section is not None:
        # Straightening costs a little width; the section knows the full one.
        upper = min(section.radius, upper)
        radius = max(radius, min(section.found, radius + _tolerance(radius)))
    upper = max(upper, radius)
    # Past a sharp mouth the way widens as √(r² + s²): that much of each stretch is outside.
    shortest, length = (
        max(_neck_length(route, row, factor) - 2 * radius * np.sqrt(factor**2 - 1), 0.0)
        for factor in (NECK_FACTOR_LOW, NECK_FACTOR)
    )
    doubt = _tolerance(radius) + 0.05 * radius
    shortest = max(shortest - doubt, 0.0)
    length = max(length, shortest)
    longest = max(_neck_length(route, row, NECK_FACTOR_HIGH), length) + doubt
    return Throat(
        diameter=2 * radius,
        lower=2 * lower,
        upper=2 * upper,
        position=route.point[row],
        direction=route.tangent(row),
        length=length,
        length_lower=shortest,
        length_upper=longest,
        way=Way(route.point, 2 * route.radius),
        face=int(clearance.nearest(route.point[row : row + 1])[1][0]),
    )


def _neck_length(route: _Route, row: int, factor: float) -> float:
    """How long is the way about a point before it gets wider than `factor` times its throat?

    A bend inside the neck may be wider, as long as the way narrows down again.
    """
    point, radius = route.point, route.radius
    limit, bend = factor * radius[row], BEND_FACTOR * radius[row]
    ends = []
    for side in (-1, 1):
        last, at = row, row + side
        while 0 <= at < len(radius) and radius[at] <= bend:
            if radius[at] <= limit:
                last = at
            at += side
        ends.append(_crossing(point, radius, last, side, limit))
    inside = point[ends[0][0] : ends[1][0] + 1]
    line = np.vstack([ends[0][1], inside, ends[1][1]])
    return float(np.linalg.norm(np.diff(line, axis=0), axis=1).sum())


def _crossing(
    point: Floats, radius: Floats, last: int, side: int, limit: float
) -> tuple[int, Floats]:
    """The last row within the limit, and the place beside it where the limit is reached."""
    after = last + side
    if not 0 <= after < len(radius) or radius[after] <= radius[last]:
        return last, point[last]
    share = min((limit - radius[last]) / (radius[after] - radius[last]), 1.0)
    return last, point[last] + share * (point[after] - point[last])


class _Route:
    """A way that is being pulled to the middle and filled in where it is narrow."""

    def __init__(self, clearance: Clearance, path: Floats, pitch: float) -> None:
        self.clearance, self.pitch = clearance, pitch
        keep = np.concatenate([[True], np.linalg.norm(np.diff(path, axis=0), axis=1) > 0])
        self.path = path[keep]
        steps = np.linalg.norm(np.diff(self.path, axis=0), axis=1)
        self.along = np.concatenate([[0.0], np.cumsum(steps)])
        self.shift = np.zeros(3)
        raw = clearance.at(self.path)
        self.at = self.along[_thinned(self.along, raw, pitch)]
        self.point, self.radius = self._pulled(self.at, _ROUNDS_FIRST)
        self._straighten()

    def settle(self) -> None:
        """Pull narrow points in, and add points until the lower bound is as good as can be."""
        for _ in range(_SETTLING):
            limit = float(self.radius.min())
            low = np.flatnonzero(self.radius < limit * 1.02 + self.pitch * 0.25)
            low = low[~self._is_final[low]]
            if len(low):
                self._pull_again(low)
                continue
            limit = float(self.radius.min())
            bound = _lens(self.point, self.radius)
            weak = np.flatnonzero(bound < limit - _tolerance(limit) / 2)
            gap = np.diff(self.at)
            weak = weak[gap[weak] > 1e-4 * self.pitch]
            if len(weak) == 0 and self._is_bracketed():
                if self._narrowest_stays():
                    return
                continue
            if len(weak) == 0:
                weak = self._beside_narrowest()
            if len(self.at) + len(weak) > 20_000:
                return
            self._insert(weak)

    def lower(self) -> float:
        """mm, radius of a ball that surely passes."""
        bound = _lens(self.point, self.radius)
        return float(min(self.radius.min(), bound.min(initial=np.inf)))

    def reroute(self, row: int, through: Floats) -> bool:
        """Try the way that runs through a better point of the section at `row`."""
        offset = through - self.point[row]
        if np.linalg.norm(offset) < 1e-6:
            return False
        wide = 1.3 * float(self.clearance.at(through[None])[0])
        first, last = row, row
        while first > 0 and self.radius[first] < wide:
            first -= 1
        while last + 1 < len(self.radius) and self.radius[last] < wide:
            last += 1
        rows = np.arange(first + 1, last)
        if len(rows) == 0:
            return False
        point, radius = self._ascend(
            self.point[rows] + offset, self._normals(self.at[rows]), _ROUNDS_LAST
        )
        kept = {name: getattr(self, name).copy() for name in ("at", "point", "radius", "_is_final")}
        before = self.lower()
        self.point[rows], self.radius[rows] = point, radius
        # The bound from below is zero where neighbouring balls do not overlap, so a jump through
        # a wall can not look like a better way.
        self._is_final[rows] = False
        self._straighten()
        self.settle()
        if self.lower() > before:
            return True
        self.__dict__.update(kept)
        return False

    def tangent(self, row: int) -> Floats:
        """Direction of the way at a point: the chord between the points about a radius away."""
        reach = max(float(self.radius[row]), 1e-3 * self.pitch)
        steps = np.linalg.norm(np.diff(self.point, axis=0), axis=1)
        along = np.concatenate([[0.0], np.cumsum(steps)])
        ends = [
            np.array([
                np.interp(along[row] + offset, along, self.point[:, axis]) for axis in range(3)
            ])
            for offset in (-reach, reach)
        ]
        chord = ends[1] - ends[0]
        length = float(np.linalg.norm(chord))
        if length > 0.2 * reach:
            straight: Floats = chord / length
            return straight
        smooth: Floats = self._normals(self.at[row : row + 1])[0]
        return smooth

    def _narrowest_stays(self) -> bool:
        """Is the narrowest point in the middle of the passage? If not, it is put there."""
        rows = np.array([int(np.argmin(self.radius))])
        point, radius = self._ascend(self.point[rows], self._normals(self.at[rows]), _ROUNDS_LAST)
        if radius[0] < self.radius[rows[0]] + _tolerance(float(radius[0])) / 4:
            return True
        self.point[rows], self.radius[rows] = point, radius
        return False

    def _is_bracketed(self) -> bool:
        """Are the narrowest point's neighbours so near that the true narrowest is no lower?"""
        return len(self._beside_narrowest()) == 0

    def _beside_narrowest(self) -> Floats:
        row = int(np.argmin(self.radius))
        sides = np.array([row - 1, row])
        sides = sides[(sides >= 0) & (sides < len(self.at) - 1)]
        gap = np.diff(self.at)[sides]
        rise = np.abs(np.diff(self.radius)[sides])
        limit = float(self.radius[row])
        open_ended = (rise > _tolerance(limit) / 4) & (gap > 0.002 * limit)
        rows: Floats = sides[open_ended]
        return rows

    def _insert(self, rows: Floats) -> None:
        at = (self.at[rows] + self.at[rows + 1]) / 2
        # Half way between two balls that overlap, or nearly do, it is free for sure or soon proves
        # not to be: balls on two sides of a wall never overlap. Else the path itself is free.
        gap = np.linalg.norm(self.point[rows + 1] - self.point[rows], axis=1)
        near = _NEARLY * (self.radius[rows] + self.radius[rows + 1]) > gap
        middle = (self.point[rows] + self.point[rows + 1]) / 2
        reach = np.maximum(self.radius[rows], self.radius[rows + 1]) + self.clearance.at(middle)
        near &= reach > gap / 2
        start = np.where(near[:, None], middle, self._on_path(at))
        leash = np.where(near, 0.25 * gap, _LEASH * self.pitch)
        point, radius = self._ascend(start, self._normals(at), _ROUNDS_LAST, leash)
        final = np.insert(self._is_final, rows + 1, True)
        self.at = np.insert(self.at, rows + 1, at)
        self.point = np.insert(self.point, rows + 1, point, axis=0)
        self.radius = np.insert(self.radius, rows + 1, radius)
        self._is_final = final

    def _straighten(self) -> None:
        """Take out zigzags where the passage is wider one way than the other.

        A point moves to the middle of its neighbours if that costs it next to nothing.
        """
        floor = self.radius * (1.0 - 0.5 * TOLERANCE_SHARE)
        for turn in range(_STRAIGHTENING):
            rows = np.arange(1 + turn % 2, len(self.point) - 1, 2)
            if len(rows) == 0:
                return
            middle = (self.point[rows - 1] + self.point[rows + 1]) / 2
            step = np.linalg.norm(middle - self.point[rows], axis=1)
            share = np.minimum(1.0, SAFE_STEP * self.radius[rows] / np.maximum(step, 1e-12))
            trial = self.point[rows] + share[:, None] * (middle - self.point[rows])
            value = self.clearance.at(trial)
            fine = value >= floor[rows]
            self.point[rows[fine]], self.radius[rows[fine]] = trial[fine], value[fine]

    def _pull_again(self, rows: Floats) -> None:
        normal = self._normals(self.at[rows])
        self.point[rows], self.radius[rows] = self._ascend(self.point[rows], normal, _ROUNDS_LAST)
        self._is_final[rows] = True
        self._straighten()

    def _pulled(self, at: Floats, rounds: int) -> tuple[Floats, Floats]:
        if rounds == _ROUNDS_FIRST:
            self._is_final = np.zeros(len(at), bool)
        return self._ascend(self._on_path(at), self._normals(at), rounds)

    def _on_path(self, at: Floats) -> Floats:
        return np.column_stack([np.interp(at, self.along, self.path[:, i]) for i in range(3)])

    def _normals(self, at: Floats) -> Floats:
        reach = 3.0 * self.pitch
        ahead = self._mean_on_path(at + reach)
        behind = self._mean_on_path(at - reach)
        return _unit(ahead - behind)

    def _mean_on_path(self, at: Floats) -> Floats:
        """Places on the path, averaged over two voxels: its staircase is no direction."""
        offsets = np.linspace(-1.5, 1.5, 7) * self.pitch
        places = np.clip(at[:, None] + offsets, self.along[0], self.along[-1])
        mean: Floats = self._on_path(places.reshape(-1)).reshape(len(at), -1, 3).mean(axis=1)
        return mean

    def _ascend(
        self, point: Floats, normal: Floats, rounds: int, leash: Floats | None = None
    ) -> tuple[Floats, Floats]:
        """Move points across the way to where the clearance is largest, within a leash."""
        if leash is None:
            leash = np.full(len(point), _LEASH * self.pitch)
        point = point.copy()
        radius = self.clearance.at(point)
        start = point.copy()
        stride = np.full(len(point), 0.5 * self.pitch)
        one, two = _across(normal)
        # Finer than the tolerance by as much as it takes to be sure of it.
        finest = np.maximum(_FINEST_SHARE * TOLERANCE_SHARE * radius, 1e-5 * self.pitch)
        for turn in range(rounds):
            busy = np.flatnonzero(stride > finest)
            if len(busy) == 0:
                break
            length = np.minimum(stride[busy], SAFE_STEP * radius[busy])
            angle = turn * _GOLDEN + 2 * np.pi * np.arange(_DIRECTIONS) / _DIRECTIONS
            move = (
                np.cos(angle)[None, :, None] * one[busy][:, None]
                + np.sin(angle)[None, :, None] * two[busy][:, None]
            ) * length[:, None, None]
            trial = point[busy][:, None] + move
            value = self.clearance.at(trial)
            off = np.linalg.norm(trial - start[busy][:, None], axis=2)
            value[off > leash[busy][:, None]] = -1.0
            best = np.argmax(value, axis=1)
            row = np.arange(len(busy))
            better = value[row, best] > radius[busy] * (1.0 + 1e-9)
            moved = busy[better]
            point[moved] = trial[row, best][better]
            radius[moved] = value[row, best][better]
            stride[busy[~better]] *= 0.5
        return point, radius


def _lens(point: Floats, radius: Floats) -> Floats:
    """(n − 1,) radius of a ball that slides from each point to the next; 0 if that is unknown.

    Whatever facet there is lies outside both balls, and nearest to the line where they meet.
    """
    one, two = radius[:-1], radius[1:]
    gap = np.linalg.norm(np.diff(point, axis=0), axis=1)
    safe = np.maximum(gap, 1e-300)
    foot = (safe**2 + one**2 - two**2) / (2 * safe)
    inner = np.sqrt(np.maximum(one**2 - foot**2, 0.0))
    bound = np.where((foot >= 0) & (foot <= gap), inner, np.minimum(one, two))
    return np.where(one + two > gap, bound, 0.0)


def _thinned(along: Floats, radius: Floats, pitch: float) -> NDArray[np.int64]:
    """Rows of path points to start with: dense where it is narrow, sparse where it is wide."""
    rows, last = [0], 0
    for row in range(1, len(along)):
        if along[row] - along[last] >= max(pitch, 0.4 * min(radius[last], radius[row])):
            rows.append(row)
            last = row
    if rows[-1] != len(along) - 1:
        rows.append(len(along) - 1)
    return np.array(rows)


def _tolerance(radius: float) -> float:
    return max(TOLERANCE_SHARE * radius, TOLERANCE_MM / 2)


def _unit(vector: Floats) -> Floats:
    length = np.linalg.norm(vector, axis=-1, keepdims=True)
    fallback = np.zeros(vector.shape)
    fallback[..., 2] = 1.0
    return np.where(length > 1e-12, vector / np.maximum(length, 1e-12), fallback)


def _across(normal: Floats) -> tuple[Floats, Floats]:
    """Two unit vectors across each normal and each other."""
    helper = np.eye(3)[np.argmin(np.abs(normal), axis=-1)]
    one = _unit(np.cross(normal, helper))
    return one, np.cross(normal, one)


def _around(normal: Floats, count: int) -> Floats:
    one, two = _across(normal)
    angle = 2 * np.pi * np.arange(count) / count
    ring: Floats = np.cos(angle)[:, None] * one + np.sin(angle)[:, None] * two
    return ring
