"""How far is a point from the smooth surface that the corners of a patch describe?

That surface is a quadric through the nearest corners. The patch grows by faces that join it, and
then only what is near those is worked out anew. Lengths in mm. Guarded by
tests/geometry/test_relief_coarse.py.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from lint3d.geometry.vectors import square_to

if TYPE_CHECKING:
    from lint3d.geometry.patches import Folds

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

#: Corners that a quadric goes through, and how far beyond them it is believed, in their spacing.
CORNERS, BEYOND = 16, 1.5


class SmoothSurface:
    """Of a patch that grows.

    Parameters
    ----------
    folds : the surface that the patch is a part of
    mine : (m,) is a face one of the patch?
    """

    def __init__(self, folds: Folds, mine: Bools) -> None:
        self.folds = folds
        self.mine = mine.copy()
        count = len(folds.vertices)
        self.is_corner: Bools = np.zeros(count, bool)
        self._normals: Floats = np.zeros((count, 3))
        self._known: Bools = np.zeros(count, bool)
        self._off: Floats = np.full(count, np.inf)
        self._normal: Floats = np.zeros((count, 3))
        self._reach: Floats = np.zeros(count)
        self._take(np.flatnonzero(mine))

    def join(self, faces: Ints) -> None:
        """Add faces to the patch."""
        self.mine[faces] = True
        changed = self._take(faces)
        known = np.flatnonzero(self._known)
        if len(known) and len(changed):
            # What was worked out holds, unless one of the corners that it was told from changed,
            # or one came nearer than those.
            vertices = self.folds.vertices
            near = cKDTree(vertices[changed]).query(vertices[known])[0]
            self._known[known[near <= self._reach[known]]] = False

    def _take(self, faces: Ints) -> Ints:
        """Corners of faces, after these are among those of the patch."""
        weighted = self.folds.normal[faces] * self.folds.area[faces][:, None]
        corners, owner = np.unique(self.folds.faces[faces], return_inverse=True)
        for k in range(3):
            more = np.bincount(owner.ravel(), np.repeat(weighted[:, k], 3), len(corners))
            self._normals[corners, k] += more
        self.is_corner[corners] = True
        self._corners = np.flatnonzero(self.is_corner)
        self._tree = cKDTree(self.folds.vertices[self._corners]) if len(self._corners) else None
        return corners.astype(np.int64)

    def off(self, asked: Ints) -> tuple[Floats, Floats]:
        """(k, 3) normals of the surface near some vertices, and how far (k,) these are from it, mm.

        0 for corners of the patch, infinite where it is not believed.
        """
        rows = asked[~self._known[asked]]
        if len(rows):
            points = self.folds.vertices[rows]
            far, near, normal = self._near(points)
            self._normal[rows], self._reach[rows] = normal, far[:, -1]
            self._off[rows] = np.inf
            if far.shape[1] == CORNERS:
                around = self.folds.vertices[self._corners[near]] - points[:, None]
                off = np.abs(quadric_at_origin(around, normal))
                believed = far[:, 0] <= BEYOND * far[:, -1] / np.sqrt(CORNERS) + 1e-9
                self._off[rows] = np.where(believed, off, np.inf)
                self._known[rows] = True
        off = np.where(self.is_corner[asked], 0.0, self._off[asked])
        return self._normal[asked], off

    def normals(self, points: Floats) -> Floats:
        """(k, 3) unit normals of the surface near (k, 3) points."""
        return self._near(points)[2]

    def _near(self, points: Floats) -> tuple[Floats, Ints, Floats]:
        """Distances and rows of the nearest corners, and mean normals (k, 3)."""
        assert self._tree is not None
        far, near = self._tree.query(points, min(CORNERS, len(self._corners)))
        far, near = far.reshape(len(points), -1), near.reshape(len(points), -1)
        at = self._normals[self._corners[near]]
        at /= np.maximum(np.linalg.norm(at, axis=2), 1e-300)[:, :, None]
        normal = at.sum(axis=1)
        normal /= np.maximum(np.linalg.norm(normal, axis=1), 1e-300)[:, None]
        return far, near, normal


def quadric_at_origin(points: Floats, normal: Floats) -> Floats:
    """(n,) mm: height at the origin of quadrics through (n, k, 3) points, along (n, 3) normals."""
    u, v = square_to(normal)
    x, y, w = np.moveaxis(points @ np.stack([u, v, normal], axis=2), 2, 0)
    scale = np.maximum(np.hypot(x, y).max(axis=1), 1e-300)[:, None]
    x, y = x / scale, y / scale
    terms = np.stack([np.ones_like(x), x, y, x * x, x * y, y * y], axis=2)
    weight = np.exp(-2 * (x * x + y * y))[:, :, None]
    weighted = (terms * weight).transpose(0, 2, 1)
    square = weighted @ terms + 1e-9 * np.eye(6)
    height: Floats = np.linalg.solve(square, weighted @ w[:, :, None])[:, 0, 0]
    return height
