"""Is a group of islands a field of squares that codes something, as two-dimensional codes do?

The outlines lie on one square lattice, at least `LEAST_SIDE` squares a way; at most one row and one
column are empty (lines and letters of a font made of squares have more between them); a quarter to
three quarters of the squares are filled; and the field is not its own copy a few squares on. That
last is the border to ventilation grids, waffles, chequers and knurls, which repeat. Squares that
touch are one island; a whole code may be one. Bent bases are unrolled about the middle of the
field, and the lattice is followed from there outward (`relief_lattice`). Lengths in mm.
Guarded by tests/geometry/test_relief_codes.py.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import Delaunay, cKDTree

from lint3d.geometry.components import connected_groups
from lint3d.geometry.relief_base import Base
from lint3d.geometry.relief_border import CONVEX, is_pattern
from lint3d.geometry.relief_groups import LIKE_HEIGHT, LIKE_HEIGHT_MM
from lint3d.geometry.relief_lattice import lattice_of
from lint3d.geometry.relief_outline import outline_at
from lint3d.geometry.relief_round import RoundBase, base_below
from lint3d.geometry.relief_shapes import HIGH_LEVEL, LOW_LEVEL, Shape

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

#: Outlines run along two directions: length of the mean of four-fold angles (a circle has 0).
ALIGNED = 0.9
#: Fillets round the corners of feet: those run along two directions by this much at least.
ALIGNED_FEET = 0.6
#: Squares of one field are no farther apart than this many of the smallest: two empty ones between.
NEAR = 3.4
#: The smallest is one of so many classes of size, each so much wider than the one before; a full
#: stop beside a code may be smaller than its squares.
CLASSES, WIDER = 12, 1.5
#: The base below a field is fitted to so many points.
MOST_POINTS = 4000
#: Rows that may be empty, and columns. One that has only a few squares free to carry data, between
#: the large squares in the corners of a code, is empty in one of 32.
MOST_EMPTY = 1
#: Share of filled squares.
LEAST_FILLED, MOST_FILLED = 0.25, 0.75
#: A field that agrees this well with itself up to so many squares on repeats.
REPEATS, SHIFTS = 0.85, 6
#: What feet are taken to be off by at least, mm.
LEAST_NOISE_MM = 1e-6
#: An island on a bent base with so many closed spaces may be a code that was not read; characters
#: have fewer.
LEAST_SPACES = 6
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
    shapes : on one surface

    Returns
    -------
    list of (rows of `shapes`, Code)
    """
    aligned = np.array(
        [i for i, shape in enumerate(shapes) if _alignment(_foot_ways([shape])) >= ALIGNED_FEET],
        np.int64,
    )
    side = np.array([np.sqrt(shapes[i].measured.island.footprint) for i in aligned.tolist()])
    seen: set[bytes] = set()
    found: list[tuple[list[int], Code]] = []
    least = float(side.min(initial=np.inf))
    for _ in range(CLASSES):
        large = aligned[side >= 0.9 * least]
        for group in _fields([shapes[i] for i in large.tolist()], NEAR * least):
            rows = large[group]
            if rows.tobytes() not in seen:
                seen.add(rows.tobytes())
                code = code_of([shapes[i] for i in rows.tolist()])
                if code is not None:
                    found.append((rows.tolist(), code))
        larger = side[side > WIDER * least]
        if not len(larger):
            break
        least = float(larger.min())
    # A piece of a code may pass for one by itself.
    found.sort(key=lambda one: -one[1].filled.size)
    told: set[int] = set()
    kept = []
    for members, code in found:
        if told.isdisjoint(members):
            kept.append((members, code))
            told |= set(members)
    return kept


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


def may_be_code(shape: Shape, spaces: int) -> bool:
    """Is an island, that is no code as far as was read, like one on a base that is too bent?

    Parameters
    ----------
    shape : an island
    spaces : how many closed spaces are in it, that reach down to its base
    """
    base = shape.measured.base
    bent = not (isinstance(base, Base) and base.degree == 1)
    shaped = spaces >= LEAST_SPACES and shape.fill < CONVEX and not is_pattern(shape)
    return bent and shaped and _alignment(_foot_ways([shape])) >= ALIGNED_FEET


def _fields(shapes: Sequence[Shape], reach: float) -> list[Ints]:
    """Islands of one sense and like height that are no farther from each other than a reach."""
    if not shapes:
        return []
    feet = [_along_foot(shape, reach / 2) for shape in shapes]
    owner = np.repeat(np.arange(len(feet)), [len(foot) for foot in feet])
    pairs = owner[cKDTree(np.concatenate(feet)).query_pairs(reach, output_type="ndarray")]
    one, two = np.unique(np.sort(pairs, axis=1), axis=0).T
    raised = np.array([shape.raised for shape in shapes])
    height = np.array([shape.height for shape in shapes])
    slack = np.array([shape.upper - shape.lower for shape in shapes]) / 2
    normal = np.array([shape.measured.island.normal for shape in shapes])
    alike = np.maximum(LIKE_HEIGHT * np.maximum(height[one], height[two]), LIKE_HEIGHT_MM)
    like = (
        (raised[one] == raised[two])
        & (np.abs(height[one] - height[two]) <= alike + slack[one] + slack[two])
        # Not those on the other side of a thin plate.
        & (np.einsum("ij,ij->i", normal[one], normal[two]) > 0)
    )
    field = connected_groups(len(shapes), one[like], two[like])
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
        lattice = None if sides is None else lattice_of(*sides)
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


def _common_base(shapes: Sequence[Shape]) -> Base | RoundBase | None:
    feet = np.concatenate([shape.foot for shape in shapes])
    feet = feet[:: max(1, len(feet) // MOST_POINTS)]
    normal = np.mean([shape.measured.island.normal for shape in shapes], axis=0)
    noise = max(shape.blur + shape.measured.base.residual for shape in shapes)
    return base_below(
        feet, np.ones(len(feet)), feet.mean(axis=0), normal, max(noise, LEAST_NOISE_MM)
    )


def _sides(
    shapes: Sequence[Shape], base: Base | RoundBase, share: float
) -> tuple[Floats, Floats] | None:
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


def _is_code(filled: Bools) -> bool:
    """Is nearly every row and column in use, by about half, and does nothing repeat?"""
    if any((~filled.any(axis=axis)).sum() > MOST_EMPTY for axis in range(2)):
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
