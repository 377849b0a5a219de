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
#: Normals of neighbours differ by less than this, and those of one that runs over an edge from its
#: neighbours' by less than that.
LIKE_NORMAL, OVER_EDGE = np.cos(np.radians(50.0)), np.cos(np.radians(75.0))
#: Islands that overlap by this share of the narrower one, along the line, are one character ...
OVERLAP = 0.6
#: ... and so are those that overlap by less, where one is lower than a small letter (a dot, the
#: rings of a percent sign): kerned letters overlap a little, too.
OVERLAP_SMALL, SMALL = 0.25, 0.62
#: What is lower than this share of the tallest line is no line of its own, but dots and accents.
LOW_LINE = 0.5
#: Letters stand on a line within this share of their size; a block has so many islands at least;
#: and by so much more of them stand on the lines of another way that it is taken instead.
STANDS, BLOCK, SURELY = 0.02, 6, 0.15
#: Ways from neighbour to neighbour along one line differ by less than this.
ALONG = np.cos(np.radians(20.0))
_MOST_POINTS = 48


@dataclass(frozen=True, eq=False)
class Standing:
    """What grouping needs of an island."""

    raised: bool
    height: float
    slack: float
    """mm, half the interval of the height"""
    centre: Floats
    normal: Floats
    cap: Floats
    """(k, 3) mm, points of the cap"""
    over_edge: bool = False
    """Does it stand on several faces?"""

    @property
    def size(self) -> float:
        """Across the cap: twice the farthest point from its middle, less a fifth, mm.

        The height of an I, and about that of an O; the same in every frame.
        """
        return 1.7 * float(np.linalg.norm(self.cap - self.centre, axis=1).max())


@dataclass(frozen=True, eq=False)
class Line:
    """Islands along one line."""

    members: Ints
    character: Ints
    """(k,) which character each member belongs to, from 0 in reading order (or against it)."""
    direction: Floats
    """(k, 3) unit, along the line at each member."""


def groups(islands: Sequence[Standing], sizes: Floats | None = None) -> list[Ints]:
    """Rows of islands that belong together, single ones included.

    Parameters
    ----------
    islands : what to group
    sizes : (k,) mm, how large the characters round each island are taken to be; by default as large
        as itself
    """
    if not islands:
        return []
    own = np.array([one.size for one in islands])
    pairs = _neighbours(islands, own if sizes is None else np.maximum(own, sizes))
    group = connected_groups(len(islands), pairs[:, 0], pairs[:, 1])
    order = np.argsort(group, kind="stable")
    return np.split(order, np.flatnonzero(np.diff(group[order])) + 1)


def _neighbours(islands: Sequence[Standing], size: Floats) -> Ints:
    centre = np.array([one.centre for one in islands])
    height = np.array([one.height for one in islands])
    slack = np.array([one.slack for one in islands])
    normal = np.array([one.normal for one in islands])
    raised = np.array([one.raised for one in islands])
    over_edge = np.array([one.over_edge for one in islands])
    # Larger ones look for smaller ones, so that a small mark is found by its large neighbour.
    tree = cKDTree(centre)
    reach = size * (1.0 + GAP) + 0.5 * size
    near = tree.query_ball_point(centre, reach)
    one = np.repeat(np.arange(len(islands)), [len(rows) for rows in near])
    two = np.concatenate([np.asarray(rows, np.int64) for rows in near])
    larger = (size[one] > size[two]) | ((size[one] == size[two]) & (one < two))
    one, two = one[larger], two[larger]
    alike = np.einsum("ij,ij->i", normal[one], normal[two])
    tolerance = np.maximum(LIKE_HEIGHT * np.maximum(height[one], height[two]), LIKE_HEIGHT_MM)
    like = (
        (raised[one] == raised[two])
        & (np.abs(height[one] - height[two]) <= tolerance + slack[one] + slack[two])
        & (alike >= np.where(over_edge[one] | over_edge[two], OVER_EDGE, LIKE_NORMAL))
    )
    one, two = one[like], two[like]
    feet = [_thinned(island.cap) for island in islands]
    close = [
        _gap(feet[i], feet[j]) <= GAP * size[i]
        for i, j in zip(one.tolist(), two.tolist(), strict=True)
    ]
    kept = np.asarray(close, bool)
    return np.column_stack([one[kept], two[kept]]).astype(np.int64)


def are_near(one: Standing, two: Standing, size: float) -> bool:
    """Do two islands stand as near as neighbours of a line of that height do, and look one way?"""
    if one.normal @ two.normal < LIKE_NORMAL:
        return False
    return gap_between(one, two) <= GAP * size


def gap_between(one: Standing, two: Standing) -> float:
    """Distance between points of two caps, mm."""
    return _gap(_thinned(one.cap), _thinned(two.cap))


def _thinned(points: Floats) -> Floats:
    step = max(1, len(points) // _MOST_POINTS)
    return points[::step]


def _gap(one: Floats, two: Floats) -> float:
    square = (one**2).sum(axis=1)[:, None] + (two**2).sum(axis=1) - 2 * one @ two.T
    return float(np.sqrt(max(square.min(), 0.0)))


def lines_of(islands: Sequence[Standing], members: Ints) -> list[Line]:
    """The lines of a group, each with its characters.

    The way of reading follows from how neighbours lie to each other: letters of a line stand nearer
    than lines do. In blocks of short lines that may mislead: there the letters stand on lines that
    they share.
    """
    centre = np.array([islands[i].centre for i in members])
    way = _tree_ways(islands, members)
    if way is None:
        return [Line(members, np.zeros(len(members), np.int64), np.zeros((len(members), 3)))]
    normals = np.array([islands[i].normal for i in members])
    caps = [islands[i].cap for i in members]
    size = max(islands[i].size for i in members)
    low, high, path = _best_path(centre, way, normals, caps, size)
    line = _with_accents(_overlapping(low[:, 1], high[:, 1], 0.3), low[:, 1], high[:, 1])
    found = []
    for number in range(int(line.max()) + 1):
        rows = np.flatnonzero(line == number)
        character = _characters(low[rows], high[rows])
        first = np.array([low[rows[character == c], 0].min() for c in range(character.max() + 1)])
        rank = np.argsort(np.argsort(first))
        found.append(Line(members[rows], rank[character], path.along[rows]))
    return found


def _best_path(
    centre: Floats, way: Floats, normals: Floats, caps: Sequence[Floats], size: float
) -> tuple[Floats, Floats, _Path]:
    """The way along a group on whose lines most islands stand, and their extents along and across.

    Round a circle, straight, or straight across what the neighbours say.
    """
    mean = normals.mean(axis=0)
    other = np.cross(mean / max(float(np.linalg.norm(mean)), 1e-12), way)
    paths = [_Path(centre, way, normals, size, may_be_round=True)]
    if paths[0].is_round:
        paths.append(_Path(centre, way, normals, size))
    if len(caps) >= BLOCK:
        paths.append(_Path(centre, other, normals, size))
    read = []
    for path in paths:
        path.lean(_best_lean(path, caps))
        low, high = path.extents(caps)
        share = max(_shared(side[:, 1], STANDS * size) for side in (low, high))
        read.append((share, low, high, path))
    best = read[0]
    for one in read[1:]:
        # What neighbours say counts for something.
        if one[0] > best[0] + SURELY:
            best = one
    return best[1:]


def _shared(level: Floats, within: float) -> float:
    """Share of some levels that have another one beside them."""
    order = np.sort(level)
    step = np.diff(order) <= within
    beside = np.concatenate([step, [False]]) | np.concatenate([[False], step])
    return float(beside.mean())


def _best_lean(path: _Path, caps: Sequence[Floats]) -> float:
    """By which angle to turn the way, so that characters are least tall across it, radians.

    The middles of letters lie at unlike heights; their strokes tell the way of reading better.
    """
    tall = np.array([float(np.linalg.norm(np.ptp(cap, axis=0))) for cap in caps])
    flat = [path.flat(i, caps[i]) for i in np.flatnonzero(tall >= 0.5 * tall.max()).tolist()]
    # A slender stroke (I, a slash) is least tall when it leans.
    flat = [points for points in flat if _slenderness(points) < 3.0]
    best = 0.0
    if not flat:
        return best
    for step, count in ((1.0, 10), (0.1, 10), (0.01, 10), (0.001, 10)):
        angles = best + np.radians(step) * np.arange(-count, count + 1)
        across = np.stack([-np.sin(angles), np.cos(angles)])
        total = np.sum([np.ptp(points @ across, axis=0) for points in flat], axis=0)
        best = float(angles[total.argmin()])
    return best


def _slenderness(points: Floats) -> float:
    spread = np.linalg.eigvalsh(np.cov(points.T))
    return float(np.sqrt(spread[1] / max(spread[0], 1e-12)))


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
    small = tall < SMALL * (high[:, 1].max() - low[:, 1].min())
    either = small[:, None] | small
    joined = (share > OVERLAP) | (either & (share > OVERLAP_SMALL))
    np.fill_diagonal(joined, False)
    # A dot goes with the stem below its middle, though the hook of an f may hang over it, too.
    middle = (low + high)[:, 0] / 2
    away = np.where(joined, np.abs(middle[:, None] - middle), np.inf)
    mine = away <= away.min(axis=1, initial=np.inf)[:, None] + 1e-6 * np.maximum(wide, 0)
    one, two = np.nonzero(joined & (~either | (small[:, None] & mine)))
    return connected_groups(len(low), one, two)


def _tree_ways(islands: Sequence[Standing], members: Ints) -> Floats | None:
    """(3,) the way along which most neighbours lie, or None for a single island."""
    if len(members) < 2:
        return None
    feet = [_thinned(islands[i].cap) for i in members]
    centre = np.array([islands[i].centre for i in members])
    size = np.array([islands[i].size for i in members])
    pairs = cKDTree(centre).query_pairs(3.0 * float(size.max()), output_type="ndarray")
    gaps = np.array([_gap(feet[i], feet[j]) for i, j in pairs.tolist()])
    if not len(gaps):
        return None
    # Of ways that are as short the one between the larger: two stems rather than their dots.
    cost = gaps + 0.1 * (size.max() - size[pairs].min(axis=1)) + 1e-6
    graph = csr_array((cost, (pairs[:, 0], pairs[:, 1])), shape=(len(members),) * 2)
    tree = minimum_spanning_tree(graph).tocoo()
    way = centre[tree.coords[1]] - centre[tree.coords[0]]
    # Small marks (dots, accents) say little about the way of reading.
    weight = np.minimum(size[tree.coords[0]], size[tree.coords[1]]) ** 3
    way /= np.maximum(np.linalg.norm(way, axis=1), 1e-12)[:, None]
    # The way that most lie along, and not a mean with the steps from line to line.
    alike = np.abs(way @ way.T) >= ALONG
    weight = np.where(alike[(alike @ weight).argmax()], weight, 0.0)
    tensor = (way * weight[:, None]).T @ way
    return np.linalg.eigh(tensor)[1][:, -1]


class _Path:
    """A way along the centres of a group: straight, over a bent base, or round a circle."""

    def __init__(
        self,
        centre: Floats,
        way: Floats,
        normal: Floats,
        size: float,
        *,
        may_be_round: bool = False,
    ) -> None:
        self.centre, self.normal = centre, normal
        mean = normal.mean(axis=0)
        along = np.broadcast_to(way, centre.shape)
        circle = None
        if may_be_round:
            circle = _circle(centre, mean / max(float(np.linalg.norm(mean)), 1e-12), size)
        if circle is not None:
            self.middle, self.axis, self.radius = circle
            along = np.cross(self.axis, centre - self.middle)
        # In the tangent plane of each island.
        along = along - np.einsum("ij,ij->i", along, normal)[:, None] * normal
        self.along = along / np.maximum(np.linalg.norm(along, axis=1), 1e-12)[:, None]
        self.across = np.cross(normal, self.along)
        self.is_round = circle is not None
        self.place = self._round() if circle is not None else self._straight(way)

    def lean(self, angle: float) -> None:
        """Turn the way by an angle against the base, everywhere."""
        along = np.cos(angle) * self.along + np.sin(angle) * self.across
        self.along, self.across = along, np.cross(self.normal, along)
        if not self.is_round:
            self.place = self._straight(self.along.mean(axis=0))

    def flat(self, island: int, points: Floats) -> Floats:
        """(n, 2) mm, along and across, from the middle of an island."""
        axes = np.stack([self.along[island], self.across[island]])
        flat: Floats = (points - self.centre[island]) @ axes.T
        return flat

    def _straight(self, way: Floats) -> Floats:
        """(k, 2) mm, along and across, from step to step over a bent base."""
        order = np.argsort((self.centre - self.centre.mean(axis=0)) @ way)
        step = np.diff(self.centre[order], axis=0)
        place = np.zeros((len(order), 2))
        for column, axes in enumerate((self.along, self.across)):
            mean = axes[order[1:]] + axes[order[:-1]]
            mean /= np.maximum(np.linalg.norm(mean, axis=1), 1e-12)[:, None]
            place[order[1:], column] = np.cumsum(np.einsum("ij,ij->i", step, mean))
        return place

    def _round(self) -> Floats:
        """(k, 2) mm: along the circle, and outward from it."""
        arm = self.centre - self.middle
        first = arm[0] / np.linalg.norm(arm[0])
        angle = np.arctan2(arm @ np.cross(self.axis, first), arm @ first)
        outward = np.linalg.norm(arm, axis=1) - self.radius
        sign = np.sign(np.einsum("ij,ij->i", self.across, arm).mean())
        return np.column_stack([angle * self.radius, outward * (sign if sign else 1.0)])

    def extents(self, feet: Sequence[Floats]) -> tuple[Floats, Floats]:
        """(k, 2) lowest and (k, 2) highest coordinates of each island, along and across."""
        low, high = np.empty((len(feet), 2)), np.empty((len(feet), 2))
        for i, foot in enumerate(feet):
            local = self.flat(i, foot)
            low[i] = self.place[i] + local.min(axis=0)
            high[i] = self.place[i] + local.max(axis=0)
        return low, high


def _circle(centre: Floats, normal: Floats, size: float) -> tuple[Floats, Floats, float] | None:
    """Middle, axis and radius of a circle in a flat base that the centres lie on, if they do."""
    if len(centre) < 4:
        return None
    origin = centre.mean(axis=0)
    u = centre[0] - origin
    u = u - (u @ normal) * normal
    if np.linalg.norm(u) < 1e-9:
        return None
    u /= np.linalg.norm(u)
    v = np.cross(normal, u)
    if np.abs((centre - origin) @ normal).max() > 0.05 * np.ptp(centre, axis=0).max():
        return None
    flat = np.column_stack([(centre - origin) @ u, (centre - origin) @ v])
    line_error = np.abs(flat @ np.linalg.svd(flat, full_matrices=False)[2][1]).max()
    terms = np.column_stack([2 * flat, np.ones(len(flat))])
    a, b, c = np.linalg.lstsq(terms, (flat**2).sum(axis=1), rcond=None)[0]
    radius = float(np.sqrt(max(c + a * a + b * b, 0.0)))
    error = np.abs(np.hypot(flat[:, 0] - a, flat[:, 1] - b) - radius).max()
    # The middles of letters on a straight line lie up to a fifth of their size beside it.
    if line_error < 0.4 * size or error > 0.5 * line_error or radius > 20 * np.ptp(flat):
        return None
    return origin + a * u + b * v, normal, radius


def _overlapping(low: Floats, high: Floats, share: float) -> Ints:
    """Groups of intervals that overlap by a share of the shorter one."""
    common = np.minimum(high[:, None], high) - np.maximum(low[:, None], low)
    shorter = np.minimum((high - low)[:, None], high - low)
    one, two = np.nonzero(common > share * np.maximum(shorter, 1e-9))
    return connected_groups(len(low), one, two)
