"""How deep do points lie inside the convex hull of a part?

From inside, the depth is the least distance to a plane that the hull leans on, whichever that is;
to the planes of the hull's own sides it is exact. Flat sides of very many triangles are taken as
planes, since fans of needles make a tree of triangles useless. Lengths in mm.
Tested by tests/geometry/test_convex_hull.py.
"""

from __future__ import annotations

import igl
import manifold3d
import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

#: Flat sides with so many triangles are taken as planes, at most so many of them.
_MANY_TRIANGLES, _MOST_PLANES = 16, 64
#: Triangles are of one side if their unit normals are alike to this.
_ALIKE = 0.02


class ConvexHull:
    """The convex hull of points, to ask how deep others lie in it.

    Parameters
    ----------
    points : (n, 3) float64, mm
    tolerance : mm, how far a side may be from flat and still be taken as one plane

    Attributes
    ----------
    is_flat : there is no room inside
    """

    def __init__(self, points: Floats, tolerance: float) -> None:
        self.middle = points.mean(axis=0) if len(points) else np.zeros(3)
        solid = manifold3d.Manifold.hull_points(np.ascontiguousarray(points - self.middle))
        mesh = solid.to_mesh64()
        self.corner: Floats = np.ascontiguousarray(np.asarray(mesh.vert_properties)[:, :3])
        self.shell: Ints = np.ascontiguousarray(mesh.tri_verts, dtype=np.int64)
        self.is_flat = solid.is_empty() or solid.volume() <= 0
        self.planes: Floats = np.zeros((0, 4))
        if not self.is_flat:
            self._take_planes(tolerance)

    def depth(self, points: Floats) -> Floats:
        """(p,) mm, of points (p, 3) that do not lie outside; 0 in a flat hull."""
        if self.is_flat or not len(points):
            return np.zeros(len(points))
        own = np.ascontiguousarray(points - self.middle)
        depth = np.full(len(points), np.inf)
        for plane in self.planes:
            np.minimum(depth, np.abs(own @ plane[:3] - plane[3]), out=depth)
        if len(self.shell):
            square = igl.point_mesh_squared_distance(own, self.corner, self.shell)[0]
            np.minimum(depth, np.sqrt(np.atleast_1d(square)), out=depth)
        return depth

    def _take_planes(self, tolerance: float) -> None:
        """Move flat sides of very many triangles from the shell to the planes."""
        a, b, c = (self.corner[self.shell[:, i]] for i in range(3))
        area = np.cross(b - a, c - a)
        size = np.linalg.norm(area, axis=1)
        # A collapsed triangle has no direction, and many of them together are no side.
        with_area = np.flatnonzero(size > 0)
        cell = np.round(area[with_area] / size[with_area, None] / _ALIKE)
        _, side, count = np.unique(cell, axis=0, return_inverse=True, return_counts=True)
        side = side.ravel()
        is_taken = np.zeros(len(self.shell), bool)
        planes = []
        for number in np.argsort(-count, kind="stable")[:_MOST_PLANES]:
            if count[number] < _MANY_TRIANGLES:
                break
            mine = with_area[side == number]
            # The sum of area vectors: each needle's own direction is that of its rounding.
            normal = area[mine].sum(axis=0)
            normal /= max(float(np.linalg.norm(normal)), 1e-300)
            height = self.corner @ normal
            if height.max() - height[self.shell[mine]].min() <= tolerance:
                planes.append([*normal, height.max()])
                is_taken[mine] = True
        if planes:
            self.planes = np.array(planes)
            self.shell = np.ascontiguousarray(self.shell[~is_taken])
