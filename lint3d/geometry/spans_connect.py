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

from lint3d.geometry.each_once import distinct
from lint3d.geometry.spans import Spans
from lint3d.geometry.spans_across import IN_PLACE_COS
from lint3d.geometry.spans_dense import long_facets
from lint3d.geometry.spans_effort import Effort
from lint3d.geometry.spans_feelers import cross
from lint3d.geometry.spans_pairs import dot
from lint3d.geometry.spans_surface import SpanSurface

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

NEAREST = 5  # how many contacts near each other are linked
SIDE_POINTS = 8  # points along a side at which thin places are looked for on either hand
SIDES_MOST = 100_000
SIDES_SHARE = 4  # one in so many of the rays may look for links over sides
SET_BACK = 1e-3  # of the way to the middle of the facet
PARALLEL_COS = float(np.cos(np.radians(30.5)))
CELL_BITS = 20  # cells of space a side, as a power of 2
HALF_ROUND = [
    (x, y, z) for x in (-1, 0, 1) for y in (-1, 0, 1) for z in (-1, 0, 1) if (x, y, z) > (0, 0, 0)
]
SAME_POINT = 1e-6  # as a share of that
SAME_PLACE = 0.25  # as a share of the low end of the range


@dataclass(eq=False)
class Connected:
    """Region numbers, counted from 0.

    Attributes
    ----------
    count : int
    of_row : (r,) int64, of each row that was handed in
    of_small : (k,) int64, of each small facet of the surface, -1 if in none
    key, of_key : (p,) int64, directed pairs as first * k + second, ascending, and theirs; empty
        where no facet is large
    """

    count: int
    of_row: Ints
    of_small: Ints
    key: Ints
    of_key: Ints

    def of_pairs(self, pairs: Ints) -> Ints:
        """Region of any pairs (j, 2) of facets: that of the pair, else of a small facet in it."""
        label = np.full(len(pairs), -1, dtype=np.int64)
        if len(self.key):
            label = self._of_key(pairs)
        for column in (0, 1):
            label = np.where(label < 0, self.of_small[pairs[:, column]], label)
        return label

    def _of_key(self, pairs: Ints) -> Ints:
        size = np.int64(len(self.of_small))
        wanted = pairs[:, 0] * size + pairs[:, 1]
        place = np.minimum(np.searchsorted(self.key, wanted), len(self.key) - 1)
        label: Ints = np.where(self.key[place] == wanted, self.of_key[place], -1)
        return label


def connect(spans: Spans, rows: Ints, effort: Effort) -> Connected:
    """Number the regions that some rows of a table of spans fall into.

    Parameters
    ----------
    effort : what it may cost: less links are felt where there is a tangle
    """
    if not long_facets(spans.surface, spans.high)[spans.pair[rows]].any():
        return _connect_small(spans, rows)
    surface = spans.surface
    size = np.int64(len(surface.faces))
    both = np.concatenate([spans.pair[rows], spans.pair[rows][:, ::-1]])
    every = both[:, 0] * size + both[:, 1]
    key = distinct(every)
    back = np.searchsorted(key, every[: len(rows)])
    first, second = key // size, key % size
    large = long_facets(surface, spans.high)
    node = np.where(large[first], size + np.arange(len(key)), first)
    links = [np.stack([node, node[np.searchsorted(key, second * size + first)]])]
    thin = np.zeros(len(surface.faces), dtype=bool)
    thin[first[~large[first]]] = True
    small = np.flatnonzero(thin)
    links += _links_of_neighbours(surface, small, thin)
    links += _links_of_large(spans, key, node, large & ~spans.dense)
    links.append(_links_of_near(spans, rows, node[back]))
    sides = min(SIDES_MOST, effort.rays // (SIDES_SHARE * 2 * SIDE_POINTS))
    links.append(_links_over_sides(spans, key, node, large & ~spans.dense, sides))
    links.append(_links_of_dense(spans, rows, node[back]))
    links.append(_links_of_ends(spans, rows, node[back]))
    links += _links_in_place(spans, rows, key, node, back, sides)
    count, label = _numbered(int(size) + len(key), links, node)
    of_key = label[node]
    of_small = np.full(int(size), -1, dtype=np.int64)
    of_small[small] = label[small]
    return Connected(count, of_key[back], of_small, key, of_key)


def _connect_small(spans: Spans, rows: Ints) -> Connected:
    """The same where no facet is large: each is one node, and no pairs need be told apart."""
    surface, pair = spans.surface, spans.pair[rows]
    thin = np.zeros(len(surface.faces), dtype=bool)
    thin[pair] = True
    small = np.flatnonzero(thin)
    links = [pair.T, *_links_of_neighbours(surface, small, thin)]
    links.append(_links_of_near(spans, rows, pair[:, 0]))
    count, label = _numbered(len(surface.faces), links, small)
    none = np.zeros(0, dtype=np.int64)
    return Connected(count, label[pair[:, 0]], np.where(thin, label, -1), none, none)


def _links_of_neighbours(surface: SpanSurface, small: Ints, thin: Bools) -> list[Ints]:
    """Links between small thin facets with a side in common."""
    links = []
    for side in range(3):
        other = surface.neighbours[small, side]
        keep = (other > small) & thin[other]  # each link from one of its ends
        links.append(np.stack([small[keep], other[keep]]))
    return links


def _numbered(total: int, links: list[Ints], node: Ints) -> tuple[int, Ints]:
    """How many groups nodes fall into, and the (total,) number of each, in the order of nodes."""
    # Types that scipy's graph code would convert to anyway.
    link = np.concatenate(links, axis=1).astype(np.int32)
    ones = np.ones(link.shape[1])
    label = connected_components(coo_array((ones, link), shape=(total, total)), directed=False)[1]
    used = np.zeros(total, dtype=bool)
    used[label[node]] = True
    return int(used.sum()), (np.cumsum(used) - 1)[label]


def _links_of_near(spans: Spans, rows: Ints, node: Ints) -> Ints:
    """Links between exact contacts whose middles nearly coincide, as round the tip of a pit."""
    exact = np.flatnonzero(spans.area[rows] == 0)
    if len(exact) < 2:
        return np.zeros((2, 0), dtype=np.int64)
    middle = (spans.point[rows[exact]] + spans.contact_point[rows[exact]]) / 2
    # Equal points first: a tree of them is slow.
    step = SAME_PLACE * spans.low
    cell = np.floor((middle - middle.min(0)) / (SAME_POINT * step)).astype(np.int64)
    order = np.lexsort(cell.T)
    is_new = np.ones(len(exact), dtype=bool)
    is_new[1:] = (cell[order][1:] != cell[order][:-1]).any(axis=1)
    head = order[is_new]
    owner = head[np.cumsum(is_new) - 1]
    alike = np.stack([node[exact[order]], node[exact[owner]]])
    if len(head) < 2:
        return alike
    gap, other = cKDTree(middle[head]).query(middle[head], k=min(NEAREST, len(head)))
    one, column = np.nonzero(gap <= step)
    near = np.stack([node[exact[head[one]]], node[exact[head[other[one, column]]]]])
    return np.concatenate([alike, near], axis=1)


def _links_of_ends(spans: Spans, rows: Ints, node: Ints) -> Ints:
    """Links between exact contacts that begin or end at one vertex, as in the corner of a lip."""
    exact = np.flatnonzero(spans.area[rows] == 0)
    if len(exact) < 2:
        return np.zeros((2, 0), dtype=np.int64)
    surface, pair = spans.surface, spans.pair[rows[exact]]
    ends = (spans.point[rows[exact]], spans.contact_point[rows[exact]])
    vertex, owner = [], []
    for facet, place in zip(pair.T, ends, strict=True):
        away = np.linalg.norm(surface.corners[facet] - place[:, None], axis=2)
        corner = away.argmin(axis=1)
        at = np.flatnonzero(away.min(axis=1) <= SAME_POINT * spans.low)
        vertex.append(surface.faces[facet[at], corner[at]])
        owner.append(exact[at])
    at, one = np.concatenate(vertex), np.concatenate(owner)
    order = np.argsort(at, kind="stable")
    same = np.flatnonzero(np.diff(at[order]) == 0)
    return np.stack([node[one[order[same]]], node[one[order[same + 1]]]])


def _links_of_dense(spans: Spans, rows: Ints, node: Ints) -> Ints:
    """Links over dense needles, between contacts in the same cell of space or in cells that touch.

    Of two cells the first contact of each must lie side by side, not one behind the other.
    """
    dense: Bools = np.asarray(spans.dense[spans.pair[rows]].any(axis=1))
    if not dense.any():
        return np.zeros((2, 0), dtype=np.int64)
    step = spans.contact_point[rows] - spans.point[rows]
    middle = spans.point[rows] + step / 2
    # Cells in which there are points, however few of them there could be.
    area = spans.area[rows[dense & (spans.area[rows] > 0)]]
    apart = float(np.sqrt(np.median(area))) if len(area) else 0.0
    size = max(spans.low / 2, 2 * apart, float(np.ptp(middle, axis=0).max()) / (2**CELL_BITS - 4))
    cell = ((middle - middle.min(0)) / size).astype(np.int64) + 1
    key = (cell[:, 0] << (2 * CELL_BITS)) + (cell[:, 1] << CELL_BITS) + cell[:, 2]
    links = []
    # All contacts of a cell hang together; from cell to cell the first of each, then the first of
    # each that runs along x, along y, along z: round a rod they run all ways.
    for way in (np.zeros(len(rows), dtype=np.int64), np.abs(step).argmax(axis=1) + 1):
        order = np.lexsort((~dense, way, key))
        begin = np.flatnonzero(np.diff(4 * key[order] + way[order], prepend=-1))
        head = order[begin]
        known = 4 * key[head] + way[head]
        if not way.any():
            owner = head[np.searchsorted(known, 4 * key)]
            near = dense[owner]
            links.append(np.stack([node[near], node[owner[near]]]))
        for x, y, z in HALF_ROUND:
            wanted = known + 4 * ((x << (2 * CELL_BITS)) + (y << CELL_BITS) + z)
            place = np.minimum(np.searchsorted(known, wanted), len(known) - 1)
            hit = known[place] == wanted
            one, two = head[hit], head[place[hit]]
            keep = (dense[one] | dense[two]) & _side_by_side(middle, step, one, two)
            links.append(np.stack([node[one[keep]], node[two[keep]]]))
    return np.concatenate(links, axis=1)


def _side_by_side(middle: Floats, step: Floats, one: Ints, two: Ints) -> Bools:
    """Are contacts about parallel, and neither behind the other?"""
    thick = np.linalg.norm(step, axis=1)
    product = thick[one] * thick[two]
    parallel = np.abs(np.einsum("ij,ij->i", step[one], step[two])) >= PARALLEL_COS * product
    behind = np.abs(np.einsum("ij,ij->i", middle[two] - middle[one], step[one]))
    beside: Bools = parallel & (behind <= 0.5 * thick[one] * np.maximum(thick[one], thick[two]))
    return beside


def _links_in_place(
    spans: Spans, rows: Ints, key: Ints, node: Ints, back: Ints, most: int
) -> list[Ints]:
    """Links of exact contacts, as at a ridge, with what is thin straight across beside them.

    And of so many points, near a side, whose way across ends on a facet that leans.
    """
    surface, inward, size = spans.surface, spans.inward, np.int64(len(spans.surface.faces))
    spread = spans.area[rows] > 0
    leans = -dot(inward[spans.pair[rows, 0]], inward[spans.pair[rows, 1]]) < IN_PLACE_COS
    exact = np.concatenate([np.flatnonzero(~spread), np.flatnonzero(spread & leans)[:most]])
    links = []
    for column, place in ((0, spans.point), (1, spans.contact_point)):
        own = spans.pair[rows[exact], column]
        begin = place[rows[exact]]
        begin = begin + SET_BACK * (surface.corners[own].mean(1) - begin)
        across = cross(surface, inward, begin, inward[own], spans.high)[0]
        wanted = own * size + across
        found = np.minimum(np.searchsorted(key, wanted), len(key) - 1)
        hit = (across >= 0) & (key[found] == wanted)
        links.append(np.stack([node[back[exact[hit]]], node[found[hit]]]))
    return links


def same_place(graph: Connected, pair: Ints, middle: Floats, near: float) -> Connected:
    """Regions whose tightest contacts are one and the same, or lie in each other, joined.

    Parameters
    ----------
    pair : (count, 2) int64, the facets of the tightest contact of each region
    middle : (count, 3) float64, mm, of that contact
    near : mm
    """
    if graph.count < 2:
        return graph
    twins = cKDTree(middle).query(middle, k=2)[1]
    gap = np.linalg.norm(middle[twins[:, -1]] - middle, axis=1)
    close = np.flatnonzero(gap <= near)
    own, lies_in = np.arange(graph.count), graph.of_pairs(pair)
    away = np.flatnonzero((lies_in >= 0) & (lies_in != own))
    if not len(close) and not len(away):
        return graph
    link = np.stack([away, lies_in[away]])
    if len(close):
        pairs = cKDTree(middle[close]).query_pairs(near, output_type="ndarray")
        link = np.concatenate([close[pairs].T, link], axis=1)
    ones = np.ones(link.shape[1], dtype=np.int8)
    joined = coo_array((ones, link), shape=(graph.count, graph.count))
    count, label = connected_components(joined, directed=False)
    of_small = np.where(graph.of_small >= 0, label[graph.of_small], -1)
    return Connected(int(count), label[graph.of_row], of_small, graph.key, label[graph.of_key])


def _links_over_sides(spans: Spans, key: Ints, node: Ints, large: Bools, most: int) -> Ints:
    """Links over sides of large facets, where what is thin reaches the side from both facets.

    At most so many sides are looked at.
    Points along the side, set back a little into either facet, look straight across: so the
    arms of a cross hang together, and floors that only share the large facet below do not.
    """
    surface, inward, size = spans.surface, spans.inward, np.int64(len(spans.surface.faces))
    thin = np.zeros(len(surface.faces), dtype=bool)
    thin[key // size] = True
    facet, side = np.nonzero(thin[:, None] & (surface.neighbours >= 0))
    other = surface.neighbours[facet, side]
    keep = (facet < other) & thin[other] & (large[facet] | large[other])
    facet, side, other = facet[keep][:most], side[keep][:most], other[keep][:most]
    begin = surface.vertices[surface.faces[facet, side]]
    along = surface.vertices[surface.faces[facet, (side + 1) % 3]] - begin
    links = []
    for share in (np.arange(SIDE_POINTS) + 0.5) / SIDE_POINTS:
        place = begin + share * along
        ends = []
        for own in (facet, other):
            back = place + SET_BACK * (surface.corners[own].mean(1) - place)
            across = cross(surface, inward, back, inward[own], spans.high)[0]
            wanted = own * size + across
            row = np.minimum(np.searchsorted(key, wanted), len(key) - 1)
            ends.append(np.where((across >= 0) & (key[row] == wanted), node[row], -1))
        both = (ends[0] >= 0) & (ends[1] >= 0)
        links.append(np.stack([ends[0][both], ends[1][both]]))
    return np.concatenate(links, axis=1)


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
