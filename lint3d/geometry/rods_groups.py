"""Which of the places that are thin both ways are on one bar?

Places hang together along facets, and where their middles lie near each other. Rays square to a
bar must meet its sides all round: a rail on a plate and a groove are no bars. Lengths in mm.
Tested by tests/geometry/test_rods_groups.py and test_rods.py. The method was made for this
project; no source.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from lint3d.geometry.components import connected_groups
from lint3d.geometry.ray_fans import fan
from lint3d.geometry.rods_bar import straight_axes
from lint3d.geometry.rods_felt import Felt
from lint3d.geometry.rods_lines import BESIDE
from lint3d.geometry.rods_meeting import AS_THICK
from lint3d.geometry.spans_regions import ROD_RATIO
from lint3d.geometry.spans_surface import SpanSurface
from lint3d.geometry.vectors import cross_product, means_of, pointing_up

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

SAME_WAY = float(np.cos(np.radians(40.0)))  # neighbours on one bar; chords are 22 degrees apart
NEIGHBOURS = 12
NO_FARTHER = 0.05  # of the diameter: middles so near each other are one place
ROUND = 12  # rays square to the axis
ROUND_REACH = 1.5  # of the diameter: half the diagonal of a bar 2 : 1 is 1.12
ROUND_SHARE = 0.9  # of the rays must meet a side
ROUND_PROBES = 24  # places along each bar


def groups_of(surface: SpanSurface, felt: Felt) -> Ints:
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
    narrow = felt.narrow[more]
    # Where a bore steps to a wider one no facet joins the two, and each is a bar of its own.
    more = more[:, narrow.max(axis=0) <= AS_THICK * narrow.min(axis=0)]
    return connected_groups(count, np.concatenate([one, more[0]]), np.concatenate([two, more[1]]))


def on_some(felt: Felt, group: Ints, keep: Bools) -> tuple[Felt, Ints]:
    """The points on some of the groups, and these numbered anew."""
    rows = keep[group]
    return felt.take(rows), np.cumsum(keep)[group[rows]] - 1


def worst_groups(felt: Felt, group: Ints, axis: Floats, most: int) -> Bools:
    """(groups,) is it one of the thinnest, or of the longest for their thickness?"""
    if len(axis) <= most:
        return np.ones(len(axis), dtype=bool)
    order = np.argsort(group, kind="stable")
    start = np.searchsorted(group[order], np.arange(len(axis)))
    thin = np.minimum.reduceat(felt.narrow[order], start)
    along = np.einsum("ij,ij->i", felt.point + felt.contact, axis[group])[order] / 2
    length = np.maximum.reduceat(along, start) - np.minimum.reduceat(along, start)
    worst = np.zeros(len(axis), dtype=bool)
    worst[np.argsort(thin, kind="stable")[:most]] = True
    worst[np.argsort(-length / thin, kind="stable")[:most]] = True
    return worst


def _alike(felt: Felt, links: Ints) -> Ints:
    """Those links (2, k) between places about as thick where a bar runs the same way."""
    one, two = links
    here, there = felt.thick[one], felt.thick[two]
    alike = np.flatnonzero(np.maximum(here, there) <= ROD_RATIO * np.minimum(here, there))
    # Rows of three numbers are taken: brackets are several times slower.
    here, there = felt.way.take(one[alike], 0), felt.way.take(two[alike], 0)
    return links[:, alike[np.abs(np.einsum("ij,ij->i", here, there)) >= SAME_WAY]]


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


def axes_of(surface: SpanSurface, inward: Floats, felt: Felt, group: Ints) -> tuple[Floats, Bools]:
    """Axis of each group: square to its sides if there is such, else its long way."""
    size = np.bincount(group)
    axis, straight = straight_axes(inward[felt.facet], felt.area, group, len(size))
    # The rims on both sides of a web are square to the plate it is in, but the web runs along them.
    runs = np.abs(np.einsum("ij,ij->i", felt.way, axis[group]))
    straight &= np.bincount(group, runs) >= SAME_WAY * size
    middle = (felt.point + felt.contact) / 2
    centred = middle - means_of(middle, group).take(group, 0)
    cloud = np.zeros((len(size), 3, 3))
    np.add.at(cloud, group, centred[:, :, None] * centred[:, None])
    long_way = pointing_up(np.linalg.eigh(cloud)[1][:, :, 2])
    return np.where(straight[:, None], axis, long_way), straight


def closed_round(
    surface: SpanSurface, felt: Felt, group: Ints, axis: Floats, straight: Bools
) -> Bools:
    """(groups,) do rays square to the bar meet one of its sides all round?

    Parameters
    ----------
    axis, straight : see `axes_of`; of a bar that is straight the way felt at a place may be 11
        degrees off, and beside the lip of a short hole rays square to that leave it
    """
    order = np.argsort(group, kind="stable")
    size = np.bincount(group)
    start = np.cumsum(size) - size
    place = np.arange(len(order)) - start[group[order]]
    rows = order[place % np.maximum(1, size // ROUND_PROBES)[group[order]] == 0]
    middle = (felt.point[rows] + felt.contact[rows]) / 2
    across = felt.contact[rows] - felt.point[rows]
    across /= np.linalg.norm(across, axis=1)[:, None]
    two = cross_product(across, np.where(straight[:, None], axis, 0.0)[group[rows]])
    sine = np.linalg.norm(two, axis=1)
    two /= np.maximum(sine, 1e-300)[:, None]
    askew = sine < SAME_WAY
    two[askew] = cross_product(across[askew], felt.way[rows[askew]])
    reach = ROUND_REACH * felt.thick[rows]
    turns = (np.arange(ROUND) + 0.5) * 2 * np.pi / ROUND
    met = (fan(surface.scene, middle, across, two, turns, reach) >= 0).sum(axis=1)
    share = np.bincount(group[rows], met / ROUND, minlength=len(size))
    closed: Bools = share >= ROUND_SHARE * np.bincount(group[rows], minlength=len(size))
    return closed
