"""How far behind a sharp side does the material (or the gap) stay thinner than a limit?

From places along the side one walks in, midway between its two facets, and feels both ways across:
the strip ends where it is as thick as the limit, where it opens no more (a wall begins), or where
it ends itself. Lengths in mm. Tested by tests/geometry/test_spans_strip.py.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lint3d.geometry.spans_pairs import dot
from lint3d.geometry.spans_surface import SpanSurface

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

PLACES_MOST = 20_000  # places along all sides
SHARES = (0.02, 0.2, 0.5, 0.8, 0.98)  # of a side, where one walks in
STEPS = 24  # on the way in
HALVINGS = 24
REACH = 4.0  # times the depth of a plain wedge: a hollow one is deeper
OPENS = 2 * float(np.sin(np.radians(0.25)))  # sides that enclose less than half a degree are a wall


def strip_depths(
    surface: SpanSurface, inward: Floats, sides: tuple[Ints, Ints, Ints], limit: float
) -> Floats:
    """Depth of the strip behind each sharp side.

    Parameters
    ----------
    inward : (m, 3) float64, unit normals into the space measured, per facet of the surface
    sides : the two facets of each side (e,) and (e,), and its two vertices (e, 2)
    limit : mm

    Returns
    -------
    (e,) float64, mm : the deepest found along it; 0 where none was felt
    """
    facet, other, ends = sides
    depth = np.zeros(len(facet))
    if not len(facet):
        return depth
    shares = SHARES if len(facet) * len(SHARES) <= PLACES_MOST else SHARES[2:3]
    owner = np.repeat(np.arange(len(facet)), len(shares))
    begin = surface.vertices[ends[:, 0]][owner]
    along = surface.vertices[ends[:, 1]][owner] - begin
    place = begin + along * np.tile(shares, len(facet))[:, None]
    way = _way_in(surface, facet, other, ends)[owner]
    across = inward[facet] - inward[other]
    across /= np.maximum(np.linalg.norm(across, axis=1), 1e-300)[:, None]
    walk = _Walk(surface, inward, place, way, across[owner], limit)
    half = np.arccos(np.clip(-dot(inward[facet], inward[other]), -1, 1)) / 2
    plain = limit / (2 * np.tan(np.maximum(half, 0.004)))
    np.maximum.at(depth, owner, walk.depth(REACH * plain[owner]))
    return depth


def tip_depths(
    surface: SpanSurface, inward: Floats, tip: Floats, middle: Floats, pair: Ints, limit: float
) -> Floats:
    """Depth of the strip behind tips, along lines through places midway in it.

    Parameters
    ----------
    tip, middle : (k, 3) float64, mm, the tip behind which each place lies, and the place
    pair : (k, 2) int64, the facets on either side of it

    Returns
    -------
    (k,) float64, mm, from the tip; 0 where none was felt
    """
    if not len(tip):
        return np.zeros(0)
    way = middle - tip
    away = np.linalg.norm(way, axis=1)
    way /= np.maximum(away, 1e-300)[:, None]
    first, second = inward[pair[:, 0]], inward[pair[:, 1]]
    across = first - second
    across /= np.maximum(np.linalg.norm(across, axis=1), 1e-300)[:, None]
    half = np.arccos(np.clip(-dot(first, second), -1, 1)) / 2
    plain = limit / (2 * np.tan(np.maximum(half, 0.004)))
    return _Walk(surface, inward, tip, way, across, limit).depth(REACH * plain)


def _way_in(surface: SpanSurface, facet: Ints, other: Ints, ends: Ints) -> Floats:
    """Unit direction from each side into the space between its facets, midway."""
    begin = surface.vertices[ends[:, 0]]
    along = surface.vertices[ends[:, 1]] - begin
    along /= np.maximum(np.linalg.norm(along, axis=1), 1e-300)[:, None]
    total = np.zeros((len(facet), 3))
    for face in (facet, other):
        step = surface.corners[face].mean(axis=1) - begin
        step -= along * dot(step, along)[:, None]
        total += step / np.maximum(np.linalg.norm(step, axis=1), 1e-300)[:, None]
    way: Floats = total / np.maximum(np.linalg.norm(total, axis=1), 1e-300)[:, None]
    return way


class _Walk:
    """Places on sharp sides, and the way in from each."""

    def __init__(
        self,
        surface: SpanSurface,
        inward: Floats,
        place: Floats,
        way: Floats,
        across: Floats,
        limit: float,
    ) -> None:
        self.surface, self.inward, self.limit = surface, inward, limit
        self.place, self.way, self.across = place, way, across

    def depth(self, most: Floats) -> Floats:
        """How far in it stays thin, up to `most` (k,) mm."""
        reached = np.zeros(len(most))
        live = np.arange(len(most))
        beyond = most.copy()
        for step in range(1, STEPS + 1):
            # Short steps first: a strip may end long before that of a plain wedge does.
            far = most[live] * (step / STEPS) ** 2
            thin = self._is_thin(live, far)
            reached[live[thin]] = far[thin]
            beyond[live[~thin]] = far[~thin]
            live = live[thin]
        rows = np.flatnonzero(beyond > reached)
        for _ in range(HALVINGS):
            middle = (reached[rows] + beyond[rows]) / 2
            thin = self._is_thin(rows, middle)
            reached[rows[thin]] = middle[thin]
            beyond[rows[~thin]] = middle[~thin]
        return reached

    def _is_thin(self, rows: Ints, far: Floats) -> Bools:
        """Is it thinner than the limit that far in, between sides that open?"""
        middle = self.place[rows] + self.way[rows] * far[:, None]
        across = self.across[rows]
        reach = np.full(len(rows), self.limit)
        chord, opens = np.zeros(len(rows)), np.zeros(len(rows))
        inside = np.ones(len(rows), dtype=bool)
        for sense in (across, -across):
            facet = self.surface.scene.first_facet(middle, sense, reach)
            chord += self.surface.scene.distance(middle, sense, facet)
            inside &= (facet >= 0) & (dot(self.inward[facet], sense) < 0)
            opens += dot(self.inward[facet], self.way[rows])
        thin: Bools = inside & (chord < self.limit) & (opens >= OPENS)
        return thin
