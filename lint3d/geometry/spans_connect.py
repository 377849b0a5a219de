"""Which thin contacts hang together?

Contacts are pairs of facets. A small facet is one node of a graph; a large one is a node for
each facet across from it, so that a large facet over many separate thin floors does not join
them. Tested by tests/geometry/test_spans_regions.py.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from lint3d.geometry.spans import Spans
from lint3d.geometry.spans_exact import LARGE

Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

NEAREST = 5  # how many contacts near each other are linked
SAME_PLACE = 0.25  # as a share of the low end of the range


@dataclass(eq=False)
class Connected:
    """Region numbers, counted from 0.

    Attributes
    ----------
    count : int
    of_row : (r,) int64, of each row that was handed in
    of_small : (k,) int64, of each small facet of the surface, -1 if in none
    key, of_key : (p,) int64, directed pairs as first * k + second, ascending, and theirs
    """

    count: int
    of_row: Ints
    of_small: Ints
    key: Ints
    of_key: Ints

    def of_pairs(self, pairs: Ints) -> Ints:
        """Region of any pairs (j, 2) of facets: that of the pair, else of a small facet in it."""
        size = np.int64(len(self.of_small))
        wanted = pairs[:, 0] * size + pairs[:, 1]
        place = np.minimum(np.searchsorted(self.key, wanted), len(self.key) - 1)
        label = np.where(self.key[place] == wanted, self.of_key[place], -1)
        for column in (0, 1):
            label = np.where(label < 0, self.of_small[pairs[:, column]], label)
        return label


def connect(spans: Spans, rows: Ints) -> Connected:
    """Number the regions that some rows of a table of spans fall into."""
    surface = spans.surface
    size = np.int64(len(surface.faces))
    both = np.concatenate([spans.pair[rows], spans.pair[rows][:, ::-1]])
    every = both[:, 0] * size + both[:, 1]
    # Sorting is much quicker here than the hashing of numpy's unique.
    ranked = np.sort(every)
    key = ranked[np.flatnonzero(np.diff(ranked, prepend=-1))]
    back = np.searchsorted(key, every[: len(rows)])
    first, second = key // size, key % size
    large = surface.longest > LARGE * spans.high
    node = np.where(large[first], size + np.arange(len(key)), first)
    links = [np.stack([node, node[np.searchsorted(key, second * size + first)]])]
    thin = np.zeros(len(surface.faces), dtype=bool)
    thin[first[~large[first]]] = True
    small = np.flatnonzero(thin)
    for side in range(3):
        other = surface.neighbours[small, side]
        keep = (other >= 0) & thin[other]
        links.append(np.stack([small[keep], other[keep]]))
    links += _links_of_large(spans, key, node, large)
    links.append(_links_of_near(spans, rows, node[back]))
    link = np.concatenate(links, axis=1)
    total = int(size) + len(key)
    ones = np.ones(link.shape[1], dtype=np.int8)
    label = connected_components(coo_array((ones, link), shape=(total, total)), directed=False)[1]
    used = np.zeros(total, dtype=bool)
    used[label[node]] = True
    number = np.cumsum(used) - 1
    of_key = number[label[node]]
    of_small = np.full(int(size), -1, dtype=np.int64)
    of_small[small] = number[label[small]]
    return Connected(int(used.sum()), of_key[back], of_small, key, of_key)


def _links_of_near(spans: Spans, rows: Ints, node: Ints) -> Ints:
    """Links between exact contacts whose middles nearly coincide, as round the tip of a pit."""
    exact = np.flatnonzero(spans.area[rows] == 0)
    if len(exact) < 2:
        return np.zeros((2, 0), dtype=np.int64)
    middle = (spans.point[rows[exact]] + spans.contact_point[rows[exact]]) / 2
    gap, other = cKDTree(middle).query(middle, k=min(NEAREST, len(exact)))
    one, column = np.nonzero(gap <= SAME_PLACE * spans.low)
    return np.stack([node[exact[one]], node[exact[other[one, column]]]])


def _links_of_large(spans: Spans, key: Ints, node: Ints, large: Bools) -> list[Ints]:
    """Links between pairs that differ by one step on either side, where a large facet is in."""
    surface, size = spans.surface, np.int64(len(spans.surface.faces))
    first, second = key // size, key % size
    rows = np.flatnonzero(large[first] | large[second])
    ring_first = np.column_stack([first[rows], surface.neighbours[first[rows]]])
    ring_second = np.column_stack([second[rows], surface.neighbours[second[rows]]])
    links = []
    for i in range(4):
        for j in range(4):
            wanted = ring_first[:, i] * size + ring_second[:, j]
            place = np.minimum(np.searchsorted(key, wanted), len(key) - 1)
            keep = (ring_first[:, i] >= 0) & (ring_second[:, j] >= 0) & (key[place] == wanted)
            links.append(np.stack([node[rows[keep]], node[place[keep]]]))
    return links
