"""How far is the nearest facet from a point?

Exact to float64, on all facets, in batches. Distances have no sign: whoever asks stays on one side
of the surface by never stepping farther than the distance itself. Lengths in mm. Guarded by
tests/geometry/test_throats.py.
"""

from __future__ import annotations

from functools import cached_property

import igl
import numpy as np
from numpy.typing import NDArray

from lint3d.geometry.rays import RayScene
from lint3d.geometry.vectors import cross_product

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

#: Balls overlap so far that no facet is between them: on two sides of a wall they may touch.
_OVERLAP = 1.0 + 1e-4
#: How far a point is moved to see the next wall, times its distance.
_NUDGE = 0.02
#: A facet has no area, and no plane, if it is no more than this times its longest side squared.
_NO_AREA = 1e-9
#: From how many points on sorting pays, and cells along each side of their box.
_WORTH_SORTING, _CELLS = 400, 256


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
        self._tree: igl.AABB | None = None
        self.corners = corners[compact.reshape(-1, 3)]
        """(m, 3, 3) mm, of every facet"""

    @cached_property
    def normals(self) -> Floats:
        """(m, 3) unit, of every facet; 0 of one without area, which has no plane."""
        corner = self.corners
        across = cross_product(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0])
        length = np.linalg.norm(across, axis=1)
        longest = np.abs(corner - np.roll(corner, 1, axis=1)).max(axis=(1, 2))
        flat = length <= _NO_AREA * longest**2
        unit: Floats = across / np.where(flat, np.inf, length)[:, None]
        return unit

    @cached_property
    def scene(self) -> RayScene:
        """The same facets, to ask which points see each other."""
        corner = self.corners.reshape(-1, 3)
        return RayScene(corner, np.arange(len(corner)).reshape(-1, 3))

    def at(self, points: Floats) -> Floats:
        """(…,) mm: distance of each point (…, 3) to the nearest facet."""
        return self.nearest(points)[0]

    def most_near(self, points: Floats, reach: float) -> tuple[Floats, Floats]:
        """Distances (…,), and what none exceeds at any place within `reach` of each point, mm.

        Where the point lies between two walls that is hardly more than half their gap: along the
        walls distances rise with the square of the way only.
        """
        value, _, foot = self.nearest(points)
        # A step off the nearest wall the other one is nearest. Whatever the two feet are, the ball
        # about a place holds neither of them.
        off = (points - foot) / np.maximum(value, 1e-300)[..., None]
        other = self.nearest(points + (reach + _NUDGE * value)[..., None] * off)[2]
        line = other - foot
        length = np.einsum("...i,...i->...", line, line)
        share = np.einsum("...i,...i->...", points - foot, line) / np.maximum(length, 1e-300)
        share = share.clip(0.0, 1.0)
        aside = np.linalg.norm(points - foot - share[..., None] * line, axis=-1) + reach
        # min(a, b)² is no more than any mean of a² and b².
        most = np.sqrt(aside**2 + share * (1 - share) * length)
        return value, np.minimum(value + reach, most)

    def is_free_along(self, lines: Floats) -> NDArray[np.bool_]:
        """(…,) do balls that touch no facet overlap all along each line of points (…, n, 3)?"""
        radius = self.at(lines)
        gap = np.linalg.norm(np.diff(lines, axis=-2), axis=-1)
        free: NDArray[np.bool_] = np.all(
            radius[..., :-1] + radius[..., 1:] > _OVERLAP * gap, axis=-1
        )
        return free

    def nearest(self, points: Floats) -> tuple[Floats, Ints, Floats]:
        """Distances (…,), facets (…,) and the nearest places on them (…, 3)."""
        if self._tree is None:
            # Long facets are not cut into pieces with smaller boxes: on the axis of a neck as many
            # more of them are nearly as near as the nearest, and a search takes five times as long.
            self._vertices = np.ascontiguousarray((self.corners - self.middle).reshape(-1, 3))
            self._faces = np.arange(len(self._vertices)).reshape(-1, 3)
            self._tree = igl.AABB()
            self._tree.init(self._vertices, self._faces)
        local = np.ascontiguousarray(points.reshape(-1, 3) - self.middle)
        shape = points.shape[:-1]
        if len(local) < _WORTH_SORTING:
            squared, face, place = self._tree.squared_distance(self._vertices, self._faces, local)
        else:
            # Neighbours one after the other find the same part of the tree at hand: twice as fast.
            order = _side_by_side(local)
            found = self._tree.squared_distance(self._vertices, self._faces, local[order])
            back = np.argsort(order, kind="stable")
            squared, face, place = (one[back] for one in found)
        return (
            np.sqrt(squared).reshape(shape),
            face.astype(np.int64).reshape(shape),
            (place + self.middle).reshape(points.shape),
        )


def _side_by_side(points: Floats) -> Ints:
    """An order of points in which those near to each other follow each other."""
    low = points.min(axis=0)
    size = max(float((points - low).max()), 1e-300)
    cell = ((points - low) * (_CELLS / size)).astype(np.int64).clip(0, _CELLS - 1)
    # The bits of the three numbers are spread and woven together.
    for shift, mask in ((32, 0x1F00000000FFFF), (16, 0x1F0000FF0000FF), (8, 0x100F00F00F00F00F)):
        cell = (cell | (cell << shift)) & mask
    for shift, mask in ((4, 0x10C30C30C30C30C3), (2, 0x1249249249249249)):
        cell = (cell | (cell << shift)) & mask
    return np.argsort(cell[:, 0] | (cell[:, 1] << 1) | (cell[:, 2] << 2), kind="stable")
