"""Which faces of the surface as given belong to what was found on its simplified mesh?

Lengths in mm. Guarded by tests/geometry/test_relief_faces.py.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from lint3d.geometry.patches import Folds

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


def faces_as_given(
    vertices: Floats, faces: Ints, folds: Folds, regions: Sequence[Ints]
) -> list[Ints]:
    """The given faces that lie on each region.

    Parameters
    ----------
    vertices, faces : the surface as given, mm
    folds : the surface that was searched
    regions : faces of the latter; where they overlap the later region wins

    Returns
    -------
    list of (k,) rows of `faces`, ascending; a face lies where its middle is nearest
    """
    if not regions:
        return []
    if folds.faces is faces:
        return [np.sort(region) for region in regions]
    label = np.full(len(folds.faces), -1)
    for number, region in enumerate(regions):
        label[region] = number
    middle = vertices[faces].mean(axis=1)
    near = np.flatnonzero(_in_boxes(middle, folds, regions))
    import igl

    _, nearest, _ = igl.point_mesh_squared_distance(middle[near], folds.vertices, folds.faces)
    mine = label[nearest]
    order = np.argsort(mine, kind="stable")
    bounds = np.searchsorted(mine[order], np.arange(len(regions) + 1))
    return [near[order[bounds[i] : bounds[i + 1]]] for i in range(len(regions))]


def _in_boxes(points: Floats, folds: Folds, regions: Sequence[Ints]) -> NDArray[np.bool_]:
    """Is a point in the box of any region?"""
    inside = np.zeros(len(points), bool)
    order = np.argsort(points[:, 0])
    x = points[order, 0]
    for region in regions:
        corner = folds.vertices[folds.faces[region]].reshape(-1, 3)
        pad = 0.02
        low, high = corner.min(axis=0) - pad, corner.max(axis=0) + pad
        rows = order[np.searchsorted(x, low[0]) : np.searchsorted(x, high[0], side="right")]
        hit = ((points[rows, 1:] >= low[1:]) & (points[rows, 1:] <= high[1:])).all(axis=1)
        inside[rows[hit]] = True
    return inside
