"""Onto which facet does a drop fall from a point of the surface?

Few points are tried against every facet in float64, edges included, so that a drop right above an
edge never slips between two facets. Where points and facets are many, rays take over; they too
meet shared edges. Lengths in mm. Guarded by tests/geometry/test_pools_surface.py.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lint3d.geometry.rays import RayScene
from lint3d.geometry.vectors import square_to_one

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

#: Points × facets that are tried one by one, at once and in all.
_AT_ONCE, _MOST_TRIED = 1_000_000, 20_000_000
#: Share of the part's size by which a point may miss a facet. A facet so steep that its plan is
#: narrower than that is no floor: what lies beside it catches the drop.
_NEAR = 1e-10


class Floor:
    """Facets that drops fall onto.

    Parameters
    ----------
    vertices : (n, 3) float64, mm, about the middle of the part
    faces : (m, 3) int64
    area : (m, 3) mm2, along the outward normals
    """

    def __init__(self, vertices: Floats, faces: Ints, area: Floats) -> None:
        self._vertices, self._faces, self._area = vertices, faces, area
        self._near = _NEAR * float(np.abs(vertices).max(initial=0.0))
        self._steepest = _NEAR * np.linalg.norm(area, axis=1)
        self._scene: RayScene | None = None

    def below(self, up: Floats, height: Floats, corners: Ints) -> Ints:
        """(k,) row of the facet below each corner, −1 where there is none.

        Parameters
        ----------
        up : (3,) unit vector
        height : (n,) mm, of the corners of the mesh
        corners : (k,) rows of corners that have free space below them
        """
        if len(corners) == 0:
            return np.zeros(0, np.int64)
        rows = np.flatnonzero(self._area @ up > self._steepest)
        if len(rows) * len(corners) > _MOST_TRIED:
            return self._by_rays(up, corners)
        step = max(_AT_ONCE // max(len(rows), 1), 1)
        flat = self._vertices @ level_axes(up)
        found = [
            self._one_by_one(rows, flat, height, corners[i : i + step])
            for i in range(0, len(corners), step)
        ]
        return np.concatenate(found)

    def _one_by_one(self, rows: Ints, flat: Floats, height: Floats, corners: Ints) -> Ints:
        if len(rows) == 0:
            return np.full(len(corners), -1, np.int64)
        face = self._faces[rows]
        point, top = flat[corners], height[corners]
        near = np.ones((len(corners), len(rows)), bool)
        for axis in range(2):
            low, high = _range(flat[:, axis], face)
            at = point[:, axis, None]
            near &= (low - self._near <= at) & (high + self._near >= at)
        drop, facet = np.nonzero(near)
        weight, inside = _weights(flat[face[facet]], point[drop], self._near)
        corner = height[face[facet]]
        # The weights of a steep facet are rough; a landing outside it would be nonsense.
        landing = (weight * corner).sum(axis=1).clip(corner.min(axis=1), corner.max(axis=1))
        own = (face[facet] == corners[drop][:, None]).any(axis=1)
        hit = np.flatnonzero(inside & ~own & (landing <= top[drop] + self._near))
        order = hit[np.lexsort((-landing[hit], drop[hit]))]
        first = order[np.flatnonzero(np.diff(drop[order], prepend=-1) != 0)]
        found = np.full(len(corners), -1, np.int64)
        found[drop[first]] = rows[facet[first]]
        return found

    def _by_rays(self, up: Floats, corners: Ints) -> Ints:
        if self._scene is None:
            self._scene = RayScene(self._vertices, self._faces)
        down = np.repeat(-up[None], len(corners), axis=0)
        return self._scene.first_facet(self._vertices[corners], down, np.inf)


def _range(value: Floats, face: Ints) -> tuple[Floats, Floats]:
    """Least and largest value at the corners of each facet."""
    one, two, three = value[face[:, 0]], value[face[:, 1]], value[face[:, 2]]
    return np.minimum(np.minimum(one, two), three), np.maximum(np.maximum(one, two), three)


def level_axes(up: Floats) -> Floats:
    """(3, 2) two directions that are level."""
    return np.ascontiguousarray(square_to_one(up).T)


def _weights(plan: Floats, point: Floats, near: float) -> tuple[Floats, NDArray[np.bool_]]:
    """Barycentric weights of points in triangles seen from above, and which lie in or on them."""
    side = plan[:, [1, 2, 0]] - plan
    gap = point[:, None] - plan
    twice = side[..., 0] * gap[..., 1] - side[..., 1] * gap[..., 0]
    # `twice` over the side's length is the distance from that side.
    sign = np.sign(twice.sum(axis=1))[:, None]
    length = np.linalg.norm(side, axis=2)
    inside = (twice * sign >= -near * length).all(axis=1)
    whole = twice.sum(axis=1)[:, None]
    with np.errstate(divide="ignore", invalid="ignore"):
        weight = np.where(whole != 0, twice[:, [1, 2, 0]] / whole, 1 / 3)
    return weight, inside
