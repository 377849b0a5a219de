"""What stays behind in a part that is held up one way, roughly?

A coarse grid of the free space inside the part's box. From each point the liquid finds the way to
the outside that rises least; what lies below the highest place of that way stays. Quick, and good
to some ten percent: it chooses among directions, `pools.py` is exact. Lengths in mm. Guarded by
tests/geometry/test_pools.py.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_array, csr_array
from scipy.sparse.csgraph import breadth_first_order, minimum_spanning_tree

from lint3d.geometry.raster import Grid, rasterise

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

#: Grid points of the coarse grid, about.
_POINTS = 24_000


class Flood:
    """Free space that liquid moves through.

    Parameters
    ----------
    vertices, faces : mm; faces look out of the material
    ways : ways through openings that the coarse grid may not show: (n, 3) mm each, from a pocket
        to the outside
    """

    def __init__(self, vertices: Floats, faces: Ints, ways: list[Floats]) -> None:
        low, high = vertices.min(axis=0), vertices.max(axis=0)
        pitch = float(np.cbrt(np.prod(np.maximum(high - low, 1e-6)) / _POINTS))
        self.grid = Grid.around(low, high, pitch, 1)
        solid = rasterise(vertices, faces, self.grid).solid
        self.rows = np.flatnonzero(~solid.reshape(-1))
        index = np.stack(np.unravel_index(self.rows, solid.shape), axis=-1)
        self.point = self.grid.point(index)
        self.number = np.full(solid.size, -1, np.int64)
        self.number[self.rows] = np.arange(len(self.rows))
        self._outside = len(self.rows)
        at_rim = ((index == 0) | (index == np.array(solid.shape) - 1)).any(axis=1)
        self.edges = self._neighbours(index, np.array(solid.shape))
        rim = np.flatnonzero(at_rim)
        self._rim = np.column_stack([rim, np.full(len(rim), self._outside)])
        self._ways = [(self._nearest(way[0]), way) for way in ways if len(way)]

    def stays(self, up: Floats) -> tuple[Floats, Floats]:
        """For each point its height and the height that the liquid must rise to from there, mm."""
        height = self.point @ up
        pairs, level = [self.edges, self._rim], []
        level.append(np.maximum(height[self.edges[:, 0]], height[self.edges[:, 1]]))
        level.append(height[self._rim[:, 0]])
        if self._ways:
            pairs.append(np.array([[node, self._outside] for node, _ in self._ways]))
            level.append(
                np.array(
                    [max(float((way @ up).max()), float(height[node])) for node, way in self._ways]
                )
            )
        return height, self._spill(np.concatenate(pairs), np.concatenate(level))

    def volume(self, up: Floats) -> float:
        """mm3 that stays, roughly; infinite regions that nothing leads to are not counted."""
        height, spill = self.stays(up)
        stays = np.isfinite(spill) & (height < spill - 0.25 * self.grid.pitch)
        return float(np.count_nonzero(stays)) * self.grid.pitch**3

    def _spill(self, pairs: Ints, level: Floats) -> Floats:
        count = self._outside + 1
        shift = float(level.min()) - 1.0
        graph = _lowest(pairs, level - shift, count)
        tree = minimum_spanning_tree(graph)
        tree = tree + tree.T
        reached, before = breadth_first_order(tree, self._outside, directed=False)
        spill = np.full(count, np.inf)
        up = np.where(before >= 0, before, np.arange(count))
        spill[reached] = 0.0
        rows = reached[1:]
        spill[rows] = np.asarray(tree[rows, before[rows]]).reshape(-1)
        while True:
            higher = np.maximum(spill, spill[up])
            up = up[up]
            if np.array_equal(higher, spill) and np.array_equal(up, up[up]):
                break
            spill = higher
        return spill[: self._outside] + shift

    def _neighbours(self, index: Ints, shape: Ints) -> Ints:
        edges = []
        for axis, stride in enumerate((int(shape[1] * shape[2]), int(shape[2]), 1)):
            inside = np.flatnonzero(index[:, axis] + 1 < shape[axis])
            there = self.number[self.rows[inside] + stride]
            edges.append(np.column_stack([inside[there >= 0], there[there >= 0]]))
        return np.concatenate(edges)

    def _nearest(self, point: Floats) -> int:
        return int(np.argmin(((self.point - point) ** 2).sum(axis=1)))


def _lowest(pairs: Ints, weight: Floats, count: int) -> csr_array:
    """The graph with the lower of doubled edges (a sparse matrix would add them up)."""
    low, high = pairs.min(axis=1), pairs.max(axis=1)
    order = np.lexsort((weight, high, low))
    low, high, weight = low[order], high[order], weight[order]
    first = np.concatenate([[True], (np.diff(low) != 0) | (np.diff(high) != 0)])
    return coo_array((weight[first], (low[first], high[first])), shape=(count, count)).tocsr()


def directions(count: int = 200) -> Floats:
    """(count, 3) unit vectors spread evenly over the sphere (Fibonacci lattice), axes first."""
    axes = np.vstack([np.eye(3), -np.eye(3)])
    i = np.arange(max(count - 6, 0)) + 0.5
    z = 1 - 2 * i / max(count - 6, 1)
    angle = np.pi * (1 + 5**0.5) * i
    ring = np.sqrt(1 - z * z)
    return np.vstack([axes, np.column_stack([ring * np.cos(angle), ring * np.sin(angle), z])])
