"""Which facet does a ray meet first?

Lengths in mm. Facets are traced in float32 by Embree about the middle of the part; the exact
distance to the facet that was met is worked out again in float64. A facet closer to a ray's
origin than `RayScene.nearest_mm` is not seen. Tested by tests/geometry/test_spans_rays.py.
"""

from __future__ import annotations

import threading

import numpy as np
from numpy.typing import NDArray

from lint3d.errors import NotMeasurable
from lint3d.geometry.side_by_side import side_by_side
from lint3d.geometry.vectors import cross_product

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

RAYS_AT_ONCE = 100_000  # keeps the float32 copies small beside the mesh itself
NEAREST_STEPS = 16  # float32 steps between an origin and the first facet that can be seen


class RaysSpent(NotMeasurable):
    """A step would need more rays than it was allowed: the surface is a tangle."""


class RayScene:
    """Facets made ready for rays.

    Parameters
    ----------
    vertices : (n, 3) float64, mm
    faces : (m, 3) int64
    normals : (m, 3) float64, of any length but 0; worked out when first needed if None

    Attributes
    ----------
    nearest_mm : float, facets nearer than this to an origin are passed over
    rays_left : how many rays may still be sent, see `allow`; None for any number
    """

    def __init__(self, vertices: Floats, faces: Ints, normals: Floats | None = None) -> None:
        from embreex.mesh_construction import TriangleMesh
        from embreex.rtcore_scene import EmbreeScene

        self.vertices, self.faces, self.normals = vertices, faces, normals
        filled = len(faces) > 0
        low, high = (vertices.min(0), vertices.max(0)) if filled else (np.zeros(3), np.zeros(3))
        self.middle = (low + high) / 2
        size = max(float((high - low).max()) / 2, 1e-30)
        self.nearest_mm = NEAREST_STEPS * float(np.spacing(np.float32(size)))
        self.rays_left: int | None = None
        self._lock = threading.Lock()
        self._is_ready = False
        self._scene = EmbreeScene(robust=True) if filled else None
        if self._scene is not None:
            centred = (vertices - self.middle).astype(np.float32)
            self._mesh = TriangleMesh(self._scene, centred, faces.astype(np.int32))

    def allow(self, rays: int) -> None:
        """Let a step send so many rays; more raise `RaysSpent`.

        Counted, not timed: the same file gives the same answer on any machine.
        """
        self.rays_left = rays

    def _count(self, rays: int) -> None:
        if self.rays_left is None:
            return
        with self._lock:
            self.rays_left -= rays
        if self.rays_left < 0:
            raise RaysSpent(
                "So many long or large faces lie across each other that looking between them "
                "was given up; solid/self-intersection tells more. Rebuild the mesh there."
            )

    def first_facet(self, origins: Floats, directions: Floats, reach: Floats | float) -> Ints:
        """Row of the first facet met within `reach`, for each ray.

        Parameters
        ----------
        origins : (k, 3) float64, mm
        directions : (k, 3) float64, unit length
        reach : (k,) or scalar, mm, from the origin

        Returns
        -------
        (k,) int64 : -1 where nothing is met

        Raises
        ------
        RaysSpent : more rays than were allowed
        """
        self._count(len(origins))
        found = np.full(len(origins), -1, dtype=np.int64)
        scene = self._scene
        if scene is None or not len(origins):
            return found
        reaches = np.empty(len(origins))
        reaches[:] = reach

        def send(start: int) -> None:
            rows = slice(start, start + RAYS_AT_ONCE)
            begin = origins[rows] - self.middle + directions[rows] * self.nearest_mm
            found[rows] = scene.run(
                begin.astype(np.float32),
                directions[rows].astype(np.float32),
                # Embree writes into this array: never hand it a shared one.
                dists=(reaches[rows] - self.nearest_mm).clip(0).astype(np.float32),
            )

        if len(origins) <= RAYS_AT_ONCE:
            self._make_ready()
            send(0)
        else:
            side_by_side(send, range(0, len(origins), RAYS_AT_ONCE), self._make_ready)
        return found

    def _make_ready(self) -> None:
        """Let the first ray build the tree: two threads must not do it at once."""
        with self._lock:
            if self._scene is not None and not self._is_ready:
                one = np.ones((1, 3), np.float32)
                self._scene.run(one, one, dists=np.zeros(1, np.float32))
                self._is_ready = True

    def distance(self, origins: Floats, directions: Floats, facets: Ints) -> Floats:
        """Distance along each ray to the plane of the facet it met.

        Returns
        -------
        (k,) float64, mm : inf where `facets` is -1 or the ray runs along the plane
        """
        if not len(self.faces) or not len(origins):
            return np.full(len(origins), np.inf)
        if self.normals is None:
            self.normals = _normals(self.vertices, self.faces)
        # Several times faster than brackets, and asked for tens of thousands of times a part.
        normal = self.normals.take(facets, 0)
        step = self.vertices.take(self.faces[facets, 0], 0) - origins
        along = np.einsum("ij,ij->i", directions, normal)
        with np.errstate(divide="ignore", invalid="ignore"):
            far = np.einsum("ij,ij->i", step, normal) / along
        return np.where((facets >= 0) & (along != 0), far, np.inf)

    def is_blocked(self, starts: Floats, ends: Floats, own: Ints) -> NDArray[np.bool_]:
        """Does a facet other than the two of `own` stand between two points?

        Parameters
        ----------
        starts, ends : (k, 3) float64, mm
        own : (k, 2) int64, facets that the segment begins and ends on

        Returns
        -------
        (k,) bool
        """
        step = ends - starts
        length = np.linalg.norm(step, axis=1)
        with np.errstate(divide="ignore", invalid="ignore"):
            direction = np.where(length[:, None] > 0, step / length[:, None], 0.0)
        reach = length - 2 * self.nearest_mm
        blocked = np.zeros(len(starts), dtype=bool)
        # A segment shorter than what a ray can resolve counts as free.
        rows = np.flatnonzero(reach > self.nearest_mm)
        facet = self.first_facet(starts[rows], direction[rows], reach[rows])
        blocked[rows] = (facet >= 0) & (facet != own[rows, 0]) & (facet != own[rows, 1])
        return blocked


def _normals(vertices: Floats, faces: Ints) -> Floats:
    """(m, 3) square to each facet, as long as twice its area."""
    first = vertices[faces[:, 0]]
    return cross_product(vertices[faces[:, 1]] - first, vertices[faces[:, 2]] - first)
