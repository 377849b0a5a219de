"""How large a ball gets from one side to the other, however fine the gaps between them are?

The points of the grid are shared out: those of one hollow with what lies beside them, in the
material too, and all others. Between the two lies a closed border of squares, and whatever passes
crosses it. A square holds the middle of a larger ball in the free space, or it does not: squares
are quartered until that is known, so a gap far narrower than the grid's pitch counts as what it is.
Where squares may hold one, the border may stand in a wide place beside the narrow one: the ball is
followed from there to the points beside, and if it gets to one side only, the border runs on the
other side of these. Lengths in mm. Guarded by tests/geometry/test_voids_border.py.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import igl
import numpy as np
from numpy.typing import NDArray
from scipy import ndimage
from scipy.sparse import csr_array
from scipy.sparse.csgraph import breadth_first_order
from scipy.spatial import cKDTree

from lint3d.geometry.components import connected_groups
from lint3d.geometry.raster import Grid
from lint3d.geometry.throats_clearance import Clearance
from lint3d.geometry.voids_between import most_between
from lint3d.geometry.voids_cut import Squares
from lint3d.geometry.voids_space import Space

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

#: How much larger than the ball that passes, share and mm, are the balls that are tried in turn;
#: near a limit, where bounds are to be close in mm, the first is no larger than the last of these.
TRIED = (0.01, 0.08, 0.3, 1.0)
_AT_LEAST_MM, _NEAR_LIMIT_MM = 0.004, 0.015
#: Layers of points beside a hollow that count as its own, and how far the grid is looked at.
_LAYERS, _MARGIN = 4, 8
#: A point is deep if the grid shows room for the ball and so many voxels more about it, or about a
#: point no more steps away than this.
_ROOM, _NEAR_DEEP = 1.5, 2
#: Squares looked at, and points gone on from, before the answer is that the ball may pass.
MOST_SQUARES, _MOST_POINTS = 1_500_000, 40_000
#: Places where it is tried first whether the ball gets across, and points gone on from there.
_PROBES, _FEW_POINTS = 4, 1_500
#: Squares are not yet bounded by the walls beside them if they are longer than this, times the
#: radius.
_WORTH_BOUNDING = 3.0
#: Squares across the border whose middles are no farther apart hang together, voxels.
_BESIDE = 1.5
#: Where the grid shows room for the ball and so many voxels more, there is such room.
_ROOM_ON = 1.0
_ROOT_HALF = float(np.sqrt(0.5))
_NONE, _ONE, _OTHER, _THIRD = 0, 1, 2, 3


class Openings:
    """Squares on a border that something passes, and which of them hang together.

    Parameters
    ----------
    middle : (k, 3) mm, of the squares
    """

    def __init__(self, middle: Floats, grid: Grid) -> None:
        self._tree, self._near = cKDTree(middle), _BESIDE * grid.pitch
        links = self._tree.query_pairs(self._near, output_type="ndarray")
        self.number = connected_groups(len(middle), links[:, 0], links[:, 1])
        """(k,) of the opening that each square is part of"""

    def at(self, places: Floats) -> set[int]:
        """The openings that places (n, 3) lie at."""
        gap, near = self._tree.query(places, distance_upper_bound=self._near)
        return set(self.number[near[np.isfinite(gap)]].tolist())


@dataclass(frozen=True, eq=False)
class Across:
    """Where a ball seems to get from one side to the other."""

    places: Floats
    """(k, 3) mm, each a little more than a voxel from the next at most"""
    ends: tuple[int, int]
    """flat numbers of grid points before the first place and after the last, with room about"""

    def reversed(self) -> Across:
        """The same from the other end."""
        return Across(self.places[::-1], self.ends[::-1])


class Border:
    """What lies between two sides on the grid.

    Parameters
    ----------
    clearance : of every facet
    space : free space, cut into chambers; its surface closes
    sides : chambers of both sides; the border is looked for around the first
    others : chambers that a ball which gets to them is in neither of
    about : mm, radius of the balls that are in question; by default such as the grid hardly shows
    most : squares that may be looked at; beyond, a ball counts as one that may pass
    """

    def __init__(
        self,
        clearance: Clearance,
        space: Space,
        sides: tuple[Ints, Ints],
        others: Ints,
        about: float = 0.0,
        most: int = MOST_SQUARES,
    ) -> None:
        self.clearance, self.space, self.first = clearance, space, sides[0]
        self.looked_at, self.most = 0, most
        self.across: Across | None = None
        """where the last ball that was tried gets across, if that is known"""
        self._tree: igl.FastWindingNumberBVH | None = None
        side = np.zeros(len(space.chambers.peak), np.int8)
        for name, chambers in ((_THIRD, others), (_OTHER, sides[1]), (_ONE, sides[0])):
            side[chambers] = name
        of_label = np.append(side[space.chambers.of_basin], np.int8(_NONE))
        box = _box_of(space, of_label)
        first = np.array([one.start for one in box])
        grid = space.grid
        label = of_label[space.basins.label[box]]
        self.grid = Grid(grid.point(first), grid.pitch, label.shape)
        self.free = ~space.raster.solid[box]
        index = np.stack(np.unravel_index(space.raster.marked, grid.shape), axis=-1) - first
        inside = np.all((index >= 0) & (index < label.shape), axis=1)
        self.free[tuple(index[inside].T)] = True
        peak = space.chambers.peak
        least = min(about / grid.pitch + _ROOM, *(0.9 * float(peak[one].max()) for one in sides))
        self.level, self.label = space.distance[box].reshape(-1), label.reshape(-1)
        self.first_index = first
        deep = space.distance[box] > least
        self.ends = ndimage.binary_dilation(deep, iterations=_NEAR_DEEP)
        for axis in range(3):
            # Who leaves the grid may get anywhere.
            for end in (0, -1):
                self.ends[(slice(None),) * axis + (end,)] = True
        side = self._shared_out(label, deep)
        self.steps = _between(self.grid, side == _ONE)
        side[deep & (label == _THIRD)] = _THIRD
        self.side = side.reshape(-1)

    def _shared_out(self, label: NDArray[np.int8], deep: Bools) -> NDArray[np.int8]:
        """Which points are on the first side, and on the other one?

        What lies beside a deep point is on its side; from there both sides grow towards each
        other, so that they meet between the mouths of a gap.
        """
        side = np.full(label.shape, _NONE, np.int8)
        for iterations in (_NEAR_DEEP, *[1] * _LAYERS):
            for name in (_ONE, _OTHER):
                grown = side == name
                if iterations == _NEAR_DEEP:
                    grown |= deep & (label == name)
                grown = ndimage.binary_dilation(grown, iterations=iterations)
                side[grown & (side == _NONE)] = name
        side[(side == _NONE) & (label == _ONE)] = _ONE
        side[(side != _ONE) | (deep & (label != _ONE))] = _OTHER
        return side

    def openings(self, radius: float) -> Openings:
        """Where may larger balls cross the border?"""
        steps = self.steps[(self.side[self.steps] != _THIRD).all(axis=1)]
        return Openings(Squares.of_steps(self.grid, self._open(steps, radius)[0]).middle, self.grid)

    def parts(self, radius: float) -> bool:
        """Is it sure that no ball larger than that gets from one side to the other?"""
        # A ball is not followed on from where there is room by the grid. On which side such a
        # point is the border says, whatever the room: so no way across is missed.
        ends = self.ends.reshape(-1)
        label = np.where(ends, self.side, np.int8(_NONE))
        steps = self.steps[(self.side[self.steps] != _THIRD).all(axis=1)]
        steps, places = self._open(steps, radius)
        self.across = None
        if len(steps) == 0:
            return True
        # Where a ball gets across, it mostly does so nearly everywhere: a few places tell soon.
        some = np.linspace(0, len(steps) - 1, min(len(steps), _PROBES)).astype(np.int64)
        for row in np.unique(some).tolist():
            one = slice(row, row + 1)
            if self._joins((steps[one], places[one]), label, radius, _FEW_POINTS):
                return False
        return self._joins((steps, places), label, radius, _MOST_POINTS) is False

    def _joins(
        self, across: tuple[Ints, Floats], side: NDArray[np.int8], radius: float, most: int
    ) -> bool | None:
        """Does a ball get from steps across the border to both sides? None if that is not known.

        If it does, `across` tells where it passes.
        """
        found = self._followed(across, side, radius, most)
        if isinstance(found, bool) or found is None:
            return found
        (rows, ends), places = found
        self.across = self._from_end_to_end(places[rows], ends, radius)
        return True

    def _followed(
        self, across: tuple[Ints, Floats], side: NDArray[np.int8], radius: float, most: int
    ) -> tuple[tuple[Ints, tuple[int, int]], Floats] | bool | None:
        """Follow a ball from steps until it gets to both sides.

        Parameters
        ----------
        across : (k, 2) steps whose squares may hold its middle, and (k, 3) mm, where they do
        side : (n,) which points are on a side, where the ball is followed no farther
        most : points that are gone on from

        Returns
        -------
        rows of steps in a row from one side to the other and the points they begin and end at, with
        the places of all steps; False if it does not get there, None if that is not known
        """
        steps, places = across
        front, size = np.unique(steps), self.grid.size
        seen, asked = front, np.unique(steps[:, 0] * size + steps[:, 1])
        front = front[side[front] == _NONE]
        while (chain := _chain(seen, side[seen], steps)) is None:
            if len(front) == 0:
                return False
            if len(seen) > most or self.looked_at > self.most:
                return None
            pair = self._about(front)
            # Each step is looked at once, whichever of its ends is gone on from first.
            key = np.setdiff1d(pair[:, 0] * size + pair[:, 1], asked)
            asked = np.union1d(asked, key)
            pair, place = self._open(np.column_stack(np.divmod(key, size)), radius)
            steps, places = np.concatenate([steps, pair]), np.concatenate([places, place])
            front = np.setdiff1d(pair, seen)
            seen = np.union1d(seen, front)
            front = front[side[front] == _NONE]
        return chain, places

    def _from_end_to_end(
        self, places: Floats, points: tuple[int, int], radius: float
    ) -> Across | None:
        """Places that lead from side to side, and on to where there is room by the grid."""
        before = self._onward(points[0], _ONE, radius)
        after = self._onward(points[1], _OTHER, radius)
        if before is None or after is None:
            return None
        index = np.stack(np.unravel_index([before[1], after[1]], self.grid.shape), axis=-1)
        ends = np.ravel_multi_index(tuple((index + self.first_index).T), self.space.grid.shape)
        whole = np.concatenate([before[0][::-1], places, after[0]])
        return Across(whole, (int(ends[0]), int(ends[1])))

    def _onward(self, point: int, name: int, radius: float) -> tuple[Floats, int] | None:
        """Places that lead on from a point into one side, and the point of it that they end at."""
        side = np.zeros(len(self.label), np.int8)
        # From there on there is room all the way to the middle of the side.
        room = self.level > radius / self.grid.pitch + _ROOM_ON
        side[room & (self.label == name)] = _OTHER
        side[point] = _ONE
        if room[point] and self.label[point] == name:
            return np.zeros((0, 3)), point
        steps = self._about(np.array([point]))
        steps, places = self._open(steps, radius)
        found = self._followed((steps, places), side, radius, _FEW_POINTS)
        if isinstance(found, bool) or found is None:
            return None
        rows, ends = found[0]
        return found[1][rows], ends[1]

    def _about(self, points: Ints) -> Ints:
        """(k, 2) the steps from some points to those beside them."""
        offsets = np.array([s for one in self.grid.strides for s in (one, -one)])
        pair = np.column_stack([np.repeat(points, 6), (points[:, None] + offsets).reshape(-1)])
        inside = (pair[:, 1] >= 0) & (pair[:, 1] < self.grid.size)
        return np.sort(pair[inside], axis=1)

    def _open(self, steps: Ints, radius: float) -> tuple[Ints, Floats]:
        """Those steps whose squares may hold the middle of a larger ball, and (k, 3) mm, where.

        Of the others it is sure that they do not.
        """
        may = np.zeros(len(steps), bool)
        place = Squares.of_steps(self.grid, steps).middle
        owner, squares = np.arange(len(steps)), Squares.of_steps(self.grid, steps)
        while len(squares):
            self.looked_at += len(squares)
            if self.looked_at > self.most:
                may[owner] = True
                break
            half = _ROOT_HALF * squares.side
            value, face, foot = self.clearance.nearest(squares.middle)
            alive = value + half > radius
            told = np.flatnonzero(alive & (value > min(radius, half)))
            free = self._is_free(squares.middle[told], value[told], steps[owner[told]])
            holds = told[free & (value[told] > radius)]
            may[owner[holds]] = True
            place[owner[holds]] = squares.middle[holds]
            alive[told[~free & (value[told] > half)]] = False
            alive &= ~may[owner]
            rows = np.flatnonzero(alive)
            if squares.side < _WORTH_BOUNDING * radius:
                some = Squares(squares.middle[rows], squares.across[rows], squares.side)
                most = most_between(self.clearance, some, value[rows], face[rows], foot[rows])
                alive[rows[most <= radius]] = False
            owner, squares = np.repeat(owner[alive], 4), squares.quarters(alive)
        return steps[may], place[may]

    def _is_free(self, point: Floats, value: Floats, steps: Ints) -> Bools:
        """Which points, with the clearance that they have, lie in the free space?"""
        if len(point) == 0:
            return np.zeros(0, bool)
        ends = self.grid.point(np.stack(np.unravel_index(steps, self.grid.shape), axis=-1))
        gap = np.linalg.norm(ends - point[:, None], axis=2)
        nearer = np.argmin(gap, axis=1)
        row = np.arange(len(point))
        # No facet stands between a point and what is nearer than the facets are.
        free = self.free.reshape(-1)[steps[row, nearer]]
        open_ones = np.flatnonzero(gap[row, nearer] >= value)
        if len(open_ones):
            free[open_ones] = self._winding(point[open_ones]) < 0.5
        return free

    def _winding(self, point: Floats) -> Floats:
        """(n,) how often the surface winds round points, nearly."""
        if self._tree is None:
            corner = (self.clearance.corners - self.clearance.middle).reshape(-1, 3)
            faces = np.arange(len(corner)).reshape(-1, 3)
            self._tree = igl.FastWindingNumberBVH()
            self._tree.init(np.ascontiguousarray(corner), faces)
        found: Floats = self._tree.winding_number(point - self.clearance.middle)
        return found


def border_between(
    clearance: Clearance,
    space: Space,
    sides: tuple[Ints, Ints],
    others: Sequence[int],
    work: tuple[float, int] = (0.0, MOST_SQUARES),
) -> Border | None:
    """The border around the smaller of two sides; None if the surface does not close.

    Parameters
    ----------
    sides, others : chambers, as for `Border`
    work : mm, radius of the balls in question, and squares that may be looked at
    """
    if len(space.raster.leaking):
        return None
    volume = [float(space.chambers.volume[one].sum()) for one in sides]
    one, other = sides
    if 0 in one or (0 not in other and volume[1] < volume[0]):
        one, other = other, one
    return Border(clearance, space, (one, other), np.array(others, np.int64), *work)


def widest_over(
    border: Border, passes: float, most: float, is_near_limit: bool = False
) -> tuple[float, float, Across | None]:
    """Bound the balls that get from one side to the other.

    Parameters
    ----------
    passes : mm, diameter of a ball that is known to pass
    most : mm, no more than this is known already
    is_near_limit : bounds are to be close in mm

    Returns
    -------
    mm, diameter that no ball exceeds which gets across, infinite if nothing better was found; mm,
    the largest that was tried for which that is not sure, and where it seems to get across, if
    that is known
    """
    finest = max(TRIED[0] * passes, _AT_LEAST_MM)
    if is_near_limit:
        finest = min(finest, _NEAR_LIMIT_MM)
    failed, across = passes, None
    for share in TRIED:
        tried = passes + share / TRIED[0] * finest
        if tried >= most or border.looked_at > border.most:
            break
        if border.parts(tried / 2):
            return tried, failed, across
        failed, across = tried, border.across
    return np.inf, failed, across


def _between(grid: Grid, inner: Bools) -> Ints:
    """(k, 2) flat numbers of the steps that lead from some points of a grid to others."""
    found = []
    for axis in range(3):
        here = np.nonzero(np.diff(inner.view(np.int8), axis=axis))
        one = np.ravel_multi_index(here, grid.shape)
        found.append(np.column_stack([one, one + grid.strides[axis]]))
    return np.concatenate(found).astype(np.int64)


def _chain(
    points: Ints, side: NDArray[np.int8], steps: Ints
) -> tuple[Ints, tuple[int, int]] | None:
    """Rows of steps that follow each other from a point of one side to one of the other.

    Parameters
    ----------
    points : (n,) rising, and the side that each is on
    steps : (k, 2) pairs of them

    Returns
    -------
    and the points that they begin and end at; None if they do not lead from side to side
    """
    count = len(points)
    pair = np.searchsorted(points, steps)
    ends = [np.flatnonzero(side == name) for name in (_ONE, _OTHER)]
    # Two nodes more stand for the sides.
    more = [np.column_stack([np.full(len(end), count + i), end]) for i, end in enumerate(ends)]
    every = np.concatenate([pair, *more])
    shape = (count + 2, count + 2)
    graph = csr_array((np.ones(len(every)), tuple(every.T)), shape=shape)
    before = breadth_first_order(graph, count, directed=False)[1]
    line = [count + 1]
    while before[line[-1]] >= 0:
        line.append(int(before[line[-1]]))
    if line[-1] != count:
        return None
    number = {(int(a), int(b)): i for i, (a, b) in enumerate(np.sort(pair, axis=1).tolist())}
    inner = line[1:-1]
    # Back from the other side it came.
    inner = inner[::-1]
    rows = [number[min(a, b), max(a, b)] for a, b in pairwise(inner)]
    return np.array(rows, np.int64), (int(points[inner[0]]), int(points[inner[-1]]))


def _box_of(space: Space, of_label: NDArray[np.int8]) -> tuple[slice, slice, slice]:
    """Part of the grid about the points of the first side."""
    mine = of_label[space.basins.label] == _ONE
    ends = []
    for axis in range(3):
        rows = np.flatnonzero(mine.any(axis=tuple(one for one in range(3) if one != axis)))
        low, high = (int(rows[0]), int(rows[-1])) if len(rows) else (0, 0)
        ends.append(slice(max(low - _MARGIN, 0), high + _MARGIN + 1))
    return ends[0], ends[1], ends[2]
