"""Which islands belong together as a line of characters?

Islands of one sense, of like height, with like normals and near each other form a group; a group
falls into lines, and islands that lie over each other along a line (an i and its dot, the parts of
a percent sign) are one character. Lengths in mm. Guarded by tests/geometry/test_relief_groups.py.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_array
from scipy.sparse.csgraph import minimum_spanning_tree
from scipy.spatial import cKDTree

from lint3d.geometry.components import connected_groups

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

#: Neighbours stand no farther apart than this share of the larger one's size.
GAP = 0.8
#: Heights of one inscription differ by no more than this share, or this many mm.
LIKE_HEIGHT, LIKE_HEIGHT_MM = 0.15, 0.03
#: Normals of neighbours differ by less than this.
LIKE_NORMAL = np.cos(np.radians(50.0))
#: Islands that overlap by this share of the narrower one, along the line, are one character ...
OVERLAP = 0.6
#: ... and so are those that overlap by less, where one is lower than a small letter (a dot, the
#: rings of a percent sign): kerned letters overlap a little, too.
OVERLAP_SMALL, SMALL = 0.25, 0.62
#: What is lower than this share of the tallest line is no line of its own, but dots and accents.
LOW_LINE = 0.5
_MOST_FEET = 48


@dataclass(frozen=True, eq=False)
class Standing:
    """What grouping needs of an island."""

    raised: bool
    height: float
    slack: float
    """mm, half the interval of the height"""
    centre: Floats
    normal: Floats
    foot: Floats
    """(k, 3) mm, points along the foot"""

    @property
    def size(self) -> float:
        """Longest side of the foot's box in its own plane, mm."""
        return float(np.ptp(self.foot, axis=0).max())


@dataclass(frozen=True, eq=False)
class Line:
    """Islands along one line."""

    members: Ints
    character: Ints
    """(k,) which character each member belongs to, from 0 in reading order (or against it)."""
    direction: Floats
    """(k, 3) unit, along the line at each member."""


def groups(islands: Sequence[Standing]) -> list[Ints]:
    """Rows of islands that belong together, single ones included."""
    if not islands:
        return []
    pairs = _neighbours(islands)
    group = connected_groups(len(islands), pairs[:, 0], pairs[:, 1])
    order = np.argsort(group, kind="stable")
    return np.split(order, np.flatnonzero(np.diff(group[order])) + 1)


def _neighbours(islands: Sequence[Standing]) -> Ints:
    centre = np.array([one.centre for one in islands])
    size = np.array([one.size for one in islands])
    height = np.array([one.height for one in islands])
    slack = np.array([one.slack for one in islands])
    normal = np.array([one.normal for one in islands])
    raised = np.array([one.raised for one in islands])
    # Larger ones look for smaller ones, so that a small mark is found by its large neighbour.
    tree = cKDTree(centre)
    reach = size * (1.0 + GAP) + 0.5 * size
    near = tree.query_ball_point(centre, reach)
    one = np.repeat(np.arange(len(islands)), [len(rows) for rows in near])
    two = np.concatenate([np.asarray(rows, np.int64) for rows in near])
    larger = (size[one] > size[two]) | ((size[one] == size[two]) & (one < two))
    one, two = one[larger], two[larger]
    tolerance = np.maximum(LIKE_HEIGHT * np.maximum(height[one], height[two]), LIKE_HEIGHT_MM)
    like = (
        (raised[one] == raised[two])
        & (np.abs(height[one] - height[two]) <= tolerance + slack[one] + slack[two])
        & (np.einsum("ij,ij->i", normal[one], normal[two]) >= LIKE_NORMAL)
    )
    one, two = one[like], two[like]
    feet = [_thinned(island.foot) for island in islands]
    close = [
        _gap(feet[i], feet[j]) <= GAP * size[i]
        for i, j in zip(one.tolist(), two.tolist(), strict=True)
    ]
    kept = np.asarray(close, bool)
    return np.column_stack([one[kept], two[kept]]).astype(np.int64)


def _thinned(points: Floats) -> Floats:
    step = max(1, len(points) // _MOST_FEET)
    return points[::step]


def _gap(one: Floats, two: Floats) -> float:
    square = (one**2).sum(axis=1)[:, None] + (two**2).sum(axis=1) - 2 * one @ two.T
    return float(np.sqrt(max(square.min(), 0.0)))


def lines_of(islands: Sequence[Standing], members: Ints) -> list[Line]:
    """The lines of a group, each with its characters.

    The way of reading follows from how neighbours lie to each other: letters of a line stand nearer
    than lines do.
    """
    centre = np.array([islands[i].centre for i in members])
    way = _tree_ways(islands, members)
    normal = np.mean([islands[i].normal for i in members], axis=0)
    if way is None:
        return [Line(members, np.zeros(len(members), np.int64), np.zeros((len(members), 3)))]
    path = _Path(centre, way, normal / max(float(np.linalg.norm(normal)), 1e-12))
    spans = [path.extent(islands[i].foot) for i in members]
    low = np.array([[span[0], span[2]] for span in spans])
    high = np.array([[span[1], span[3]] for span in spans])
    line = _with_accents(_overlapping(low[:, 1], high[:, 1], 0.3), low[:, 1], high[:, 1])
    found = []
    for number in range(int(line.max()) + 1):
        rows = np.flatnonzero(line == number)
        character = _characters(low[rows], high[rows])
        first = np.array([low[rows[character == c], 0].min() for c in range(character.max() + 1)])
        rank = np.argsort(np.argsort(first))
        found.append(
            Line(members[rows], rank[character], np.array([path.tangent(centre[r]) for r in rows]))
        )
    return found


def _with_accents(line: Ints, low: Floats, high: Floats) -> Ints:
    """Lines, with those that are too low for letters joined to the nearest one."""
    count = int(line.max()) + 1
    bottom = np.array([low[line == k].min() for k in range(count)])
    top = np.array([high[line == k].max() for k in range(count)])
    is_low = top - bottom < LOW_LINE * (top - bottom).max()
    whole = np.flatnonzero(~is_low)
    gap = np.maximum(bottom[:, None] - top[whole], bottom[whole] - top[:, None])
    joined = np.where(is_low, whole[gap.argmin(axis=1)], np.arange(count))
    return np.unique(joined[line], return_inverse=True)[1].astype(np.int64)


def _characters(low: Floats, high: Floats) -> Ints:
    """Which islands of a line are one character, from their extents along and across it."""
    wide, tall = (high - low).T
    common = np.minimum(high[:, None, 0], high[:, 0]) - np.maximum(low[:, None, 0], low[:, 0])
    share = common / np.maximum(np.minimum(wide[:, None], wide), 1e-9)
    small = np.minimum(tall[:, None], tall) < SMALL * (high[:, 1].max() - low[:, 1].min())
    one, two = np.nonzero((share > OVERLAP) | (small & (share > OVERLAP_SMALL)))
    return connected_groups(len(low), one, two)


def _tree_ways(islands: Sequence[Standing], members: Ints) -> Floats | None:
    """(3,) the way along which most neighbours lie, or None for a single island."""
    if len(members) < 2:
        return None
    feet = [_thinned(islands[i].foot) for i in members]
    centre = np.array([islands[i].centre for i in members])
    size = np.array([islands[i].size for i in members])
    pairs = cKDTree(centre).query_pairs(3.0 * float(size.max()), output_type="ndarray")
    gaps = np.array([_gap(feet[i], feet[j]) for i, j in pairs.tolist()])
    if not len(gaps):
        return None
    graph = csr_array((gaps + 1e-6, (pairs[:, 0], pairs[:, 1])), shape=(len(members),) * 2)
    tree = minimum_spanning_tree(graph).tocoo()
    way = centre[tree.coords[1]] - centre[tree.coords[0]]
    # Small marks (dots, accents) say little about the way of reading.
    weight = np.minimum(size[tree.coords[0]], size[tree.coords[1]])
    way /= np.maximum(np.linalg.norm(way, axis=1), 1e-12)[:, None]
    tensor = (way * weight[:, None]).T @ way
    return np.linalg.eigh(tensor)[1][:, -1]


class _Path:
    """A straight line or a circle through the centres of a group, with coordinates along it."""

    def __init__(self, centre: Floats, way: Floats, normal: Floats) -> None:
        self.origin = centre.mean(axis=0)
        self.way, self.normal = way, normal
        across = np.cross(normal, way)
        self.across = across / max(float(np.linalg.norm(across)), 1e-12)
        self.circle: tuple[Floats, Floats, float] | None = None
        if len(centre) >= 4:
            self._try_circle(centre)

    def _try_circle(self, centre: Floats) -> None:
        """Letters round a drum or along an arc lie on a circle."""
        _, size, axes = np.linalg.svd(centre - self.origin, full_matrices=False)
        flat = (centre - self.origin) @ axes[:2].T
        off_plane = np.abs((centre - self.origin) @ axes[2]).max()
        line_error = np.abs(flat[:, 1]).max()
        terms = np.column_stack([2 * flat, np.ones(len(flat))])
        a, b, c = np.linalg.lstsq(terms, (flat**2).sum(axis=1), rcond=None)[0]
        radius = float(np.sqrt(max(c + a * a + b * b, 0.0)))
        error = np.abs(np.hypot(flat[:, 0] - a, flat[:, 1] - b) - radius).max()
        if error + off_plane < 0.3 * line_error and radius < 20 * size[0]:
            self.circle = (self.origin + np.array([a, b]) @ axes[:2], axes[2], radius)

    def tangent(self, point: Floats) -> Floats:
        if self.circle is None:
            return self.way
        middle, axis, _ = self.circle
        way = np.cross(axis, point - middle)
        return way / max(float(np.linalg.norm(way)), 1e-12)

    def extent(self, foot: Floats) -> tuple[float, float, float, float]:
        """Lowest and highest coordinate along the path, and across it."""
        if self.circle is None:
            along, across = (foot - self.origin) @ self.way, (foot - self.origin) @ self.across
        else:
            middle, axis, radius = self.circle
            arm = foot - middle
            first = self.origin - middle
            first -= (first @ axis) * axis
            first = first / max(float(np.linalg.norm(first)), 1e-12)
            second = np.cross(axis, first)
            angle = np.arctan2(arm @ second, arm @ first)
            centre = float(np.angle(np.exp(1j * angle).mean()))
            angle = centre + np.angle(np.exp(1j * (angle - centre)))
            along = angle * radius
            flat = abs(float(axis @ self.normal)) > 0.7
            across = np.hypot(arm @ first, arm @ second) if flat else arm @ axis
        return float(along.min()), float(along.max()), float(across.min()), float(across.max())


def _overlapping(low: Floats, high: Floats, share: float) -> Ints:
    """Groups of intervals that overlap by a share of the shorter one."""
    common = np.minimum(high[:, None], high) - np.maximum(low[:, None], low)
    shorter = np.minimum((high - low)[:, None], high - low)
    one, two = np.nonzero(common > share * np.maximum(shorter, 1e-9))
    return connected_groups(len(low), one, two)
