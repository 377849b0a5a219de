"""Which long facets lie so close together that points spread over them leave nothing between?

A long facet is looked at pair by pair (`spans_tree`), for its points lie far apart. Of a fan or a
bundle of needles the points of all together lie close: there the pairs, which grow with the
square of their number, tell nothing that rays straight across do not. Lengths in mm.
Tested by tests/geometry/test_spans_needles.py.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lint3d.geometry.each_once import distinct
from lint3d.geometry.sampling import points_in_rows
from lint3d.geometry.side_by_side import side_by_side
from lint3d.geometry.spans_surface import SpanSurface

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

CELL = 0.75  # cells in which points are looked up, as a share of the low end of the range
LARGE = 2.0  # facets longer than this many times the range of interest count as long
DENSE_LEAST = 500  # fewer needles than that are cheap enough to be looked at pair by pair
NARROW = 0.5  # needles are at most so broad, as a share of the low end of the range
SMOOTH_COS = float(np.cos(np.radians(10.0)))  # how far they may turn from one to the next
STATIONS_EACH, STATIONS_MOST = 512, 100_000_000
STATIONS_AT_ONCE = 100_000
NEEDLES_AT_ONCE = 1_000_000
POINTS_A_CELL = 8
BITS = 20  # cells a side, as a power of 2


def long_facets(surface: SpanSurface, high: float) -> Bools:
    """(k,) bool : facets whose points lie so far apart that a thin place may lie between."""
    long: Bools = surface.longest > LARGE * high
    return long


def dense_facets(
    surface: SpanSurface, low: float, high: float, point: Floats, facet: Ints
) -> Bools:
    """Needles that lie side by side on a smooth surface, with points close by all along them.

    Parameters
    ----------
    low, high : mm, the range of interest
    point : (p, 3) float64, mm, spread over the surface
    facet : (p,) int64, the facet each lies on

    Returns
    -------
    (k,) bool : within about `low` of each place on the middle line of such a facet there is a
        point on a facet that looks the same way. Kept for the look the other way, and for a
        higher end of the range, where fewer facets count as long: not to be written to.
    """
    known_high, dense = surface.dense.get(low, (np.inf, None))
    if dense is not None and known_high <= high:
        return dense & long_facets(surface, high) if known_high < high else dense
    dense = _dense_facets(surface, low, high, point, facet)
    surface.dense[low] = high, dense
    return dense


def _dense_facets(
    surface: SpanSurface, low: float, high: float, point: Floats, facet: Ints
) -> Bools:
    dense = np.zeros(len(surface.faces), dtype=bool)
    long = long_facets(surface, high)
    rows = np.flatnonzero(long & (2 * surface.areas <= NARROW * low * surface.longest))
    if len(rows) < DENSE_LEAST:
        return dense
    parts = range(0, len(rows), NEEDLES_AT_ONCE)
    smooth = [_smooth_along(surface, rows[i : i + NEEDLES_AT_ONCE]) for i in parts]
    rows = rows[np.concatenate(smooth)]
    count = np.ceil(surface.longest[rows] / low).astype(np.int64)
    rows, count = rows[count <= STATIONS_EACH], count[count <= STATIONS_EACH]
    if len(rows) < DENSE_LEAST or count.sum() > STATIONS_MOST:
        return dense
    cells = _Cells(surface, CELL * low)
    known = cells.beside(distinct(cells.key(point, facet)))
    corners = surface.corners
    for number in np.unique(count).tolist():
        alike = rows[count == number]
        each = max(1, STATIONS_AT_ONCE // number)

        def fill(start: int, alike: Ints = alike, each: int = each, number: int = number) -> None:
            some = alike[start : start + each]
            place, _ = points_in_rows(corners.take(some, 0), number)
            key = cells.key(place.reshape(-1, 3), np.repeat(some, number))
            found = np.minimum(np.searchsorted(known, key), len(known) - 1)
            dense[some] = (known[found] == key).reshape(len(some), -1).all(axis=1)

        side_by_side(fill, range(0, len(alike), each))
    return dense


def thinned_out(
    surface: SpanSurface, low: float, dense: Bools, point: Floats, facet: Ints, area: Floats
) -> tuple[Ints, Floats, Ints]:
    """Fewer points on dense needles: some in each cell stand for all that lie in it.

    Each ray into a bundle of needles passes the boxes of a good part of them all, so that a ray a
    needle grows with the square of their number.

    Returns
    -------
    kept : (q,) int64, rows of the points that stay
    area : (q,) float64, mm2 that each of them stands for
    stands_for : (s, 2) int64, a needle without a point of its own, and which of the points that
        stay is near it
    """
    on_dense = np.flatnonzero(dense[facet])
    kept = np.ones(len(facet), dtype=bool)
    if not len(on_dense):
        return np.arange(len(facet)), area, np.zeros((0, 2), dtype=np.int64)
    key = _Cells(surface, CELL * low).key(point.take(on_dense, 0), facet[on_dense])
    # All points of most cells stay: only those of the others are put in order.
    ranked = np.sort(key)
    some = np.flatnonzero(ranked[POINTS_A_CELL:] == ranked[:-POINTS_A_CELL])
    if not len(some):
        return np.arange(len(facet)), area, np.zeros((0, 2), dtype=np.int64)
    crowded = distinct(ranked[some])
    place = np.minimum(np.searchsorted(crowded, key), len(crowded) - 1)
    is_crowded = crowded[place] == key
    on_dense, key = on_dense[is_crowded], key[is_crowded]
    order = np.argsort(key, kind="stable")
    begin = np.flatnonzero(np.diff(key[order], prepend=-1))
    size = np.diff(begin, append=len(order))
    owner = np.repeat(np.arange(len(begin)), size)
    turn = np.arange(len(order)) - begin[owner]
    # Evenly spread over the needles of the cell, which lie beside each other in the file.
    few = np.minimum(size, POINTS_A_CELL)
    slot = turn * few[owner] // size[owner]
    first = np.flatnonzero(np.diff(owner * POINTS_A_CELL + slot, prepend=-1))
    chosen = on_dense[order[first]]
    kept[on_dense] = False
    kept[chosen] = True
    number = np.cumsum(kept) - 1
    whole = area.copy()
    whole[chosen] = np.add.reduceat(area[on_dense[order]], first)
    deputy = number[chosen][np.cumsum(np.isin(np.arange(len(order)), first)) - 1]
    without = np.ones(len(surface.faces), dtype=bool)
    without[facet[kept]] = False
    own = facet[on_dense[order]]
    rows = np.flatnonzero(without[own])
    return np.flatnonzero(kept), whole[kept], np.stack([own[rows], deputy[rows]], axis=1)


def _smooth_along(surface: SpanSurface, rows: Ints) -> Bools:
    """Does the surface run on smoothly over both long sides of needles?"""
    smooth = np.ones(len(rows), dtype=bool)
    corners = surface.corners[rows]
    for side in range(3):
        along = corners[:, (side + 1) % 3] - corners[:, side]
        is_long = np.einsum("ij,ij->i", along, along) > 0.25 * surface.longest[rows] ** 2
        other = surface.neighbours[rows, side]
        turn = np.einsum("ij,ij->i", surface.normals[rows], surface.normals[other])
        smooth &= ~is_long | ((other >= 0) & (turn >= SMOOTH_COS))
    return smooth


class _Cells:
    """Cells of space, for each of the six ways that a facet may look."""

    def __init__(self, surface: SpanSurface, size: float) -> None:
        low, high = surface.vertices.min(0), surface.vertices.max(0)
        self.size = max(size, float((high - low).max()) / (2**BITS - 4))
        self.origin = low - 2 * self.size
        main = np.abs(surface.normals).argmax(axis=1)
        sense = np.take_along_axis(surface.normals, main[:, None], axis=1)[:, 0] > 0
        self.way = (2 * main + sense).astype(np.int64)

    def key(self, place: Floats, facet: Ints) -> Ints:
        cell = ((place - self.origin) / self.size).astype(np.int64)
        key: Ints = self.way[facet]
        for axis in range(3):
            key = (key << BITS) + cell[:, axis]
        return key

    def beside(self, key: Ints) -> Ints:
        """The cells and all that touch them, ascending."""
        for axis in range(3):
            step = np.int64(1) << (BITS * axis)
            key = distinct(np.concatenate([key - step, key, key + step]))
        return key
