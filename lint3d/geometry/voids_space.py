"""The free space around and inside a part, on a grid.

Chooses the pitch, fills the grid and cuts the free space into chambers. Knows nothing of exact
widths. Lengths in mm.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property

import edt
import numpy as np
from numpy.typing import NDArray

from lint3d.geometry.chambers import (
    Basins,
    Chambers,
    climb_from,
    find_basins,
    join_basins,
)
from lint3d.geometry.chambers_rooms import set_outside, wide_rooms
from lint3d.geometry.portions import chunks
from lint3d.geometry.raster import Grid, Raster, rasterise
from lint3d.geometry.voids_tight import Places, axes_of_places, places_on

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

#: Grid points in the width that must be resolved.
POINTS_PER_WIDTH = 4
#: Free points around the part's box.
MARGIN = 3


@dataclass(frozen=True, eq=False)
class Space:
    """Free space cut into chambers."""

    raster: Raster
    distance: NDArray[np.float32]
    """voxels from each free point to the nearest material point; infinite where surely outside"""
    basins: Basins
    chambers: Chambers
    reach: float
    """mm, radius of balls that nothing is told about"""
    _asked: list[tuple[Floats, Ints, Places]] = field(default_factory=list)
    """the surface that places were last asked for on, and these places"""

    @property
    def grid(self) -> Grid:
        return self.raster.grid

    def points(self, flat: Ints) -> Floats:
        """(…, 3) mm, where the points with these flat numbers are."""
        return self.grid.point(np.stack(np.unravel_index(flat, self.grid.shape), axis=-1))

    @cached_property
    def beside_wall(self) -> Ints:
        """(k,) flat numbers of the free points nearer to the material than 1.5 voxels."""
        level, found = self.distance.reshape(-1), [np.zeros(0, np.int64)]
        for some in chunks(len(level)):
            near = level[some] < 1.5
            near &= level[some] > 0
            found.append(np.flatnonzero(near) + some.start)
        return np.concatenate(found)

    @property
    def at_wall(self) -> Ints:
        """(k,) flat numbers of the free points with a material point one step away."""
        rows: Ints = self.beside_wall[self.distance.reshape(-1)[self.beside_wall] <= 1.0]
        return rows

    def places(self, vertices: Floats, faces: Ints) -> Places:
        """Places all over the surface within the grid; those asked for last are kept.

        The surface is the one that the grid was filled with.
        """
        if not (self._asked and self._asked[0][0] is vertices and self._asked[0][1] is faces):
            known = self.raster.across
            self._asked[:] = [(vertices, faces, places_on(vertices, faces, self.grid, known))]
        return self._asked[0][2]

    def way(self, chain: list[int], gates: Ints, goal: int) -> Ints:
        """Flat numbers of the points of a way through basins, or of its last part.

        Inside rooms that are wider than anything in question no way is followed: where the chain
        runs through one, the way begins in the last of them.

        Parameters
        ----------
        chain : basins in order; the way begins at the top of the first
        gates : (len(chain) − 1, 2) the step from each basin to the next
        goal : flat number of a point of the last basin
        """
        wide = [i for i, basin in enumerate(chain) if basin <= self.basins.rooms]
        if wide:
            chain, gates = chain[wide[-1] :], gates[wide[-1] :]
        way: list[int] = [] if wide else [int(self.basins.top[chain[0]])]
        leaves = [*gates[:, 0].tolist(), goal]
        enters = gates[:, 1].tolist()
        for i, leave in enumerate(leaves):
            down = self.climb(leave)
            way = _joined(way, down) if way else down[::-1]
            if i < len(enters):
                way += self.climb(enters[i])
        return np.array(way, np.int64)

    def climb(self, point: int) -> list[int]:
        """Flat numbers of the points from one up to its top, or to what is surely outside."""
        return climb_from(self.distance, self.raster.solid, point)

    def chain(self, one: int, two: int) -> tuple[list[int], Ints]:
        """Basins from one to another along the spanning tree, and the steps between them."""
        parent, gate = self.chambers.parent, self.chambers.gate
        up_one, up_two = _ancestors(parent, one), _ancestors(parent, two)
        shared = set(up_one)
        meet = next((basin for basin in up_two if basin in shared), None)
        if meet is None:
            return [], np.zeros((0, 2), np.int64)
        rise = up_one[: up_one.index(meet) + 1]
        fall = up_two[: up_two.index(meet)][::-1]
        steps = [gate[basin] for basin in rise[:-1]] + [gate[basin][::-1] for basin in fall]
        return rise + fall, np.array(steps, np.int64).reshape(-1, 2)


def build_space(vertices: Floats, faces: Ints, grid: Grid, reach: float, workers: int = 1) -> Space:
    """Fill a grid and cut its free space into chambers.

    Parameters
    ----------
    vertices, faces : mm; faces look out of the material
    grid : its outermost layer must be free
    reach : mm, radius above which the outside needs no cutting
    workers : threads for the distances
    """
    raster = rasterise(vertices, faces, grid, axes_of_places(vertices, faces, grid.pitch))
    return cut_space(raster, reach, workers)


def cut_space(raster: Raster, reach: float, workers: int = 1) -> Space:
    """Cut the free space of a filled grid into chambers."""
    free = (~raster.solid).view(np.uint8)
    distance: NDArray[np.float32] = edt.edt(free, parallel=workers)
    del free
    number, rooms = wide_rooms(distance, reach / raster.grid.pitch)
    set_outside(distance, number)
    basins = find_basins(distance, raster.solid, number, rooms)
    return Space(raster, distance, basins, join_basins(basins), reach)


def _joined(way: list[int], down: list[int]) -> list[int]:
    """Go on from a way to the foot of a climb: where the two meet first, the top is left out."""
    place = {point: i for i, point in enumerate(way)}
    for i, point in enumerate(down):
        if point in place:
            return way[: place[point] + 1] + down[:i][::-1]
    return way + down[::-1]


def _ancestors(parent: Ints, basin: int) -> list[int]:
    chain = [int(basin)]
    while parent[chain[-1]] >= 0:
        chain.append(int(parent[chain[-1]]))
    return chain
