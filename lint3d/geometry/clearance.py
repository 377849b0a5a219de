"""Where do two bodies come near each other, and how near?

Pairs whose boxes lie within reach are found with a tree of boxes; of each pair the faces within
reach are found by exact closest points, grouped into connected regions, and each region gets its
exact smallest distance. A body inside another's material keeps a distance as well: `overlap.py`
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
from lint3d.geometry.clearance_tree import BoxTree, TooManyPairs, common_frame, nearest_faces
from lint3d.geometry.components import connected_groups
from lint3d.geometry.vectors import cross_product

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

# Rounding to single precision moves a point by half of `Surface.uncertainty_mm` at most. Where very
# many distances are equal but for rounding, most of the other half is what the search may miss.
_SLACK = 0.4
# Of needles (500 times as long as wide) no tree can tell which are near: two bodies with more pairs
# of them than this within reach are given up at once.
_NEEDLE = 500.0
_MOST_NEEDLE_PAIRS = 50_000_000


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


@dataclass(frozen=True, eq=False)
class Spot:
    """A connected region of the first body that lies within `level` of the second."""

    distance: float
    """mm, smallest in the region, exact but for the coordinates; 0.0 where the bodies meet"""
    level: float
    """mm"""
    point: Floats
    """(2, 3) mm, where they are nearest, on the first body and on the second"""
    face: tuple[int, int]
    """the nearest faces, on the first body and on the second"""
    faces: Ints
    """rows of the first body's faces, the nearest first"""


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


def near_spots(one: Surface, two: Surface, levels: Sequence[float]) -> list[Spot]:
    """Regions of the first body that lie near the second, with their exact smallest distance.

    Parameters
    ----------
    levels : mm, ascending
        A region is a connected group of faces that come within a level; one that holds a region of
        a lower level is told as that only.

    Returns
    -------
    list of Spot, the nearest first; empty if nothing is within the last level

    Raises
    ------
    clearance_tree.TooManyPairs : the facets lie too thick
    """
    rows = faces_within(one, two, levels[-1])
    if rows is None:
        return []
    return _Field(one, two, *rows, levels).spots()


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


class _Field:
    """How near each of some faces of one body comes to some of another."""

    def __init__(
        self, one: Surface, two: Surface, first: Ints, second: Ints, levels: Sequence[float]
    ) -> None:
        self.one, self.two, self.first, self.second = one, two, first, second
        self.levels = levels
        self.slack = _SLACK * max(one.uncertainty_mm, two.uncertainty_mm)
        self.turn, self.origin = common_frame(one.corners[first], two.corners[second])
        self.here = (one.corners[first] - self.origin) @ self.turn
        self.there = (two.corners[second] - self.origin) @ self.turn
        if _needles(self.here) * _needles(self.there) > _MOST_NEEDLE_PAIRS:
            raise TooManyPairs
        middle = self.here.mean(axis=1)
        self.radius = np.linalg.norm(self.here - middle[:, None], axis=2).max(axis=1)
        self.middle_distance, self.other, on_other = closest_points(middle, self.there)
        #: Known to be reached: a distance between two points of the surfaces.
        self.known = self.middle_distance.copy()
        self.points = np.stack([middle, on_other])
        self._other_way()

    def _other_way(self) -> None:
        """Middles of the second body's faces may know better: a small face over a large one."""
        middle = self.there.mean(axis=1)
        distance, face, point = closest_points(middle, self.here)
        order = np.lexsort((distance, face))
        order = order[np.flatnonzero(np.diff(face[order], prepend=-1))]
        order = order[distance[order] < self.known[face[order]]]
        rows = face[order]
        self.known[rows], self.other[rows] = distance[order], order
        self.points[0, rows], self.points[1, rows] = point[order], middle[order]

    def spots(self) -> list[Spot]:
        least = np.maximum(self.middle_distance - self.radius, 0)
        doubtful = np.zeros(len(least))  # the highest level that each face may or may not be within
        for level in self.levels:
            doubtful[(least <= level) & (self.known > level)] = level
        rows = np.flatnonzero(doubtful)
        self._refine(rows, doubtful[rows] * (1 + 1e-12), None)
        region, level_of = self._regions()
        if not level_of:
            return []
        best = np.full(len(level_of), np.inf)
        kept = region >= 0
        np.minimum.at(best, region[kept], self.known[kept])
        open_rows = np.flatnonzero(kept & (least < np.where(kept, best[region], 0)))
        self._refine(open_rows, best[region[open_rows]], region[open_rows])
        return self._described(region, level_of)

    def _refine(self, rows: Ints, within: Floats, group: Ints | None) -> None:
        """Exact distances, where less than `within`, of some faces or of the nearest of a group."""
        if len(rows) == 0:
            return
        found = nearest_faces(self.here[rows], self.there, within, group, self.slack)
        better = found.distance < self.known[rows[found.face]]
        face = rows[found.face[better]]
        self.known[face], self.other[face] = found.distance[better], found.other[better]
        self.points[0, face], self.points[1, face] = found.point[better], found.other_point[better]

    def _regions(self) -> tuple[Ints, list[float]]:
        """Region of each face (-1: too far) and the level of each region."""
        vertices = self.one.faces[self.one.row[self.first]]
        region = np.full(len(self.known), -1)
        levels: list[float] = []
        for level in self.levels:
            rows = np.flatnonzero(self.known <= level)
            if len(rows) == 0:
                continue
            label = touching_faces(vertices[rows])
            taken = np.unique(label[region[rows] >= 0])
            fresh = ~np.isin(label, taken)
            number = np.unique(label[fresh], return_inverse=True)[1]
            region[rows[fresh]] = len(levels) + number
            levels += [level] * (int(number.max()) + 1 if len(number) else 0)
        return region, levels

    def _described(self, region: Ints, level_of: list[float]) -> list[Spot]:
        order = np.lexsort((self.known, region))
        order = order[region[order] >= 0]
        starts = np.flatnonzero(np.diff(region[order], prepend=-1))
        spots = []
        for rows in np.split(order, starts[1:]) if len(order) else []:
            face = self.one.row[self.first[rows]]
            worst = self._squarest(rows)
            first = int(self.one.row[self.first[worst]])
            spots.append(
                Spot(
                    float(self.known[rows[0]]),
                    level_of[int(region[worst])],
                    self.points[:, worst] @ self.turn.T + self.origin,
                    (first, int(self.two.row[self.second[self.other[worst]]])),
                    np.concatenate([[first], face[face != first]]),
                )
            )
        return sorted(spots, key=lambda spot: (spot.distance, spot.face))

    def _squarest(self, rows: Ints) -> int:
        """Of the faces that are nearest as far as can be told, the one that looks straightest
        across, and not the one round the corner that shares the nearest edge."""
        step = self.one.uncertainty_mm + self.two.uncertainty_mm
        tied = rows[self.known[rows] <= self.known[rows[0]] + step]
        corners = self.here[tied]
        normal = cross_product(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
        across = self.points[1, tied] - self.points[0, tied]
        length = np.linalg.norm(normal, axis=1) * np.linalg.norm(across, axis=1)
        straight = np.abs(np.einsum("ij,ij->i", normal, across))
        return int(tied[(straight / np.where(length > 0, length, np.inf)).argmax()])


def _needles(corners: Floats) -> int:
    """How many of the triangles are far longer than wide?"""
    side = np.roll(corners, -1, axis=1) - corners
    longest = np.einsum("kij,kij->ki", side, side).max(axis=1)
    normal = cross_product(side[:, 0], side[:, 1])
    return int((np.sqrt(np.einsum("kj,kj->k", normal, normal)) * _NEEDLE < longest).sum())


def closest_points(point: Floats, corners: Floats) -> tuple[Floats, Ints, Floats]:
    """How far is the nearest of the triangles from each point?

    Parameters
    ----------
    point : (k, 3) float64, mm
    corners : (m, 3, 3) float64, mm, each with an area

    Returns
    -------
    distance : (k,) float64, mm
    triangle : (k,) int64
    nearest : (k, 3) float64, mm
    """
    vertices = np.ascontiguousarray(corners.reshape(-1, 3))
    faces = np.arange(len(vertices), dtype=np.int64).reshape(-1, 3)
    _, triangle, nearest = igl.point_mesh_squared_distance(
        np.ascontiguousarray(point), vertices, faces
    )
    nearest = nearest.reshape(-1, 3)
    away = point - nearest
    distance = np.sqrt(np.einsum("ij,ij->i", away, away))
    return distance, np.asarray(triangle, np.int64).ravel(), nearest


def touching_faces(faces: Ints) -> Ints:
    """(k,) group of each face; faces that share a vertex are of one group."""
    used, vertex = np.unique(faces, return_inverse=True)
    owner = np.repeat(np.arange(len(faces)), 3)
    groups = connected_groups(len(faces) + len(used), owner, len(faces) + vertex.ravel())
    return groups[: len(faces)]
