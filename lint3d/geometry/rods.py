"""Where is the material (or the void) long and thin both ways: pins, struts, wires, holes?

At points spread over the surface the way straight across is felt, and from its middle the
shortest chord square to it. Where that is at most twice as long the place is thin both ways,
whatever its diameter. Such places hang together along facets and where their middles lie near each
other, and make a bar: with an axis (square to all its sides), a length along it, and the largest
circle that fits into its narrowest section. A bar counts where rays square to it meet its sides
all round, so that a rail on a plate and a groove are none.

Looking inward bars are rods, looking outward they are holes. Lengths in mm.
Tested by tests/geometry/test_rods.py. The method was made for this project; no source.
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from lint3d.geometry.components import connected_groups
from lint3d.geometry.ray_fans import fan
from lint3d.geometry.rods_bar import CIRCLE_MOST, Bar, pointing_up, straight_axes, with_ends
from lint3d.geometry.rods_bent import circles_at
from lint3d.geometry.rods_circle import narrowest_circles, sagitta_of
from lint3d.geometry.rods_felt import Felt, thin_both_ways
from lint3d.geometry.rods_lines import BESIDE, lines_of
from lint3d.geometry.spans import Look
from lint3d.geometry.spans_effort import effort_of_step
from lint3d.geometry.spans_regions import ROD_RATIO
from lint3d.geometry.spans_surface import SpanSurface
from lint3d.geometry.vectors import cross_product

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

SAME_WAY = float(np.cos(np.radians(40.0)))  # neighbours on one bar; chords are 22 degrees apart
NEIGHBOURS = 12
NO_FARTHER = 0.05  # of the diameter: middles so near each other are one place
SHORTEST = 1.0  # a bar is at least as long as it is thick
ROUND = 12  # rays square to the axis
ROUND_REACH = 1.5  # of the diameter: half the diagonal of a bar 2 : 1 is 1.12
ROUND_SHARE = 0.9  # of the rays must meet a side
ROUND_PROBES = 24  # places along each bar
# Smallest circle in a section, as a share of the usual way across: one that is smaller was cut by
# sides of something else. A hole is as wide as its neck, a rod with holes in it as thick as usual.
CIRCLE_LEAST = {"inward": 0.85, "outward": 0.6}
PROBES_MOST, PROBES_LEAST = 60_000, 4  # the same of bent bars, in all, and along each at least
BENT_SHARE = 0.5  # of the places looked at, of a bent bar, sides must close round
CHORD_SHARE = 0.03  # chords a little off the shortest way may be so much too long
COVERED = 0.7  # of the sides of a round bar as long and as thick must be thin both ways


def bars(surface: SpanSurface, reach: float, look: Look = "inward") -> list[Bar]:
    """Rods or holes up to a diameter, the most slender first.

    Parameters
    ----------
    surface : see `surface_from_mesh`
    reach : mm, the largest diameter of interest
    look : "inward" for rods, "outward" for holes

    Raises
    ------
    RaysSpent : so many large facets lie across each other that it would take too long
    """
    if look == "outward" and surface.has_no_gaps(reach):
        return []
    inward = -surface.normals if look == "inward" else surface.normals
    effort_of_step(surface)
    felt, whole = thin_both_ways(surface, inward, reach)
    if not len(felt.point):
        return []
    group = _groups(surface, felt)
    keep = _closed_round(surface, felt, group)
    rows = keep[group]
    felt, group = felt.take(rows), np.cumsum(keep)[group[rows]] - 1
    if not len(group):
        return []
    axis, straight = _axes(surface, inward, felt, group)
    one_way = np.where(straight[group, None], axis[group], 0.0)
    parted = lines_of((felt.point + felt.contact) / 2, one_way, felt.thick, group)
    if parted.max() > group.max():
        group = parted
        axis, straight = _axes(surface, inward, felt, group)
    least = CIRCLE_LEAST[look]
    found, kept = _bars(surface, inward, felt, group, whole, axis, straight, least)
    is_long = np.array([bar.length >= SHORTEST * bar.diameter for bar in found], bool)
    side = np.bincount(group, felt.area)[kept]
    round_side = np.array([np.pi * bar.diameter * bar.shortest for bar in found])
    is_long &= side >= COVERED * round_side
    found = [bar for bar, is_kept in zip(found, is_long, strict=True) if is_kept]
    return sorted(found, key=lambda bar: (-bar.slenderness[0], int(bar.faces[0])))


# --- what hangs together ------------------------------------------------------------------------


def _groups(surface: SpanSurface, felt: Felt) -> Ints:
    """Which bar each point is on: neighbours hang together where the bar runs on the same way."""
    count, facets = len(felt.point), len(surface.faces)
    row = np.arange(count)
    first = np.full(facets, -1)
    first[felt.facet[::-1]] = row[::-1]
    links = [np.stack([row, first[felt.facet]])]
    own = np.flatnonzero(first >= 0)
    for side in range(3):
        other = surface.neighbours[own, side]
        both = (other >= 0) & (first[other] >= 0)
        links.append(np.stack([first[own[both]], first[other[both]]]))
    across = first[felt.facet_across]
    links.append(np.stack([row[across >= 0], across[across >= 0]]))
    one, two = _alike(felt, np.concatenate(links, axis=1))
    some = _one_in_each_place(felt, connected_groups(count, one, two))
    middle, thick = (felt.point[some] + felt.contact[some]) / 2, felt.thick[some]
    gap, near = cKDTree(middle).query(middle, k=min(NEIGHBOURS, len(some)))
    near, gap = near.reshape(len(some), -1), gap.reshape(len(some), -1)
    at, column = np.nonzero(gap <= BESIDE * np.minimum(thick[:, None], thick[near]))
    more = _alike(felt, np.stack([some[at], some[near[at, column]]]))
    return connected_groups(count, np.concatenate([one, more[0]]), np.concatenate([two, more[1]]))


def _alike(felt: Felt, links: Ints) -> Ints:
    """Those links (2, k) between places about as thick where a bar runs the same way."""
    one, two = links
    thin = np.minimum(felt.thick[one], felt.thick[two])
    alike = np.maximum(felt.thick[one], felt.thick[two]) <= ROD_RATIO * thin
    alike &= np.abs(np.einsum("ij,ij->i", felt.way[one], felt.way[two])) >= SAME_WAY
    return links[:, alike]


def _one_in_each_place(felt: Felt, group: Ints) -> Ints:
    """Rows of which the middles lie apart, ascending: one of those in a group that hardly do.

    The sides of a round bar have their middles on its axis: of hundreds of thousands few are left.
    """
    size = np.log2(felt.thick).round()
    cell = np.floor((felt.point + felt.contact) / (2 * NO_FARTHER * 2.0 ** size[:, None]))
    way = np.abs(felt.way).argmax(axis=1)
    order = np.lexsort((*cell.T, size, way, group))
    key = np.column_stack([cell, size, way, group])[order]
    is_new = np.ones(len(order), dtype=bool)
    is_new[1:] = (key[1:] != key[:-1]).any(axis=1)
    return np.sort(order[is_new])


def _axes(surface: SpanSurface, inward: Floats, felt: Felt, group: Ints) -> tuple[Floats, Bools]:
    """Axis of each group: square to its sides if there is such, else its long way."""
    size = np.bincount(group)
    axis, straight = straight_axes(inward[felt.facet], felt.area, group, len(size))
    middle = (felt.point + felt.contact) / 2
    mean = np.stack([np.bincount(group, middle[:, i]) for i in range(3)], axis=1) / size[:, None]
    centred = middle - mean[group]
    cloud = np.zeros((len(size), 3, 3))
    np.add.at(cloud, group, centred[:, :, None] * centred[:, None])
    long_way = pointing_up(np.linalg.eigh(cloud)[1][:, :, 2])
    return np.where(straight[:, None], axis, long_way), straight


def _facets_of(felt: Felt, group: Ints) -> tuple[Ints, Ints]:
    """Facets that points of a group lie on, each once, and the group."""
    key = np.unique(felt.facet * np.int64(int(group.max()) + 1) + group)
    size = np.int64(int(group.max()) + 1)
    return key // size, key % size


def _closed_round(surface: SpanSurface, felt: Felt, group: Ints) -> Bools:
    """(groups,) do rays square to the bar meet one of its sides all round?"""
    order = np.argsort(group, kind="stable")
    size = np.bincount(group)
    start = np.cumsum(size) - size
    place = np.arange(len(order)) - start[group[order]]
    rows = order[place % np.maximum(1, size // ROUND_PROBES)[group[order]] == 0]
    middle = (felt.point[rows] + felt.contact[rows]) / 2
    across = felt.contact[rows] - felt.point[rows]
    across /= np.linalg.norm(across, axis=1)[:, None]
    two = cross_product(across, felt.way[rows])
    reach = ROUND_REACH * felt.thick[rows]
    turns = (np.arange(ROUND) + 0.5) * 2 * np.pi / ROUND
    met = (fan(surface.scene, middle, across, two, turns, reach) >= 0).sum(axis=1)
    share = np.bincount(group[rows], met / ROUND, minlength=len(size))
    closed: Bools = share >= ROUND_SHARE * np.bincount(group[rows], minlength=len(size))
    return closed


# --- bars ---------------------------------------------------------------------------------------


def _bars(
    surface: SpanSurface,
    inward: Floats,
    felt: Felt,
    group: Ints,
    whole: Bools,
    axis: Floats,
    straight: Bools,
    least: float,
) -> tuple[list[Bar], Ints]:
    """All there is to say about each group that is a bar, and which groups are."""
    facet, of = _facets_of(felt, group)
    circle, centre = narrowest_circles(surface, inward, facet, of, axis)
    floor = float(np.sqrt(3.0)) * surface.resolution
    order = np.argsort(of, kind="stable")
    cuts = np.searchsorted(of[order], np.arange(len(axis) + 1))
    points = np.argsort(group, kind="stable")
    point_cuts = np.searchsorted(group[points], np.arange(len(axis) + 1))
    parts = [felt.take(points[i:j]) for i, j in pairwise(point_cuts)]
    usual = _medians(felt.narrow, group, len(axis)).tolist()
    plain = [
        _by_circle(part, middling, *one, 0.0, least, floor) if is_one else None
        for part, middling, one, is_one in zip(parts, usual, circle, straight.tolist(), strict=True)
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
        found.append(_bar(surface, part, mine, whole, axis[i], across, is_one, floor, centre[i]))
    return with_ends(surface, found), np.array(kept, dtype=np.int64)


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
    for i in each.tolist():
        mine = _run_of(group[rows], i)
        good = mine[np.isfinite(size[mine])]
        if len(good) >= BENT_SHARE * len(mine):
            best = good[size[good].argmin()]
            differ = float(np.median(size[good]) - size[best])
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


def _run_of(ascending: Ints, number: int) -> Ints:
    """Rows of an ascending array that hold a number."""
    return np.arange(*np.searchsorted(ascending, [number, number + 1]))


def _by_circle(
    felt: Felt,
    usual: float,
    diameter: float,
    sagitta: float,
    differ: float,
    least: float,
    floor: float,
) -> tuple[float, float, float, float] | None:
    """Diameter with its lower and upper end, and the sagitta; None if it is not that of the bar."""
    if not least * usual <= diameter <= felt.thick.max() + floor:
        return None
    # Between the places looked at it may be narrower by about as much as they differ.
    return diameter, max(diameter - differ - 2 * floor, 0.0), diameter + 2 * floor, sagitta


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
