"""Which faces of two bodies come nearest to each other, exactly?

A tree of boxes over the faces of each side, walked against each other level by level. The caller
says for each face within which distance an answer matters; branches that cannot be nearer are left,
so that the work grows with the number of faces and not with that of pairs. Lengths in mm. Guarded
by tests/geometry/test_clearance_tree.py.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lint3d.geometry.clearance_triangles import triangle_distances
from lint3d.geometry.portions import chunks
from lint3d.geometry.vectors import cross_product

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

FANOUT = 4
#: So many pairs of boxes are looked at before the search is given up: a minute of work, which only
#: facets that all lie within reach of each other can need. A pair of faces counts as several.
MOST_PAIRS = 30_000_000
LEAF_COST = 8
#: After so many the last digits are given up: `slack` is what coordinates resolve, and no less.
MANY_PAIRS = 4_000_000
_PAIRS_AT_ONCE = 1 << 18
_PORTION = 1 << 17
_LEAVES = 1 << 14  # pairs whose corners stay in the processor's cache
_FEW = 256
_CELLS = 1023  # 10 bits a direction in the order of the leaves


class TooManyPairs(Exception):
    """The facets lie so thick that their distances cannot be worked out in bearable time."""


@dataclass(frozen=True, eq=False)
class Nearest:
    """What was found for those faces that have something nearer than was asked, ascending."""

    face: Ints
    """(k,) rows of the first side"""
    other: Ints
    """(k,) row of the second side that is nearest to each"""
    distance: Floats
    """(k,) mm; 0.0 where the faces meet or cross"""
    point: Floats
    """(k, 3) mm, nearest point on the first side"""
    other_point: Floats
    """(k, 3) mm, nearest point on the second side"""


class BoxTree:
    """Boxes of triangles, and boxes of these, four at a time.

    Parameters
    ----------
    corners : (m, 3, 3) float64, mm, at least one triangle
    """

    def __init__(self, corners: Floats) -> None:
        low, high = corners.min(axis=1), corners.max(axis=1)
        self.order = _along_a_curve(0.5 * (low + high))
        self.low, self.high = [low[self.order]], [high[self.order]]
        while len(self.low[-1]) > 1:
            starts = np.arange(0, len(self.low[-1]), FANOUT)
            self.low.append(np.minimum.reduceat(self.low[-1], starts, axis=0))
            self.high.append(np.maximum.reduceat(self.high[-1], starts, axis=0))

    @property
    def top(self) -> int:
        return len(self.low) - 1

    def within(self, low: Floats, high: Floats) -> Ints:
        """Rows of the triangles whose box meets the box (low, high), ascending."""
        node = np.zeros(1, np.int64)
        for level in range(self.top, -1, -1):
            meets = (self.low[level][node] <= high) & (self.high[level][node] >= low)
            node = node[meets.all(axis=1)]
            if level:
                node = _children(node, len(self.low[level - 1]))
        return np.sort(self.order[node])


def nearest_faces(
    one: Floats, two: Floats, within: Floats, group: Ints | None = None, slack: float = 0.0
) -> Nearest:
    """Which triangles of one side come nearer to the other side than asked, and how near?

    Parameters
    ----------
    one, two : (m, 3, 3) and (n, 3, 3) float64, mm, corners
    within : (m,) float64, mm; only smaller distances count
    group : (m,) int64, optional
        Faces of one group share their answer: only the nearest of the group is sure to be exact.
    slack : mm, by which a distance may come out too large: a thousandth of it as a rule, and all
        of it where there are so many equal distances that the search would take too long

    Raises
    ------
    TooManyPairs : the facets lie too thick
    """
    if len(one) == 0 or len(two) == 0:
        return _nothing()
    turn, origin = common_frame(one, two)
    search = _Search((one - origin) @ turn, (two - origin) @ turn, within, group, slack)
    search.run()
    found = search.found()
    points = [p @ turn.T + origin for p in (found.point, found.other_point)]
    return Nearest(found.face, found.other, found.distance, points[0], points[1])


def _nothing() -> Nearest:
    none, nowhere = np.zeros(0, np.int64), np.zeros((0, 3))
    return Nearest(none, none, np.zeros(0), nowhere, nowhere)


def common_frame(one: Floats, two: Floats) -> tuple[Floats, Floats]:
    """A frame along the long edges, in which the boxes of long facets are slim.

    Returns
    -------
    turn : (3, 3), origin : (3,) mm; a point p reads (p - origin) @ turn there
    """
    corners = np.concatenate([one, two])
    origin = 0.5 * (corners.min(axis=(0, 1)) + corners.max(axis=(0, 1)))
    edge = (np.roll(corners, -1, axis=1) - corners).reshape(-1, 3)
    weight = np.einsum("ij,ij->i", edge, edge)
    turn: Floats = np.linalg.eigh((edge * weight[:, None]).T @ edge)[1]
    return turn, origin


class _Search:
    """A walk of two trees against each other."""

    def __init__(
        self, one: Floats, two: Floats, within: Floats, group: Ints | None, slack: float
    ) -> None:
        self.corners = (one, two)
        self.trees = (BoxTree(one), BoxTree(two))
        self.slack, self.most_slack = 0.001 * slack, slack
        self.pairs = 0
        order = self.trees[0].order
        #: (levels) the largest distance that matters to a face below each node
        self.most = [within[order]]
        while len(self.most[-1]) > 1:
            starts = np.arange(0, len(self.most[-1]), FANOUT)
            self.most.append(np.maximum.reduceat(self.most[-1], starts))
        self.group = None if group is None else group[order]
        self.best = within[order].copy()
        self.best_other = np.full(len(one), -1, np.int64)
        self.best_points = np.zeros((2, len(one), 3))

    def run(self) -> None:
        """Depth first in portions, so that memory stays bounded."""
        stack = [(self.trees[0].top, self.trees[1].top, np.zeros(1, np.int64), np.zeros(1, int))]
        while stack:
            a, b, first, second = stack.pop()
            if len(first) > _PAIRS_AT_ONCE:
                stack += [
                    (a, b, first[part], second[part]) for part in chunks(len(first), _PORTION)
                ]
                continue
            self.pairs += len(first)
            if self.pairs > MANY_PAIRS:
                self.slack = self.most_slack
            if self.pairs > MOST_PAIRS:
                raise TooManyPairs
            keep = self._may_gain(a, b, first, second)
            first, second = first[keep], second[keep]
            if len(first) == 0:
                continue
            if a == 0 and b == 0:
                self._leaves(first, second)
            elif a > 0 and (b == 0 or a >= b):
                stack.append((a - 1, b, *split_nodes(first, second, len(self.most[a - 1]))))
            else:
                down = split_nodes(second, first, len(self.trees[1].low[b - 1]))
                stack.append((a, b - 1, down[1], down[0]))

    def _may_gain(self, a: int, b: int, first: Ints, second: Ints) -> Bools:
        """Can anything below these nodes be nearer than what matters?"""
        one, two = self.trees
        gap = np.maximum(
            two.low[b].take(second, 0) - one.high[a].take(first, 0),
            one.low[a].take(first, 0) - two.high[b].take(second, 0),
        )
        np.maximum(gap, 0, out=gap)
        most = self._matters(self.best[first] if a == 0 else self.most[a][first])
        may: Bools = np.einsum("ij,ij->i", gap, gap) < most * most
        return may

    def _leaves(self, first: Ints, second: Ints) -> None:
        """Exact distances of the pairs of faces that may be the nearest, the likely ones first."""
        for part in chunks(len(first), _LEAVES):
            near, far = first[part], second[part]
            self.pairs += LEAF_COST * len(near)
            a = self.corners[0].take(self.trees[0].order[near], 0)
            b = self.corners[1].take(self.trees[1].order[far], 0)
            least = np.zeros(len(near))
            for axis_of in (_between, _normals, _normals_of_second):
                rows = np.flatnonzero(self._may_matter(near, least))
                near, far, least = near[rows], far[rows], least[rows]
                a, b = a.take(rows, 0), b.take(rows, 0)
                np.maximum(least, _shadow_gap(a, b, axis_of(a, b)), out=least)
            order = np.argsort(least, kind="stable")
            # Of few pairs all are worked out at once: a second call would cost more than it saves.
            first_few = len(order) // 16 if len(order) > _FEW else 0
            for portion in (order[:first_few], order[first_few:]):
                if not len(portion):
                    continue
                rows = portion[self._may_matter(near[portion], least[portion])]
                self._take(
                    near[rows], far[rows], *triangle_distances(a.take(rows, 0), b.take(rows, 0))
                )

    def _may_matter(self, near: Ints, least: Floats) -> Bools:
        """Pairs that may be nearer than the best by more than the slack, or that may meet."""
        may: Bools = least < self._matters(self.best[near])
        return may

    def _matters(self, best: Floats) -> Floats:
        """The distance below which a pair is worth a look; slack never hides that faces meet."""
        return np.where(best > 2 * self.slack, best - self.slack, best)

    def _take(self, near: Ints, far: Ints, distance: Floats, point: Floats, other: Floats) -> None:
        """Keep what is nearer than what was known."""
        order = np.lexsort((self.trees[1].order[far], distance, near))
        order = order[np.flatnonzero(np.diff(near[order], prepend=-1))]
        order = order[distance[order] < self.best[near[order]]]
        rows = near[order]
        self.best[rows], self.best_other[rows] = distance[order], far[order]
        self.best_points[0, rows], self.best_points[1, rows] = point[order], other[order]
        if self.group is not None and len(rows):
            shared = np.full(int(self.group.max()) + 1, np.inf)
            np.minimum.at(shared, self.group[rows], distance[order])
            np.minimum(self.best, shared[self.group], out=self.best)

    def found(self) -> Nearest:
        distance = np.linalg.norm(self.best_points[0] - self.best_points[1], axis=1)
        rows = np.flatnonzero(self.best_other >= 0)
        face = self.trees[0].order[rows]
        order = np.argsort(face)
        rows, face = rows[order], face[order]
        return Nearest(
            face,
            self.trees[1].order[self.best_other[rows]],
            distance[rows],
            self.best_points[0, rows],
            self.best_points[1, rows],
        )


def _shadow_gap(one: Floats, two: Floats, axis: Floats) -> Floats:
    """How far the shadows of each two triangles on an axis lie apart: no more than they do."""
    length = np.sqrt(np.einsum("kj,kj->k", axis, axis))
    a, b = np.einsum("kij,kj->ik", one, axis), np.einsum("kij,kj->ik", two, axis)
    ahead = np.minimum(np.minimum(b[0], b[1]), b[2]) - np.maximum(np.maximum(a[0], a[1]), a[2])
    behind = np.minimum(np.minimum(a[0], a[1]), a[2]) - np.maximum(np.maximum(b[0], b[1]), b[2])
    gap: Floats = np.maximum(ahead, behind) / np.where(length > 0, length, np.inf)
    return gap


def _between(one: Floats, two: Floats) -> Floats:
    axis: Floats = two.sum(axis=1) - one.sum(axis=1)
    return axis


def _normals(one: Floats, _: Floats) -> Floats:
    normal: Floats = cross_product(one[:, 1] - one[:, 0], one[:, 2] - one[:, 0])
    return normal


def _normals_of_second(_: Floats, two: Floats) -> Floats:
    return _normals(two, two)


def _along_a_curve(point: Floats) -> Ints:
    """An order in which neighbours in space are mostly neighbours in the row (Morton's curve)."""
    size = max(float(np.ptp(point, axis=0).max()), 1e-30)
    cell = ((point - point.min(axis=0)) / size * _CELLS).astype(np.int64)
    code = np.zeros(len(point), np.int64)
    for bit in range(10):
        for axis in range(3):
            code |= ((cell[:, axis] >> bit) & 1) << (3 * bit + axis)
    return np.argsort(code, kind="stable")


def _children(node: Ints, count: int) -> Ints:
    child = (node[:, None] * FANOUT + np.arange(FANOUT)).ravel()
    return child[child < count]


def split_nodes(node: Ints, partner: Ints, count: int) -> tuple[Ints, Ints]:
    """Each node's children, beside the node's partner."""
    child = (node[:, None] * FANOUT + np.arange(FANOUT)).ravel()
    exists = child < count
    return child[exists], np.repeat(partner, FANOUT)[exists]
