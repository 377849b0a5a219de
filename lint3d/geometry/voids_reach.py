"""Which balls in front of the surface does a ball from outside get to?

Balls of one size that overlap well hand the ball on from one to the next; those that have room all
round by the grid, and belong to the outside's chamber, are where it starts. Lengths in mm. Guarded
by tests/geometry/test_voids_recesses.py.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage
from scipy.spatial import cKDTree

from lint3d.geometry.components import connected_groups
from lint3d.geometry.portions import chunks
from lint3d.geometry.rays import RayScene
from lint3d.geometry.throats_clearance import Clearance
from lint3d.geometry.voids_space import Space
from lint3d.geometry.voids_tight import Places, grown, largest_balls

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

#: A gap narrower than this is taken for closed: bodies that lie on one another, mm.
#: common practice, no source
CLOSED = 0.005
#: Places are joined up to this many times their distance.
REACH = 2.3
#: Of balls in a cell of this size, times the distance of places, the largest is kept.
_CELL = 0.7
#: A ball sits against its wall if its radius is no smaller than this times the wanted one.
FULL = 1.0 - 1e-5
#: Such balls nearer than this times their radius are one; nearer than that they overlap so well
#: that one of `HARDLY_NARROWER` of their size slides across.
_CLOSE, OVERLAP, HARDLY_NARROWER = 0.35, 1.4, 0.7
#: Neighbours of a place that it is joined to at most.
_MOST_NEIGHBOURS = 24


@dataclass(frozen=True, eq=False)
class Balls:
    """Balls in front of the surface."""

    centre: Floats
    radius: Floats
    chamber: Ints
    """of the grid point nearest to the centre; −1 where that is material"""

    def __getitem__(self, rows: Ints | Bools) -> Balls:
        return Balls(self.centre[rows], self.radius[rows], self.chamber[rows])

    def __len__(self) -> int:
        return len(self.centre)


def is_roomy(space: Space, box: tuple[Floats, Floats], places: Places, radius: float) -> Bools:
    """Is there room for a ball in front of each place, by the grid, whatever the grid errs?

    Beyond the grid there is no hollow, but there may be material, up to the box of the part.
    """
    pitch = space.grid.pitch
    level, solid = space.distance.reshape(-1), space.raster.solid.reshape(-1)
    strides = np.array(space.grid.strides)
    roomy = np.zeros(len(places), bool)
    for some in chunks(len(places)):
        ahead = places.point[some] + places.normal[some] * (radius + 2 * pitch)
        index, is_inside = index_in(space, ahead)
        flat = index @ strides
        wide = (level[flat] >= radius / pitch + 1) & ~solid[flat]
        if not is_inside.all():
            beyond = ((ahead < box[0]) | (ahead > box[1])).any(axis=1)
            wide = np.where(is_inside, wide, beyond)
        roomy[some] = wide
    return roomy


def index_in(space: Space, points: Floats) -> tuple[Ints, Bools]:
    """(n, 3) the grid points nearest to others, and which of these lie within the grid."""
    raw = np.rint((points - space.grid.origin) / space.grid.pitch).astype(np.int64)
    most = np.array(space.grid.shape) - 1
    is_inside: Bools = np.all((raw >= 0) & (raw <= most), axis=1)
    return np.clip(raw, 0, most), is_inside


def _balls(space: Space, places: Places, radius: Floats) -> Balls:
    centre = places.point + places.normal * radius[:, None]
    return Balls(centre, radius, chamber_at(space, centre))


def balls_before(
    space: Space, clearance: Clearance, tight: Places, most: float, apart: float
) -> Balls:
    """The largest balls in front of places, one a cell of space."""
    radius = largest_balls(clearance, tight.point, tight.normal, most)
    centre = tight.point + tight.normal * radius[:, None]
    at_rim = tight.at_rim
    for is_last in (False, True):
        # At its rim a gap is entered: balls there are kept beside others.
        rows = _largest_of_cells(centre, radius, at_rim, _CELL * apart)
        rows = rows[radius[rows] > CLOSED / 2]
        centre, radius, at_rim = centre[rows], radius[rows], at_rim[rows]
        if not is_last:
            centre, radius = grown(clearance, centre, radius, most)
    return Balls(centre, radius, chamber_at(space, centre))


def _largest_of_cells(centre: Floats, radius: Floats, kind: Bools, size: float) -> Ints:
    cell = np.column_stack([_cells(centre, size), kind])
    order = np.lexsort((-radius, *cell.T))
    is_first = np.any(np.diff(cell[order].astype(np.float64), axis=0, prepend=np.inf) != 0, axis=1)
    return np.sort(order[is_first])


def chamber_at(space: Space, points: Floats) -> Ints:
    """(n,) chamber of the grid point nearest to each; −1 in the material, 0 beyond the grid."""
    index, is_inside = index_in(space, points)
    return np.where(is_inside, chamber_of(space, index), 0)


def chamber_of(space: Space, index: Ints) -> Ints:
    """(n,) chamber of some grid points; −1 in the material."""
    basin = space.basins.label[tuple(index.T)]
    return np.where(basin >= 0, space.chambers.of_basin[np.maximum(basin, 0)], -1)


def thinned(places: Places, apart: float) -> Places:
    """One place a cell and direction."""
    cell = np.floor(places.point / apart).astype(np.int64)
    cell -= cell.min(axis=0)
    turn = np.rint(places.normal).astype(np.int64) + 1
    size = [*(cell.max(axis=0) + 1), 3, 3, 3, 2]
    key = np.ravel_multi_index((*cell.T, *turn.T, places.at_rim.astype(np.int64)), size)
    return places[np.sort(np.unique(key, return_index=True)[1])]


def balls_from_outside(
    space: Space, roomy: Places, inside: Balls, radius: float, apart: float
) -> Balls:
    """Balls that surely come from outside, as far as they lie beside those in question.

    What has room for a ball, and belongs to the outside's chamber, is reached by it: chambers are
    one only if the opening between them is hardly narrower than the smaller of them.
    """
    near = beside(roomy.point + roomy.normal * radius, inside.centre, 2 * radius + REACH * apart)
    roomy = roomy[near]
    ahead = roomy.point + roomy.normal * (radius + 2 * space.grid.pitch)
    roomy = roomy[chamber_at(space, ahead) == 0]
    return _balls(space, roomy, np.full(len(roomy), radius))


def _cells(points: Floats, size: float) -> Ints:
    cells: Ints = np.floor(points / size).astype(np.int64)
    return cells


def beside(points: Floats, others: Floats, size: float) -> Bools:
    """(n,) does a point lie in the cell of another one, or in a cell next to that?"""
    if len(others) == 0:
        return np.zeros(len(points), bool)
    own = _cells(others, size)
    low, high = own.min(axis=0) - 1, own.max(axis=0) + 1
    marked = np.zeros(high - low + 1, bool)
    marked[tuple((own - low).T)] = True
    marked = ndimage.binary_dilation(marked, np.ones((3, 3, 3), bool))
    near = np.zeros(len(points), bool)
    for some in chunks(len(points)):
        cell = _cells(points[some], size)
        inside = np.flatnonzero(((cell >= low) & (cell <= high)).all(axis=1))
        near[some][inside] = marked[tuple((cell[inside] - low).T)]
    return near


def not_reached(
    scene: RayScene,
    clearance: Clearance,
    space: Space,
    inside: Balls,
    seeds: Balls,
    radius: float,
    apart: float,
) -> tuple[Balls, Balls]:
    """Balls that are smaller than the given one, or that it does not get to; and those it is at."""
    every = Balls(
        np.vstack([inside.centre, seeds.centre]),
        np.concatenate([inside.radius, seeds.radius]),
        np.concatenate([inside.chamber, seeds.chamber]),
    )
    is_seed = np.arange(len(every)) >= len(inside)
    # Whatever is free beyond the grid is outside.
    is_seed |= (every.radius >= FULL * radius) & ~index_in(space, every.centre)[1]
    # Balls that come from outside need not be joined to one another: the rest looks for them.
    full = np.flatnonzero((every.radius >= FULL * radius) & ~is_seed)
    # Balls in one cell overlap well: one of them stands for all.
    cell, first = _number_cells(every.centre[full], _CLOSE * radius)
    centre, outside = every.centre[full[first]], every.centre[is_seed]
    outside = outside[_number_cells(outside, _CLOSE * radius)[1]]
    links = cKDTree(centre).query_pairs(OVERLAP * radius, output_type="ndarray")
    group = connected_groups(len(centre), links[:, 0], links[:, 1])
    met = _meet_outside(scene, clearance, centre, outside, radius, apart)
    is_seed[full] |= np.isin(group, np.unique(group[met]))[cell]
    return every[~is_seed], every[is_seed]


def _number_cells(points: Floats, size: float) -> tuple[Ints, Ints]:
    """For each point the number of the cell it lies in, and for each cell its first point."""
    if len(points) == 0:
        return np.zeros(0, np.int64), np.zeros(0, np.int64)
    cell = _cells(points, size)
    cell -= cell.min(axis=0)
    key = np.ravel_multi_index(tuple(cell.T), tuple(cell.max(axis=0) + 1))
    _, first, number = np.unique(key, return_index=True, return_inverse=True)
    return number.astype(np.int64), first.astype(np.int64)


def _meet_outside(
    scene: RayScene,
    clearance: Clearance,
    centre: Floats,
    outside: Floats,
    radius: float,
    apart: float,
) -> Bools:
    """(n,) which balls overlap well with one outside, or see one? Over a rim it is farther."""
    if len(centre) == 0 or len(outside) == 0:
        return np.zeros(len(centre), bool)
    gap, near = cKDTree(outside).query(
        centre, k=[1, 2, 3, 4], distance_upper_bound=max(OVERLAP * radius, radius + REACH * apart)
    )
    met: Bools = gap[:, 0] <= OVERLAP * radius
    row, rank = np.nonzero(np.isfinite(gap) & ~met[:, None])
    other = outside[near[row, rank]]
    seen = sees(scene, centre[row], other)
    row, other = row[seen], other[seen]
    fits = clearance.at((centre[row] + other) / 2) >= HARDLY_NARROWER * radius
    met[row[fits]] = True
    return met


def links_between(scene: RayScene, points: Floats, apart: float) -> Ints:
    """(k, 2) pairs of points that are near to and see each other."""
    if len(points) < 2:
        return np.zeros((0, 2), np.int64)
    reach = REACH * apart
    gap, near = cKDTree(points).query(
        points, k=min(_MOST_NEIGHBOURS, len(points)), distance_upper_bound=reach
    )
    one, rank = np.nonzero(np.isfinite(gap))
    two = near[one, rank]
    pair = np.column_stack([one, two])[one != two]
    pair = np.sort(pair, axis=1).astype(np.int64)
    pair = np.column_stack(np.divmod(np.unique(pair[:, 0] * len(points) + pair[:, 1]), len(points)))
    return pair[sees(scene, points[pair[:, 0]], points[pair[:, 1]])]


def sees(scene: RayScene, starts: Floats, ends: Floats) -> Bools:
    """Does no facet stand between two points?"""
    nobody = np.full((len(starts), 2), -2, np.int64)
    free: Bools = ~scene.is_blocked(starts, ends, nobody)
    return free
