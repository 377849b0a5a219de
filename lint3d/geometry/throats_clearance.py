"""How far is the nearest facet from a point?

Exact to float64, on all facets, in batches. Distances have no sign: whoever asks stays on one side
of the surface by never stepping farther than the distance itself. Lengths in mm. Guarded by
tests/geometry/test_throats.py.
"""

from __future__ import annotations

import igl
import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


class Clearance:
    """Distances to a fixed set of facets.

    Parameters
    ----------
    vertices : (n, 3) float64, mm
    faces : (m, 3) int64
    """

    def __init__(self, vertices: Floats, faces: Ints) -> None:
        used, compact = np.unique(faces, return_inverse=True)
        corners = np.asarray(vertices, np.float64)[used]
        self.middle = (corners.min(axis=0) + corners.max(axis=0)) / 2
        self._vertices = np.ascontiguousarray(corners - self.middle)
        self._faces = np.ascontiguousarray(compact.reshape(-1, 3), np.int64)
        self._tree: igl.AABB | None = None
        self.corners = corners[self._faces]
        """(m, 3, 3) mm, of every facet"""

    def at(self, points: Floats) -> Floats:
        """(…,) mm: distance of each point (…, 3) to the nearest facet."""
        return self.nearest(points)[0]

    def nearest(self, points: Floats) -> tuple[Floats, Ints, Floats]:
        """Distances (…,), facets (…,) and the nearest places on them (…, 3)."""
        if self._tree is None:
            self._tree = igl.AABB()
            self._tree.init(self._vertices, self._faces)
        local = np.ascontiguousarray(points.reshape(-1, 3) - self.middle)
        squared, face, place = self._tree.squared_distance(self._vertices, self._faces, local)
        shape = points.shape[:-1]
        return (
            np.sqrt(squared).reshape(shape),
            face.reshape(shape),
            (place + self.middle).reshape(points.shape),
        )
