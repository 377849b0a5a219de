"""Which thin places are only as low as a ledge, and no wall?

Where two faces nearly meet a union leaves a ledge: a strip that stands out by far less than it is
broad. No ball that touches both its ends fits in, for it would stick out of the top, as it does not
in a wall, where there is room at the rim, too, a little inside. Lengths in mm.
Tested by tests/geometry/test_spans_ledge.py.

References
----------
Thickness as the largest inscribed ball: Hildebrand & Rueegsegger, J. Microscopy 185 (1997) 67.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from lint3d.geometry.ray_fans import chords
from lint3d.geometry.spans import Spans
from lint3d.geometry.spans_pairs import dot
from lint3d.geometry.spans_surface import SpanSurface
from lint3d.geometry.vectors import square_to

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

LEVEL_COS = float(np.cos(np.radians(10.0)))  # the side of a ledge is level with what is across
#: Ways in which the ball is moved off the line between both sides, and sides are looked for.
TURNS = np.arange(8) * 2 * np.pi / 8
SNUG = 0.08  # of the thickness: as near may sides beside it come to the middle of the ball
MOVED = 0.12  # of the thickness
LONGER = 1.1  # times the thickness the ball has at most between both sides where it was moved to


def without_ledges(spans: Spans, limit: float) -> Spans:
    """The same without spans thinner than a limit, in mm, of which one side is a ledge."""
    surface = spans.surface
    rows = np.flatnonzero(spans.thinner_than(limit))
    thick = np.linalg.norm(spans.point[rows] - spans.contact_point[rows], axis=1)
    pair = spans.pair[rows]
    height = 2 * surface.areas[pair] / np.maximum(surface.longest[pair], 1e-300)
    level = -dot(spans.inward[pair[:, 0]], spans.inward[pair[:, 1]]) >= LEVEL_COS
    is_low = (height < 2 * SNUG * thick[:, None]) & level[:, None]
    some = np.flatnonzero(is_low.any(axis=1))
    if not len(some):
        return spans
    fits = np.ones(len(rows), dtype=bool)
    ends = spans.point[rows[some]], spans.contact_point[rows[some]]
    fits[some] = ball_fits(surface, spans.inward, *ends, spans.look == "outward")
    is_ledge = np.zeros(len(surface.faces), dtype=bool)
    is_ledge[pair[~fits][is_low[~fits]]] = True
    is_ledge[pair[fits].ravel()] = False
    if not is_ledge.any():
        return spans
    pair = spans.pair.copy()
    pair[rows[is_ledge[pair[rows]].any(axis=1)], 1] = -1
    keep = ~is_ledge[spans.guesses].any(axis=1)
    return replace(spans, pair=pair, guesses=spans.guesses[keep], guess_mm=spans.guess_mm[keep])


def ball_fits(
    surface: SpanSurface, inward: Floats, points: Floats, contacts: Floats, is_void: bool
) -> Bools:
    """Does a ball about as large as a place is thick fit in there, or a little beside it?

    Parameters
    ----------
    inward : (m, 3) float64, unit normals into the space measured, per facet of the surface
    points, contacts : (k, 3) float64, mm, both ends of each thin place
    is_void : is the space measured the void, which need not end anywhere?

    Returns
    -------
    (k,) bool
    """
    step = contacts - points
    thick = np.linalg.norm(step, axis=1)
    fits: Bools = thick <= 0  # sides that touch have no ball between them
    rows = np.flatnonzero(~fits)
    across = step[rows] / thick[rows, None]
    middle, thick = (points[rows] + contacts[rows]) / 2, thick[rows]
    one, two = square_to(across)
    good = _is_free(surface, inward, middle, one, two, thick, is_void)
    for turn in TURNS:
        left = np.flatnonzero(~good)
        if not len(left):
            break
        way = one[left] * np.cos(turn) + two[left] * np.sin(turn)
        there = middle[left] + MOVED * thick[left, None] * way
        free = surface.scene.first_facet(middle[left], way, MOVED * thick[left]) < 0
        reach = LONGER * thick[left]
        straight = np.zeros(1)
        length = chords(surface.scene, there, across[left], way, straight, reach)[:, 0]
        free &= length <= reach
        free &= _is_free(surface, inward, there, one[left], two[left], thick[left], is_void)
        good[left[free]] = True
    fits[rows] = good
    return fits


def _is_free(
    surface: SpanSurface,
    inward: Floats,
    place: Floats,
    one: Floats,
    two: Floats,
    thick: Floats,
    is_void: bool,
) -> Bools:
    """(k,) is nothing beside a place, square to the line across, so near that no ball has room?"""
    far = float(np.linalg.norm(np.ptp(surface.vertices, axis=0))) + 1
    free = np.ones(len(place), dtype=bool)
    for turn in TURNS:
        rows = np.flatnonzero(free)
        way = one[rows] * np.cos(turn) + two[rows] * np.sin(turn)
        facet = surface.scene.first_facet(place[rows], way, far)
        clear = surface.scene.distance(place[rows], way, facet) >= SNUG * thick[rows]
        # What lies on the rim, and for the rays a little outside, sees sides from behind.
        clear &= (dot(way, inward[facet]) < 0) | (facet < 0)
        free[rows] = clear & (is_void | (facet >= 0))
    return free
