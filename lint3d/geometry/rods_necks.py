"""Does the outline of a hole get wider from everywhere to one place, without a neck between?

Out of an arm of a star a ball gets to the middle, and the star is one hole as wide as that. A
groove along a wide bore, or a slot that joins two bores, has room of its own behind a narrower
place. The outline is worn down by growing balls: what falls apart has a neck. Lengths in mm. Tested
by tests/geometry/test_rods_necks.py.

References
----------
Erosion by a disc: Serra, Image Analysis and Mathematical Morphology (1982).
"""

from __future__ import annotations

import numpy as np
from manifold3d import CrossSection, JoinType
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import depth_first_order
from scipy.spatial import cKDTree

Floats = NDArray[np.float64]

GROWS = 1.08  # each ball is so much larger than the one before
BALLS_MOST = 60
LEAST = 0.25  # of the width: the first ball, for a groove may open behind a neck that narrow
STRAIGHT = 1e-3  # of the width: corners that stand out less are left out
CRUMB = 0.01  # of the ball's area: smaller bits are left by rounding
FLATS = 32  # of a circle as the balls have it


def has_neck(ends: Floats, width: float) -> bool:
    """Does an outline fall apart, worn down by growing balls? True if it is no closed line.

    Parameters
    ----------
    ends : (k, 2, 2) float64, mm, of its sides, in any order
    width : mm, of the hole where it is narrowest
    """
    line = _in_order(ends)
    if line is None or width <= 0:
        return True
    whole = CrossSection([line])
    if whole.area() < 0 or whole.is_empty():
        whole = CrossSection([line[::-1]])
    # A flat that is cut into hundreds of facets is one side.
    whole = whole.simplify(STRAIGHT * width)
    radius = LEAST * width / 2
    for _ in range(BALLS_MOST):
        worn = whole.offset(-radius, JoinType.Round, circular_segments=FLATS)
        bits = [bit for bit in worn.decompose() if bit.area() > CRUMB * radius * radius]
        if len(bits) != 1:
            return len(bits) > 1
        radius *= GROWS
    return True


def _in_order(ends: Floats) -> Floats | None:
    """(k, 2) corners of a closed line in order; None if the sides make no such."""
    count = len(ends)
    if count < 3:
        return None
    # Of each end the nearest end of another side is the same corner.
    every = ends.transpose(1, 0, 2).reshape(-1, 2)
    near = cKDTree(every).query(every, k=2)[1]
    own = np.arange(2 * count)
    other = np.where(near[:, 0] == own, near[:, 1], near[:, 0])
    if (other[other] != own).any() or (other % count == own % count).any():
        return None
    links = coo_array((np.ones(2 * count), (own % count, other % count)), (count, count)).tocsr()
    order = depth_first_order(links, 0, return_predecessors=False)
    if len(order) != count:
        return None
    after = np.roll(order, -1)
    first = other[order] % count == after
    last = other[order + count] % count == after
    if not (first | last).all():
        return None
    return np.asarray(np.where(first[:, None], ends[order, 0], ends[order, 1]))
