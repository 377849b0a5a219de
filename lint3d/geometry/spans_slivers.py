"""Whose plane does a sliver lie in?

Where solids were united, slivers lie in flat sides, some steps of the coordinates high. Rounding
tilts them: told by its own normal, the plane of a sliver may pass far beside the side that it lies
in. A neighbour that is higher and in whose plane all its corners lie tells that plane better.
Lengths in mm. Tested by tests/geometry/test_spans_slivers.py.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lint3d.geometry.spans_surface import SpanSurface

Ints = NDArray[np.int64]

STEADY = 1e4  # steps of the coordinates: a facet that high is tilted by less than 0.01 degrees
IN_PLANE = 2.0  # steps
CHAIN = 8  # slivers side by side


def facets_of_planes(surface: SpanSurface, facet: Ints) -> Ints:
    """(k,) the facets of which the planes are those of some: themselves, or of slivers higher ones.

    Parameters
    ----------
    facet : (k,) int64, facets of the surface, also several times
    """
    asked, of = np.unique(facet, return_inverse=True)
    host = _hosts(surface, asked)
    found: Ints = host[of]
    return found


def _hosts(surface: SpanSurface, asked: Ints) -> Ints:
    """The same of facets that are ascending, none twice."""
    step = surface.resolution
    height = 2 * surface.areas / surface.longest
    host = asked.copy()
    row = np.full(len(surface.faces), -1)
    row[asked] = np.arange(len(asked))
    sliver = np.flatnonzero(height[asked] < STEADY * step)
    for _ in range(CHAIN):
        begun = host[sliver]
        for side in range(3):
            beside = surface.neighbours[asked[sliver], side]
            other = np.where(row[beside] >= 0, host[row[beside]], beside)
            ahead = (beside >= 0) & (height[other] > height[host[sliver]])
            mine, other = sliver[ahead], other[ahead]
            corners = surface.corners[asked[mine]] - surface.corners[other, :1]
            off = np.einsum("fcj,fj->fc", corners, surface.normals[other])
            within = np.abs(off).max(axis=1, initial=0.0) <= IN_PLANE * step
            along = np.einsum("ij,ij->i", surface.normals[asked[mine]], surface.normals[other])
            host[mine[within & (along > 0)]] = other[within & (along > 0)]
        if (host[sliver] == begun).all():
            break
    return host
