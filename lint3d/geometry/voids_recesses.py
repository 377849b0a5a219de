"""Where does a ball of a given size not get, and how far in does that go?

Blind bores, slots and ducts of constant width are no pockets: nothing in them is wider than their
mouth. They are found as the free space that no ball of the given size reaches from the outside.
With a larger ball the same question tells how far the support lies from where a bath reaches it
freely.
Lengths in mm. Guarded by tests/geometry/test_voids_recesses.py.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import edt
import numpy as np
from numpy.typing import NDArray
from scipy import ndimage
from scipy.sparse import coo_array
from scipy.sparse.csgraph import dijkstra

from lint3d.geometry.throats import narrowest
from lint3d.geometry.throats_clearance import Clearance
from lint3d.geometry.voids_space import MARGIN, Space

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

#: A way over a grid's 26 directions is at most this much longer than the straight one.
_DETOUR = 1.087
#: Recesses that are looked at, the deepest first, and grid points in each at most.
_MOST_RECESSES, _MOST_POINTS = 200, 4_000_000


@dataclass(frozen=True, eq=False)
class Recess:
    """Free space that a ball does not reach from the outside."""

    depth: float
    """mm, how far the farthest place lies from where the ball still gets, along the space"""
    depth_lower: float
    depth_upper: float
    width: float
    """mm, largest ball in it, along the way to the farthest place"""
    throat: float
    """mm, narrowest place of that way"""
    volume: float
    """mm3, by the grid"""
    position: Floats
    """(3,) mm, the farthest place"""
    mouth: Floats
    """(3,) mm, where the way leaves the space that the ball reaches"""
    way: Floats
    """(n, 3) mm, from the farthest place to the mouth"""
    way_width: Floats
    """(n,) mm"""
    nodes: tuple[int, ...]
    """chambers it lies in; 0 alone where it is no part of a pocket"""

    @property
    def ratio(self) -> float:
        """Depth over width."""
        return self.depth / self.width if self.width > 0 else np.inf


def find_recesses(
    space: Space, clearance: Clearance, ball: float, least_ratio: float = 1.0
) -> list[Recess]:
    """Find what a ball does not reach from the outside, the deepest first.

    Parameters
    ----------
    ball : mm, diameter
    least_ratio : recesses less deep than this times the ball's diameter are passed over: inner
        edges and corners are no recesses

    Returns
    -------
    list of Recess : those whose narrowest place is below the ball's diameter
    """
    pitch = space.grid.pitch
    hidden = _hidden(space, ball / 2 / pitch)
    label, count = ndimage.label(hidden, structure=np.ones((3, 3, 3)))
    found = []
    boxes = ndimage.find_objects(label)
    size = np.bincount(label.reshape(-1), minlength=count + 1)
    reach = [
        (-max(side.stop - side.start for side in box), number)
        for number, box in enumerate(boxes, 1)
    ]
    for longest, number in sorted(reach)[:_MOST_RECESSES]:
        if -longest * np.sqrt(3) * pitch < least_ratio * ball or size[number] > _MOST_POINTS:
            continue
        recess = _recess(space, clearance, label, number, boxes[number - 1], ball)
        if recess is not None and recess.depth >= least_ratio * ball and recess.throat < ball:
            found.append(recess)
    return sorted(found, key=lambda recess: (-recess.depth, *recess.position))


def _hidden(space: Space, radius: float) -> Bools:
    """Free points that a ball does not cover wherever it gets from the outside; radius in voxels.

    A voxel is taken off what the ball reaches, so that nothing is missed; what turns out to be wide
    enough is dropped later, by exact widths.
    """
    # A ball comes from where it touches nothing: there must be room for it around the part.
    pad = max(int(np.ceil(radius)) + 2 - MARGIN, 0)
    free = np.pad(~space.raster.solid, pad, constant_values=True)
    distance = space.distance if pad == 0 else edt.edt(free.view(np.uint8), parallel=1)
    wide = distance >= radius + 1.0
    del distance
    for axis in range(3):
        for end in (0, -1):
            wide[(slice(None),) * axis + (end,)] = True
    label, _ = ndimage.label(wide)
    reached = label == label[0, 0, 0]
    del label, wide
    gap = edt.edt((~reached).view(np.uint8), parallel=1)
    hidden: Bools = (gap > radius + 1.0) & free
    inner = tuple(slice(pad, size - pad) for size in hidden.shape)
    return hidden[inner]


def _recess(
    space: Space,
    clearance: Clearance,
    label: NDArray[np.int32],
    number: int,
    box: tuple[slice, ...],
    ball: float,
) -> Recess | None:
    """Measure one recess; None if it has no mouth on the grid."""
    shape = space.grid.shape
    grown = tuple(
        slice(max(side.start - 1, 0), min(side.stop + 1, shape[axis]))
        for axis, side in enumerate(box)
    )
    inside = label[grown] == number
    free = ~space.raster.solid[grown]
    around = ndimage.binary_dilation(inside) & free & ~inside
    if not around.any():
        return None
    points = np.flatnonzero(inside | around)
    far, before = _farthest(inside | around, points, around.reshape(-1)[points])
    reached = np.isfinite(far)
    if not reached.any():
        return None
    last = int(np.argmax(np.where(reached, far, -1.0)))
    line = [last]
    while before[line[-1]] >= 0:
        line.append(int(before[line[-1]]))
    local = np.stack(np.unravel_index(points[line], inside.shape), axis=-1)
    path = space.grid.point(local + [side.start for side in grown])
    pitch = space.grid.pitch
    outward = _outward(space, local[-1] + [side.start for side in grown])
    throat = narrowest(clearance, np.vstack([path, outward]), pitch)
    way = throat.way.point
    inner = (
        len(way)
        if len(outward) == 0
        else max(int(np.argmin(np.linalg.norm(way - path[-1], axis=1))), 1)
    )
    width = throat.way.width
    graph = float(far[last]) * pitch
    basin = space.basins.label[grown][inside]
    nodes = np.unique(space.chambers.of_basin[basin])
    volume = float(np.count_nonzero(inside)) * pitch**3
    return Recess(
        graph / _DETOUR**0.5,
        max(graph / _DETOUR - pitch, 0.0),
        graph + ball / 2 + pitch,
        _width_inside(way[: inner + 1], width[: inner + 1], ball),
        _narrowest_past_bottom(width[: inner + 1]),
        volume,
        path[0],
        path[-1],
        way[: inner + 1],
        width[: inner + 1],
        tuple(nodes.tolist()),
    )


def _width_inside(way: Floats, width: Floats, ball: float) -> float:
    """The largest width of a way before it comes near the mouth, where it flares."""
    gap = np.linalg.norm(way - way[-1], axis=1)
    inside = gap > min(ball, 0.5 * float(gap.max(initial=0.0)))
    return float(width[inside].max()) if inside.any() else float(width.max())


def _narrowest_past_bottom(width: Floats) -> float:
    """The narrowest place of a way after it has come off the bottom it starts at."""
    off = int(np.argmax(width >= 0.9 * np.maximum.accumulate(width)[-1] * 0.5))
    peak = off
    while peak + 1 < len(width) and width[peak + 1] >= width[peak]:
        peak += 1
    return float(width[peak:].min())


def _outward(space: Space, index: Ints) -> Floats:
    """(n, 3) mm, on from the mouth to the outside, at most a few voxels."""
    flat = int(np.ravel_multi_index(tuple(index), space.grid.shape))
    return space.points(np.array(space.climb(flat)[1:6], np.int64).reshape(-1))


def _farthest(inside: Bools, points: Ints, is_start: Bools) -> tuple[Floats, Ints]:
    """Distance of each point from the nearest start, voxels, and the point before it on the way."""
    number = np.full(inside.size, -1, np.int64)
    number[points] = np.arange(len(points))
    at = np.stack(np.unravel_index(points, inside.shape), axis=-1)
    begin, end, length = [], [], []
    for offset in _half_of_26():
        there = at + offset
        fits = ((there >= 0) & (there < inside.shape)).all(axis=1)
        other = np.full(len(points), -1)
        other[fits] = number[np.ravel_multi_index(tuple(there[fits].T), inside.shape)]
        rows = np.flatnonzero(other >= 0)
        begin.append(rows)
        end.append(other[rows])
        length.append(np.full(len(rows), np.linalg.norm(offset)))
    graph = coo_array(
        (np.concatenate(length), (np.concatenate(begin), np.concatenate(end))),
        shape=(len(points), len(points)),
    ).tocsr()
    far, before, _ = dijkstra(
        graph,
        directed=False,
        indices=np.flatnonzero(is_start),
        min_only=True,
        return_predecessors=True,
    )
    return far, before


def _half_of_26() -> Iterator[Ints]:
    for x in (0, 1):
        for y in (-1, 0, 1):
            for z in (-1, 0, 1):
                if (x, y, z) > (0, 0, 0):
                    yield np.array([x, y, z])
