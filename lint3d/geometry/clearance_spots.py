"""Which regions of two bodies lie near each other, and how near?

Faces within reach are found by exact closest points and grouped into connected regions; each
region gets its exact smallest distance. Lengths in mm. Guarded by tests/geometry/test_clearance.py.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from lint3d.geometry.clearance import Surface, closest_points, faces_within
from lint3d.geometry.clearance_tree import TooManyPairs, common_frame, nearest_faces
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
# A face so many levels large may be near in one place and far in the next.
_LARGE = 2.0


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
    others: Ints | None = None
    """rows of the second body's faces that make it a region by itself: large faces of the first
    body may lie in several; None if those of the first body say it all"""


def near_spots(one: Surface, two: Surface, levels: Sequence[float]) -> list[Spot]:
    """Regions of the first body that lie near the second, with their exact smallest distance.

    Parameters
    ----------
    levels : mm, ascending
        A region is a connected group of faces of the first body that come within a level of a
        connected group of the second's: three pads before one large face are three, whichever
        body is the first. One that holds a region of a lower level is told as that only.

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
    field = Field(one, two, *rows, levels)
    spots = field.spots()
    if not spots:
        return spots
    back = field.turned()
    if not back.may_be_several():
        return spots
    back.find_regions()
    links = np.concatenate(
        [
            np.stack([field.region, back.region[field.other]], axis=1),
            np.stack([field.region[back.other], back.region], axis=1),
        ]
    )
    links = np.unique(links[(links >= 0).all(axis=1)], axis=0)
    # At a distance that is a level to the last digit a region may be seen from one side alone.
    if len(links) <= len(spots) or len(np.unique(links[:, 0])) < len(spots):
        return spots
    spots = []
    for here, there in links.tolist():
        first, second = rows[0][field.region == here], rows[1][back.region == there]
        found = Field(one, two, first, second, levels).spots()
        spots += [replace(spot, others=two.row[second]) for spot in found]
    return sorted(spots, key=lambda spot: (spot.distance, spot.face))


class Field:
    """How near each of some faces of one body comes to some of another."""

    def __init__(
        self,
        one: Surface,
        two: Surface,
        first: Ints,
        second: Ints,
        levels: Sequence[float],
        back: Field | None = None,
    ) -> None:
        self.one, self.two, self.first, self.second = one, two, first, second
        self.levels = levels
        self.slack = _SLACK * max(one.uncertainty_mm, two.uncertainty_mm)
        if back is None:
            self.turn, self.origin = common_frame(one.corners[first], two.corners[second])
            self.here = (one.corners[first] - self.origin) @ self.turn
            self.there = (two.corners[second] - self.origin) @ self.turn
            if _needles(self.here) * _needles(self.there) > _MOST_NEEDLE_PAIRS:
                raise TooManyPairs
            self.ahead = closest_points(self.here.mean(axis=1), self.there)
            self.behind = closest_points(self.there.mean(axis=1), self.here)
        else:
            self.turn, self.origin = back.turn, back.origin
            self.here, self.there = back.there, back.here
            self.ahead, self.behind = back.behind, back.ahead
        middle = self.here.mean(axis=1)
        self.radius = np.linalg.norm(self.here - middle[:, None], axis=2).max(axis=1)
        self.middle_distance = self.ahead[0]
        #: Known to be reached: a distance between two points of the surfaces.
        self.known, self.other = self.ahead[0].copy(), self.ahead[1].copy()
        self.points = np.stack([middle, self.ahead[2]])
        #: Which of the regions each face is of, once they are told; -1 for none
        self.region = np.full(len(first), -1)
        self._other_way()

    def turned(self) -> Field:
        """The same seen from the other body."""
        return Field(self.two, self.one, self.second, self.first, self.levels, self)

    def _other_way(self) -> None:
        """Middles of the second body's faces may know better: a small face over a large one."""
        middle = self.there.mean(axis=1)
        distance, face, point = self.behind
        order = np.lexsort((distance, face))
        order = order[np.flatnonzero(np.diff(face[order], prepend=-1))]
        order = order[distance[order] < self.known[face[order]]]
        rows = face[order]
        self.known[rows], self.other[rows] = distance[order], order
        self.points[0, rows], self.points[1, rows] = point[order], middle[order]

    def may_be_several(self) -> bool:
        """May these faces make more than one region? False where it is plain that they do not."""
        level = self.levels[-1]
        sure = self.known <= level
        near = sure | (self.middle_distance - self.radius <= level)
        if (self.radius[near & ~sure] > _LARGE * level).any():
            return True
        return any(self._touching(some).any() for some in (sure, near) if some.any())

    def spots(self) -> list[Spot]:
        """The regions, each with its smallest distance, exact but for the coordinates."""
        least, level_of = self.find_regions()
        if not level_of:
            return []
        region = self.region
        best = np.full(len(level_of), np.inf)
        kept = region >= 0
        np.minimum.at(best, region[kept], self.known[kept])
        open_rows = np.flatnonzero(kept & (least < np.where(kept, best[region], 0)))
        self._refine(open_rows, best[region[open_rows]], region[open_rows])
        return self._described(region, level_of)

    def find_regions(self) -> tuple[Floats, list[float]]:
        """Tell the regions: how near each face may be at least, and the level of each region."""
        least = np.maximum(self.middle_distance - self.radius, 0)
        doubtful = np.zeros(len(least))  # the highest level that each face may or may not be within
        for level in self.levels:
            doubtful[(least <= level) & (self.known > level)] = level
        rows = np.flatnonzero(doubtful)
        self._refine(rows, doubtful[rows] * (1 + 1e-12), None)
        self.region, level_of = self._regions()
        return least, level_of

    def _touching(self, some: Ints | Bools) -> Ints:
        """Which of some of the first body's faces hang together?"""
        return touching_faces(self.one.faces[self.one.row[self.first[some]]])

    def _refine(self, rows: Ints, within: Floats, group: Ints | None) -> None:
        """Exact distances, where less than `within`, of some faces or of the nearest of a group."""
        if len(rows) == 0:
            return
        bound = self._no_farther(rows)
        if group is not None:
            of_group = np.full(int(group.max()) + 1, np.inf)
            np.minimum.at(of_group, group, bound)
            bound = of_group[group]
        within = np.minimum(within, bound)
        found = nearest_faces(self.here[rows], self.there, within, group, self.slack)
        better = found.distance < self.known[rows[found.face]]
        face = rows[found.face[better]]
        self.known[face], self.other[face] = found.distance[better], found.other[better]
        self.points[0, face], self.points[1, face] = found.point[better], found.other_point[better]

    def _no_farther(self, rows: Ints) -> Floats:
        """Some faces are surely nearer than this, by the corners of both sides.

        With little to choose from the exact search takes a third of the time.
        """
        here = self.here[rows]
        near = closest_points(here.reshape(-1, 3), self.there)[0].reshape(-1, 3).min(axis=1)
        corner = _each_once(self.there)
        far, face, _ = closest_points(corner, here)
        np.minimum.at(near, face, far)
        # What the search may miss by is left to it, so that it finds the nearest by itself.
        return near * (1 + 1e-12) + 2 * self.slack

    def _regions(self) -> tuple[Ints, list[float]]:
        """Region of each face (-1: too far) and the level of each region."""
        region = np.full(len(self.known), -1)
        levels: list[float] = []
        for level in self.levels:
            rows = np.flatnonzero(self.known <= level)
            if len(rows) == 0:
                continue
            label = self._touching(rows)
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


def _each_once(corners: Floats) -> Floats:
    """(n, 3) the corners of triangles, each place once."""
    points = corners.reshape(-1, 3)
    order = np.lexsort(points.T)
    is_new = np.ones(len(order), dtype=bool)
    is_new[1:] = (points[order[1:]] != points[order[:-1]]).any(axis=1)
    once: Floats = points[order[is_new]]
    return once


def touching_faces(faces: Ints) -> Ints:
    """(k,) group of each face; faces that share a vertex are of one group."""
    used, vertex = np.unique(faces, return_inverse=True)
    owner = np.repeat(np.arange(len(faces)), 3)
    groups = connected_groups(len(faces) + len(used), owner, len(faces) + vertex.ravel())
    return groups[: len(faces)]
