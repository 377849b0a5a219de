"""Whose plane does a sliver lie in?

Where solids were united, slivers lie in flat sides, some steps of the coordinates high. Rounding
tilts them: told by its own normal, the plane of a sliver may pass far beside the side that it lies
in. A neighbour that is higher and in whose plane all its corners lie tells that plane better.
Lengths in mm. Tested by tests/geometry/test_spans_slivers.py.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

STEADY = 1e4  # steps of the coordinates: a facet that high is tilted by less than 0.01 degrees
IN_PLANE = 2.0  # steps
CHAIN = 8  # slivers side by side


def facets_of_planes(
    corners: Floats, normals: Floats, height: Floats, neighbours: Ints, resolution: float
) -> Ints:
    """(k,) the facet of which the plane is that of each: itself, or of a sliver a higher one.

    Parameters
    ----------
    corners : (k, 3, 3) float64, mm
    normals : (k, 3) float64, unit
    height : (k,) float64, mm, least height of each facet
    neighbours : (k, 3) int64, -1 where there is none
    resolution : mm, the step of the coordinates
    """
    host = np.arange(len(corners))
    sliver = np.flatnonzero(height < STEADY * resolution)
    for _ in range(CHAIN):
        before = host[sliver].copy()
        for side in range(3):
            beside = neighbours[sliver, side]
            other = host[beside]
            ahead = (beside >= 0) & (height[other] > height[host[sliver]])
            mine, other = sliver[ahead], other[ahead]
            off = np.einsum("fcj,fj->fc", corners[mine] - corners[other, :1], normals[other])
            within = np.abs(off).max(axis=1, initial=0.0) <= IN_PLANE * resolution
            within &= np.einsum("ij,ij->i", normals[mine], normals[other]) > 0
            host[mine[within]] = other[within]
        if (host[sliver] == before).all():
            break
    return host
