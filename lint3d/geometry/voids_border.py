"""How large a ball gets from one side to the other, however fine the gaps between them are?

Between two sides (`voids_sides`) lies a closed border of squares, and whatever passes crosses it.
Where a square may hold the middle of a larger ball (`voids_gates`), the border may stand in a wide
place beside the narrow one: the ball is followed from there to the points beside
(`voids_followed`), and if it gets to one side only, the border runs on the other side of these.
Lengths in mm. Guarded by tests/geometry/test_voids_border.py.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from lint3d.geometry.components import connected_groups
from lint3d.geometry.raster import Grid
from lint3d.geometry.throats_clearance import Clearance
from lint3d.geometry.voids_cut import Squares
from lint3d.geometry.voids_followed import followed, steps_about
from lint3d.geometry.voids_gates import Gates
from lint3d.geometry.voids_sides import NONE, ONE, OTHER, Sides
from lint3d.geometry.voids_space import Space

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

#: How much larger than the ball that passes, share and mm, are the balls that are tried in turn;
#: near a limit, where bounds are to be close in mm, the first is no larger than the last of these.
TRIED = (0.01, 0.08, 0.3, 1.0)
_AT_LEAST_MM, _NEAR_LIMIT_MM = 0.004, 0.015
#: Squares looked at, and points gone on from, before the answer is that the ball may pass.
MOST_SQUARES, _MOST_POINTS = 1_500_000, 40_000
#: Places where it is tried first whether the ball gets across, and points gone on from there.
_PROBES, _FEW_POINTS = 4, 1_500
#: Squares across the border whose middles are no farther apart hang together, voxels.
_BESIDE = 1.5
#: Where the grid shows room for the ball and so many voxels more, there is such room.
_ROOM_ON = 1.0


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
        self.sides = Sides(space, sides, others, about)
        self.gates = Gates(clearance, self.sides.grid, self.sides.free, most)
        self.across: Across | None = None
        """where the last ball that was tried gets across, if that is known"""

    @property
    def looked_at(self) -> int:
        """How many squares have been looked at?"""
        return self.gates.looked_at

    def openings(self, radius: float) -> Openings:
        """Where may larger balls cross the border?"""
        grid = self.sides.grid
        steps = self.gates.open(self.sides.steps, radius)[0]
        return Openings(Squares.of_steps(grid, steps).middle, grid)

    def parts(self, radius: float) -> bool:
        """Is it sure that no ball larger than that gets from one side to the other?"""
        # A ball is not followed on from where there is room by the grid. On which side such a
        # point is the border says, whatever the room: so no way across is missed.
        label = self.sides.where_known
        steps, places = self.gates.open(self.sides.steps, radius)
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
        found = followed(self.gates, across, side, radius, most)
        if isinstance(found, bool) or found is None:
            return found
        (rows, ends), places = found
        self.across = self._from_end_to_end(places[rows], ends, radius)
        return True

    def _from_end_to_end(
        self, places: Floats, points: tuple[int, int], radius: float
    ) -> Across | None:
        """Places that lead from side to side, and on to where there is room by the grid."""
        before = self._onward(points[0], ONE, radius)
        after = self._onward(points[1], OTHER, radius)
        if before is None or after is None:
            return None
        ends = self.sides.number_in_whole(np.array([before[1], after[1]]))
        whole = np.concatenate([before[0][::-1], places, after[0]])
        return Across(whole, (int(ends[0]), int(ends[1])))

    def _onward(self, point: int, name: int, radius: float) -> tuple[Floats, int] | None:
        """Places that lead on from a point into one side, and the point of it that they end at."""
        level, label = self.sides.level, self.sides.label
        side = np.full(len(label), NONE, np.int8)
        # From there on there is room all the way to the middle of the side.
        room = level > radius / self.sides.grid.pitch + _ROOM_ON
        side[room & (label == name)] = OTHER
        side[point] = ONE
        if room[point] and label[point] == name:
            return np.zeros((0, 3)), point
        across = self.gates.open(steps_about(self.sides.grid, np.array([point])), radius)
        found = followed(self.gates, across, side, radius, _FEW_POINTS)
        if isinstance(found, bool) or found is None:
            return None
        rows, ends = found[0]
        return found[1][rows], ends[1]


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
        if tried >= most or border.gates.is_tired:
            break
        if border.parts(tried / 2):
            return tried, failed, across
        failed, across = tried, border.across
    return np.inf, failed, across
