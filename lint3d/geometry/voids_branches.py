"""Does a duct fork, and is another branch wider than the one that was followed?

Branches whose widths differ by less than the grid tells are one chamber: the grid picks one of
them, and a section through that one bounds nothing that passes by another. Each branch that may be
as wide is to be followed by itself. Lengths in mm. Guarded by
tests/geometry/test_voids_branches.py.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import breadth_first_order, minimum_spanning_tree
from scipy.spatial import cKDTree

from lint3d.geometry.components import line_back
from lint3d.geometry.throats import Throat
from lint3d.geometry.throats_clearance import Clearance
from lint3d.geometry.throats_section import places_in_section
from lint3d.geometry.voids_cut import HIDDEN_RADIUS
from lint3d.geometry.voids_space import Space

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

#: How often it is looked past ways that lead through the same section.
_MOST_BESIDE = 8
#: Steps no farther from a section than this belong to it, voxels.
_AT_SECTION = 1.5


class Branches:
    """The ways on the grid from the top of a chamber to one of its points.

    Parameters
    ----------
    space : free space, cut into chambers
    chamber : its number
    point : flat number of one of its grid points
    """

    def __init__(self, space: Space, chamber: int, point: int) -> None:
        self.space, self.chamber, self.point = space, chamber, point
        label = space.basins.label.reshape(-1)
        self.goal = int(label[point])
        self.top = 0 if chamber == 0 else int(label[space.chambers.top[chamber]])
        self.closed: Ints = np.zeros(0, np.int64)
        """steps between basins, rows of `Basins.pair`, that no way leads through any more"""
        self._rows: Ints | None = None

    def way_past(self, clearance: Clearance, throat: Throat) -> Ints:
        """Flat numbers of the points of a way that may be wider, past a throat; empty if none is.

        From then on no way leads through that throat.
        """
        if self.top == self.goal or len(self._chain(throat.lower / 2)) == 0:
            return np.zeros(0, np.int64)
        section = places_in_section(
            clearance, throat.position, throat.direction, throat.diameter / 2
        )
        if section is None:
            return np.zeros(0, np.int64)
        tree, cell = cKDTree(section[0]), section[1]
        rows = self._candidates()
        near = tree.query(self._middle(rows))[0] < _AT_SECTION * self.space.grid.pitch
        self.closed = np.union1d(self.closed, rows[near])
        for _ in range(_MOST_BESIDE):
            chain = self._chain(throat.lower / 2)
            way = self._way(chain)
            place = _crossing(self.space.points(way), throat, tree, cell)
            if place is None:
                return way
            first = np.argmin(np.linalg.norm(self._middle(chain) - place, axis=1))
            self.closed = np.union1d(self.closed, chain[first])
        return np.zeros(0, np.int64)

    def _middle(self, rows: Ints) -> Floats:
        """(n, 3) mm, where steps between basins are."""
        middle: Floats = self.space.points(self.space.basins.step[rows]).mean(axis=1)
        return middle

    def _candidates(self) -> Ints:
        """Rows of the steps inside the chamber."""
        if self._rows is None:
            inside = self.space.chambers.of_basin[self.space.basins.pair] == self.chamber
            self._rows = np.flatnonzero(inside.all(axis=1))
        return self._rows

    def _chain(self, radius: float) -> Ints:
        """Rows of the steps of the widest way from the top to the point; empty if it is narrower.

        Parameters
        ----------
        radius : mm
        """
        basins = self.space.basins
        least = radius / self.space.grid.pitch - HIDDEN_RADIUS
        rows = np.setdiff1d(self._candidates(), self.closed, assume_unique=True)
        rows = rows[basins.saddle[rows] > least]
        used, pair = np.unique(basins.pair[rows], return_inverse=True)
        if not np.isin([self.top, self.goal], used).all():
            return np.zeros(0, np.int64)
        pair = pair.reshape(-1, 2)
        rank = np.empty(len(rows))
        rank[np.argsort(-basins.saddle[rows], kind="stable")] = np.arange(1, len(rows) + 1)
        graph = coo_array((rank, tuple(pair.T)), shape=(len(used), len(used)))
        tree = minimum_spanning_tree(graph.tocsr()).tocsr()
        begin, end = np.searchsorted(used, [self.top, self.goal]).tolist()
        before = breadth_first_order(tree, begin, directed=False)[1]
        both = tree + tree.T
        by_rank = np.argsort(rank)
        line = line_back(before, end)[::-1]
        if line[0] != begin:
            return np.zeros(0, np.int64)
        steps = [int(both[one, two]) for one, two in pairwise(line)]
        return rows[by_rank[np.array(steps, np.int64) - 1]]

    def _way(self, chain: Ints) -> Ints:
        """Flat numbers of the points of a way through the steps of a chain."""
        if len(chain) == 0:
            return np.zeros(0, np.int64)
        basins, gates = [self.top], []
        for row in chain.tolist():
            one, two = self.space.basins.pair[row].tolist()
            step = self.space.basins.step[row]
            gates.append(step if one == basins[-1] else step[::-1])
            basins.append(two if one == basins[-1] else one)
        return self.space.way(basins, np.array(gates, np.int64), self.point)


def _crossing(way: Floats, throat: Throat, section: cKDTree, cell: float) -> Floats | None:
    """Where a way crosses the section at a throat, (3,) mm; None if it does not.

    Parameters
    ----------
    section : places all over it, about `cell` mm apart
    """
    height = (way - throat.position) @ throat.direction
    rows = np.flatnonzero((height[1:] >= 0) != (height[:-1] >= 0))
    share = height[rows] / (height[rows] - height[rows + 1])
    place = way[rows] + share[:, None] * (way[rows + 1] - way[rows])
    inside = np.flatnonzero(section.query(place)[0] < cell)
    return place[inside[0]] if len(inside) else None


def nearest_half(ways: Sequence[Floats], throat: Throat) -> int:
    """Which of some ways comes nearest to a throat?"""
    gap = [float(np.linalg.norm(way - throat.position, axis=1).min(initial=np.inf)) for way in ways]
    return int(np.argmin(gap))
