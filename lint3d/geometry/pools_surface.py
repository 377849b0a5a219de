"""What stays behind in a part that is held up one way, exactly?

Liquid that starts anywhere runs down, and leaves if some way out rises nowhere above it. Which
places hang together below a level is read off the facets alone: from every corner of the surface
one can go down along an edge, or fall onto the floor below it; the level at which two hollows run
together is the height of a corner (of a saddle of the surface). The tree of those levels gives the
height to which each hollow fills, and the volume below that height is a sum over its facets. No
grid, so a shallow pool counts like a deep one. Lengths in mm, volumes in mm3. Guarded by
tests/geometry/test_pools_surface.py.

References
----------
The tree of merging level sets: H. Carr, J. Snoeyink, U. Axen, "Computing contour trees in all
dimensions", Computational Geometry 24 (2003) 75, doi:10.1016/S0925-7721(02)00093-7. Volume below a
plane: the divergence theorem over the facets.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lint3d.geometry.pools_fall import Floor, level_axes

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

#: Steps of float32 by which two heights may differ wrongly: files hold float32, three coordinates
#: are rounded by half a step each, and two corners are compared.
_STEPS = 3.0**0.5
_FLOAT32_STEP = 2.0**-23


@dataclass(frozen=True, eq=False)
class Standing:
    """What stays in one position.

    Attributes
    ----------
    up : (3,) unit vector
    height : (n,) mm, of each corner along `up`
    corner : (3, m) mm, height of each facet's corners
    owner : (m,) basin that each facet counts for: that of its lowest corner
    basin : (n,) basin that liquid at each corner runs down into
    lowest : (b,) corner at the bottom of each basin
    level : (b,) mm, how high each basin fills; −inf where nothing stays, or nothing leads out
    group : (b,) basins with the same number are one pool; −1 where nothing stays
    saddle : (b,) corner over which each basin runs out, −1 where nothing stays
    """

    up: Floats
    height: Floats
    corner: Floats
    owner: Ints
    basin: Ints
    lowest: Ints
    level: Floats
    group: Ints
    saddle: Ints


class PoolSurface:
    """A surface made ready for liquid.

    Parameters
    ----------
    vertices : (n, 3) float64, mm
    faces : (m, 3) int64; they look out of the material. Bodies must not overlap.

    Attributes
    ----------
    step : mm, by how much heights may be wrong: the file's own coordinates are rounded
    is_closed : every edge has two faces that run along it in opposite directions
    """

    def __init__(self, vertices: Floats, faces: Ints) -> None:
        used, compact = np.unique(faces, return_inverse=True)
        self.vertices = np.ascontiguousarray(np.asarray(vertices, np.float64)[used])
        self.faces = compact.reshape(-1, 3).astype(np.int64)
        largest = float(np.abs(self.vertices).max(initial=0.0))
        self.step = _STEPS * _FLOAT32_STEP * largest
        # Heights about the middle keep digits where a part stands far out.
        self.middle = (
            (self.vertices.min(axis=0) + self.vertices.max(axis=0)) / 2
            if len(used)
            else np.zeros(3)
        )
        self._about = self.vertices - self.middle
        self._columns = np.ascontiguousarray(self.faces.T)
        corner = self._about[self.faces]
        self.area = np.cross(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0]) / 2
        self._floor = Floor(self._about, self.faces, self.area)
        self._make_edges()

    def _make_edges(self) -> None:
        """Both directions of every edge, sorted by where they start."""
        start = self.faces.reshape(-1)
        stop = self.faces[:, [1, 2, 0]].reshape(-1)
        count = len(self.vertices)
        forth, back = start * count + stop, stop * count + start
        once = np.sort(forth)
        self.is_closed = bool(np.array_equal(once, np.sort(back)) and (np.diff(once) > 0).all())
        length = np.linalg.norm(self.area, axis=1)
        normal = self.area / np.where(length > 0, length, 1.0)[:, None]
        #: Sum of the normals of the faces at each edge.
        if self.is_closed:
            here, there = np.argsort(forth), np.argsort(back)
            key = forth[here]
            self._fold = normal[here // 3] + normal[there // 3]
        else:
            both = np.concatenate([forth, back])
            order = np.argsort(both, kind="stable")
            first = np.flatnonzero(np.diff(both[order], prepend=-1) != 0)
            key = both[order[first]]
            self._fold = np.add.reduceat(normal[order % len(forth) // 3], first, axis=0)
        self._start, self._stop = np.divmod(key, count)
        self._from = np.flatnonzero(np.diff(self._start, prepend=-1) != 0)
        self._once = np.flatnonzero(self._start < self._stop)

    def standing(self, up: Floats) -> Standing:
        """What stays with `up` (3,) upward."""
        up = np.asarray(up, np.float64) / np.linalg.norm(up)
        height = self._about @ up
        corner = height[self._columns]
        foot = _at_least(corner, self._columns)
        basin, lowest = self._basins(height)
        pairs, level, top = self._passes(up, height, basin, lowest, foot)
        spill, group, saddle = _filled(pairs, level, top, len(lowest))
        stays = np.isfinite(spill) & (spill > height[lowest] + self.step)
        return Standing(
            up,
            height,
            corner,
            basin[foot],
            basin,
            lowest,
            np.where(stays, spill, -np.inf),
            np.where(stays, group, -1),
            np.where(stays, saddle, -1),
        )

    def volumes(self, one: Standing, level: Floats | None = None) -> Floats:
        """(b,) mm3 that stands in each basin, up to its level or up to lower ones.

        Only sums over the basins of a pool are volumes: a facet counts for one basin.
        """
        level = one.level if level is None else level
        surface = level[one.owner]
        rows = np.flatnonzero(surface > _least(one.corner))
        share = _mean_above(surface[rows] - one.corner[:, rows]) * (self.area[rows] @ one.up)
        whole = np.bincount(one.owner[rows], weights=share, minlength=len(one.lowest))
        return whole.astype(np.float64)  # of no rows it makes whole numbers

    def doubt(self, one: Standing) -> float:
        """mm3 that rounded coordinates may change the volume by."""
        wet = _least(one.corner) < one.level[one.owner]
        return self.step * float(np.linalg.norm(self.area[wet], axis=1).sum())

    def plan(self, up: Floats) -> Floats:
        """(n, 2) mm, corners seen from above."""
        return self._about @ level_axes(up)

    def edges_rising(self, height: Floats) -> tuple[Ints, Ints]:
        """Every edge once: its lower and its higher corner."""
        one, two = self._start[self._once], self._stop[self._once]
        rises = height[one] <= height[two]
        return np.where(rises, one, two), np.where(rises, two, one)

    def _basins(self, height: Floats) -> tuple[Ints, Ints]:
        """For each corner the bottom that one gets to along falling edges."""
        count = len(height)
        order = np.argsort(height, kind="stable")
        rank = np.empty(count, np.int64)
        rank[order] = np.arange(count)
        least = np.minimum.reduceat(rank[self._stop], self._from)
        down = order[np.minimum(least, rank)]
        while True:
            further = down[down]
            if np.array_equal(further, down):
                break
            down = further
        lowest, basin = np.unique(down, return_inverse=True)
        return basin.reshape(-1), lowest

    def _passes(
        self, up: Floats, height: Floats, basin: Ints, lowest: Ints, foot: Ints
    ) -> tuple[Ints, Floats, Ints]:
        """Where one gets from basin to basin: pairs, the height of the way, its highest corner.

        The basin after the last is the outside.
        """
        one, two = self._start[self._once], self._stop[self._once]
        across = basin[one] != basin[two]
        one, two = one[across], two[across]
        top = np.where(height[one] >= height[two], one, two)
        hanging = np.flatnonzero(self._is_hanging(up, height, lowest))
        floor = self._floor.below(up, height, lowest[hanging])
        # From a point of a facet one gets down to its lowest corner.
        landed = np.where(floor >= 0, basin[foot[floor]], len(lowest))
        pairs = np.concatenate(
            [np.column_stack([basin[one], basin[two]]), np.column_stack([hanging, landed])]
        )
        top = np.concatenate([top, lowest[hanging]])
        return pairs, height[top], top

    def _is_hanging(self, up: Floats, height: Floats, lowest: Ints) -> Bools:
        """(b,) is there space and not material below the lowest corner of each basin?

        Along the flattest edge that leaves it both faces rise. If they look downward between them,
        the material lies above and the corner hangs from a ceiling.
        """
        number = np.full(len(height), -1, np.int64)
        number[lowest] = np.arange(len(lowest))
        rows = np.flatnonzero(number[self._start] >= 0)
        start, stop = self._start[rows], self._stop[rows]
        length = np.linalg.norm(self._about[stop] - self._about[start], axis=1)
        with np.errstate(divide="ignore", invalid="ignore"):
            slope = np.where(length > 0, (height[stop] - height[start]) / length, np.inf)
        order = np.lexsort((slope, start))
        first = order[np.flatnonzero(np.diff(start[order], prepend=-1) != 0)]
        hanging = np.zeros(len(lowest), bool)
        hanging[number[start[first]]] = self._fold[rows[first]] @ up < 0
        return hanging


def _filled(pairs: Ints, level: Floats, corner: Ints, outside: int) -> tuple[Floats, Ints, Ints]:
    """How high does each basin fill before it runs out, with what, and over which corner?

    Passes are opened from the lowest up; a basin is full when it first meets the outside.

    Returns
    -------
    (b,) mm, inf where nothing leads out; (b,) number of the pool; (b,) corner, −1 for none
    """
    spill = np.full(outside, np.inf)
    group, saddle = np.full(outside, -1, np.int64), np.full(outside, -1, np.int64)
    order = np.argsort(level, kind="stable")
    key = pairs.min(axis=1) * (outside + 1) + pairs.max(axis=1)
    order = order[np.sort(np.unique(key[order], return_index=True)[1])]
    head = list(range(outside + 1))
    members = [[i] for i in head]
    ends = pairs[order].tolist()
    for row, (one, two) in zip(order.tolist(), ends, strict=True):
        one, two = head[one], head[two]
        if one == two:
            continue
        if outside in (one, two):
            full = two if one == outside else one
            rows = members[full]
            spill[rows], group[rows], saddle[rows] = level[row], full, corner[row]
            one, two = outside, full
        elif len(members[one]) < len(members[two]):
            one, two = two, one
        for i in members[two]:
            head[i] = one
        if one != outside:
            members[one] += members[two]
    return spill, group, saddle


def _least(three: Floats) -> Floats:
    """(k,) least of three rows."""
    result: Floats = np.minimum(np.minimum(three[0], three[1]), three[2])
    return result


def _at_least(three: Floats, names: Ints) -> Ints:
    """(k,) of three rows of names the one where the value is least."""
    first: Ints = np.where(three[0] <= three[1], names[0], names[1])
    return np.where(np.minimum(three[0], three[1]) <= three[2], first, names[2])


def _mean_above(depth: Floats) -> Floats:
    """(k,) mean over each triangle of the part of a linear depth that is above zero.

    Parameters
    ----------
    depth : (3, k), at the corners; one of them at least is above zero
    """
    low, high = _least(depth), -_least(-depth)
    middle = depth.sum(axis=0) - low - high
    whole = (low + middle + high) / 3
    with np.errstate(divide="ignore", invalid="ignore"):
        one_dry = whole - low**3 / (3 * (low - middle) * (low - high))
        one_wet = high**3 / (3 * (high - low) * (high - middle))
    result: Floats = np.where(low >= 0, whole, np.where(middle >= 0, one_dry, one_wet))
    return result
