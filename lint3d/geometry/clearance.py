"""Which bodies come near each other, and with which faces?

Pairs whose boxes lie within reach are found with a tree of boxes; how near they come
`clearance_spots` tells. A body inside another's material keeps a distance as well: `overlap.py`
tells. Lengths in mm. Guarded by tests/geometry/test_clearance.py.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import igl
import numpy as np
from numpy.typing import NDArray
from rtree.index import Index, Property

from lint3d.geometry.clearance_slender import perhaps_near
from lint3d.geometry.clearance_tree import BoxTree
from lint3d.geometry.vectors import cross_product

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]


@dataclass(eq=False)
class Surface:
    """Faces of one body, made ready once for all its pairs.

    Parameters
    ----------
    vertices : (n, 3) float64, mm
    faces : (m, 3) int64; faces without area are passed over
    """

    vertices: Floats
    faces: Ints
    corners: Floats = field(init=False)
    """(s, 3, 3) of the faces that have an area"""
    row: Ints = field(init=False)
    """(s,) which face each of them is"""
    low: Floats = field(init=False)
    high: Floats = field(init=False)
    uncertainty_mm: float = field(init=False)
    """How far a point may be off through single-precision rounding of its three coordinates"""

    def __post_init__(self) -> None:
        corners = self.vertices[self.faces]
        normal = cross_product(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
        self.row = np.flatnonzero(normal.any(axis=1))
        self.corners = corners if len(self.row) == len(corners) else corners[self.row]
        largest = np.abs(self.vertices).max(initial=0.0)
        self.uncertainty_mm = float(np.sqrt(3) * np.spacing(np.float32(largest)))
        if len(self.row):
            self.tree = BoxTree(self.corners)
            self.low, self.high = self.tree.low[-1][0], self.tree.high[-1][0]
        else:
            self.low, self.high = np.full(3, np.inf), np.full(3, -np.inf)


def near_pairs(surfaces: Sequence[Surface], reach: float) -> list[tuple[int, int]]:
    """Which bodies may come within reach of each other, by their boxes and planes between them?

    Parameters
    ----------
    reach : mm, 0 for boxes that touch

    Returns
    -------
    list of (first, second), first < second, in ascending order
    """
    rows = np.array([i for i, one in enumerate(surfaces) if len(one.row)], np.int64)
    if len(rows) < 2:
        return []
    low = np.array([surfaces[i].low for i in rows])
    pairs = rows[near_boxes(low, np.array([surfaces[i].high for i in rows]), reach)]
    # Nothing is parted that the coordinates themselves cannot tell apart.
    reach = max(reach, 2 * max(surfaces[i].uncertainty_mm for i in rows))
    pairs = perhaps_near([one.corners.reshape(-1, 3) for one in surfaces], pairs, reach)
    return [(int(a), int(b)) for a, b in pairs]


def near_boxes(low: Floats, high: Floats, reach: float) -> Ints:
    """(k, 2) rows of boxes that come within reach of each other, the lower first, ascending.

    Parameters
    ----------
    low, high : (n, 3) float64, mm, corners of at least two boxes
    reach : mm
    """
    tree = Index((np.arange(len(low)), low, high), properties=Property(dimension=3))
    hits, count = tree.intersection_v(low - reach, high + reach)  # type: ignore[no-untyped-call]
    first = np.repeat(np.arange(len(low)), count.astype(np.int64))
    pairs = np.stack([first, hits.astype(np.int64)], axis=1)
    pairs = pairs[pairs[:, 0] < pairs[:, 1]]
    ordered: Ints = pairs[np.lexsort((pairs[:, 1], pairs[:, 0]))]
    return ordered


def faces_within(one: Surface, two: Surface, reach: float) -> tuple[Ints, Ints] | None:
    """Rows of both surfaces' faces that may come within reach of the other; None if none do."""
    if len(one.row) == 0 or len(two.row) == 0:
        return None
    first = one.tree.within(two.low - reach, two.high + reach)
    for _ in range(2):
        if len(first) == 0:
            return None
        near = one.corners[first].reshape(-1, 3)
        second = two.tree.within(near.min(axis=0) - reach, near.max(axis=0) + reach)
        if len(second) == 0:
            return None
        near = two.corners[second].reshape(-1, 3)
        first = one.tree.within(near.min(axis=0) - reach, near.max(axis=0) + reach)
    return _without_far_sides(one, two, first, second, reach) if len(first) else None


def _without_far_sides(
    one: Surface, two: Surface, first: Ints, second: Ints, reach: float
) -> tuple[Ints, Ints] | None:
    """The faces less those that lie too far apart along the line between the middles of both.

    Boxes of bodies side by side overlap at their corners where the bodies are far apart: of balls
    in a heap this leaves the caps that face each other, and most pairs have none.
    """
    for _ in range(2):
        here, there = one.corners[first], two.corners[second]
        line = there.mean(axis=(0, 1)) - here.mean(axis=(0, 1))
        length = float(np.linalg.norm(line))
        if length == 0:
            break
        ahead, behind = here @ (line / length), there @ (line / length)
        # Rounding of these products is far below what is left to spare here.
        far = reach + 1e-12 * float(max(np.abs(ahead).max(), np.abs(behind).max()))
        first = first[ahead.max(axis=1) >= behind.min() - far]
        second = second[behind.min(axis=1) <= ahead.max() + far]
        if len(first) == 0 or len(second) == 0:
            return None
    return first, second


class Triangles:
    """Triangles that points are asked about more than once: their boxes are ordered once.

    Parameters
    ----------
    corners : (m, 3, 3) float64, mm, each with an area
    """

    def __init__(self, corners: Floats) -> None:
        self._vertices = np.ascontiguousarray(corners.reshape(-1, 3))
        self._faces = np.arange(len(self._vertices), dtype=np.int64).reshape(-1, 3)
        self._tree = igl.AABB()
        self._tree.init(self._vertices, self._faces)

    def closest(self, point: Floats) -> tuple[Floats, Ints, Floats]:
        """How far is the nearest of the triangles from each point?

        Parameters
        ----------
        point : (k, 3) float64, mm

        Returns
        -------
        distance : (k,) float64, mm
        triangle : (k,) int64
        nearest : (k, 3) float64, mm
        """
        _, triangle, nearest = self._tree.squared_distance(
            self._vertices, self._faces, np.ascontiguousarray(point)
        )
        nearest = nearest.reshape(-1, 3)
        away = point - nearest
        distance = np.sqrt(np.einsum("ij,ij->i", away, away))
        return distance, np.asarray(triangle, np.int64).ravel(), nearest


def closest_points(point: Floats, corners: Floats) -> tuple[Floats, Ints, Floats]:
    """How far is the nearest of the triangles from each point? See `Triangles.closest`."""
    return Triangles(corners).closest(point)
