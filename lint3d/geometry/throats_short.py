"""Which line along the points of a way is the shortest that a ball can take?

In a wide place a way may run forth and back: each of its points is in the middle of a plane of its
own. Between points about which there is room for it the ball slides straight. Lengths in mm.
Guarded by tests/geometry/test_throats_length.py.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lint3d.geometry.throats_route import MOST_FOLDED, lens_between, tolerance_of

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

#: Points about which the clearance is wider than the ball by less than this share are in a neck
#: that leaves no room to run forth and back.
_WIDER = 0.01


def shortest_line(point: Floats, radii: Floats, radius: float) -> Floats:
    """(k, 3) those points of a way, from the first to the last, between which it is the shortest.

    Parameters
    ----------
    point, radii : (n, 3) and (n,) mm, the way and its clearance
    radius : mm, of the ball; it takes no straight line that is not free for it
    """
    wide = np.concatenate([[False], radii > (1 + _WIDER) * radius, [False]])
    ends = np.flatnonzero(np.diff(wide.astype(np.int8)))
    kept = np.ones(len(point), bool)
    for begin, end in zip(ends[::2].tolist(), ends[1::2].tolist(), strict=True):
        # With the last points of the neck on both sides.
        first, last = max(begin - 1, 0), min(end + 1, len(point))
        if last - first > 2:
            kept[first:last] = False
            kept[first + _shortest_chain(point[first:last], radii[first:last], radius)] = True
    return point[kept]


def _shortest_chain(point: Floats, radii: Floats, radius: float) -> Ints:
    """Rows from the first to the last point: from each to the next is the old step, or is free."""
    floor = radius - tolerance_of(radius)
    far, before = np.zeros(len(point)), np.zeros(len(point), np.int64)
    for row in range(1, len(point)):
        first = max(row - MOST_FOLDED, 0)
        gap = np.linalg.norm(point[first:row] - point[row], axis=1)
        is_free = lens_between(gap, radii[first:row], radii[row]) >= floor
        is_free[-1] = True
        length = np.where(is_free, far[first:row] + gap, np.inf)
        best = int(np.argmin(length))
        far[row], before[row] = length[best], first + best
    rows = [len(point) - 1]
    while rows[-1] > 0:
        rows.append(int(before[rows[-1]]))
    return np.array(rows[::-1], np.int64)
