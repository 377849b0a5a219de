"""In which ways could a shape lie on an earlier one of itself?

Rough frames (turn, shift) to be judged and improved in `rigid_fit.py`: moved only, quarter turns,
principal axes on principal axes, turns about an axis of symmetry, corners on corners.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import combinations, permutations, product

import numpy as np
from numpy.typing import NDArray

from lint3d.geometry.likeness import Likeness

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

_BASES = 24
_MOST_TRIPLES = 3000


def axis_frames(old: Likeness, new: Likeness) -> Iterator[tuple[Floats, Floats]]:
    """Moved only, quarter turns, and principal axes on principal axes."""
    turns = list(_quarter_turns())
    ours, theirs = np.linalg.eigh(old.second)[1], np.linalg.eigh(new.second)[1]
    turns += [_proper(theirs @ quarter @ ours.T) for quarter in _signed_orders()]
    turns += list(_turns_about_an_axis(old, new))
    for turn in turns:
        yield turn, new.centre - turn @ old.centre
    for low, high in product((old.low, old.high), repeat=2):
        # A wall that moved on one side leaves the corner of the box on the other.
        corner = np.where([True, False, True], low, high)
        opposite = np.where([True, False, True], *((new.low, new.high)))
        yield np.eye(3), opposite - corner
    yield np.eye(3), new.low - old.low
    yield np.eye(3), new.high - old.high


def _signed_orders() -> Iterator[Floats]:
    """The 48 ways to lay three axes on three axes."""
    for order in permutations(range(3)):
        for signs in product((1.0, -1.0), repeat=3):
            yield np.eye(3)[list(order)] * np.array(signs)


def _quarter_turns() -> Iterator[Floats]:
    for one in _signed_orders():
        if np.linalg.det(one) > 0:
            yield one


def _proper(turn: Floats) -> Floats:
    """The turn without a reflection: its third axis turned over where it has one."""
    if np.linalg.det(turn) > 0:
        return turn
    flipped = turn.copy()
    flipped[:, 2] *= -1
    return flipped


def _turns_about_an_axis(old: Likeness, new: Likeness) -> Iterator[Floats]:
    """Two principal moments alike leave the turn about the third axis open: steps of 15 degrees."""
    value, ours = np.linalg.eigh(old.second)
    theirs = np.linalg.eigh(new.second)[1]
    for axis in (0, 2):
        one, other = (k for k in range(3) if k != axis)
        if abs(value[one] - value[other]) > 0.05 * max(value[2], 1e-30):
            continue
        for angle, sign in product(np.radians(np.arange(0, 360, 15)), (1.0, -1.0)):
            about = np.eye(3)
            about[np.ix_([one, other], [one, other])] = [
                [np.cos(angle), -np.sin(angle)],
                [np.sin(angle), np.cos(angle)],
            ]
            about[axis, axis] = sign
            turn = theirs @ about @ ours.T
            if np.linalg.det(turn) < 0:
                mirror = np.eye(3)
                mirror[one, one] = -1
                turn = theirs @ about @ mirror @ ours.T
            yield turn


def corner_frames(old: Likeness, new: Likeness, reach: float) -> Iterator[tuple[Floats, Floats]]:
    """Three corners on three corners, and one corner on one corner without a turn."""
    ours, theirs = old.corners, new.corners
    if len(ours) and len(theirs):
        for shift in _common_shifts(ours, theirs, reach):
            yield np.eye(3), shift
    if len(ours) < 3 or len(theirs) < 3:
        return
    apart = np.linalg.norm(theirs[:, None] - theirs[None], axis=2)
    for base in _bases(ours):
        a, b, c = ours[base]
        sides = tuple(float(np.linalg.norm(side)) for side in (b - a, c - a, c - b))
        found = _congruent(apart, sides, 2 * reach)
        source = _triads(a[None], b[None], c[None])[0]
        target = _triads(*(theirs[found[:, k]] for k in range(3)))
        for frame, corner in zip(target, theirs[found[:, 0]], strict=True):
            turn = frame @ source.T
            yield turn, corner - turn @ a


def _common_shifts(ours: Floats, theirs: Floats, reach: float) -> Floats:
    """(k, 3) the shifts that most corners agree on."""
    shifts = (theirs[None] - ours[:, None]).reshape(-1, 3)
    cells, number = np.unique(np.round(shifts / (4 * reach)), axis=0, return_counts=True)
    best = np.argsort(-number, kind="stable")[:5]
    common: Floats = cells[best] * 4 * reach
    return common


def _bases(corners: Floats) -> Ints:
    """(k, 3) wide triangles over the corners.

    No corner is in more than two: the farthest ones may be of a lug that is there no more.
    """
    rows = np.array(list(combinations(range(min(len(corners), 36)), 3)))
    a, b, c = (corners[rows[:, k]] for k in range(3))
    area = np.linalg.norm(np.cross(b - a, c - a), axis=1)
    used = np.zeros(len(corners), np.int64)
    chosen: list[Ints] = []
    for row in rows[np.lexsort((np.arange(len(rows)), -np.round(area, 6)))]:
        if len(chosen) == _BASES:
            break
        if used[row].max() < 2:
            used[row] += 1
            chosen.append(row)
    wide = area.max() > 0 if len(area) else False
    return np.array(chosen) if wide else np.zeros((0, 3), np.int64)


def _congruent(apart: Floats, sides: tuple[float, ...], reach: float) -> Ints:
    """(k, 3) triples of corners with these distances between first and second, first and third,
    second and third."""
    first, second = np.nonzero(np.abs(apart - sides[0]) < reach)
    fits = np.abs(apart[first] - sides[1]) < reach
    fits &= np.abs(apart[second] - sides[2]) < reach
    pair, third = np.nonzero(fits)
    found = np.column_stack([first[pair], second[pair], third])
    return found[: _MOST_TRIPLES // _BASES]


def _triads(a: Floats, b: Floats, c: Floats) -> Floats:
    """(k, 3, 3) right-handed axes (columns) along each triangle."""
    x = b - a
    z = np.cross(x, c - a)
    with np.errstate(all="ignore"):
        x = x / np.linalg.norm(x, axis=1, keepdims=True)
        z = z / np.linalg.norm(z, axis=1, keepdims=True)
    return np.nan_to_num(np.stack([x, np.cross(z, x), z], axis=2))
