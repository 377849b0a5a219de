"""Which way does a group of characters run?

Along the steps from neighbour to neighbour, over a bent base or an edge from one tangent plane into
the next, or round a circle. Letters of a line stand on it: that tells by how much the way leans.
Lengths in mm. Guarded by tests/geometry/test_relief_groups.py and tests/geometry/test_reliefs.py.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_array
from scipy.sparse.csgraph import breadth_first_order, minimum_spanning_tree
from scipy.spatial import cKDTree

from lint3d.geometry.relief_circles import Circle, circle_through
from lint3d.geometry.relief_lean import best_lean
from lint3d.geometry.relief_standing import Standing, are_letters, gaps_between
from lint3d.geometry.vectors import carried_over

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

#: Letters stand on a line within this share of their size; a block has so many islands at least;
#: and by so much more of them stand on the lines of another way that it is taken instead.
STANDS, BLOCK, SURELY = 0.02, 6, 0.1
#: Letters of a straight line share feet or heads with the next one within this share of their size:
#: round ones reach beyond a line by 0.02.
IN_A_ROW = 0.04
#: Ways from neighbour to neighbour along one line differ by less than this.
ALONG = np.cos(np.radians(20.0))


def best_path(islands: Sequence[Standing]) -> tuple[Floats, Floats, Path]:
    """The way along a group on whose lines most islands stand, and their extents along and across.

    Round a circle, straight, or straight across what the neighbours say. There are two islands at
    least. The way is given with (k, 2) lowest and (k, 2) highest coordinates of each.
    """
    size = max(one.size for one in islands)
    caps = [one.cap for one in islands]
    tall = are_letters(islands)
    steps = _Steps(islands)
    paths = [Path(islands, steps)]
    if tall.sum() >= BLOCK:
        paths.append(Path(islands, steps))
        paths[-1].lean(np.pi / 2)
    circle = circle_through(islands, size)
    if circle is not None:
        paths.append(Path(islands, steps, circle))
    read = []
    for path in paths:
        path.lean(_lean(path, caps, size))
        low, high = path.extents(caps)
        share = max(_shared(side[tall, 1], STANDS * size) for side in (low, high))
        read.append((share, low, high, path))
    if circle is not None:
        low, high = (side[tall] for side in read[0][1:3])
        whole = ~reach_beyond(low[:, 1], high[:, 1], IN_A_ROW * size)
        in_a_row = _are_in_a_row(low[whole], high[whole], IN_A_ROW * size)
        # Of many, those of a shallow arc are so, too.
        level = any(_are_level(side[whole, 1], STANDS * size) for side in (low, high))
        if in_a_row and (len(low) < BLOCK or level):
            read.pop()
        else:
            read.insert(0 if circle.is_plain else 1, read.pop())
    best = read[0]
    for one in read[1:]:
        # What neighbours say counts for something.
        if one[0] > best[0] + SURELY:
            best = one
    return best[1:]


def _are_in_a_row(low: Floats, high: Floats, within: float) -> bool:
    """Does each letter share its foot or its head with one of the nearest two on either side?

    A few letters lie on some circle with their middles, though they stand on a straight line. (A j
    beside an f shares neither with it.)
    """
    order = np.argsort(low[:, 0])
    foot, head = (np.abs(side[order, None, 1] - side[order, 1]) for side in (low, high))
    place = np.arange(len(order))
    apart = np.abs(place[:, None] - place)
    shared = (np.minimum(foot, head) <= within) & (apart > 0) & (apart <= 2)
    return bool(shared.any(axis=1).all())


def _are_level(level: Floats, within: float) -> bool:
    """Do some levels fall into a few apart from each other, with several at each? (Lines do.)"""
    order = np.sort(level)
    cut = np.flatnonzero(np.diff(order) > within) + 1
    return all(len(one) > 1 and np.ptp(one) <= within for one in np.split(order, cut))


def reach_beyond(low: Floats, high: Floats, by: float) -> Bools:
    """(k,) which characters reach beyond all others, above and below: slashes and brackets do.

    Parameters
    ----------
    low, high : (k,) mm, of each character across its line
    by : mm, how far beyond at least
    """
    beyond = np.zeros(len(low), bool)
    for tallest in np.argsort(low - high).tolist():
        rest = ~beyond
        rest[tallest] = False
        if (
            rest.sum() < 2
            or low[tallest] > low[rest].min() - by
            or high[tallest] < high[rest].max() + by
        ):
            break
        beyond[tallest] = True
    return beyond


def _shared(level: Floats, within: float) -> float:
    """Share of some levels that have another one beside them."""
    order = np.sort(level)
    step = np.diff(order) <= within
    beside = np.concatenate([step, [False]]) | np.concatenate([[False], step])
    return float(beside.mean())


def _lean(path: Path, caps: Sequence[Floats], size: float) -> float:
    """By which angle to turn the way, radians, as the larger islands tell."""
    tall = np.array([float(np.linalg.norm(np.ptp(cap, axis=0))) for cap in caps])
    rows = np.flatnonzero(tall >= 0.5 * tall.max())
    flat = [path.flat(i, caps[i]) for i in rows.tolist()]
    return best_lean(flat, path.place[rows], size, is_round=path.is_round)


class _Steps:
    """The steps from neighbour to neighbour in a group: a tree, walked from one of its islands."""

    def __init__(self, islands: Sequence[Standing]) -> None:
        order, before, centre = _tree(islands)
        self.order, self.before = order, before
        # Between letters: stops and dots between them say little about the way of reading.
        letters = [islands[i] for i in np.flatnonzero(are_letters(islands)).tolist()]
        if 1 < len(letters) < len(islands):
            order, before, centre = _tree(letters)
        else:
            letters = list(islands)
        rows = order[1:]
        size = np.array([one.size for one in letters])
        smaller = np.minimum(size[rows], size[before[rows]])
        self.way = _main_way(centre[rows] - centre[before[rows]], smaller)
        """(3,) unit, along which most steps lie."""


def _tree(islands: Sequence[Standing]) -> tuple[Ints, Ints, Floats]:
    """The shortest steps that link islands: their order, the one before each, their middles."""
    centre = np.array([one.centre for one in islands])
    size = np.array([one.size for one in islands])
    pairs = _reached_pairs(centre, 3.0 * float(size.max()))
    # Of ways that are as short the one between the larger: two stems rather than their dots.
    smaller = size[pairs].min(axis=1)
    cost = gaps_between(islands, pairs) + 0.1 * (size.max() - smaller) + 1e-6
    graph = csr_array((cost, (pairs[:, 0], pairs[:, 1])), shape=(len(islands),) * 2)
    order, before = breadth_first_order(minimum_spanning_tree(graph), 0, directed=False)
    return order, before, centre


def _reached_pairs(centre: Floats, reach: float) -> Ints:
    """(p, 2) rows of points near each other, and enough others to link them all."""
    pairs = cKDTree(centre).query_pairs(reach, output_type="ndarray")
    row = np.arange(len(centre) - 1)
    all_pairs = np.vstack([pairs, np.column_stack([row, row + 1])])
    return np.unique(all_pairs, axis=0).astype(np.int64)


def _main_way(step: Floats, size: Floats) -> Floats:
    # Small marks (dots, accents) say little about the way of reading.
    weight = size**3
    way = step / np.maximum(np.linalg.norm(step, axis=1), 1e-12)[:, None]
    # The way that most lie along, and not a mean with the steps from line to line.
    alike = np.abs(way @ way.T) >= ALONG
    weight = np.where(alike[(alike @ weight).argmax()], weight, 0.0)
    tensor = (way * weight[:, None]).T @ way
    main: Floats = np.linalg.eigh(tensor)[1][:, -1]
    return main


class Path:
    """A way along the centres of a group: straight, over a bent base, or round a circle."""

    def __init__(
        self,
        islands: Sequence[Standing],
        steps: _Steps,
        circle: Circle | None = None,
    ) -> None:
        self.centre = np.array([one.centre for one in islands])
        self.normal = np.array([one.normal for one in islands])
        self._steps = steps
        self.is_round = circle is not None
        if circle is not None:
            self.along = _tangent(np.cross(circle.axis, self.centre - circle.middle), self.normal)
        else:
            self.along = self._carried(steps.way)
        self.across = np.cross(self.normal, self.along)
        self.place = self._round(circle) if circle is not None else self._straight()

    def lean(self, angle: float) -> None:
        """Turn the way by an angle against the base, everywhere."""
        along = np.cos(angle) * self.along + np.sin(angle) * self.across
        self.along, self.across = along, np.cross(self.normal, along)
        if not self.is_round:
            self.place = self._straight()

    def flat(self, island: int, points: Floats) -> Floats:
        """(n, 2) mm, along and across, from the middle of an island."""
        axes = np.stack([self.along[island], self.across[island]])
        flat: Floats = (points - self.centre[island]) @ axes.T
        return flat

    def _carried(self, way: Floats) -> Floats:
        """(k, 3) unit, a way in the tangent plane of each island, carried on from step to step.

        From one plane to the next it turns about the line in which they meet, as on a base that is
        rolled flat.
        """
        steps, normal = self._steps, self.normal
        along = np.empty_like(normal)
        first = int(steps.order[0])
        # The way is one in space: it is taken as it lies where the base looks as on average.
        start = int((normal @ normal.sum(axis=0)).argmax())
        along[first] = _tangent(way[None], normal[[first]])[0]
        for i in steps.order[1:].tolist():
            last = steps.before[i]
            along[i] = carried_over(along[last], normal[last], normal[i])
        along = _tangent(along, normal)
        # Turned as a whole, so that it lies along the way there.
        there = _tangent(way[None], normal[[start]])[0]
        across = np.cross(normal, along)
        cosine, sine = there @ along[start], there @ across[start]
        return _tangent(cosine * along + sine * across, normal)

    def _straight(self) -> Floats:
        """(k, 2) mm, along and across, from step to step over a bent base."""
        rows = self._steps.order[1:]
        before = self._steps.before[rows]
        step = self.centre[rows] - self.centre[before]
        moved = np.empty((len(rows), 2))
        for column, axes in enumerate((self.along, self.across)):
            mean = axes[rows] + axes[before]
            mean /= np.maximum(np.linalg.norm(mean, axis=1), 1e-12)[:, None]
            moved[:, column] = np.einsum("ij,ij->i", step, mean)
        place = np.zeros((len(self.centre), 2))
        for i, last, way in zip(rows.tolist(), before.tolist(), moved, strict=True):
            place[i] = place[last] + way
        return place

    def _round(self, circle: Circle) -> Floats:
        """(k, 2) mm: along the circle, and outward from it."""
        arm = self.centre - circle.middle
        first = arm[0] / np.linalg.norm(arm[0])
        angle = np.arctan2(arm @ np.cross(circle.axis, first), arm @ first)
        outward = np.linalg.norm(arm, axis=1) - circle.radius
        sign = np.sign(np.einsum("ij,ij->i", self.across, arm).mean())
        return np.column_stack([angle * circle.radius, outward * (sign if sign else 1.0)])

    def extents(self, feet: Sequence[Floats]) -> tuple[Floats, Floats]:
        """(k, 2) lowest and (k, 2) highest coordinates of each island, along and across."""
        low, high = np.empty((len(feet), 2)), np.empty((len(feet), 2))
        for i, foot in enumerate(feet):
            local = self.flat(i, foot)
            low[i] = self.place[i] + local.min(axis=0)
            high[i] = self.place[i] + local.max(axis=0)
        return low, high


def _tangent(way: Floats, normal: Floats) -> Floats:
    """(k, 3) unit, ways laid into planes."""
    flat = way - np.einsum("ij,ij->i", way, normal)[:, None] * normal
    unit: Floats = flat / np.maximum(np.linalg.norm(flat, axis=1), 1e-12)[:, None]
    return unit
