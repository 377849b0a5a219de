"""How wide is a gap that the grid hardly shows, on a grid that is fine enough?

Where a gap is narrower than the grid can tell, the box around all that is seen of it is filled
again, finer, in a frame that fits it: the gap under a lid is flat, however the lid lies. What is
wide there belongs to one side or the other; each narrow place to the side it is nearer to. The
squares between both sides bound every ball that passes inside the box. Lengths in mm. Guarded by
tests/geometry/test_voids_fine.py.
"""

from __future__ import annotations

import edt
import numpy as np
from numpy.typing import NDArray
from scipy import ndimage
from scipy.sparse import coo_array
from scipy.sparse.csgraph import dijkstra

from lint3d.geometry.raster import Grid, rasterise
from lint3d.geometry.throats_clearance import Clearance
from lint3d.geometry.vectors import principal_axes
from lint3d.geometry.voids_cut import HIDDEN_RADIUS, Squares
from lint3d.geometry.voids_reach import chamber_at, index_in
from lint3d.geometry.voids_space import Space

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

#: Grid points at most.
_MOST_POINTS = 1.6e7
#: The grid is so fine that it hides nothing wider than this times the gap.
_HIDES = 0.98
#: What is wider than the gap by so many voxels on each side is no part of it.
_WIDER = 1.5
#: How far the box reaches beyond what is seen of the gap, times its width, and voxels of the
#: coarser grid.
_BEYOND, _BEYOND_VOXELS = 2.0, 2.0
#: Points whose chamber is looked up at most.
_MOST_LOOKED_UP = 500_000
#: Sides, as labels.
_ONE, _TWO = 1, 2


def widest_in_box(
    surface: tuple[Floats, Ints],
    clearance: Clearance,
    space: Space,
    seen: Floats,
    sides: tuple[Ints, Ints],
    passes: float,
) -> float:
    """Bound the balls that pass through a gap inside the box around what is seen of it.

    Parameters
    ----------
    surface : vertices (n, 3) mm and all faces (m, 3)
    clearance : of every facet
    space : the grid that the chambers are of
    seen : (k, 3) mm, places in the gap
    sides : chambers on both sides of it
    passes : mm, diameter of a ball that is known to pass

    Returns
    -------
    mm, no less than `passes`; infinite if such a fine grid would be too large, or tells nothing
    """
    if not fits_in_box(space, seen, passes):
        return np.inf
    frame = _Frame(clearance, principal_axes(seen))
    grid = Grid.around(*_box(space, seen, passes), _pitch(passes), 1)
    raster = rasterise(frame.turned(surface[0]), surface[1], grid)
    distance = edt.edt((~raster.solid).view(np.uint8), parallel=1)
    label = _wide_sides(space, sides, frame, grid, distance, passes)
    if not ((label == _ONE).any() and (label == _TWO).any()):
        return np.inf
    steps = _steps_between_sides(label, ~raster.solid)
    squares = Squares.of_steps(grid, steps)
    return 2 * squares.largest(frame, passes / 2)


def fits_in_box(space: Space, seen: Floats, passes: float) -> bool:
    """Is a grid of the box around a gap small enough, if it is fine enough?"""
    low, high = _box(space, seen, passes)
    return bool(np.prod((high - low) / _pitch(passes) + 4) <= _MOST_POINTS)


def _pitch(passes: float) -> float:
    return _HIDES * passes / 2 / HIDDEN_RADIUS


class _Frame:
    """Another frame, and the clearance in it."""

    def __init__(self, clearance: Clearance, axes: Floats) -> None:
        self.clearance, self.axes = clearance, axes

    def turned(self, points: Floats) -> Floats:
        turned: Floats = points @ self.axes.T
        return turned

    def back(self, points: Floats) -> Floats:
        back: Floats = points @ self.axes
        return back

    def most_near(self, points: Floats, reach: float) -> tuple[Floats, Floats]:
        """As of the clearance, for points (…, 3) in this frame."""
        return self.clearance.most_near(self.back(points), reach)


def _box(space: Space, seen: Floats, passes: float) -> tuple[Floats, Floats]:
    """Corners of the box around some places, in the frame that fits them."""
    seen = seen @ principal_axes(seen).T
    beyond = _BEYOND * passes + _BEYOND_VOXELS * space.grid.pitch
    return seen.min(axis=0) - beyond, seen.max(axis=0) + beyond


def _wide_sides(
    space: Space,
    sides: tuple[Ints, Ints],
    frame: _Frame,
    grid: Grid,
    distance: NDArray[np.float32],
    passes: float,
) -> NDArray[np.int8]:
    """Points that are wider than the gap and hang together with one side; 0 for all others.

    Nothing has a label if something wide hangs together with both.
    """
    wide = distance > passes / 2 / grid.pitch + _WIDER
    piece, count = ndimage.label(wide)
    label = np.zeros(grid.shape, np.int8)
    rows = np.flatnonzero(wide)
    some = rows[:: len(rows) // _MOST_LOOKED_UP + 1]
    index = np.stack(np.unravel_index(some, grid.shape), axis=-1)
    chamber = _coarse_chamber(space, frame.back(grid.point(index)), passes)
    piece_of = piece.reshape(-1)[some]
    of_piece = np.zeros(count + 1, np.int8)
    for number, side in ((_ONE, sides[0]), (_TWO, sides[1])):
        mine = np.unique(piece_of[np.isin(chamber, side)])
        if of_piece[mine].any():
            return label
        of_piece[mine] = number
    label.reshape(-1)[rows] = of_piece[piece.reshape(-1)[rows]]
    return label


def _coarse_chamber(space: Space, point: Floats, passes: float) -> Ints:
    """(k,) chamber that points lie well inside; −1 where that is not known.

    At the mouth of a gap the coarser grid's chambers may reach a little into one another.
    """
    index, is_inside = index_in(space, point)
    pitch = space.grid.pitch
    deep = space.distance[tuple(index.T)] * pitch > passes / 2 + 2 * pitch
    return np.where(deep | ~is_inside, chamber_at(space, point), -1)


def _steps_between_sides(label: NDArray[np.int8], free: Bools) -> Ints:
    """(k, 2) flat numbers of steps between the sides; narrow points join the nearer one."""
    flat, is_free = label.reshape(-1), free.reshape(-1)
    rows = np.flatnonzero(is_free & (flat == 0))
    number = np.full(flat.size, -1, np.int32)
    number[rows] = np.arange(len(rows), dtype=np.int32)
    starts, ends, across = [], [], []
    for axis in range(3):
        stride = int(np.prod(label.shape[axis + 1 :], dtype=np.int64))
        inner = [slice(None)] * 3
        inner[axis] = slice(0, -1)
        ahead = np.zeros(label.shape, bool)
        ahead[tuple(inner)] = True
        here = np.flatnonzero(is_free & ahead.reshape(-1))
        here = here[is_free[here + stride]]
        one, two = flat[here], flat[here + stride]
        across.append(here[(one > 0) & (two > 0) & (one != two)])
        across[-1] = np.column_stack([across[-1], across[-1] + stride])
        joins = (one == 0) | (two == 0)
        starts.append(here[joins])
        ends.append(here[joins] + stride)
    begin, end = np.concatenate(starts), np.concatenate(ends)
    # Two nodes more stand for the sides.
    to_side = len(rows) - 1
    node = [
        np.where(flat[at] > 0, flat[at].astype(np.int64) + to_side, number[at])
        for at in (begin, end)
    ]
    graph = coo_array(
        (np.ones(len(begin), np.int8), (node[0], node[1])), shape=(len(rows) + 2,) * 2
    ).tocsr()
    graph.data[:] = 1
    found = dijkstra(
        graph,
        directed=False,
        indices=[len(rows), len(rows) + 1],
        unweighted=True,
        return_predecessors=True,
        min_only=True,
    )
    source = np.asarray(found[2])[: len(rows)]
    side = flat.copy()
    side[rows] = np.where(source < 0, 0, source - len(rows) + 1)
    pair = np.column_stack([begin, end])
    one, two = side[begin], side[end]
    return np.vstack([*across, pair[(one > 0) & (two > 0) & (one != two)]])
