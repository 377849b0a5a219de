"""How high is an island on the surface as given?

Islands are found on a simplified mesh, which may stray by its tolerance and joins the rounding of
edges with what is beside it. Once they are found, their heights are told from the faces as given.
Lengths in mm. Guarded by tests/geometry/test_relief_given.py.
"""

from __future__ import annotations

from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from lint3d.geometry.relief_base import Base, quantile
from lint3d.geometry.relief_flat import FlatLimits, flat_cap
from lint3d.geometry.relief_foot import base_of, foot_of
from lint3d.geometry.relief_heights import CAP_LEAN, cap_height, cap_of
from lint3d.geometry.relief_round import RoundBase
from lint3d.geometry.relief_shapes import Shape
from lint3d.geometry.vectors import cross_product

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

#: Faces of the cap as given: so much of the simplified one at least, or noise hides it.
SEEN = 0.4
#: A base that is known no better than by this share of the height tells nothing new.
KNOWN = 0.1
#: A plane, drum, cone or ball known this well is right, whatever was told from the simplified mesh.
KNOWN_WELL = 1e-3
#: So much of a foot may lie on the other side of a base that it stands on.
BELOW = 0.05


class GivenSurface:
    """The surface as given, with which of its faces are whose."""

    def __init__(self, vertices: Floats, faces: Ints, step_mm: float, taken: list[Ints]) -> None:
        """
        Parameters
        ----------
        vertices : (n, 3) mm
        faces : (m, 3)
        step_mm : what rounding of coordinates can do to a distance
        taken : rows of the faces that are islands', and no base
        """
        self.vertices, self.faces, self.step_mm = vertices, faces, step_mm
        self._told: dict[int, tuple[float, float, float]] = {}
        self._is_free = np.ones(len(faces), bool)
        for rows in taken:
            self._is_free[rows] = False

    def height(self, shape: Shape, rows: Ints) -> tuple[float, float, float]:
        """Height of an island, and its interval, mm.

        Parameters
        ----------
        shape : the island, as it was measured on a simplified mesh
        rows : its faces as given

        Returns
        -------
        height, lower, upper : those of `shape` where the faces as given tell no more
        """
        if id(shape) not in self._told:
            self._told[id(shape)] = self._height(shape, rows)
        return self._told[id(shape)]

    def _height(self, shape: Shape, rows: Ints) -> tuple[float, float, float]:
        old = shape.height, shape.lower, shape.upper
        base = self._base(shape)
        if base is None or not len(rows):
            return old
        island = shape.measured.island
        corner, normal, area = self._planes(rows)
        _, level, below = base.foot(corner.reshape(-1, 3))
        level = (level if island.raised else -level).reshape(-1, 3)
        mean, top = level.mean(axis=1), float(level.max())
        leaning, cap = cap_of(normal, area, mean, below.reshape(-1, 3, 3).mean(axis=1), top)
        if area[cap].sum() < SEEN * shape.folds.area[shape.measured.cap].sum():
            return old
        height, low, high, _ = cap_height(
            corner, level, area, (leaning, cap), (shape.folds, island), top
        )
        if shape.measured.flat is not None:
            faces = corner, normal, area
            limits = FlatLimits(
                island.centre, island.footprint, base.residual, self.step_mm + shape.blur
            )
            sign = 1.0 if island.raised else -1.0
            flat = flat_cap(faces, lambda points: sign * base.height(points), leaning, limits)
            if flat is None:
                return old
            height = low = high = flat.lowest
        blur = self.step_mm + base.residual
        new = height, low - blur, high + blur
        if blur > KNOWN * height or new[2] - new[1] >= old[2] - old[1]:
            return old
        if blur <= KNOWN_WELL * height and _is_what_it_stands_on(base, shape):
            return new
        # A base of few facets may be fitted in more than one way.
        if new[1] < old[1] or new[2] > old[2]:
            return height, min(old[1], new[1]), max(old[2], new[2])
        return new

    def _base(self, shape: Shape) -> Base | RoundBase | None:
        """The base below an island, fitted to what is given of it."""

        def ground(at: Floats, radius: float) -> tuple[Floats, Floats]:
            near = self._tree.query_ball_point(at, radius)
            return self._ground(np.asarray(near, np.int64), shape)

        return base_of(shape.folds, shape.measured.island, ground, self.step_mm)

    def _ground(self, near: Ints, shape: Shape) -> tuple[Floats, Floats]:
        """Points of the ground among some vertices, with the area round each."""
        rows = self._faces_at(near)
        rows = rows[self._is_free[rows]]
        corner, normal, area = self._planes(rows)
        base, island = shape.measured.base, shape.measured.island
        if isinstance(base, Base | RoundBase):
            _, level, below = base.foot(corner.reshape(-1, 3))
            reach = 2 * shape.blur + 2 * base.residual
            lies = (np.abs(level).reshape(-1, 3) <= reach).all(axis=1)
            below = below.reshape(-1, 3, 3)[:, 0]
        else:
            lies = np.ones(len(rows), bool)
            below = np.broadcast_to(island.normal, (len(rows), 3))
        lies &= np.einsum("ij,ij->i", normal, below) >= CAP_LEAN
        rows, area = rows[lies], area[lies]
        held, inverse = np.unique(self.faces[rows], return_inverse=True)
        weight: Floats = np.bincount(inverse.ravel(), np.repeat(area / 3, 3)).astype(np.float64)
        is_near = np.isin(held, near)
        return self.vertices[held[is_near]], weight[is_near]

    def _planes(self, rows: Ints) -> tuple[Floats, Floats, Floats]:
        """(k, 3, 3) corners, (k, 3) normals and (k,) areas of faces."""
        corner = self.vertices[self.faces[rows]]
        cross = cross_product(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0])
        twice = np.linalg.norm(cross, axis=1)
        return corner, cross / np.maximum(twice, 1e-300)[:, None], twice / 2

    def _faces_at(self, rows: Ints) -> Ints:
        """Rows of the faces that some vertices are corners of."""
        first, order = self._around
        count = first[rows + 1] - first[rows]
        within = np.arange(int(count.sum())) - np.repeat(np.cumsum(count) - count, count)
        return np.unique(order[np.repeat(first[rows], count) + within] // 3)

    @cached_property
    def _tree(self) -> cKDTree:
        return cKDTree(self.vertices)

    @cached_property
    def _around(self) -> tuple[Ints, Ints]:
        """Where each vertex' corners begin, and the corners by vertex."""
        corner = self.faces.ravel()
        order = np.argsort(corner, kind="stable")
        return np.searchsorted(corner[order], np.arange(len(self.vertices) + 1)), order


def _is_what_it_stands_on(base: Base | RoundBase, shape: Shape) -> bool:
    """Is a base that is known well the surface below an island?

    A plane is. Corners of coarse facets lie on a drum, and those on a ball or another drum, too:
    then the island stands on the facets, and a share of its foot lies below the drum.
    """
    if isinstance(base, Base):
        return base.degree == 1
    island = shape.measured.island
    start, length = foot_of(shape.folds, island)
    up = base.height(start) if island.raised else -base.height(start)
    return quantile(up, length, BELOW) >= -shape.blur - KNOWN_WELL * shape.height
