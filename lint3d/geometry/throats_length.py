"""How long is the neck about the narrowest place of a way?

It is as long as the shortest line that leads through it from where it is hardly wider on one side
to where it is so on the other. The way itself may be longer: in a slit nothing keeps it from
running aslant, and at a mouth it may hug the rim. Where there is room beside it, the line is
pulled tight. Lengths in mm. Guarded by tests/geometry/test_throats_length.py.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from lint3d.geometry.throats_clearance import Clearance
from lint3d.geometry.throats_route import across, tolerance_of, unit
from lint3d.geometry.throats_short import shortest_line

Floats = NDArray[np.float64]

#: A neck is as long as the way runs below this times its throat; bounds of that statement.
NECK_FACTOR_LOW, NECK_FACTOR, NECK_FACTOR_HIGH = 1.01, 1.05, 1.2
#: A bend may be this much wider than the neck without ending it (a mitre of 90° reaches 1.17).
BEND_FACTOR = 1.5
#: How far beside a way room is looked for, times the radius of its throat, and in how many
#: directions; and what counts as room, times the radius there.
_ASIDE, _DIRECTIONS, _AS_WIDE = 0.3, 16, 0.9
#: A line is tight if no move of its corners longer than this, times the radius, shortens it.
_TIGHT, _MOST_ROUNDS = 0.02, 80
#: Moves that are tried at most: a line along a ring of many facets has hundreds of corners. How
#: much shorter a line is that was not pulled to its end is not known at all.
_MOST_TRIED = 5_000
#: After so many rounds its corners are looked for anew. What is not tight in the end may be too
#: long by nearly a half (3.6 mm for 2.5 round a square lid): no proof says by how much at most.
_ANEW, _NOT_TIGHT = 3, 0.5
#: A move is worth it if it shortens the line by this share of itself: less only creeps.
_GAIN = 0.02
#: How far a place is moved to see the next rim, times its clearance, and how far outward one is
#: that moves along both.
_NUDGE, _OUTWARD = 0.05, 0.1
#: Moves of a corner that are looked at together.
_FEW = 6
#: Points put between two of a way where it leaves a neck.
_BETWEEN = 8
#: Points along a line are this far apart, times the radius, and as many at most.
_APART, _MOST_POINTS = 0.7, 300


class NeckLengths:
    """How long a neck is, worked out when it is first asked for: most necks are one of many ways
    through the same gap, and are left out before.

    Parameters
    ----------
    measure : tells lower bound, length and upper bound, mm
    """

    def __init__(self, measure: Callable[[], tuple[float, float, float]]) -> None:
        self._measure = measure

    @classmethod
    def known(cls, lower: float, length: float, upper: float) -> NeckLengths:
        """Of a neck whose length is known, mm."""
        return cls(lambda: (lower, length, upper))

    @cached_property
    def bounds(self) -> tuple[float, float, float]:
        """mm: lower bound, length, upper bound"""
        return self._measure()


def neck_lengths(
    clearance: Clearance | None, point: Floats, radii: Floats, row: int, radius: float
) -> tuple[float, float, float]:
    """Length of the neck about a row of a way, mm: lower bound, value, upper bound.

    Past a sharp mouth the way widens as √(r² + s²): that much of each stretch is outside.

    Parameters
    ----------
    clearance : of every facet; None where the way is to be taken as it is
    point, radii : (n, 3) and (n,) mm, the way and its clearance
    row : where it is narrowest
    radius : mm, of the throat
    """
    if clearance is not None:
        point, radii, row = _filled_at_mouths(clearance, point, radii, row)
    lengths, least = [], 1.0
    for factor in (NECK_FACTOR_LOW, NECK_FACTOR):
        line = _neck_line(point, radii, row, factor)
        length = _length(line)
        if clearance is not None and _has_room_beside(clearance, line, point[row], radius):
            line = _wide_ends(point, radii, row, factor)
            line, share = _tight(clearance, line, factor * radius, radius)
            length = min(length, _length(line))
            least = min(least, share)
        lengths.append(max(length - 2 * radius * float(np.sqrt(factor**2 - 1)), 0.0))
    shortest, length = lengths
    doubt = tolerance_of(radius) + 0.05 * radius
    shortest = max(least * min(shortest, length) - doubt, 0.0)
    longest = max(_length(_neck_line(point, radii, row, NECK_FACTOR_HIGH)), length) + doubt
    return shortest, length, longest


def _filled_at_mouths(
    clearance: Clearance, point: Floats, radii: Floats, row: int
) -> tuple[Floats, Floats, int]:
    """A way with more points where it gets wider than a neck, and the same row of it.

    Between the last point in the neck and the first beyond, clearance is no straight line.
    """
    steps = set()
    for factor in (NECK_FACTOR_LOW, NECK_FACTOR, NECK_FACTOR_HIGH):
        first, last = _last_within(radii, row, factor)
        steps |= {first - 1, last}
    inner = np.array(sorted(one for one in steps if 0 <= one < len(radii) - 1), np.int64)
    share = np.arange(1, _BETWEEN + 1)[:, None] / (_BETWEEN + 1)
    new = point[inner, None] + share * (point[inner + 1] - point[inner])[:, None]
    at = np.repeat(inner + 1, _BETWEEN)
    row += _BETWEEN * int(np.count_nonzero(inner < row))
    new = new.reshape(-1, 3)
    return np.insert(point, at, new, axis=0), np.insert(radii, at, clearance.at(new)), row


def _neck_line(point: Floats, radius: Floats, row: int, factor: float) -> Floats:
    """(n, 3) the way about a point before it gets wider than `factor` times its throat.

    A bend inside the neck may be wider, as long as the way narrows down again. What runs forth and
    back there is left out.
    """
    limit = factor * radius[row]
    first, last = _last_within(radius, row, factor)
    ends = [_crossing(point, radius, at, side, limit) for at, side in ((first, -1), (last, 1))]
    line = shortest_line(point[first : last + 1], radius[first : last + 1], float(radius[row]))
    return np.vstack([ends[0], line, ends[1]])


def _wide_ends(point: Floats, radius: Floats, row: int, factor: float) -> Floats:
    """(n, 3) the same part of a way, from one of its points beyond the limit to another."""
    first, last = _last_within(radius, row, factor)
    return point[max(first - 1, 0) : last + 2]


def _last_within(radius: Floats, row: int, factor: float) -> tuple[int, int]:
    """Rows to both sides of a throat, up to which the way is no wider than `factor` times that."""
    limit, bend = factor * radius[row], BEND_FACTOR * radius[row]
    ends = []
    for side in (-1, 1):
        last, at = row, row + side
        while 0 <= at < len(radius) and radius[at] <= bend:
            if radius[at] <= limit:
                last = at
            at += side
        ends.append(last)
    return ends[0], ends[1]


def _crossing(point: Floats, radius: Floats, last: int, side: int, limit: float) -> Floats:
    """The place beside the last row within the limit where that is reached."""
    after = last + side
    if not 0 <= after < len(radius) or radius[after] <= radius[last]:
        return point[last]
    share = min((limit - radius[last]) / (radius[after] - radius[last]), 1.0)
    place: Floats = point[last] + share * (point[after] - point[last])
    return place


def _length(line: Floats) -> float:
    return float(np.linalg.norm(np.diff(line, axis=0), axis=1).sum())


def _has_room_beside(clearance: Clearance, line: Floats, middle: Floats, radius: float) -> bool:
    """Is there as much room a little beside the throat, or beside an end, as in it?

    A line that folds back on itself has such room along it.
    """
    if len(line) < 3 or radius <= 0:
        return False
    step = np.diff(line, axis=0)
    step = step[np.linalg.norm(step, axis=1) > _TIGHT * radius]
    if (np.einsum("ij,ij->i", step[1:], step[:-1]) < 0).any():
        return True
    ends = np.stack([line[0], middle, line[-1]])
    along = np.stack([_chord(line, 1), line[-1] - line[0], _chord(line[::-1], 1)])
    one, two = across(unit(along))
    angle = 2 * np.pi * np.arange(_DIRECTIONS) / _DIRECTIONS
    aside = np.cos(angle)[:, None] * one[:, None] + np.sin(angle)[:, None] * two[:, None]
    room = clearance.at(ends[:, None] + _ASIDE * radius * aside).max(axis=1)
    return bool((room >= _AS_WIDE * np.maximum(clearance.at(ends), radius)).any())


def _chord(line: Floats, reach: int) -> Floats:
    """From the end of a line to a point some way along it."""
    chord: Floats = line[min(max(reach, len(line) // 4), len(line) - 1)] - line[0]
    return chord


def _tight(
    clearance: Clearance, line: Floats, outside: float, radius: float
) -> tuple[Floats, float]:
    """A line pulled between two places as wide as given, and what share of it is needed at least.

    Parameters
    ----------
    outside : mm, the clearance at its ends is no less
    radius : mm, nor is it less than about this anywhere
    """
    floor = radius - tolerance_of(radius)
    # Where the way ends before it is so wide, its end is as wide as is asked for.
    least = np.minimum(clearance.at(line[[0, -1]]), outside)
    line = _corners_of(clearance, line, floor)
    stride, tried = radius, 0
    for number in range(_MOST_ROUNDS):
        moved = False
        for row in range(len(line)):
            best, count = _moved(clearance, line, row, stride, (floor, least))
            tried += count
            if tried > _MOST_TRIED:
                return line, 0.0
            if best is not None:
                line[row], moved = best, True
        if moved:
            # A line round a ring grows straighter, and needs fewer corners: it moves faster then.
            if number % _ANEW == _ANEW - 1:
                line = _corners_of(clearance, line, floor)
            continue
        stride /= 2
        if stride < _TIGHT * radius:
            return line, 1.0
    return line, _NOT_TIGHT


def _corners_of(clearance: Clearance, line: Floats, floor: float) -> Floats:
    """Few points of a line between which balls slide straight."""
    rows, step = [0], len(line) - 1
    while rows[-1] < len(line) - 1:
        at = rows[-1]
        step = min(2 * step, len(line) - 1 - at)
        while step > 1 and not _is_free(clearance, line[[at, at + step]], floor):
            step = (step + 1) // 2
        rows.append(at + step)
    return line[rows].copy()


def _is_free(clearance: Clearance, line: Floats, floor: float) -> bool:
    """Has every point of a line so much room?"""
    length = np.linalg.norm(np.diff(line, axis=0), axis=1)
    count = np.ceil(length / (_APART * floor)).clip(1, _MOST_POINTS).astype(np.int64)
    places = [
        begin + np.linspace(0.0, 1.0, one + 1)[:, None] * (end - begin)
        for begin, end, one in zip(line[:-1], line[1:], count.tolist(), strict=True)
    ]
    return bool(clearance.at(np.concatenate(places)).min() >= floor)


def _moved(
    clearance: Clearance, line: Floats, row: int, stride: float, least: tuple[float, Floats]
) -> tuple[Floats | None, int]:
    """A place near a point of a line that shortens it most, or None, and how many were tried.

    Parameters
    ----------
    least : clearance that the line has, and that its two ends have, mm
    """
    floor, at_ends = least
    near = line[max(row - 1, 0) : row + 2]
    along = unit((near[-1] - near[0])[None])[0]
    one, two = across(along)
    frame = np.stack([along, one, two])
    is_end = row in (0, len(line) - 1)
    ways = _MOVES @ frame
    if is_end:
        ways = np.vstack([ways, _along_rims(clearance, line[row])])
    trial = line[row] + stride * ways
    others = np.delete(near, min(row, 1), axis=0)
    length = np.linalg.norm(trial[:, None] - others, axis=2).sum(axis=1)
    now = float(np.linalg.norm(line[row] - others, axis=1).sum())
    order = np.argsort(length, kind="stable")
    order = order[length[order] < now - _GAIN * stride]
    # Most moves that shorten a line lead into the wall: several at a time that is seen soon.
    least_there = at_ends[0 if row == 0 else 1] if is_end else floor
    count = 0
    for few in np.split(order, range(_FEW, len(order), _FEW)):
        for best in few[clearance.at(trial[few]) >= least_there].tolist():
            count += 1
            path = near.copy()
            path[min(row, 1)] = trial[best]
            if _is_free(clearance, path, floor):
                place: Floats = trial[best]
                return place, count
    return None, count


def _along_rims(clearance: Clearance, place: Floats) -> Floats:
    """(k, 3) unit vectors along which a place at the mouth of a slit keeps its clearance."""
    value, _, foot = clearance.nearest(place[None])
    one = unit(place - foot)
    other = unit(place - clearance.nearest(place + _NUDGE * value[0] * one)[2])
    along = np.cross(one[0], other[0])
    length = float(np.linalg.norm(along))
    if length < _NUDGE:
        return np.zeros((0, 3))
    outward = unit(one[0] + other[0])
    sides = np.stack([along, -along]) / length
    return np.vstack([sides, unit(sides + _OUTWARD * outward)])


def _all_moves() -> Floats:
    """(96, 3) unit vectors spread over the sphere, and those along the axes of a frame."""
    number = np.arange(90) + 0.5
    height, angle = 1 - 2 * number / 90, number * np.pi * (3.0 - np.sqrt(5.0))
    flat = np.sqrt(1 - height**2)
    spread = np.column_stack([height, flat * np.cos(angle), flat * np.sin(angle)])
    return np.vstack([spread, np.eye(3), -np.eye(3)])


_MOVES = _all_moves()
