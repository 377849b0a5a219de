"""How high does a cap stand above the very facets that its foot lies on?

A polynomial rounds off what is folded: a drum of few facets, or the edge between two faces that a
letter runs over. Where the cap is folded like its base, each of its facets has one beside the foot
that is parallel to it, and the distance of both planes is the height. Lengths in mm, angles in
radians. Guarded by tests/geometry/test_relief_facets.py.
"""

from __future__ import annotations

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
    # A sliver has the plane of its neighbour, and may be a strip of the rounding at a foot.
    beside = beside[folds.is_plain[beside]]
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
