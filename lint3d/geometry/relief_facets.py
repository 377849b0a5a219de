"""How high does a cap stand above the very facets that its foot lies on?

A polynomial rounds off what is folded: a drum of few facets, or the edge between two faces that a
letter runs over. Where the cap is folded like its base, each of its facets has one beside the foot
that is parallel to it, and the distance of both planes is the height. Lengths in mm, angles in
radians. Guarded by tests/geometry/test_relief_facets.py.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from lint3d.geometry.patches import Folds
from lint3d.geometry.relief_base import quantile

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

#: Facets that lean against each other by less are parallel: a drum of 256 facets turns by 0.0245 at
#: each edge.
PARALLEL = 0.006
#: So much of the cap must have a parallel facet beside the foot: the least share.
PAIRED = 0.8
#: What both ways of measuring tell differs by no more than this share.
ALIKE = 0.35
#: More pairs of facets than this are not compared: such facets are fine, and the polynomial fits.
MOST_PAIRS = 2_000_000


@dataclass(frozen=True, eq=False)
class FacetPlanes:
    """Planes of the facets beside a foot, all bent the same way: they enclose a convex space, or
    leave one free."""

    normal: Floats
    """(p, 3) unit"""
    offset: Floats
    """(p,) mm along each normal"""
    is_convex: bool
    doubt: float
    """mm: 95 % of the foot lies nearer to them."""

    def foot(self, points: Floats) -> tuple[Floats, Floats]:
        """(n,) mm above the planes, positive outside, and (n, 3) normals of the nearest ones.

        A surface with the planes' own folds, parallel to them, is everywhere equally high.
        """
        height = points @ self.normal.T - self.offset
        nearest = height.argmax(axis=1) if self.is_convex else height.argmin(axis=1)
        return height[np.arange(len(points)), nearest], self.normal[nearest]


def facet_planes(
    folds: Folds, start: Ints, end: Ints, beside: Ints, most_doubt: float
) -> FacetPlanes | None:
    """The planes that a foot lies on.

    Parameters
    ----------
    folds : angles of a surface
    start, end : vertices of the edges of the foot
    beside : faces of the base that touch the foot
    most_doubt : mm

    Returns
    -------
    FacetPlanes, or None where the foot strays farther from them: a saddle, or noise
    """
    # A sliver has the plane of its neighbour, and at a foot that may be a wall.
    beside = beside[folds.is_plain[beside]]
    if not len(beside) or len(beside) * len(start) > MOST_PAIRS:
        return None
    normal = folds.normal[beside]
    offset = np.einsum("ij,ij->i", normal, folds.vertices[folds.faces[beside]].mean(axis=1))
    length = np.linalg.norm(folds.vertices[end] - folds.vertices[start], axis=1)
    height = folds.vertices[start] @ normal.T - offset
    found = None
    for is_convex in (True, False):
        off = height.max(axis=1) if is_convex else height.min(axis=1)
        doubt = quantile(np.abs(off), length, 0.95)
        if doubt <= (most_doubt if found is None else found.doubt):
            found = FacetPlanes(normal, offset, is_convex, doubt)
    return found


def height_above_facets(
    folds: Folds, cap: Ints, beside: Ints, sign: float, height: float
) -> tuple[float, float, float] | None:
    """Height of a cap above the parallel facets beside its foot.

    Parameters
    ----------
    folds : angles of a surface
    cap : faces that look the way of the base
    beside : faces of the base that touch the foot
    sign : 1 for what is raised, -1 for what is sunk
    height : mm, roughly; another step of the base, far from this, is not taken for its level

    Returns
    -------
    height, lower, upper : mm, or None where the cap is not folded like its base
    """
    if not len(cap) or not len(beside):
        return None
    mine, theirs = folds.normal[cap], folds.normal[beside]
    area = folds.area[cap]
    near = cKDTree(theirs).query(mine, distance_upper_bound=PARALLEL)[0] < PARALLEL
    if area[near].sum() < PAIRED * area.sum() or len(cap) * len(beside) > MOST_PAIRS:
        return None
    centre = folds.vertices[folds.faces[cap]].mean(axis=1)
    point = folds.vertices[folds.faces[beside]].mean(axis=1)
    # Chords of normals: exact for small angles, where a dot product has lost its digits.
    lean = np.linalg.norm(mine[:, None] - theirs, axis=2)
    way = centre[:, None] - point
    level = sign * np.einsum("ijk,jk->ij", way, theirs)
    aside = np.sqrt(np.maximum((way**2).sum(axis=2) - level**2, 0.0))
    fits = (lean < PARALLEL) & (np.abs(level - height) < ALIKE * height)
    # Of parallel facets the nearest, and what its lean can do over that way.
    nearest = np.where(fits, aside, np.inf).argmin(axis=1)
    row = np.arange(len(cap))
    paired = fits[row, nearest]
    if area[paired].sum() < PAIRED * area.sum():
        return None
    told, weight = level[row, nearest][paired], area[paired]
    doubt = quantile((lean * aside)[row, nearest][paired], weight, 0.5)
    low, middle, high = (quantile(told, weight, share) for share in (0.1, 0.5, 0.9))
    return middle, low - doubt, high + doubt
