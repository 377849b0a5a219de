"""How wide are the gaps in an open surface?

Edges with a face on one side only hang together in rims. A ball wider than a rim is across, at its
narrower side, does not get through what it surrounds. Lengths in mm. Guarded by
tests/geometry/test_open_rims.py.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lint3d.geometry.components import connected_groups
from lint3d.geometry.vectors import principal_axes

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


def gap_widths(vertices: Floats, edges: Ints) -> Floats:
    """How wide is each gap, across its narrower side?

    Parameters
    ----------
    vertices : (n, 3) mm
    edges : (k, 2) rows of vertices, edges that one face uses

    Returns
    -------
    (g,) mm, one for each group of edges that hang together, the widest first; 0 for a slit between
    edges that lie on each other

    Examples
    --------
    A rectangle of 3 mm by 1 mm:

    >>> corners = np.array([[0.0, 0, 0], [3, 0, 0], [3, 1, 0], [0, 1, 0]])
    >>> gap_widths(corners, np.array([[0, 1], [1, 2], [2, 3], [3, 0]])).round(6)
    array([1.])
    """
    used, compact = np.unique(edges, return_inverse=True)
    pair = compact.reshape(-1, 2)
    group = connected_groups(len(used), pair[:, 0], pair[:, 1])
    order = np.argsort(group, kind="stable")
    begin = np.flatnonzero(np.diff(group[order], prepend=-1))
    rims = np.split(vertices[used[order]], begin[1:]) if len(used) else []
    return np.sort(np.array([_across(rim) for rim in rims]))[::-1]


def _across(points: Floats) -> float:
    """Extent of points along the second of their principal directions, mm."""
    return float(np.sort(np.ptp(points @ principal_axes(points).T, axis=0))[1])
