"""How thick and how long are bars, of places that are thin both ways?

The largest circle in the narrowest section of a straight one, the usual way across of one that is
none, the length along it. Lengths in mm. Tested by tests/geometry/test_rods.py.
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from lint3d.geometry.each_once import distinct
from lint3d.geometry.rods_bar import CIRCLE_MOST, Bar, with_ends
from lint3d.geometry.rods_bent import circles_at
from lint3d.geometry.rods_circle import narrowest_circles, sagitta_of
from lint3d.geometry.rods_felt import Felt
from lint3d.geometry.rods_groups import ROUND_PROBES
from lint3d.geometry.rods_lips import lips
from lint3d.geometry.rods_rings import Rings
from lint3d.geometry.spans_surface import SpanSurface

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

# Smallest circle in a section, as a share of the usual way across: one that is smaller was cut by
# sides of something else. A hole is as wide as its neck, a rod with holes in it as thick as usual.
CIRCLE_LEAST = {"inward": 0.85, "outward": 0.6}
PROBES_MOST, PROBES_LEAST = 60_000, 4  # places of bent bars, in all, and along each at least
BENT_SHARE = 0.5  # of the places sides must close round
DIFFER_MOST = 0.4  # of its narrowest circle: a bent bar whose others are wider yet is a chamber
CHORD_SHARE = 0.03  # chords a little off the shortest way may be so much too long


def facets_of(felt: Felt, group: Ints) -> tuple[Ints, Ints]:
    """Facets that points of a group lie on, each once, and the group."""
    key = distinct(felt.facet * np.int64(int(group.max()) + 1) + group)
    size = np.int64(int(group.max()) + 1)
    return key // size, key % size


def measured_bars(
    surface: SpanSurface,
    inward: Floats,
    felt: Felt,
    group: Ints,
    whole: Bools,
    axis: Floats,
    straight: Bools,
    rings: Rings | None,
) -> tuple[list[Bar], Floats]:
    """All there is to say about each group that is a bar, and the area of their sides, mm2.

    Parameters
    ----------
    rings : of holes; None of rods
    """
    is_hole = rings is not None
    facet, of = facets_of(felt, group)
    side = np.bincount(group, felt.area).astype(np.float64)
    closed = np.zeros(len(axis), dtype=bool)
    if rings is not None:
        facet, of, closed = rings.facet, rings.bar, rings.grown
        whole = whole.copy()
        whole[facet[closed[of]]] = True
        area = np.bincount(of, surface.areas[facet], len(axis))
        side = np.where(closed, area, side)
    circle, centre, is_sure = narrowest_circles(surface, inward, facet, of, axis)
    floor = float(np.sqrt(3.0)) * surface.resolution
    is_sure |= closed & (np.array([one[0] for one in circle]) > 4 * floor)
    least = CIRCLE_LEAST["outward" if is_hole else "inward"]
    order = np.argsort(of, kind="stable")
    cuts = np.searchsorted(of[order], np.arange(len(axis) + 1))
    points = np.argsort(group, kind="stable")
    point_cuts = np.searchsorted(group[points], np.arange(len(axis) + 1))
    parts = [felt.take(points[i:j]) for i, j in pairwise(point_cuts)]
    usual = _medians(felt.narrow, group, len(axis)).tolist()
    plain = [
        _by_circle(part, middling, *one[:3], least, floor, one[3], sure) if is_one else None
        for part, middling, one, is_one, sure in zip(
            parts, usual, circle, straight.tolist(), is_sure.tolist(), strict=True
        )
    ]
    bent = np.array([one is None for one in plain], dtype=bool)
    local = _bent_circles(surface, inward, felt, group, bent)
    found, kept = [], []
    for i, part in enumerate(parts):
        mine = facet[order[cuts[i] : cuts[i + 1]]]
        across = plain[i]
        if across is None and i in local:
            across = _by_circle(part, usual[i], *local[i], least, floor)
        if across is None and not straight[i]:
            continue  # thin both ways here and there, but no bar
        kept.append(i)
        across = across or _by_chords(part, local[i][0] if i in local else 0.0, floor)
        is_one = bool(straight[i])
        found.append(
            _bar(surface, part, mine, whole, axis[i], across, is_one, floor, centre[i], is_hole)
        )
    return with_ends(surface, found), side[kept]


def _bent_circles(
    surface: SpanSurface, inward: Floats, felt: Felt, group: Ints, bent: Bools
) -> dict[int, tuple[float, float, float]]:
    """Of each bent bar the narrowest circle across it, its sagitta, and how much others differ."""
    rows = np.flatnonzero(bent[group])
    rows = rows[np.argsort(group[rows], kind="stable")]
    each, start, count = np.unique(group[rows], return_index=True, return_counts=True)
    most = max(PROBES_LEAST, min(ROUND_PROBES, PROBES_MOST // max(len(each), 1)))
    place = np.arange(len(rows)) - np.repeat(start, count)
    rows = rows[place % np.repeat(-(-count // most), count) == 0]
    middle = (felt.point[rows] + felt.contact[rows]) / 2
    across = (felt.contact[rows] - felt.point[rows]) / felt.thick[rows, None]
    # Into the corners of a triangle it is far less thick than across it.
    usual = np.bincount(group, felt.thick) / np.bincount(group)
    thick = np.maximum(felt.narrow[rows], usual[group[rows]])
    size, flats, _, _ = circles_at(surface, inward, middle, across, thick)
    sagitta = sagitta_of(size, flats)
    found = {}
    each, start, count = np.unique(group[rows], return_index=True, return_counts=True)
    for i, first, mine in zip(each.tolist(), start.tolist(), count.tolist(), strict=True):
        good = first + np.flatnonzero(np.isfinite(size[first : first + mine]))
        if len(good) < BENT_SHARE * mine:
            continue
        best = good[size[good].argmin()]
        differ = float(np.median(size[good]) - size[best])
        if differ <= DIFFER_MOST * size[best]:
            found[i] = float(size[best]), float(sagitta[best]), differ
    return found


def _medians(value: Floats, group: Ints, count: int) -> Floats:
    """(count,) median of each group; none is empty."""
    order = np.lexsort((value, group))
    size = np.bincount(group, minlength=count)
    start = np.cumsum(size) - size
    value = value[order]
    middle: Floats = (value[start + (size - 1) // 2] + value[start + size // 2]) / 2
    return middle


def _by_circle(
    felt: Felt,
    usual: float,
    diameter: float,
    sagitta: float,
    differ: float,
    least: float,
    floor: float,
    above: float = 0.0,
    is_sure: bool = False,
) -> tuple[float, float, float, float] | None:
    """Diameter with its lower and upper end, and the sagitta; None if it is not that of the bar."""
    if above > 0.0:  # it tapers: at its thin end it is thinner than usual
        usual = min(usual, float(felt.narrow.min()))
    if not (is_sure or least * usual <= diameter <= felt.thick.max() + floor):
        return None
    # Between the places looked at it may be narrower by about as much as they differ.
    lower, upper = diameter - differ - 2 * floor, diameter + above + 2 * floor
    return diameter, max(lower, 0.0), upper, sagitta


def _by_chords(felt: Felt, circle: float, floor: float) -> tuple[float, float, float, float]:
    """The same by the usual way across; up to the circle there, if that is not far off."""
    low, high = np.percentile(felt.narrow, [40, 60])
    low = float(low) * (1 - CHORD_SHARE) - floor
    usual = float(np.median(felt.narrow))
    high = max(float(high), circle if circle <= CIRCLE_MOST * usual else 0.0)
    return usual, max(low, 0.0), high + floor, 0.0


def _bar(
    surface: SpanSurface,
    felt: Felt,
    facets: Ints,
    whole: Bools,
    axis: Floats,
    across: tuple[float, float, float, float],
    is_straight: bool,
    floor: float,
    centre: Floats,
    is_hole: bool,
) -> Bar:
    corners = surface.corners[facets]
    full = corners[whole[facets]].reshape(-1, 3)
    middle = (felt.point + felt.contact) / 2
    is_known = is_straight and bool(np.isfinite(centre).all())
    origin = centre if is_known else middle.mean(axis=0)
    inner = np.concatenate([full, felt.point])
    along = (inner - origin) @ axis
    every = (corners.reshape(-1, 3) - origin) @ axis
    low, high = float(along.min()), float(along.max())
    length = shortest = high - low
    longest = float(max(every.max() - every.min(), length)) if not whole[facets].all() else length
    # Of a plain bore all corners are at one end or the other: the most, and no need to look.
    if is_hole and is_straight and np.minimum(every - low, high - every).max() > 4 * floor:
        shift = float(origin @ axis)
        start, stop = lips(surface, facets, axis)
        low = low if start is None else max(start - shift, low)
        high = high if stop is None else min(stop - shift, high)
        if low < high < low + length:
            length = shortest = longest = high - low
    if not is_straight:
        # Bent: area over girth. The girth of a bar at most 2 : 1 is pi to 6 times its diameter.
        area = float(surface.areas[facets].sum())
        mean = float(felt.thick.mean())
        length = max(area / (np.pi * mean), shortest)
        shortest, longest = max(area / (6 * mean), shortest), max(length, longest)
        # Its ends are not on a line: a place on it stands for both.
        origin, low, high = middle[felt.narrow.argmin()], 0.0, 0.0
    order = np.argsort(np.abs((corners.mean(axis=1) - felt.point[felt.thick.argmin()]) @ axis))
    cloud = np.concatenate([full, felt.point])
    return Bar(
        *across[:3],
        length,
        max(shortest - floor, 0.0),
        longest + floor,
        axis,
        origin + axis * low,
        origin + axis * high,
        is_straight,
        (False, False),
        surface.face_ids[facets[order]],
        across[3],
        float(np.ptp(cloud, axis=0).max()),
    )
