"""Which facets are the whole inner surface of a straight hole of which some sides are known?

A side counts as one where it is thin both ways; in a star or between lobes only some are, and those
of one hole may be found apart. From the sides that are known their neighbours are followed as long
as they run along the axis. What closes round the void is the hole, however it was found. Lengths in
mm. Tested by tests/geometry/test_rods_rings.py. The method was made for this project; no source.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lint3d.geometry.each_once import distinct, distinct_but
from lint3d.geometry.rods_necks import has_neck
from lint3d.geometry.rods_polygon import lines_cut
from lint3d.geometry.rods_sides import SQUARE
from lint3d.geometry.spans_surface import SpanSurface
from lint3d.geometry.vectors import cross_product, pointing_up, square_to

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

SQUARE_MOST = 0.05  # sine by which rounding may tilt a facet: flatter ones are not followed
ROUNDED = 2.0  # resolutions by which the corners of a facet may be off its plane
TIMES_MOST = 40  # as many facets as are known: a surface that goes on is no inner side of a hole
FEWEST = 400  # facets that may be followed where few are known
BENDS = 0.1  # sine between neighbouring sides of which the fold says where the axis runs
ALIKE = 0.01  # axes that differ less are one
HOLES_MOST = 500  # outlines that are looked at for a neck
CLOSED = 1e-3  # of the girth: so far apart the ends of an outline may be


@dataclass(frozen=True, eq=False)
class Rings:
    """Sides of holes.

    Attributes
    ----------
    facet, bar : (f,) int64, as given, or with more sides; a ring of several bars counts for each
    closed : (b,) bool, do they close all round the void, with nothing beside them that runs along,
        and without a neck in what they close round?
    grown : (b,) bool, is it so with sides that were not given?
    ring : (b,) int64, the same for bars that have one ring together, else all different
    """

    facet: Ints
    bar: Ints
    closed: Bools
    grown: Bools
    ring: Ints

    def of_some(self, keep: Bools) -> Rings:
        """Those of some bars (b,) bool, numbered anew; no ring of them is shared."""
        rows, number = keep[self.bar], np.cumsum(keep) - 1
        ring = np.arange(int(keep.sum()))
        return Rings(
            self.facet[rows], number[self.bar[rows]], self.closed[keep], self.grown[keep], ring
        )


def whole_rings(
    surface: SpanSurface,
    inward: Floats,
    facet: Ints,
    bar: Ints,
    axis: Floats,
    straight: Bools,
    width: Floats,
) -> Rings:
    """Sides of holes, with those that were not known where that closes them all round.

    Parameters
    ----------
    inward : (m, 3) float64, unit normals of all facets into the void
    facet, bar : (f,) int64, known sides
    axis, straight : (b, 3) float64, unit, and (b,) bool; what is not straight is left as it is
    width : (b,) float64, mm, where each bar is narrowest; a hole that has a neck is left as it is,
        for the bar may be on either side of it
    """
    axis = np.where(straight[:, None], axis, np.nan)
    count, size = len(axis), np.int64(len(surface.faces))
    ring = np.arange(count)
    known = distinct(bar * size + facet)
    tilt = np.minimum(
        np.maximum(SQUARE, ROUNDED * surface.resolution * surface.longest / surface.areas),
        SQUARE_MOST,
    )
    found = np.bincount(known // size, minlength=count)
    most = np.maximum(TIMES_MOST * found, FEWEST)
    ended = straight.copy()
    front = known[_along(surface, known, axis, tilt)]
    fronts, before, grown = [front], front[:0], np.zeros(count, dtype=bool)
    while len(front):
        beside = surface.neighbours[front % size]
        owner = np.repeat(front // size, 3)[(beside >= 0).ravel()]
        # What lies beside a front was met in it, or in the one before, or is new.
        nearby = owner * size + beside[beside >= 0]
        fresh = distinct_but(nearby, np.concatenate([before, front]))
        fresh = fresh[_along(surface, fresh, axis, tilt)]
        grown[fresh // size] = True
        found += np.bincount(fresh // size, minlength=count)
        spent = found > most
        ended &= ~spent
        before, front = front, fresh[~spent[fresh // size]]
        fronts.append(front)
    followed = np.concatenate(fronts)
    followed = distinct(followed[ended[followed // size]])
    rows, owner = followed % size, followed // size
    closed = ended & _closes_round_void(surface, inward, rows, owner, axis)
    some = closed[owner]
    rows, owner = rows[some], owner[some]
    closed &= _opens_evenly(surface, (rows, owner), axis, width)
    grown &= closed
    some = grown[owner]
    rows, owner = rows[some], owner[some]
    # Followed from any of its sides a ring is the same: its first facet stands for it.
    each, first, number = np.unique(owner, return_index=True, return_counts=True)
    key = rows[first] * (size + 1) + number
    _, alike, same = np.unique(key, return_index=True, return_inverse=True)
    ring[each] = each[alike[same]]
    left = ~grown[bar]
    facet, bar = np.concatenate([facet[left], rows]), np.concatenate([bar[left], owner])
    return Rings(facet, bar, closed, grown, ring)


def axes_beside(surface: SpanSurface, facet: Ints, bar: Ints) -> tuple[Floats, Ints]:
    """Axes that bars of which all sides look one way may have, by what is beside these sides.

    Beside the side of a hole is the next side, which runs along the axis, too, or what the hole is
    cut in.

    Parameters
    ----------
    facet, bar : (f,) int64, sides of bars

    Returns
    -------
    (k, 3) float64, unit, and (k,) int64, the bar that each is for
    """
    beside = surface.neighbours[facet].ravel()
    side, owner = np.repeat(facet, 3)[beside >= 0], np.repeat(bar, 3)[beside >= 0]
    axis = cross_product(surface.normals[side], surface.normals[beside[beside >= 0]])
    sine = np.linalg.norm(axis, axis=1)
    bends = sine >= BENDS
    axis = pointing_up(axis[bends] / sine[bends, None])
    key = np.column_stack([owner[bends], (axis / ALIKE).round()])
    each = np.unique(key, axis=0, return_index=True)[1]
    return axis[each], owner[bends][each]


def _opens_evenly(
    surface: SpanSurface, sides: tuple[Ints, Ints], axis: Floats, width: Floats
) -> Bools:
    """(b,) has the section halfway along each hole no neck, as narrow as known or wider?"""
    bar, ends = _cut_halfway(surface, *sides, axis)[1:]
    across = square_to(axis)
    order = np.argsort(bar, kind="stable")
    bar, ends = bar[order], ends[order]
    flat = np.stack([np.einsum("sij,sj->si", ends, way[bar]) for way in across], axis=2)
    even = np.zeros(len(axis), dtype=bool)
    each, start = np.unique(bar, return_index=True)
    for i, mine in zip(each.tolist()[:HOLES_MOST], np.split(flat, start[1:]), strict=False):
        even[i] = not has_neck(mine, float(width[i]))
    return even


def _along(surface: SpanSurface, keys: Ints, axis: Floats, tilt: Floats) -> Bools:
    """(k,) does each facet run along its bar? Of a bar without an axis none does."""
    facet, bar = np.divmod(keys, len(surface.faces))[::-1]
    along: Bools = np.abs((surface.normals[facet] * axis[bar]).sum(axis=1)) <= tilt[facet]
    return along


def _closes_round_void(
    surface: SpanSurface, inward: Floats, facet: Ints, bar: Ints, axis: Floats
) -> Bools:
    """(b,) do the sides close in a section halfway along, and round a void, not round material?"""
    facet, bar, ends = _cut_halfway(surface, facet, bar, axis)
    length = np.linalg.norm(ends[:, 1] - ends[:, 0], axis=1)
    normal = inward[facet] - (inward[facet] * axis[bar]).sum(axis=1)[:, None] * axis[bar]
    turned = length[:, None] * normal
    gap = np.stack([np.bincount(bar, turned[:, i], len(axis)) for i in range(3)], axis=1)
    girth = np.bincount(bar, length, len(axis))
    # By the divergence theorem the void's area, where the normals point into it; about a point of
    # the outline, for far from the origin the sum would be lost in rounding.
    origin = np.zeros((len(axis), 3))
    origin[bar] = ends[:, 0]
    twice = ((ends.mean(axis=1) - origin[bar]) * turned).sum(axis=1)
    closed: Bools = np.linalg.norm(gap, axis=1) <= CLOSED * girth
    closed &= np.bincount(bar, twice, len(axis)) < 0
    return closed


def _cut_halfway(
    surface: SpanSurface, facet: Ints, bar: Ints, axis: Floats
) -> tuple[Ints, Ints, Floats]:
    """Sides that a section halfway along each hole cuts, their holes, and ends (k, 2, 3) there."""
    height = np.einsum("fcj,fj->fc", surface.corners[facet], axis[bar])
    low, high = np.full(len(axis), np.inf), np.full(len(axis), -np.inf)
    np.minimum.at(low, bar, height.min(axis=1))
    np.maximum.at(high, bar, height.max(axis=1))
    height -= (low[bar] + high[bar])[:, None] / 2
    hit = (height.min(axis=1) < 0) & (height.max(axis=1) >= 0)
    return facet[hit], bar[hit], lines_cut(surface.corners[facet[hit]], height[hit])
