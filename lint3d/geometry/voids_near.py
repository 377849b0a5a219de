"""Which bodies can enclose space together?

Space between bodies lies within the convex hull of one of them, or between hulls that are near each
other: bodies whose hulls stand apart enclose nothing together. Hulls turn with the bodies, so the
answer is the same in every frame; boxes only spare work. Lengths in mm. Guarded by
tests/geometry/test_voids_near.py.

References
----------
E. G. Gilbert, D. W. Johnson, S. S. Keerthi, "A fast procedure for computing the distance between
complex objects in three-dimensional space", IEEE Journal on Robotics and Automation 4 (1988) 193.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import combinations

import numpy as np
from numpy.typing import NDArray
from rtree import index
from scipy.spatial import ConvexHull, QhullError

from lint3d.geometry.components import connected_groups

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

#: Steps of the search for the distance of two hulls, and how exact it need be, share of the size.
_MOST_STEPS, _EXACT = 100, 1e-9


def near_groups(bodies: Sequence[Floats], near: float) -> Ints:
    """Put bodies together whose convex hulls are no farther apart than `near`.

    Parameters
    ----------
    bodies : (n, 3) mm, the corners of each
    near : mm

    Returns
    -------
    (b,) number of the group that each body is in, in the order of the bodies
    """
    if len(bodies) == 1:
        return np.zeros(1, np.int64)
    low = np.array([corners.min(axis=0) for corners in bodies]) - near / 2
    high = np.array([corners.max(axis=0) for corners in bodies]) + near / 2
    boxes = [(i, (*low[i], *high[i]), None) for i in range(len(bodies))]
    tree = index.Index(iter(boxes), properties=index.Property(dimension=3))
    hulls: dict[int, Floats] = {}
    one, two = [], []
    for i, box, _ in boxes:
        for j in tree.intersection(box):
            if j <= i:
                continue
            for k in (i, j):
                if k not in hulls:
                    hulls[k] = _hull_corners(bodies[k])
            if are_near(hulls[i], hulls[j], near):
                one.append(i)
                two.append(j)
    return connected_groups(len(bodies), np.array(one, np.int64), np.array(two, np.int64))


def are_near(one: Floats, two: Floats, near: float) -> bool:
    """Are the convex hulls of two sets of points no farther apart than `near`?

    Looks for the point nearest to the origin in the differences of both hulls. Where rounding
    leaves that open they count as near.
    """
    slack = _EXACT * (float(np.ptp(one, axis=0).max()) + float(np.ptp(two, axis=0).max()))
    simplex = (one[0] - two[0])[None]
    for _ in range(_MOST_STEPS):
        simplex, point = _nearest_to_origin(simplex)
        length = float(np.linalg.norm(point))
        if length <= near + slack:
            return True
        toward = point / length
        corner = one[np.argmin(one @ toward)] - two[np.argmax(two @ toward)]
        least = float(corner @ toward)
        if least > near + slack:
            return False
        if length - least <= slack or len(simplex) == 4:
            break
        simplex = np.vstack([simplex, corner])
    return True


def _nearest_to_origin(simplex: Floats) -> tuple[Floats, Floats]:
    """The part of a simplex that holds its point nearest to the origin, and that point."""
    best, least = simplex[:1], np.inf
    nearest = simplex[0]
    for count in range(1, len(simplex) + 1):
        for rows in combinations(range(len(simplex)), count):
            part = simplex[list(rows)]
            share = _shares(part)
            if share is None or share.min() < 0:
                continue
            point = share @ part
            length = float(np.linalg.norm(point))
            if length < least:
                best, nearest, least = part, point, length
    return best, nearest


def _shares(part: Floats) -> Floats | None:
    """Weights of corners for the point of their flat nearest to the origin; None if it has none."""
    if len(part) == 1:
        return np.ones(1)
    sides = part[1:] - part[0]
    gram = sides @ sides.T
    try:
        rest = np.linalg.solve(gram, -sides @ part[0])
    except np.linalg.LinAlgError:
        return None
    return np.concatenate([[1.0 - rest.sum()], rest])


def _hull_corners(corners: Floats) -> Floats:
    """The corners that are on the convex hull; all of them where the body is flat."""
    try:
        rows = ConvexHull(corners).vertices
    except QhullError:
        return corners
    return corners[rows]
