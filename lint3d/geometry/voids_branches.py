"""Does a duct fork, and is another branch wider than the one that was followed?

Branches whose widths differ by less than the grid tells are one chamber: the grid picks one of
them, and a section through that one bounds nothing that passes by another. Each branch that may be
as wide is to be followed by itself, on both sides of the opening and through any of its steps: two
branches that part near it are one opening on the grid. Lengths in mm. Guarded by
tests/geometry/test_voids_branches.py.
"""

from __future__ import annotations

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
    """The ways on the grid from the top of a chamber to that of another, through one opening.

    Parameters
    ----------
    space : free space, cut into chambers
    chambers : the numbers of the two
    steps : (k, 2) flat numbers of the points of each step from the first to the second that
        belongs to the opening
    """

    def __init__(self, space: Space, chambers: tuple[int, int], steps: Ints) -> None:
        self.space = space
        basins = space.basins
        label = basins.label.reshape(-1)
        tops = space.chambers.top[list(chambers)]
        # The outside has no top.
        self.ends: list[int] = np.where(tops < 0, 0, label[tops]).tolist()
        owner = space.chambers.of_basin[basins.pair]
        inside = np.isin(owner[:, 0], chambers) & (owner[:, 0] == owner[:, 1])
        level = space.distance.reshape(-1)[steps].min(axis=1)
        self.pair: Ints = np.concatenate([basins.pair[inside], label[steps]]).astype(np.int64)
        self.step: Ints = np.concatenate([basins.step[inside], steps])
        self.saddle: Floats = np.concatenate([basins.saddle[inside], level]).astype(np.float64)
        self.is_crossing = np.arange(len(self.pair)) >= np.count_nonzero(inside)
        self.is_closed = np.zeros(len(self.pair), bool)
        """no way leads through these steps any more"""
        self.passed: list[tuple[Throat, cKDTree, float]] = []
        """throats that no way leads through any more, places all over their sections, and how far
        apart these are, mm"""

    def ways_past(self, clearance: Clearance, throat: Throat) -> tuple[Ints, Ints] | None:
        """A way that may be wider, past a throat; None if there is none.

        From then on no way leads through that throat.

        Returns
        -------
        flat numbers of the points from the top of each of the two chambers to where they meet
        """
        if len(self._chain(throat.lower / 2)) == 0:
            return None
        section = places_in_section(
            clearance, throat.position, throat.direction, throat.diameter / 2
        )
        if section is None:
            return None
        tree = cKDTree(section[0])
        self.passed.append((throat, tree, section[1]))
        rows = np.flatnonzero(~self.is_closed)
        near = tree.query(self._middle(rows))[0] < _AT_SECTION * self.space.grid.pitch
        self.is_closed[rows[near]] = True
        for _ in range(_MOST_BESIDE):
            chain = self._chain(throat.lower / 2)
            if len(chain) == 0:
                return None
            ways = self._ways(chain)
            way = self.space.points(np.concatenate([ways[0], ways[1][::-1]]))
            places = [place for one in self.passed if (place := _crossing(way, *one)) is not None]
            if not places:
                return ways
            for place in places:
                first = np.argmin(np.linalg.norm(self._middle(chain) - place, axis=1))
                self.is_closed[chain[first]] = True
        return None

    def _middle(self, rows: Ints) -> Floats:
        """(n, 3) mm, where steps between basins are."""
        middle: Floats = self.space.points(self.step[rows]).mean(axis=1)
        return middle

    def _chain(self, radius: float) -> Ints:
        """Rows of the steps of the widest way from top to top; empty if it is narrower.

        Parameters
        ----------
        radius : mm
        """
        least = radius / self.space.grid.pitch - HIDDEN_RADIUS
        rows = np.flatnonzero(~self.is_closed & (self.saddle > least))
        rows = rows[np.argsort(-self.saddle[rows], kind="stable")]
        # Two basins may meet in many steps of the opening: the widest stands for them.
        both = np.sort(self.pair[rows], axis=1)
        rows = rows[np.sort(np.unique(both, axis=0, return_index=True)[1])]
        used, pair = np.unique(self.pair[rows], return_inverse=True)
        if not np.isin(self.ends, used).all():
            return np.zeros(0, np.int64)
        rank = np.arange(1.0, len(rows) + 1)
        graph = coo_array((rank, tuple(pair.reshape(-1, 2).T)), shape=(len(used), len(used)))
        tree = minimum_spanning_tree(graph.tocsr()).tocsr()
        begin, end = np.searchsorted(used, self.ends).tolist()
        before = breadth_first_order(tree, begin, directed=False)[1]
        line = line_back(before, end)[::-1]
        if line[0] != begin:
            return np.zeros(0, np.int64)
        ranks = tree + tree.T
        steps = [int(ranks[one, two]) for one, two in pairwise(line)]
        return rows[np.array(steps, np.int64) - 1]

    def _ways(self, chain: Ints) -> tuple[Ints, Ints]:
        """Flat numbers of the points from both tops to the first step from chamber to chamber."""
        basins, gates = [self.ends[0]], []
        for row in chain.tolist():
            forth = int(self.pair[row, 0]) == basins[-1]
            gates.append(self.step[row] if forth else self.step[row][::-1])
            basins.append(int(self.pair[row, 1 if forth else 0]))
        at = int(np.argmax(self.is_crossing[chain]))
        before = np.array(gates[:at], np.int64).reshape(-1, 2)
        after = np.array(gates[:at:-1], np.int64).reshape(-1, 2)[:, ::-1]
        return (
            self.space.way(basins[: at + 1], before, int(gates[at][0])),
            self.space.way(basins[:at:-1], after, int(gates[at][1])),
        )


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
