"""Which points of a regular grid lie in the material?

The grid's columns are cut with the facets along each axis. Each edge of a facet is cut by a row of
columns in one and the same way for both facets that share it, so no column slips between two of
them: the fill is watertight by construction, and the number of times the surface winds round a
point is a running sum of signed crossings. Overlapping bodies count as one (winding above zero).

A wall thinner than the pitch may hold no grid point. Every step between two neighbouring points
that crosses the surface is therefore blocked: if both of its ends are free, the one nearer to the
wall is *marked* as material. Two free points that are joined by steps along the axes are then
surely joined in the real space. Lengths in mm; guarded by tests/geometry/test_raster.py.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from lint3d.geometry.vectors import cross_product

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

#: Rows and crossings that are held at a time; keeps temporary arrays in the tens of megabytes.
_AT_ONCE = 1 << 19
#: The grid's origin is moved off round numbers by these shares of a voxel, so that the planes of
#: a drawing do not fall on grid points.
_OFFSET = np.array([0.3819660, 0.4142136, 0.3660254])
#: Columns wound round more often than this are summed in wider integers.
_NARROW_SUM = 100


@dataclass(frozen=True)
class Grid:
    """Points at `origin + pitch · (i, j, k)`, with i, j, k below `shape`."""

    origin: Floats
    """(3,) mm, the point (0, 0, 0)"""
    pitch: float
    shape: tuple[int, int, int]

    @classmethod
    def around(cls, low: Floats, high: Floats, pitch: float, margin: int = 2) -> Grid:
        """The grid that covers a box and at least `margin` points more on every side."""
        cells = np.floor((np.asarray(high) - low) / pitch).astype(np.int64) + 2 + 2 * margin
        return cls(
            np.asarray(low, np.float64) - pitch * (margin + _OFFSET),
            float(pitch),
            (int(cells[0]), int(cells[1]), int(cells[2])),
        )

    @property
    def size(self) -> int:
        """How many points?"""
        return self.shape[0] * self.shape[1] * self.shape[2]

    @property
    def strides(self) -> tuple[int, int, int]:
        """How far apart are neighbours along each axis in flat numbers?"""
        return self.shape[1] * self.shape[2], self.shape[2], 1

    def point(self, index: Ints) -> Floats:
        """(…, 3) mm, where the points (…, 3) are."""
        return self.origin + self.pitch * np.asarray(index, np.float64)

    def index(self, point: Floats) -> Ints:
        """(…, 3) the grid points nearest to the given ones, clipped to the grid."""
        nearest = np.rint((np.asarray(point) - self.origin) / self.pitch).astype(np.int64)
        return np.clip(nearest, 0, np.array(self.shape) - 1)


@dataclass(frozen=True, eq=False)
class Crossings:
    """Where lines of grid points along one axis cross the surface."""

    line: Ints
    """(n,) flat number of the grid point with 0 along the axis"""
    step: NDArray[np.int32]
    """(n,) the crossing is above point `step - 1` and not above point `step` of its line;
    0 = at or below the first point, shape = above the last"""
    turn: NDArray[np.int8]
    """(n,) +1 into the material, −1 out of it, going up the axis"""
    face: NDArray[np.int32]
    """(n,) the facet that is crossed"""
    below: NDArray[np.float32]
    """(n,) how far below point `step` the crossing lies, in voxels"""

    def __getitem__(self, rows: Ints) -> Crossings:
        return Crossings(
            self.line[rows], self.step[rows], self.turn[rows], self.face[rows], self.below[rows]
        )


@dataclass(eq=False)
class Raster:
    """A grid and which of its points are material."""

    grid: Grid
    solid: Bools
    """grid.shape: the surface winds round the point at least once, or the point is marked"""
    marked: Ints
    """flat numbers of free points that were set solid because a thin wall passes beside them"""
    leaking: Ints
    """flat numbers (of the first point) of columns along z in which the surface does not close"""
    deepest: int = 1
    """largest winding number met; above 1 bodies overlap"""
    repaired: int = field(default=0)
    """leaking columns that were mended by the vote of the other two axes"""
    across: tuple[Crossings, ...] = ()
    """per axis, the crossings of facets that are asked for by their axis, if any are"""


def rasterise(
    vertices: Floats, faces: Ints, grid: Grid, axis_of: NDArray[np.int8] | None = None
) -> Raster:
    """Fill the grid with the material that a surface encloses.

    Parameters
    ----------
    vertices : (n, 3) float64, mm
    faces : (m, 3) int64, turned so that they look out of the material
    grid : may be smaller than the surface; what lies below it is counted, too
    axis_of : (m,) axis along which the crossings of each facet are kept; other numbers for none

    Returns
    -------
    Raster : where the surface is open, `leaking` is not empty and the columns named there hold
        what two of three axes say
    """
    winding, leaking, kept = _winding_along_z(vertices, faces, grid)
    solid = winding > 0
    deepest = int(winding.max(initial=0))
    del winding
    repaired = 0
    others = [crossings_along(vertices, faces, grid, axis) for axis in (0, 1)]
    across: tuple[Crossings, ...] = ()
    if axis_of is not None:
        across = tuple(
            found[np.flatnonzero(axis_of[found.face] == axis)]
            for axis, found in enumerate([*others, kept])
        )
    if len(leaking):
        _vote(solid, leaking, others, grid)
        repaired = len(leaking)
    marked = _mark_thin_walls(solid, [*others, kept], grid)
    return Raster(grid, solid, marked, leaking, deepest, repaired, across)


def crossings_along(vertices: Floats, faces: Ints, grid: Grid, axis: int) -> Crossings:
    """Every crossing of the surface with the lines of grid points along an axis."""
    parts = list(_scan(vertices, faces, grid, axis))
    if not parts:
        return Crossings(
            np.zeros(0, np.int64),
            np.zeros(0, np.int32),
            np.zeros(0, np.int8),
            np.zeros(0, np.int32),
            np.zeros(0, np.float32),
        )
    joined = [np.concatenate(columns) for columns in zip(*parts, strict=True)]
    return Crossings(*joined)


def _winding_along_z(
    vertices: Floats, faces: Ints, grid: Grid
) -> tuple[NDArray[np.integer], Ints, Crossings]:
    """Winding numbers from one axis, the columns that do not close, and the crossings."""
    found = crossings_along(vertices, faces, grid, 2)
    column = found.line // grid.shape[2]
    columns = grid.shape[0] * grid.shape[1]
    closes = np.bincount(column, found.turn, minlength=columns) == 0
    most = int(np.bincount(column[found.turn > 0], minlength=1).max(initial=0))
    kind = np.int8 if most <= _NARROW_SUM else np.int32
    winding = np.zeros(grid.shape, kind)
    inside = found.step < grid.shape[2]
    np.add.at(
        winding.reshape(-1),
        found.line[inside] + found.step[inside],
        found.turn[inside].astype(kind),
    )
    np.cumsum(winding, axis=2, dtype=kind, out=winding)
    return winding, np.flatnonzero(~closes) * grid.shape[2], found


def _vote(solid: Bools, leaking: Ints, others: list[Crossings], grid: Grid) -> None:
    """Set the columns that do not close to what two of the three axes say."""
    votes = solid.astype(np.int8)
    for axis, found in enumerate(others):
        winding = np.zeros(grid.shape, np.int16)
        inside = found.step < grid.shape[axis]
        stride = grid.strides[axis]
        np.add.at(
            winding.reshape(-1),
            found.line[inside] + stride * found.step[inside],
            found.turn[inside].astype(np.int16),
        )
        np.cumsum(winding, axis=axis, dtype=np.int16, out=winding)
        votes += winding > 0
    column = solid.reshape(-1, grid.shape[2])
    rows = leaking // grid.shape[2]
    column[rows] = votes.reshape(-1, grid.shape[2])[rows] >= 2


def _mark_thin_walls(solid: Bools, axes: list[Crossings], grid: Grid) -> Ints:
    """Set free points solid where a step between two free points crosses the surface."""
    flat, marked = solid.reshape(-1), []
    for axis, found in enumerate(axes):
        stride = grid.strides[axis]
        between = (found.step > 0) & (found.step < grid.shape[axis])
        upper = found.line[between] + stride * found.step[between].astype(np.int64)
        free = ~flat[upper] & ~flat[upper - stride]
        upper, below = upper[free], found.below[between][free]
        nearer = np.where(below < 0.5, upper, upper - stride)
        marked.append(np.unique(nearer))
    # All axes are looked at before any point is set: a mark must not hide another crossing.
    every = np.unique(np.concatenate(marked))
    flat[every] = True
    return every


def _scan(
    vertices: Floats, faces: Ints, grid: Grid, axis: int
) -> Iterator[tuple[NDArray[np.generic], ...]]:
    """Cut facets into rows and rows into lines, a chunk at a time."""
    across, along = [a for a in range(3) if a != axis]
    local = (np.asarray(vertices) - grid.origin) / grid.pitch
    corner = np.ascontiguousarray(local[:, [across, along, axis]])
    rows_of = corner[:, 1][faces]
    first = np.clip(np.ceil(rows_of.min(axis=1)), 0, grid.shape[along]).astype(np.int64)
    last = np.clip(np.ceil(rows_of.max(axis=1)), 0, grid.shape[along]).astype(np.int64)
    high, low = (corner[:, 0][faces] for _ in range(2))
    touches = (high.max(axis=1) >= 0) & (low.min(axis=1) <= grid.shape[across] - 1)
    count = np.where(touches, last - first, 0)
    face = np.flatnonzero(count)
    for some in _chunks(count[face]):
        chosen = face[some]
        owner, place = _expand(count[chosen])
        row = first[chosen][owner] + place
        yield from _scan_rows(corner, faces, (chosen, owner), row, grid, axis)


def _scan_rows(
    corner: Floats, faces: Ints, of: tuple[Ints, Ints], row: Ints, grid: Grid, axis: int
) -> Iterator[tuple[NDArray[np.generic], ...]]:
    """Crossings of rows of lines with their facets.

    Parameters
    ----------
    of : facets, and for each row which of them it cuts
    """
    across, along = [a for a in range(3) if a != axis]
    face, plane = of[0][of[1]], _planes(corner, faces[of[0]])
    left, right, goes_down = _row_ends(corner, faces, of, row)
    begin = np.clip(np.ceil(left), 0, grid.shape[across]).astype(np.int64)
    count = np.clip(np.ceil(right), 0, grid.shape[across]).astype(np.int64) - begin
    kept = np.flatnonzero(count > 0)
    strides = grid.strides
    # Seen from the end of the axis the two remaining axes turn the other way round for y.
    into = -1 if axis != 1 else 1
    for some in _chunks(count[kept]):
        rows = kept[some]
        owner, place = _expand(count[rows])
        rows = rows[owner]
        column = begin[rows] + place
        height = _height(plane[of[1][rows]], column, row[rows])
        step = np.clip(np.ceil(height), 0, grid.shape[axis])
        yield (
            column * strides[across] + row[rows] * strides[along],
            step.astype(np.int32),
            np.where(goes_down[rows], into, -into).astype(np.int8),
            face[rows].astype(np.int32),
            (step - height).astype(np.float32),
        )


def _row_ends(
    corner: Floats, faces: Ints, of: tuple[Ints, Ints], row: Ints
) -> tuple[Floats, Floats, Bools]:
    """Between which two places does each row lie in its facet, and does the left edge go down?

    An edge takes part if its lower end is at or below the row and its upper end above it, and is
    cut by the same arithmetic whichever way round a facet runs along it.
    """
    face, owner = of
    left = np.full(len(row), np.inf)
    right = np.full(len(row), -np.inf)
    goes_down = np.zeros(len(row), bool)
    for side in range(3):
        begin, end = corner[faces[face, side]], corner[faces[face, (side + 1) % 3]]
        down = begin[:, 1] > end[:, 1]
        low = np.where(down[:, None], end, begin)
        high = np.where(down[:, None], begin, end)
        first, last = low[:, 1][owner], high[:, 1][owner]
        active = (first <= row) & (row < last)
        rise = np.where(active, last - first, 1.0)
        run = (high[:, 0] - low[:, 0])[owner]
        cut = low[:, 0][owner] + (row - first) / rise * run
        is_left = active & (cut < left)
        goes_down = np.where(is_left, down[owner], goes_down)
        left = np.where(is_left, cut, left)
        right = np.where(active & (cut > right), cut, right)
    return left, right, goes_down


def _planes(corner: Floats, faces: Ints) -> Floats:
    """(m, 8) of each facet a corner, its normal, and its lowest and highest place on the axis.

    Where a facet stands along the axis, lines meet it at its lowest place.
    """
    a, b, c = (corner[faces[:, side]] for side in range(3))
    normal = cross_product(b - a, c - a)
    low = np.minimum(np.minimum(a[:, 2], b[:, 2]), c[:, 2])
    high = np.maximum(np.maximum(a[:, 2], b[:, 2]), c[:, 2])
    steep = normal[:, 2] == 0
    normal[steep] = 0.0, 0.0, 1.0
    a[steep, 2] = low[steep]
    return np.column_stack([a, normal, low, high])


def _height(plane: Floats, column: Ints, row: Ints) -> Floats:
    """Where along the axis does each line meet the plane of its facet?"""
    x, y, z, right, up, out, low, high = plane.T
    height = z - (right * (column - x) + up * (row - y)) / out
    clipped: Floats = np.clip(height, low, high)
    return clipped


def _expand(count: Ints) -> tuple[Ints, Ints]:
    """Owner and place of each of the things that `count` says each owner has."""
    owner = np.repeat(np.arange(len(count)), count)
    return owner, np.arange(len(owner)) - np.repeat(np.cumsum(count) - count, count)


def _chunks(count: Ints) -> Iterator[slice]:
    """Slices that each hold about `_AT_ONCE` things."""
    total = np.cumsum(count)
    begin = 0
    while begin < len(count):
        done = total[begin - 1] if begin else 0
        end = max(int(np.searchsorted(total, done + _AT_ONCE)), begin + 1)
        yield slice(begin, end)
        begin = end
