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

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from lint3d.geometry.components import connected_groups
from lint3d.geometry.rods_bar import CIRCLE_LEAST, Bar, pointing_up, straight_axes, with_ends
from lint3d.geometry.rods_circle import narrowest_circles
from lint3d.geometry.sampling import spread_points
from lint3d.geometry.spans import Look
from lint3d.geometry.spans_across import ACCEPT_COS, straight_across
from lint3d.geometry.spans_regions import ROD_RATIO
from lint3d.geometry.spans_surface import SpanSurface

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

POINTS_MOST = 60_000  # points at which it is felt whether a place is thin both ways
DIRECTIONS = 8  # chords felt through each place, over half a turn
CHORD_REACH = 20.0  # they are felt up to this many times the thickness each way
MOSTLY = 0.85  # of its points at which a side of a bar is thin both ways
SAME_WAY = float(
    np.cos(np.radians(40.0))
)  # neighbours on one bar run on so; chords are 22 degrees apart
BESIDE = 0.9  # of the diameter: axes of bars beside each other are farther apart than that
NEIGHBOURS = 12
SHORTEST = 1.0  # a bar is at least as long as it is thick
ROUND = 12  # rays square to the axis
ROUND_REACH = 1.5  # of the diameter: half the diagonal of a bar 2 : 1 is 1.12
ROUND_SHARE = 0.9  # of the rays must meet a side
ROUND_PROBES = 24  # places along each bar
COVERED = 0.7  # of the sides of a round bar as long and as thick must be thin both ways


@dataclass(eq=False)
class _Felt:
    """Points that are thin both ways."""

    point: Floats
    contact: Floats
    facet: Ints
    facet_across: Ints
    thick: Floats
    area: Floats
    way: Floats

    def take(self, rows: Ints | Bools) -> _Felt:
        return _Felt(
            self.point[rows],
            self.contact[rows],
            self.facet[rows],
            self.facet_across[rows],
            self.thick[rows],
            self.area[rows],
            self.way[rows],
        )


def bars(surface: SpanSurface, reach: float, look: Look = "inward") -> list[Bar]:
    """Rods or holes up to a diameter, the most slender first.

    Parameters
    ----------
    surface : see `surface_from_mesh`
    reach : mm, the largest diameter of interest
    look : "inward" for rods, "outward" for holes
    """
    inward = -surface.normals if look == "inward" else surface.normals
    felt, whole = _felt(surface, inward, reach)
    if not len(felt.point):
        return []
    group = _groups(surface, felt)
    keep = _closed_round(surface, felt, group)
    rows = keep[group]
    felt, group = felt.take(rows), np.cumsum(keep)[group[rows]] - 1
    if not len(group):
        return []
    axis, straight = _axes(surface, inward, felt, group)
    found = _bars(surface, inward, felt, group, whole, axis, straight)
    is_long = np.array([bar.length >= SHORTEST * bar.diameter for bar in found])
    if len(surface.faces) <= POINTS_MOST // 2:
        side = np.bincount(group, felt.area)
        round_side = np.array([np.pi * bar.diameter * bar.shortest for bar in found])
        is_long &= side >= COVERED * round_side
    found = [bar for bar, is_kept in zip(found, is_long, strict=True) if is_kept]
    return sorted(found, key=lambda bar: (-bar.slenderness[0], int(bar.faces[0])))


# --- where it is thin both ways -----------------------------------------------------------------


def _felt(surface: SpanSurface, inward: Floats, reach: float) -> tuple[_Felt, Bools]:
    """Points thin both ways, and (k,) which facets are so at all their points."""
    facets = _chosen(surface)
    point, owner, area = spread_points(
        surface.corners[facets],
        surface.areas[facets],
        surface.longest[facets],
        reach,
        POINTS_MOST,
    )
    facet = facets[owner]
    # Across the broader way of a flat bar, too: its sides all round give the axis.
    broad = ROD_RATIO * reach
    met = straight_across(surface, inward, point, facet, broad)
    good = (met.facet >= 0) & (met.facing >= ACCEPT_COS) & (met.distance <= broad)
    contact = point + inward[facet] * np.where(good, met.distance, 0.0)[:, None]
    rows = np.flatnonzero(good)
    width, way = _chords(surface, point[rows], contact[rows])
    thin = (width <= ROD_RATIO * met.distance[rows]) & (
        np.minimum(width, met.distance[rows]) <= reach
    )
    rows, way = rows[thin], way[thin]
    all_points = np.bincount(facet, minlength=len(surface.faces))
    thin_points = np.bincount(facet[rows], minlength=len(surface.faces))
    whole = (all_points > 0) & (thin_points == all_points)
    # A facet that is thin both ways here and there, as at a corner, is no side of a bar.
    mostly = (thin_points >= MOSTLY * all_points)[facet[rows]]
    rows, way = rows[mostly], way[mostly]
    felt = _Felt(
        point[rows],
        contact[rows],
        facet[rows],
        met.facet[rows],
        met.distance[rows],
        area[rows],
        way,
    )
    return felt, whole


def _chords(surface: SpanSurface, points: Floats, contacts: Floats) -> tuple[Floats, Floats]:
    """Shortest chord (k,) square to each contact, and the way (k, 3) of the longest."""
    step = contacts - points
    thick = np.linalg.norm(step, axis=1)
    across = step / np.maximum(thick, 1e-300)[:, None]
    one = np.cross(across, np.eye(3)[np.abs(across).argmin(axis=1)])
    one /= np.linalg.norm(one, axis=1)[:, None]
    two = np.cross(across, one)
    middle, reach = (points + contacts) / 2, CHORD_REACH * thick
    shortest, longest = np.full(len(points), np.inf), np.full(len(points), -1.0)
    along = one.copy()
    for turn in np.arange(DIRECTIONS) * np.pi / DIRECTIONS:
        way = one * np.cos(turn) + two * np.sin(turn)
        chord = np.zeros(len(points))
        for sense in (way, -way):
            facet = surface.scene.first_facet(middle, sense, reach)
            chord += np.minimum(surface.scene.distance(middle, sense, facet), reach)
        shortest = np.minimum(shortest, chord)
        better = chord > longest
        longest[better], along[better] = chord[better], way[better]
    return shortest, along


def _chosen(surface: SpanSurface) -> Ints:
    """Facets to feel at: all, or else every so-manieth and the largest."""
    count = len(surface.faces)
    if count <= POINTS_MOST // 2:
        return np.arange(count)
    half = POINTS_MOST // 4
    step = -(-count // half)
    large = np.argpartition(surface.areas, count - half)[count - half :]
    return np.union1d(np.arange(0, count, step), large)


# --- what hangs together ------------------------------------------------------------------------


def _groups(surface: SpanSurface, felt: _Felt) -> Ints:
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
    middle = (felt.point + felt.contact) / 2
    gap, near = cKDTree(middle).query(middle, k=min(NEIGHBOURS, count))
    near, gap = near.reshape(count, -1), gap.reshape(count, -1)
    for column in range(1, near.shape[1]):
        other = near[:, column]
        close = gap[:, column] <= BESIDE * np.minimum(felt.thick, felt.thick[other])
        links.append(np.stack([row[close], other[close]]))
    one, two = np.concatenate(links, axis=1)
    thin = np.minimum(felt.thick[one], felt.thick[two])
    alike = np.maximum(felt.thick[one], felt.thick[two]) <= ROD_RATIO * thin
    alike &= np.abs(np.einsum("ij,ij->i", felt.way[one], felt.way[two])) >= SAME_WAY
    return connected_groups(count, one[alike], two[alike])


def _axes(surface: SpanSurface, inward: Floats, felt: _Felt, group: Ints) -> tuple[Floats, Bools]:
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


def _facets_of(felt: _Felt, group: Ints) -> tuple[Ints, Ints]:
    """Facets that points of a group lie on, each once, and the group."""
    key = np.unique(felt.facet * np.int64(int(group.max()) + 1) + group)
    size = np.int64(int(group.max()) + 1)
    return key // size, key % size


def _closed_round(surface: SpanSurface, felt: _Felt, group: Ints) -> Bools:
    """(groups,) do rays square to the bar meet one of its sides all round?"""
    order = np.argsort(group, kind="stable")
    size = np.bincount(group)
    start = np.cumsum(size) - size
    place = np.arange(len(order)) - start[group[order]]
    rows = order[place % np.maximum(1, size // ROUND_PROBES)[group[order]] == 0]
    middle = (felt.point[rows] + felt.contact[rows]) / 2
    across = felt.contact[rows] - felt.point[rows]
    across /= np.linalg.norm(across, axis=1)[:, None]
    two = np.cross(across, felt.way[rows])
    reach = ROUND_REACH * felt.thick[rows]
    met = np.zeros(len(rows))
    for turn in (np.arange(ROUND) + 0.5) * 2 * np.pi / ROUND:
        way = across * np.cos(turn) + two * np.sin(turn)
        met += surface.scene.first_facet(middle, way, reach) >= 0
    share = np.bincount(group[rows], met / ROUND, minlength=len(size))
    closed: Bools = share >= ROUND_SHARE * np.bincount(group[rows], minlength=len(size))
    return closed


# --- bars ---------------------------------------------------------------------------------------


def _bars(
    surface: SpanSurface,
    inward: Floats,
    felt: _Felt,
    group: Ints,
    whole: Bools,
    axis: Floats,
    straight: Bools,
) -> list[Bar]:
    """All there is to say about each group."""
    facet, of = _facets_of(felt, group)
    circle = narrowest_circles(surface, inward, facet, of, axis)
    floor = float(np.sqrt(3.0)) * surface.resolution
    order = np.argsort(of, kind="stable")
    cuts = np.searchsorted(of[order], np.arange(len(axis) + 1))
    points = np.argsort(group, kind="stable")
    point_cuts = np.searchsorted(group[points], np.arange(len(axis) + 1))
    found = []
    for i in range(len(axis)):
        mine = facet[order[cuts[i] : cuts[i + 1]]]
        rows = points[point_cuts[i] : point_cuts[i + 1]]
        found.append(
            _bar(
                surface, felt.take(rows), mine, whole, axis[i], bool(straight[i]), circle[i], floor
            )
        )
    return with_ends(surface, found)


def _bar(
    surface: SpanSurface,
    felt: _Felt,
    facets: Ints,
    whole: Bools,
    axis: Floats,
    is_straight: bool,
    circle: tuple[float, float],
    floor: float,
) -> Bar:
    corners = surface.corners[facets]
    full = corners[whole[facets]].reshape(-1, 3)
    middle = (felt.point + felt.contact) / 2
    origin = middle.mean(axis=0)
    inner = np.concatenate([full, felt.point])
    along = (inner - origin) @ axis
    every = (corners.reshape(-1, 3) - origin) @ axis
    across, diameter, sagitta = float(felt.thick.min()), *circle
    fits = is_straight and CIRCLE_LEAST * across <= diameter <= felt.thick.max() + floor
    if not fits:
        diameter, sagitta = across, 0.0
    low, high = float(along.min()), float(along.max())
    length = shortest = high - low
    longest = float(max(every.max() - every.min(), length)) if not whole[facets].all() else length
    if not is_straight:
        # Bent: area over girth. The girth of a bar at most 2 : 1 is pi to 6 times its diameter.
        area = float(surface.areas[facets].sum())
        mean = float(felt.thick.mean())
        length = max(area / (np.pi * mean), shortest)
        shortest, longest = max(area / (6 * mean), shortest), max(length, longest)
    order = np.argsort(np.abs((corners.mean(axis=1) - felt.point[felt.thick.argmin()]) @ axis))
    cloud = np.concatenate([full, felt.point])
    return Bar(
        diameter,
        max(diameter - 2 * floor, 0.0),
        diameter + 2 * floor,
        length,
        max(shortest - floor, 0.0),
        longest + floor,
        axis,
        origin + axis * low,
        origin + axis * high,
        is_straight,
        (False, False),
        surface.face_ids[facets[order]],
        sagitta,
        float(np.ptp(cloud, axis=0).max()),
    )
