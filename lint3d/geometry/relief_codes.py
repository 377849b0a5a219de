"""Is a group of islands a field of squares that codes something, as two-dimensional codes do?

The outlines lie on one square lattice, at least `LEAST_SIDE` squares a way; no row or column is
empty (lines and letters of a font made of squares have empty ones between them); a quarter to three
quarters of the squares are filled; and the field is not its own copy a few squares on. That last is
the border to ventilation grids, waffles, chequers and knurls, which repeat. Squares that touch are
one island; a whole code may be one. Bent bases are unrolled about the middle of the field, which is
true enough for fields that span a third of a drum's radius. Lengths in mm.
Guarded by tests/geometry/test_relief_codes.py.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import Delaunay, cKDTree

from lint3d.geometry.components import connected_groups
from lint3d.geometry.relief_base import Base, fit_base
from lint3d.geometry.relief_outline import outline_at
from lint3d.geometry.relief_shapes import HIGH_LEVEL, LOW_LEVEL, Shape

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

#: The smallest codes in use have ten squares a way. common practice, no source
LEAST_SIDE = 8
#: More squares a way than this are no code.
MOST_SIDE = 200
#: Outlines run along two directions: length of the mean of four-fold angles (a circle has 0).
ALIGNED = 0.9
#: Fillets round the corners of feet: those run along two directions by this much at least.
ALIGNED_FEET = 0.6
#: Lines stray from the lattice by less than this share of a square, but for this share of them.
ON_LATTICE, OFF_SHARE = 0.15, 0.05
#: Islands of one field are no farther apart than this many of the smallest.
NEAR = 2.2
#: Squares may be this much wider or narrower than the lattice.
LIKE_SQUARE = 0.3
#: Share of filled squares.
LEAST_FILLED, MOST_FILLED = 0.25, 0.75
#: A field that agrees this well with itself up to so many squares on repeats.
REPEATS, SHIFTS = 0.85, 6
#: What feet are taken to be off by at least, mm.
LEAST_NOISE_MM = 1e-6
#: A square stands up by no more than this many of its widths.
MOST_RISE = 2.0


@dataclass(frozen=True, eq=False)
class Code:
    """A field of raised or sunk squares."""

    shapes: tuple[Shape, ...]
    filled: Bools
    """(rows, columns) which squares are raised or sunk; which way up cannot be known."""
    pitch: float
    """mm, of the lattice"""
    square: float
    """mm, width of one square at its cap"""

    @property
    def raised(self) -> bool:
        return self.shapes[0].raised


def codes_among(shapes: Sequence[Shape]) -> list[tuple[list[int], Code]]:
    """Fields of squares among islands that may be other things too, such as a line of text below.

    Parameters
    ----------
    shapes : of one sense and like height

    Returns
    -------
    list of (rows of `shapes`, Code)
    """
    aligned = [
        i for i, shape in enumerate(shapes) if _alignment(_foot_ways([shape])) >= ALIGNED_FEET
    ]
    found = []
    for group in _fields([shapes[i] for i in aligned]):
        rows = [aligned[k] for k in group.tolist()]
        code = code_of([shapes[i] for i in rows])
        if code is not None:
            found.append((rows, code))
    return found


def within(code: Code, shapes: Sequence[Shape]) -> Bools:
    """(k,) do islands lie inside a field, so that they are a part of it or of its empty squares?"""
    if not shapes:
        return np.zeros(0, bool)
    feet = np.concatenate([shape.foot for shape in code.shapes])
    normal = np.mean([shape.measured.island.normal for shape in code.shapes], axis=0)
    normal = normal / np.linalg.norm(normal)
    axes = np.linalg.svd(normal[None])[2][1:]
    at = np.array([shape.measured.island.centre for shape in shapes])
    # A square in the corner may stick out of the hull of the others: by a pitch.
    middle = feet.mean(axis=0)
    drawn_in = 1 - 2 * code.pitch / float(np.ptp(feet @ axes.T, axis=0).max())
    inside = Delaunay((feet - middle) @ axes.T).find_simplex(drawn_in * (at - middle) @ axes.T) >= 0
    level = feet @ normal
    near = (at @ normal >= level.min() - code.pitch) & (at @ normal <= level.max() + code.pitch)
    found: Bools = inside & near
    return found


def _fields(shapes: Sequence[Shape]) -> list[Ints]:
    """Islands that are no farther from each other than two of the smallest would fill."""
    if not shapes:
        return []
    reach = NEAR * min(np.sqrt(shape.measured.island.footprint) for shape in shapes)
    feet = [_along_foot(shape, reach / 2) for shape in shapes]
    owner = np.repeat(np.arange(len(feet)), [len(foot) for foot in feet])
    pairs = cKDTree(np.concatenate(feet)).query_pairs(reach, output_type="ndarray")
    field = connected_groups(len(feet), owner[pairs[:, 0]], owner[pairs[:, 1]])
    return [np.flatnonzero(field == number) for number in range(int(field.max()) + 1)]


def _along_foot(shape: Shape, step: float) -> Floats:
    """Points along a foot, no farther apart than a step."""
    island = shape.measured.island
    start, end = shape.folds.vertices[island.start], shape.folds.vertices[island.end]
    count = np.ceil(np.linalg.norm(end - start, axis=1) / step).astype(np.int64) + 1
    row = np.repeat(np.arange(len(count)), count)
    number = np.arange(len(row)) - np.repeat(np.cumsum(count) - count, count)
    share = (number / count[row])[:, None]
    points: Floats = start[row] + share * (end - start)[row]
    return points


def code_of(shapes: Sequence[Shape]) -> Code | None:
    """The field of squares that islands make up, if they do.

    Parameters
    ----------
    shapes : of one sense and like height, with one base

    Returns
    -------
    Code or None
    """
    if not shapes or _alignment(_foot_ways(shapes)) < ALIGNED_FEET:
        return None
    base = _common_base(shapes)
    if base is None:
        return None
    lattices = []
    for level in (LOW_LEVEL, HIGH_LEVEL):
        sides = _sides(shapes, base, level)
        lattice = None if sides is None else _lattice(*sides)
        if lattice is None:
            return None
        lattices.append(lattice)
    low, high = lattices
    height = float(np.median([shape.height for shape in shapes]))
    if height > MOST_RISE * high.pitch or not _is_code(high.filled):
        return None
    more = (high.square - low.square) / (HIGH_LEVEL - LOW_LEVEL) * (1 - HIGH_LEVEL)
    return Code(tuple(shapes), high.filled, high.pitch, high.square + more)


# --- from islands to lines -----------------------------------------------------------------------


def _foot_ways(shapes: Sequence[Shape]) -> Floats:
    """(e, 2) foot edges, in a plane that suits all islands."""
    normal = np.mean([shape.measured.island.normal for shape in shapes], axis=0)
    axes = np.linalg.svd(normal[None])[2][1:]
    ways = [
        shape.folds.vertices[shape.measured.island.end]
        - shape.folds.vertices[shape.measured.island.start]
        for shape in shapes
    ]
    flat: Floats = np.concatenate(ways) @ axes.T
    return flat


def _alignment(way: Floats) -> float:
    """How well lines run along two directions at right angles: 1 for squares, 0 for circles."""
    length = np.hypot(way[:, 0], way[:, 1])
    return float(abs(_four_fold(way)) / max(length.sum(), 1e-300))


def _four_fold(way: Floats) -> complex:
    z = way[:, 0] + 1j * way[:, 1]
    size = np.maximum(np.abs(z), 1e-300)
    return complex((size * (z / size) ** 4).sum())


def _common_base(shapes: Sequence[Shape]) -> Base | None:
    feet = np.concatenate([shape.foot for shape in shapes])
    normal = np.mean([shape.measured.island.normal for shape in shapes], axis=0)
    noise = max(shape.blur + shape.measured.base.residual for shape in shapes)
    return fit_base(feet, np.ones(len(feet)), feet.mean(axis=0), normal, max(noise, LEAST_NOISE_MM))


def _sides(shapes: Sequence[Shape], base: Base, share: float) -> tuple[Floats, Floats] | None:
    """Starts and ends (k, 2) of all outlines at a level, with two axes along them."""
    lines = []
    for shape in shapes:
        island, measured = shape.measured.island, shape.measured
        corners = shape.folds.faces[island.faces]
        level = share * shape.height
        line = outline_at(corners, shape.folds.vertices, measured.levels, base, level)
        if line is None or not line.is_closed:
            return None
        lines.append(line)
    start = np.concatenate([line.start for line in lines])
    end = np.concatenate([line.end for line in lines])
    if _alignment(end - start) < ALIGNED:
        return None
    angle = np.angle(_four_fold(end - start)) / 4
    turn = np.array([[np.cos(angle), np.sin(angle)], [-np.sin(angle), np.cos(angle)]])
    return start @ turn.T, end @ turn.T


# --- from lines to squares -----------------------------------------------------------------------


@dataclass(frozen=True, eq=False)
class _Lattice:
    pitch: float
    square: float
    filled: Bools


@dataclass(frozen=True, eq=False)
class _Ruler:
    """The lattice lines along one axis."""

    origin: float
    """Between lines that bound squares from below and from above."""
    pitch: float
    square: float
    count: int


def _lattice(start: Floats, end: Floats) -> _Lattice | None:
    """The lattice that lines lie on, and which of its squares they run round."""
    way = end - start
    rulers = []
    for axis in range(2):
        along = np.abs(way[:, 1 - axis]) > np.abs(way[:, axis])
        at = (start[along, axis] + end[along, axis]) / 2
        # Outlines run their way round: up on the right of a square, backwards above it.
        ruler = _ruler(at, way[along, 1 - axis] * (1 if axis == 0 else -1))
        if ruler is None:
            return None
        rulers.append(ruler)
    x, y = rulers
    if abs(x.pitch - y.pitch) > 0.1 * y.pitch:
        return None
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
    return _Lattice((x.pitch + y.pitch) / 2, (x.square + y.square) / 2, filled)


def _ruler(at: Floats, run: Floats) -> _Ruler | None:
    """Equal steps between lines, or None.

    Parameters
    ----------
    at : (k,) mm, where each line crosses the axis
    run : (k,) mm, its length, positive where squares lie below, negative where they lie above
    """
    length = np.abs(run)
    if not len(at) or np.ptp(at) <= 0:
        return None
    steps = [_steps(at[side], length[side]) for side in (run > 0, run < 0)]
    known = [step for step in steps if step is not None]
    if len(known) < 2:
        return None
    pitch = float(np.mean([step for step, _ in known]))
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
    if not LEAST_SIDE <= count <= MOST_SIDE:
        return None
    return _Ruler(float(low + first * pitch), pitch, pitch + wide, count)


def _steps(at: Floats, length: Floats) -> tuple[float, int] | None:
    """Mean step between lines that look the same way, and how many steps there are."""
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
    if len(middle) < LEAST_SIDE - 2:
        return None
    usual = float(np.median(np.diff(middle)))
    number = np.concatenate([[0], np.cumsum(np.rint(np.diff(middle) / usual))])
    if number[-1] < 1:
        return None
    return float(np.polyfit(number, middle, 1)[0]), int(number[-1])


def _is_code(filled: Bools) -> bool:
    """Is every row and column in use, by about half, and does nothing repeat?"""
    if not (filled.any(axis=0).all() and filled.any(axis=1).all()):
        return False
    if not LEAST_FILLED <= filled.mean() <= MOST_FILLED:
        return False
    return not _repeats(filled)


def _repeats(filled: Bools) -> bool:
    rows, columns = filled.shape
    for down in range(min(SHIFTS, rows // 2) + 1):
        for right in range(-min(SHIFTS, columns // 2), min(SHIFTS, columns // 2) + 1):
            if down == 0 and right <= 0:
                continue
            one = filled[down:, max(right, 0) : columns + min(right, 0)]
            two = filled[: rows - down, max(-right, 0) : columns - max(right, 0)]
            if (one == two).mean() >= REPEATS:
                return True
    return False
