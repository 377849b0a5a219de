"""How is a way through a passage pulled to its middle?

Each point moves in the plane across the way to where the distance to the facets is largest; points
are added where the way is narrow, until balls about neighbouring points overlap so well that their
meeting circle is hardly narrower than the balls. No step is longer than 0.7 of the distance to the
facets, so no wall is ever jumped. Lengths in mm. Guarded by tests/geometry/test_throats.py.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lint3d.geometry.throats_clearance import Clearance
from lint3d.geometry.vectors import cross_product

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

#: Share of the clearance that one step may be long.
SAFE_STEP = 0.7
#: How far apart the two bounds may be in the end, as a share of the width and in mm.
TOLERANCE_SHARE, TOLERANCE_MM = 0.003, 0.004
#: Directions tried around a point, turned by the golden angle from round to round so that no sharp
#: ridge hides between them.
_DIRECTIONS = 8
_GOLDEN = np.pi * (3.0 - np.sqrt(5.0))
_ROUNDS_FIRST, _ROUNDS_LAST, _ROUNDS_ROUGH = 8, 40, 5
#: Steps end at this share of the tolerance.
_FINEST_SHARE = 0.05
#: How far a point may move off its path, voxels.
_LEASH = 3.0
#: Balls nearly overlap up to this times the sum of their radii.
_NEARLY = 1.8
#: Rounds of filling in points where the way is narrow, and points at most.
_SETTLING, _MOST_POINTS = 40, 20_000
#: Of neighbours along a way so many are pulled that each of these is; others lie between them.
_EVERY = 8
#: How far beyond a mouth the way may hug its rim, times the radius of the narrowest place.
_RIM = 3.0
#: Points of a way that are looked at on either side of a place for a fold between them.
MOST_FOLDED = 300
#: Points about as narrow as the narrowest that are put in the middle together.
_AT_ONCE = 64
#: Rounds in which zigzags are taken out.
_STRAIGHTENING = 24


class Route:
    """A way that is being pulled to the middle and filled in where it is narrow."""

    def __init__(
        self, clearance: Clearance, path: Floats, pitch: float, is_rough: bool = False
    ) -> None:
        self.clearance, self.pitch = clearance, pitch
        keep = np.concatenate([[True], np.linalg.norm(np.diff(path, axis=0), axis=1) > 0])
        self.path = path[keep]
        steps = np.linalg.norm(np.diff(self.path, axis=0), axis=1)
        self.along = np.concatenate([[0.0], np.cumsum(steps)])
        raw = clearance.at(self.path)
        rows = _thinned(self.along, raw, pitch)
        self.at = self.along[rows]
        self._is_final: Bools = np.zeros(len(self.at), bool)
        if is_rough:
            self._pull_narrow(raw[rows])
        else:
            self.point, self.radius = self._on_path(self.at), raw[rows]
            self._pull(np.arange(len(self.at)), _ROUNDS_FIRST)
            self._straighten()

    def settle(self) -> None:
        """Pull narrow points in, and add points until the lower bound is as good as can be."""
        for _ in range(_SETTLING):
            limit = float(self.radius.min())
            low: Ints = np.flatnonzero(self.radius < limit * 1.02 + self.pitch * 0.25)
            low = low[~self._is_final[low]]
            if len(low):
                self._pull_again(low)
                continue
            limit = float(self.radius.min())
            bound = lens(self.point, self.radius)
            weak: Ints = np.flatnonzero(bound < limit - tolerance_of(limit) / 2)
            gap = np.diff(self.at)
            weak = weak[gap[weak] > 1e-4 * self.pitch]
            if len(weak) == 0 and self._is_bracketed():
                if self._narrowest_stays():
                    return
                continue
            if len(weak) == 0:
                weak = self._beside_narrowest()
            if len(self.at) + len(weak) > _MOST_POINTS:
                return
            self._insert(weak)

    def leave_mouths(self, narrow: float, bend: float) -> None:
        """Pull the way off the rims of the mouths that it leaves by, or it seems to run on in them.

        Parameters
        ----------
        narrow, bend : a mouth is where the way gets wider than the first times its narrowest
            place; beyond the second, there is no rim
        """
        row = int(np.argmin(self.radius))
        least = float(self.radius[row])
        beside: set[int] = set()
        for side in (-1, 1):
            mouth = row
            while 0 < mouth < len(self.at) - 1 and self.radius[mouth] <= narrow * least:
                mouth += side
            # The last points of the neck may hug the rim as well.
            for out in (-side, side):
                at = mouth if out == side else mouth - side
                while 0 < at < len(self.at) - 1 and self.radius[at] <= bend * least:
                    if np.linalg.norm(self.point[at] - self.point[mouth]) > _RIM * least:
                        break
                    beside.add(at)
                    at += out
        rows = np.array(sorted(beside), np.int64)
        if len(rows) == 0:
            return
        along = unit(self.point[rows + 1] - self.point[rows - 1])
        leash = np.full(len(rows), least)
        point, radius = self._ascend(self.point[rows], along, _ROUNDS_FIRST, leash)
        before, kept = self.lower(), (self.point.copy(), self.radius.copy())
        self.point[rows], self.radius[rows] = point, radius
        if self.lower() < before:
            self.point, self.radius = kept

    def lower(self) -> float:
        """mm, radius of a ball that surely passes."""
        bound = lens(self.point, self.radius)
        return float(min(self.radius.min(), bound.min(initial=np.inf)))

    def reroute(self, row: int, through: Floats, along: Floats) -> bool:
        """Try the way that runs through a better point of the section at `row`.

        Parameters
        ----------
        along : (3,) unit vector, the direction of the passage there
        """
        offset = through - self.point[row]
        if np.linalg.norm(offset) < 1e-6:
            return False
        level = float(self.clearance.at(through[None])[0])
        # Where the way strays into an arm of the section for a while, only that part of it moves.
        strayed = self._rows_narrower(row, level * (1.0 - TOLERANCE_SHARE))
        rows = self._rows_narrower(row, 1.3 * level)
        if 0 < len(strayed) < len(rows) and self._is_better_through(
            strayed, self._bent_to(strayed, row, through)
        ):
            return True
        # In a long duct it may stray again and again.
        line = through + np.outer((self.point[rows] - through) @ along, along)
        wide = self.clearance.at(line) >= level * (1.0 - TOLERANCE_SHARE)
        straight = _run_of(wide, row - rows[0]) if len(rows) else rows
        if len(straight) > 0 and self._is_better_through(rows[straight], line[straight]):
            return True
        return len(rows) > 0 and self._is_better_through(rows, self.point[rows] + offset)

    def unfold(self, opening: Floats) -> bool:
        """Leave out what runs forth into a side branch and back, if that is the narrowest place.

        Where a ball wider than that slides straight from a point before it to one after it, what
        lies between is no part of the way.

        Parameters
        ----------
        opening : (3,) mm, a place of the path that the way must run by: a line past it may lead
            through another opening, which is measured by itself

        Returns
        -------
        bool : was anything left out?
        """
        row = int(np.argmin(self.radius))
        before = np.arange(max(row - MOST_FOLDED, 0), row)
        after = np.arange(row + 1, min(row + 1 + MOST_FOLDED, len(self.radius)))
        if len(before) == 0 or len(after) == 0:
            return False
        gap = np.linalg.norm(self.point[before][:, None] - self.point[after], axis=2)
        wide = lens_between(gap, self.radius[before][:, None], self.radius[after])
        kept_at = self.along[np.argmin(np.linalg.norm(self.path - opening, axis=1))]
        wide[(self.at[before] < kept_at)[:, None] & (self.at[after] > kept_at)] = 0.0
        first, last = np.unravel_index(int(np.argmax(wide)), wide.shape)
        least = float(self.radius[row])
        if wide[first, last] < least + tolerance_of(least):
            return False
        kept = np.r_[: before[first] + 1, after[last] : len(self.radius)]
        self.at, self._is_final = self.at[kept], self._is_final[kept]
        self.point, self.radius = self.point[kept], self.radius[kept]
        return True

    def _rows_narrower(self, row: int, radius: float) -> Ints:
        """The points about one that are narrower, without the ends of the way."""
        rows = _run_of(self.radius < radius, row)
        return rows[(rows > 0) & (rows < len(self.radius) - 1)]

    def _bent_to(self, rows: Ints, row: int, through: Floats) -> Floats:
        """Points in place of those in a row: straight from before them to a place and on."""
        first, last = rows[0] - 1, rows[-1] + 1
        knots = np.stack([self.point[first], through, self.point[last]])
        at = self.at[[first, row, last]]
        return np.column_stack([np.interp(self.at[rows], at, knots[:, axis]) for axis in range(3)])

    def _is_better_through(self, rows: Ints, start: Floats) -> bool:
        """Move points of the way to others and pull it; it stays so if a larger ball passes."""
        point, radius = self._ascend(start, self._normals(self.at[rows]), _ROUNDS_LAST)
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
            np.array(
                [np.interp(along[row] + offset, along, self.point[:, axis]) for axis in range(3)]
            )
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
        """Is the narrowest point in the middle of the passage? If not, it is put there.

        So are others that are hardly wider: else each of them would be the narrowest in its turn.
        """
        least = float(self.radius.min())
        rows: Ints = np.flatnonzero(self.radius <= least + tolerance_of(least) / 2)
        rows = rows[np.argsort(self.radius[rows], kind="stable")[:_AT_ONCE]]
        point, radius = self._ascend(self.point[rows], self._normals(self.at[rows]), _ROUNDS_LAST)
        wider = radius >= self.radius[rows] + tolerance_of_all(radius) / 4
        if not wider[0]:
            return True
        self.point[rows[wider]], self.radius[rows[wider]] = point[wider], radius[wider]
        return False

    def _is_bracketed(self) -> bool:
        """Are the narrowest point's neighbours so near that the true narrowest is no lower?"""
        return len(self._beside_narrowest()) == 0

    def _beside_narrowest(self) -> Ints:
        row = int(np.argmin(self.radius))
        sides = np.array([row - 1, row])
        sides = sides[(sides >= 0) & (sides < len(self.at) - 1)]
        gap = np.diff(self.at)[sides]
        rise = np.abs(np.diff(self.radius)[sides])
        limit = float(self.radius[row])
        open_ended = (rise > tolerance_of(limit) / 4) & (gap > 0.002 * limit)
        rows: Ints = sides[open_ended]
        return rows

    def _insert(self, rows: Ints) -> None:
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
        point, radius = start, self.clearance.at(start)
        # Where a neck runs straight, half way between two points in its middle is its middle.
        lower = np.minimum(self.radius[rows], self.radius[rows + 1])
        off = np.flatnonzero(~near | (radius < lower - tolerance_of_all(lower) / 8))
        if len(off):
            point[off], radius[off] = self._ascend(
                start[off], self._normals(at[off]), _ROUNDS_LAST, leash[off]
            )
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

    def _pull_again(self, rows: Ints) -> None:
        self._pull(rows, _ROUNDS_LAST)
        self._is_final[rows] = True
        self._straighten()

    def _pull(self, rows: Ints, rounds: int) -> None:
        """Pull points to the middle: every few of them, and then those not in line with these."""
        first = rows[_every_few(rows)]
        for some in (first, np.setdiff1d(rows, first, assume_unique=True)):
            left = some if some is first else self._between(first, some)
            if len(left):
                self.point[left], self.radius[left] = self._ascend(
                    self.point[left], self._normals(self.at[left]), rounds
                )

    def _between(self, known: Ints, rows: Ints) -> Ints:
        """Put points on the line between those before and after that are in the middle already.

        Where a neck runs straight that is its middle.

        Returns
        -------
        the rows for which it is not
        """
        after = np.searchsorted(known, rows)
        inside = (after > 0) & (after < len(known))
        if not inside.any():
            return rows
        one, two = known[after[inside] - 1], known[after[inside]]
        mine = rows[inside]
        share = (self.at[mine] - self.at[one]) / (self.at[two] - self.at[one])
        place = self.point[one] + share[:, None] * (self.point[two] - self.point[one])
        step = np.linalg.norm(place - self.point[mine], axis=1)
        radius = self.clearance.at(place)
        lower = np.minimum(self.radius[one], self.radius[two])
        fits = radius >= np.maximum(lower - tolerance_of_all(lower) / 8, self.radius[mine])
        # No wall is jumped, and the leash holds.
        fits &= (step < SAFE_STEP * self.radius[mine]) & (step < _LEASH * self.pitch)
        mine = mine[fits]
        self.point[mine], self.radius[mine] = place[fits], radius[fits]
        return np.setdiff1d(rows, mine, assume_unique=True)

    def _pull_narrow(self, radius: Floats) -> None:
        """Pull only those points that may be the narrowest, and only roughly."""
        self.point, self.radius = self._on_path(self.at), radius
        low = np.flatnonzero(radius < radius.min() + self.pitch)
        self.point[low], self.radius[low] = self._ascend(
            self.point[low], self._normals(self.at[low]), _ROUNDS_ROUGH
        )

    def _on_path(self, at: Floats) -> Floats:
        return np.column_stack([np.interp(at, self.along, self.path[:, i]) for i in range(3)])

    def _normals(self, at: Floats) -> Floats:
        reach = 3.0 * self.pitch
        ahead = self._mean_on_path(at + reach)
        behind = self._mean_on_path(at - reach)
        return unit(ahead - behind)

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
        radius, _, foot = self.clearance.nearest(point)
        start = point.copy()
        # Of each point the nearest places of the facets as seen from the last trials about it.
        feet = np.repeat(foot[:, None], _DIRECTIONS, axis=1)
        stride = np.full(len(point), 0.5 * self.pitch)
        one, two = across(normal)
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
            off = np.linalg.norm(trial - start[busy][:, None], axis=2)
            asked = off <= leash[busy][:, None]
            # What is no farther than before from a place known already need not be asked for.
            asked &= _least_squared(point[busy], move, feet[busy]) > radius[busy, None] ** 2
            value = np.full(asked.shape, -1.0)
            value[asked], _, found = self.clearance.nearest(trial[asked])
            which, way = np.nonzero(asked)
            feet[busy[which], way] = found
            best = np.argmax(value, axis=1)
            row = np.arange(len(busy))
            better = value[row, best] > radius[busy] * (1.0 + 1e-9)
            moved = busy[better]
            point[moved] = trial[row, best][better]
            radius[moved] = value[row, best][better]
            stride[busy[~better]] *= 0.5
        return point, radius


def _least_squared(point: Floats, move: Floats, feet: Floats) -> Floats:
    """(n, k) mm²: least square of the distance from each of k moves of n points to their feet."""
    arm = point[:, None] - feet
    reach = np.einsum("nij,nij->ni", arm, arm)[:, None] + 2 * (move @ arm.transpose(0, 2, 1))
    least: Floats = reach.min(axis=2) + np.einsum("nij,nij->ni", move, move)
    return least


def lens(point: Floats, radius: Floats) -> Floats:
    """(n − 1,) radius of a ball that slides from each point to the next; 0 if that is unknown."""
    gap = np.linalg.norm(np.diff(point, axis=0), axis=1)
    return lens_between(gap, radius[:-1], radius[1:])


def lens_between(gap: Floats, one: Floats, two: Floats) -> Floats:
    """(…,) radius of a ball that slides straight from place to place; 0 if that is unknown.

    Whatever facet there is lies outside both balls, and nearest to the line where they meet.

    Parameters
    ----------
    gap, one, two : (…,) mm, between the places, and the radii of free balls about them
    """
    safe = np.maximum(gap, 1e-12)
    foot = (safe**2 + one**2 - two**2) / (2 * safe)
    inner = np.sqrt(np.maximum(one**2 - foot**2, 0.0))
    bound = np.where((foot >= 0) & (foot <= gap), inner, np.minimum(one, two))
    return np.where(one + two > gap, bound, 0.0)


def _every_few(rows: Ints) -> Ints:
    """Places in ascending rows: the ends of each run of neighbours, and every few in it."""
    breaks = np.flatnonzero(np.diff(rows) != 1)
    begin = np.concatenate([[0], breaks + 1])
    place = np.arange(len(rows))
    number = place - np.repeat(begin, np.diff(np.append(begin, len(rows))))
    is_last = np.isin(place, np.append(breaks, len(rows) - 1))
    kept: Ints = np.flatnonzero((number % _EVERY == 0) | is_last)
    return kept


def _run_of(holds: Bools, row: int) -> Ints:
    """The rows in a row about one for which something holds; none if it does not hold there."""
    if not holds[row]:
        return np.zeros(0, np.int64)
    other = np.flatnonzero(~holds)
    first = int(other[other < row].max(initial=-1)) + 1
    return np.arange(first, int(other[other > row].min(initial=len(holds))))


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


def tolerance_of(radius: float) -> float:
    return max(TOLERANCE_SHARE * radius, TOLERANCE_MM / 2)


def tolerance_of_all(radius: Floats) -> Floats:
    """(n,) mm, `tolerance_of` each radius."""
    return np.maximum(TOLERANCE_SHARE * radius, TOLERANCE_MM / 2)


def unit(vector: Floats) -> Floats:
    length = np.linalg.norm(vector, axis=-1, keepdims=True)
    fallback = np.zeros(vector.shape)
    fallback[..., 2] = 1.0
    return np.where(length > 1e-12, vector / np.maximum(length, 1e-12), fallback)


def across(normal: Floats) -> tuple[Floats, Floats]:
    """Two unit vectors across each normal and each other."""
    helper = np.eye(3)[np.argmin(np.abs(normal), axis=-1)]
    one = unit(cross_product(normal, helper))
    return one, cross_product(normal, one)
