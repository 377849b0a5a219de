"""Which straight pieces shorten a way through the points of a grid?

A way that climbs from top to top runs along the ridges of the distance field and may go round a
whole chamber. Where the straight line between two of its points is as free as the way is anyhow,
it takes the place of what lies between. Lengths in mm. Guarded by
tests/geometry/test_voids_straight.py.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lint3d.geometry.raster import Grid
from lint3d.geometry.throats_clearance import Clearance

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

#: A straight line keeps this far from material points, voxels, or as far as the way does where it
#: is narrowest: a wall may pass a step beside each, and the line half a diagonal beside the points
#: it is looked up at.
_APART = 2.0
#: Points that a line is looked up at, voxels apart.
_APART_ALONG = 0.5
#: A line that is not free is tried again with an end this much nearer along the way.
_SHORTER = 0.8


def straightened(
    way: Floats, grid: Grid, distance: NDArray[np.float32], clearance: Clearance
) -> Floats:
    """A way with straight pieces where nothing is in their way.

    Parameters
    ----------
    way : (n, 3) mm, free points of the grid, each at most a diagonal from the next
    grid, distance : voxels from each free point to the nearest material point
    clearance : of every facet

    Returns
    -------
    (k, 3) mm from the first to the last point, at most about a voxel apart; no narrower than the
    way at its narrowest, or by no more than the grid can tell, wherever it has been changed
    """
    if len(way) < 3:
        return way
    level = distance[tuple(grid.index(way).T)]
    least = max(float(level.min()), _APART)
    kept = [0]
    while kept[-1] < len(way) - 1:
        kept.append(_farthest(way, kept[-1], level, least, grid, distance))
    if len(kept) == len(way):
        return way
    pieces = [way[:1]]
    for one, two in zip(kept[:-1], kept[1:], strict=True):
        piece = _line(way[one], way[two], grid.pitch)
        if two > one + 1 and not clearance.is_free_along(piece):
            piece = way[one : two + 1]
        pieces.append(piece[1:])
    return np.vstack(pieces)


def _farthest(
    way: Floats,
    start: int,
    level: NDArray[np.float32],
    least: float,
    grid: Grid,
    distance: NDArray[np.float32],
) -> int:
    """The row that a straight line leads to from `start`, far on if it can be."""
    if level[start] < least:
        return start + 1
    ahead = len(way) - 1 - start
    while ahead > 1:
        end = start + ahead
        if level[end] >= least:
            line = _line(way[start], way[end], _APART_ALONG * grid.pitch)
            if distance[tuple(grid.index(line).T)].min() >= least:
                return end
        ahead = min(int(ahead * _SHORTER), ahead - 1)
    return start + 1


def _line(start: Floats, end: Floats, apart: float) -> Floats:
    count = max(int(np.ceil(np.linalg.norm(end - start) / apart)), 1) + 1
    share = np.linspace(0.0, 1.0, count)[:, None]
    line: Floats = start + share * (end - start)
    return line
