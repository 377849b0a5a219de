"""How thick is a bent bar: a ring, a hook, a coil, or a hole that bends?

There is no axis for all of it, but one at each place: square to all the sides that rays across the
bar meet. From a first guess the rays are turned until they are. The largest circle within the sides
they meet last is the thickness there: in a polygon of odd flats it is more than any chord straight
across says. Lengths in mm. Tested by tests/geometry/test_rods_bent.py. The method was made for this
project; no source.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lint3d.geometry.each_once import distinct
from lint3d.geometry.ray_fans import chords, fan
from lint3d.geometry.rods_circle import circles_within
from lint3d.geometry.spans_surface import SpanSurface
from lint3d.geometry.vectors import square_to

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

FIRST_WAYS = 8  # ways along the bar that are tried, over half a turn
RAYS = 96  # across the bar: a side of a polygon of 64 flats meets one at least
COARSE_RAYS = 24  # to find the axis
TURNS = 4  # of the axis
REACH = 2.2  # times the first thickness: from off the middle to the far corner of a triangle
AXIS_MOST = 0.03  # share of the rays' sides, squared, that may lean out of square to the axis


def circles_at(
    surface: SpanSurface, inward: Floats, middle: Floats, across: Floats, thick: Floats
) -> tuple[Floats, Ints, Floats, Floats]:
    """Largest circle in the section across a bar at some places.

    Parameters
    ----------
    inward : (m, 3) float64, unit normals of all facets into the space looked at
    middle : (k, 3) float64, mm, about the middle of the bar
    across : (k, 3) float64, unit, straight across it
    thick : (k,) float64, mm, about how thick it is

    Returns
    -------
    diameter : (k,) float64, mm : NaN where sides do not close round the place
    flats : (k,) int64, sides of unlike direction
    centre, axis : (k, 3) float64, of the circle and square to it
    """
    axis = _long_way(surface, middle, across, thick)
    reach = REACH * thick
    leaning = np.zeros(len(middle))
    for _ in range(TURNS):
        facet, _ = _sides_round(surface, middle, axis, reach, COARSE_RAYS)
        axis, leaning = _square_to(inward, facet, axis)
    facet, closed = _sides_round(surface, middle, axis, reach, RAYS)
    place, column = np.nonzero(facet >= 0)
    key = distinct(place * np.int64(len(surface.faces)) + facet[place, column])
    place, side = key // len(surface.faces), key % len(surface.faces)
    diameter, flats, centre = circles_within(surface, inward, side, place, axis, middle)
    diameter[~closed | (leaning > AXIS_MOST) | ~np.isfinite(diameter)] = np.nan
    return diameter, flats, centre, axis


def _long_way(surface: SpanSurface, middle: Floats, across: Floats, thick: Floats) -> Floats:
    """Direction square to `across` in which the bar is longest."""
    one, two = square_to(across)
    turns = np.arange(FIRST_WAYS) * np.pi / FIRST_WAYS
    reach = 4 * thick
    best = turns[chords(surface.scene, middle, one, two, turns, reach, reach).argmax(axis=1)]
    along: Floats = one * np.cos(best)[:, None] + two * np.sin(best)[:, None]
    return along


def _sides_round(
    surface: SpanSurface, middle: Floats, axis: Floats, reach: Floats, rays: int
) -> tuple[Ints, NDArray[np.bool_]]:
    """Facets (k, rays) that rays square to the axis meet, -1 if none; are there sides all round?"""
    one, two = square_to(axis)
    turns = (np.arange(rays) + 0.5) * 2 * np.pi / rays
    met = fan(surface.scene, middle, one, two, turns, reach)
    closed: NDArray[np.bool_] = np.asarray((met >= 0).all(axis=1))
    return met, closed


def _square_to(inward: Floats, facet: Ints, axis: Floats) -> tuple[Floats, Floats]:
    """Direction most nearly square to the sides met, and how far they lean out of square to it."""
    normal = np.where((facet >= 0)[:, :, None], inward[facet], 0.0)
    spread = np.einsum("kri,krj->kij", normal, normal)
    values, vectors = np.linalg.eigh(spread)
    found = vectors[:, :, 0]
    # Only two sides met, back to back: square to them is more than one direction.
    known = values[:, 1] > 0.02 * values[:, 2]
    turned = np.where(known[:, None], found, axis)
    return turned, values[:, 0] / np.maximum(values.sum(axis=1), 1e-300)
