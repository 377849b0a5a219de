"""What is the widest way between two points of a small box, on a finer grid?

For necks that the grid of the whole part shows badly or not at all: only the box around them is
filled again, finer. Lengths in mm. Guarded by tests/geometry/test_voids_narrow.py.
"""

from __future__ import annotations

import edt
import numpy as np
from numpy.typing import NDArray
from scipy import ndimage
from scipy.sparse import csr_array
from scipy.sparse.csgraph import breadth_first_order

from lint3d.geometry.components import line_back
from lint3d.geometry.raster import Grid, rasterise

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

#: Ways are looked for first that are no longer than the straight one by this, and a few steps.
_OFTEN_LONGER, _A_FEW = 1.2, 12


def box_grid(low: Floats, high: Floats, pitch: float, most: float) -> Grid:
    """A grid over a box, made coarser until it has at most `most` points."""
    size = np.maximum(high - low, pitch)
    while np.prod(size / pitch + 4) > most:
        pitch *= 1.1
    return Grid.around(low, high, pitch, 1)


def widest_way(
    vertices: Floats, faces: Ints, grid: Grid, start: Floats, goal: Floats
) -> Floats | None:
    """The way whose narrowest place is widest, and among these a short one.

    Parameters
    ----------
    vertices, faces : mm; every face of the surface, for what lies below the box counts
    grid : of the box
    start, goal : (3,) mm, in the free space and in the box

    Returns
    -------
    (n, 3) mm or None if no way leads from one to the other inside the box on this grid
    """
    raster = rasterise(vertices, faces, grid)
    free = ~raster.solid
    distance = edt.edt(free.view(np.uint8), parallel=1)
    ends = [_free_point(grid, distance, point) for point in (start, goal)]
    if ends[0] is None or ends[1] is None:
        return None
    one, two = ends[0], ends[1]
    if not _joined(free, one, two):
        return None
    level = _widest_level(distance, one, two)
    line = _short_way(distance >= level, one, two)
    middle = grid.point(np.stack(np.unravel_index(line, grid.shape), axis=-1))
    return np.vstack([start, middle, goal])


def _free_point(grid: Grid, distance: NDArray[np.float32], point: Floats) -> int | None:
    """The free grid point beside a point, the widest of those within a voxel."""
    near = np.floor((point - grid.origin) / grid.pitch).astype(np.int64)
    corners = near + np.stack(np.meshgrid([0, 1], [0, 1], [0, 1]), axis=-1).reshape(-1, 3)
    corners = np.clip(corners, 0, np.array(grid.shape) - 1)
    flat = np.ravel_multi_index(tuple(corners.T), grid.shape)
    level = distance.reshape(-1)[flat]
    return int(flat[np.argmax(level)]) if level.max() > 0 else None


def _joined(free: Bools, one: int, two: int) -> bool:
    label = ndimage.label(free)[0].reshape(-1)
    return bool(label[one] == label[two] != 0)


def _widest_level(distance: NDArray[np.float32], one: int, two: int) -> float:
    """The largest distance to the material that both ends stay joined at."""
    flat = distance.reshape(-1)
    levels = np.unique(distance[distance > 0])
    levels = levels[levels <= min(flat[one], flat[two])]
    low, high = 0, len(levels) - 1
    while low < high:
        middle = (low + high + 1) // 2
        if _joined(distance >= levels[middle], one, two):
            low = middle
        else:
            high = middle - 1
    return float(levels[low])


def _short_way(wide: Bools, one: int, two: int) -> Ints:
    """Flat numbers of a way of fewest steps through the given points, which join its ends.

    A way of so many steps keeps to the points that are so near to both its ends together, counted
    along the axes: most points need not be looked at.
    """
    off = _steps_from(wide.shape, one) + _steps_from(wide.shape, two)
    least = int(off.min())
    most = int(_OFTEN_LONGER * least) + _A_FEW
    while True:
        line = _fewest_steps(wide & (off <= most), one, two)
        if line is not None and len(line) - 1 <= most:
            return line
        assert line is not None or most < off.max(), "both ends are joined"
        most = len(line) - 1 if line is not None else least + 2 * (most - least)


def _steps_from(shape: tuple[int, ...], point: int) -> NDArray[np.int32]:
    """Steps along the axes from one point of a grid to each."""
    at = np.unravel_index(point, shape)
    far = [
        np.abs(np.arange(n, dtype=np.int32) - np.int32(i)) for n, i in zip(shape, at, strict=True)
    ]
    found: NDArray[np.int32] = far[0][:, None, None] + far[1][:, None] + far[2]
    return found


def _fewest_steps(wide: Bools, one: int, two: int) -> Ints | None:
    """Flat numbers of a way of fewest steps through the given points; None if there is none."""
    rows = np.flatnonzero(wide)
    number = np.full(wide.size, -1, np.int64)
    number[rows] = np.arange(len(rows))
    starts, ends = [], []
    for axis in range(3):
        stride = int(np.prod(wide.shape[axis + 1 :]))
        at = (rows // stride) % wide.shape[axis] + 1 < wide.shape[axis]
        here = rows[at]
        there = number[here + stride]
        both = there >= 0
        starts.append(number[here[both]])
        ends.append(there[both])
    begin, end = np.concatenate(starts), np.concatenate(ends)
    graph = csr_array((np.ones(len(begin), np.int8), (begin, end)), shape=(len(rows),) * 2)
    before = breadth_first_order(graph, int(number[one]), directed=False)[1]
    line = line_back(before, int(number[two]))
    return rows[line[::-1]] if line[-1] == number[one] else None
