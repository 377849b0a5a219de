"""Do the sides of outlines lie on one square lattice, and which of its squares do they run round?

A bent base can be unrolled truly only near its middle, if at all. So the lattice is looked for in
as large a window round the middle as it is straight in, and followed outward from there: a smooth
map takes the lines that lie on the lattice by now to whole numbers, and tells where the next ones
should be. Lengths in mm. Guarded by tests/geometry/test_relief_codes.py.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

#: The smallest codes in use have ten squares a way. common practice, no source
LEAST_SIDE = 8
#: More squares a way than this are no code.
MOST_SIDE = 200
#: Lines stray from the lattice by less than this share of a square, but for this share of them.
ON_LATTICE, OFF_SHARE = 0.15, 0.05
#: Squares may be this much wider or narrower than the lattice: pecked ones are 0.6 of a pitch wide.
#: from memory
LIKE_SQUARE = 0.42
#: The step between most lines is that between half of all neighbours, to within this share; lines
#: off by less than this share of it are in step.
NEAR_USUAL, IN_STEP = 0.08, 0.25
#: A window is so many squares wide at least, and shrinks and grows by these factors.
LEAST_WINDOW, SHRINK, GROW = 4, 0.75, 1.2
#: On the way outward a line belongs to the lattice if it is off by less than this share of it.
FOLLOWS = 0.3
#: Degree of the map, and the step up from it for wide fields.
DEGREES = (3, 5)
#: The map makes no line longer or shorter by more than this share.
MOST_STRETCH = 0.35


@dataclass(frozen=True, eq=False)
class Lattice:
    """Squares on a lattice."""

    pitch: float
    square: float
    """mm, width of a filled square"""
    filled: Bools
    """(rows, columns)"""


def lattice_of(start: Floats, end: Floats) -> Lattice | None:
    """The lattice that lines lie on, and which of its squares they run round.

    Parameters
    ----------
    start, end : (k, 2) mm, sides of outlines, squares on the left; axes along most of them near
        the middle

    Returns
    -------
    Lattice or None
    """
    straight = _straightened(start, end)
    if straight is None:
        return None
    start, end = straight
    rulers = _rulers(start, end, LEAST_SIDE)
    if rulers is None:
        return None
    x, y = rulers
    way = end - start
    # Signed crossings of the upright lines, summed along each row.
    upright = np.abs(way[:, 1]) > np.abs(way[:, 0])
    column = np.rint((start[upright, 0] + end[upright, 0]) / 2 / x.pitch - x.origin / x.pitch)
    ends = np.stack([start[upright, 1], end[upright, 1]], axis=1)
    middles = y.origin + (np.arange(y.count) + 0.5) * y.pitch
    first = np.searchsorted(middles, ends.min(axis=1))
    last = np.searchsorted(middles, ends.max(axis=1))
    crossings = np.zeros((y.count + 1, x.count + 1))
    column = np.clip(column, 0, x.count).astype(np.int64)
    sign = np.sign(ends[:, 0] - ends[:, 1])
    np.add.at(crossings, (first, column), sign)
    np.add.at(crossings, (last, column), -sign)
    filled = np.cumsum(np.cumsum(crossings, axis=0), axis=1)[:-1, :-1] > 0.5
    return Lattice((x.pitch + y.pitch) / 2, (x.square + y.square) / 2, filled)


# --- straight lattices ---------------------------------------------------------------------------


@dataclass(frozen=True, eq=False)
class _Ruler:
    """The lattice lines along one axis."""

    origin: float
    """Between lines that bound squares from below and from above."""
    pitch: float
    square: float
    count: int


def _rulers(start: Floats, end: Floats, least: int) -> tuple[_Ruler, _Ruler] | None:
    """Those along both axes, if their steps are equal."""
    way = end - start
    rulers = []
    for axis in range(2):
        along, run = _across(way, axis)
        ruler = _ruler((start[along, axis] + end[along, axis]) / 2, run, least)
        if ruler is None:
            return None
        rulers.append(ruler)
    x, y = rulers
    return None if abs(x.pitch - y.pitch) > 0.1 * y.pitch else (x, y)


def _across(way: Floats, axis: int) -> tuple[Bools, Floats]:
    """Which lines cross an axis, and their signed lengths.

    Outlines run their way round: up on the right of a square, backwards above it.
    """
    along = np.abs(way[:, 1 - axis]) > np.abs(way[:, axis])
    run: Floats = way[along, 1 - axis] * (1 if axis == 0 else -1)
    return along, run


def _ruler(at: Floats, run: Floats, least: int) -> _Ruler | None:
    """Equal steps between lines, or None.

    Parameters
    ----------
    at : (k,) mm, where each line crosses the axis
    run : (k,) mm, its length, positive where squares lie below, negative where they lie above
    least : steps
    """
    length = np.abs(run)
    if not len(at) or np.ptp(at) <= 0:
        return None
    steps = [_steps(at[side], length[side], least) for side in (run > 0, run < 0)]
    known = [step for step in steps if step is not None]
    if len(known) < 2:
        return None
    pitch = float(np.mean(known))
    phase = []
    for side in (run > 0, run < 0):
        turn = np.exp(2j * np.pi * at[side] / pitch)
        mean = (turn * length[side]).sum()
        off = np.abs(np.angle(turn / mean)) / (2 * np.pi)
        if length[side][off > ON_LATTICE].sum() > OFF_SHARE * length[side].sum():
            return None
        phase.append(float(np.angle(mean)) / (2 * np.pi) * pitch)
    wide = (phase[0] - phase[1] + pitch / 2) % pitch - pitch / 2
    if abs(wide) > LIKE_SQUARE * pitch:
        return None
    # The lattice runs in the middle between the end of one square and the start of the next.
    low = phase[1] + wide / 2
    first, last = np.rint((at.min() - low) / pitch), np.rint((at.max() - low) / pitch)
    count = int(last - first)
    if not least <= count <= MOST_SIDE:
        return None
    return _Ruler(float(low + first * pitch), pitch, pitch + wide, count)


def _steps(at: Floats, length: Floats, least: int) -> float | None:
    """Mean step between lines that look the same way."""
    order = np.argsort(at)
    gap = np.diff(at[order])
    if not len(gap):
        return None
    rough = np.ptp(at) / (LEAST_SIDE * 32)
    line = np.concatenate([[0], np.cumsum(gap > rough)])
    total = np.bincount(line, length[order])
    middle = np.bincount(line, (at * length)[order]) / np.maximum(total, 1e-300)
    # Crumbs where corners touch are no lines.
    middle = middle[total > 0.02 * total.max()]
    if len(middle) < max(least - 2, 3):
        return None
    total = total[total > 0.02 * total.max()]
    usual = float(np.median(np.diff(middle)))
    count = int(np.ptp(middle) / usual)
    if not 1 <= count <= 4 * MOST_SIDE:
        return None
    # A line that strays would put all beyond it out of step: the step is that by which most of the
    # lines, by length, are in step.
    tried = usual * (1 + NEAR_USUAL * np.linspace(-1, 1, 8 * count + 1))
    turn = np.exp(2j * np.pi * middle / tried[:, None]) @ total
    best = int(np.abs(turn).argmax())
    number = middle / tried[best] - np.angle(turn[best]) / (2 * np.pi)
    off = np.abs(number - np.rint(number))
    kept = off < IN_STEP
    number, middle, weight = np.rint(number[kept]), middle[kept], total[kept]
    if np.ptp(number) < 1:
        return None
    number -= np.average(number, weights=weight)
    return float((weight * number * middle).sum() / (weight * number**2).sum())


# --- bent lattices -------------------------------------------------------------------------------


def _straightened(start: Floats, end: Floats) -> tuple[Floats, Floats] | None:
    """The lines where they would be if the lattice were straight."""
    corner = np.concatenate([start, end])
    centre = (corner.min(axis=0) + corner.max(axis=0)) / 2
    start, end = start - centre, end - centre
    middle = (start + end) / 2
    far = np.abs(middle).max(axis=1)
    whole = float(far.max())
    reach = whole
    while True:
        inside = far <= reach
        rulers = _rulers(start[inside], end[inside], LEAST_WINDOW)
        if rulers is not None:
            break
        reach *= SHRINK
        if reach < whole * LEAST_WINDOW / MOST_SIDE:
            return None
    if reach == whole:
        return start, end
    way = end - start
    mapped = [_followed(middle, way, far, reach, k, rulers[k]) for k in range(2)]
    if mapped[0] is None or mapped[1] is None:
        return None
    pitch = np.array([ruler.pitch for ruler in rulers])
    flat = [
        pitch * np.column_stack([_terms(at / whole, m.degree) @ m.coefficient for m in mapped if m])
        for at in (start, end)
    ]
    length = np.linalg.norm(way, axis=1)
    ratio = np.linalg.norm(flat[1] - flat[0], axis=1) / np.maximum(length, 1e-300)
    if length[np.abs(ratio - 1) > MOST_STRETCH].sum() > OFF_SHARE * length.sum():
        return None
    return flat[0], flat[1]


@dataclass(frozen=True, eq=False)
class _Map:
    """Number of a lattice line as a polynomial of the place, in shares of the field's reach."""

    degree: int
    coefficient: Floats


def _followed(
    middle: Floats, way: Floats, far: Floats, reach: float, axis: int, ruler: _Ruler
) -> _Map | None:
    """The lattice followed from a window outward, for the lines that cross one axis."""
    along, run = _across(way, axis)
    at, far, length = middle[along], far[along], np.abs(run)
    # Squares wider or narrower than the lattice: their sides lie beside its lines.
    beside = np.sign(run)
    whole = float(far.max())
    half = (ruler.square - ruler.pitch) / 2 / ruler.pitch
    number = (at[:, axis] - ruler.origin) / ruler.pitch - half * beside
    found: _Map | None = None
    while True:
        inside = (far <= reach) & (np.abs(number - np.rint(number)) < FOLLOWS)
        wide = reach >= whole
        for degree in DEGREES if wide else DEGREES[:1]:
            terms = _terms(at / whole, degree)
            if inside.sum() < 2 * terms.shape[1]:
                break
            # The width of squares is fitted with the map: one number more.
            matrix = np.column_stack([terms, beside])[inside] * length[inside, None] ** 0.5
            right = np.rint(number[inside]) * length[inside] ** 0.5
            # A touch of damping keeps the map from turning where no lines are yet.
            damp = np.sqrt(length[inside].sum()) * 1e-4 * np.eye(matrix.shape[1])
            rows = np.concatenate([matrix, damp])
            solved = np.linalg.lstsq(
                rows, np.concatenate([right, np.zeros(len(damp))]), rcond=None
            )[0]
            found = _Map(degree, solved[:-1])
            number = terms @ solved[:-1] + beside * solved[-1]
        if found is None or wide:
            return found
        reach = min(reach * GROW, whole)


def _terms(at: Floats, degree: int) -> Floats:
    """(k, t) all products of powers of the coordinates up to a degree."""
    x, y = at[:, 0], at[:, 1]
    columns = [x ** (n - j) * y**j for n in range(degree + 1) for j in range(n + 1)]
    return np.stack(columns, axis=1)
