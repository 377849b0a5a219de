"""Which places on bars that run the same way are on one line?

Bars side by side hang together where one facet belongs to both, or where a third bar crosses them:
in the corner of a frame a place is thin both ways whichever way it is looked along. Seen along the
bars, places of one bar lie together and those of another apart. Lengths in mm. Tested by
tests/geometry/test_rods_lines.py.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from lint3d.geometry.components import connected_groups
from lint3d.geometry.rods_meeting import AS_THICK
from lint3d.geometry.vectors import means_of

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

BESIDE = 0.9  # of the diameter: axes of bars beside each other are farther apart than that
ALIKE = 0.05  # of the diameter: places so near each other are one
PLAIN = 1.5  # times as far across as broad: farther is past the bar
NEAREST = 4  # lines that a side may be of
OFF, FITS = 0.3, 0.15  # of the diameter: how far from half of it a side is that is none of the bar
ROUND, MOSTLY = 0.03, 0.8  # of the diameter: sides of a round bar are no farther off; most of them
DENSE = 0.2  # of the diameter: so far round a place it is counted how many lie there


def lines_of(point: Floats, contact: Floats, narrow: Floats, axis: Floats, group: Ints) -> Ints:
    """(k,) groups again, parted where the places of one lie on lines beside each other.

    Two ducts side by side that lead into a third hang together by the places where they meet. Those
    are few: each goes with the place near it about which most lie.

    Parameters
    ----------
    point, contact : (k, 3) float64, mm, on a bar, and straight across from there
    narrow : (k,) float64, mm, across at its narrowest
    axis : (k, 3) float64, unit, the way that the bars of the group run; zero leaves a group whole
    group : (k,) int64, each number from 0 has a member
    """
    if not len(group):
        return group
    size, thick = np.bincount(group), np.linalg.norm(contact - point, axis=1)
    # Who sees past his own bar is told by how broad that is.
    deep = np.where(thick > PLAIN * narrow, narrow, thick)
    place = point + (contact - point) * (deep / thick / 2)[:, None]
    usual = (np.bincount(group, deep) / size)[group]
    half = (place - point) / usual[:, None]
    place = place - means_of(place, group)[group]
    aside = (place - (place * axis).sum(axis=1)[:, None] * axis) / usual[:, None]
    aside[~axis.any(axis=1)] = 0.0
    # Most groups are one bar, and all their places near its axis.
    farthest = np.zeros(len(size))
    np.maximum.at(farthest, group, np.abs(aside).max(axis=1))
    doubtful = np.flatnonzero((farthest > BESIDE / 4)[group])
    if not len(doubtful):
        return group
    line = np.zeros(len(group), np.int64)
    shares = narrow[doubtful] / usual[doubtful]
    found = _parted(aside[doubtful], shares, group[doubtful])
    line[doubtful] = _with_their_sides(
        aside[doubtful], half[doubtful], shares, found, group[doubtful]
    )
    return np.unique(group * (line.max() + 1) + line, return_inverse=True)[1]


def _parted(aside: Floats, narrow: Floats, group: Ints) -> Ints:
    """(k,) a number for each line, none twice; places are told in diameters, square to the bars."""
    # Of all that are one only one is asked; groups are set far apart.
    cell = np.column_stack([np.round(aside / ALIKE).astype(np.int64), group])
    each, of, count = np.unique(cell, axis=0, return_inverse=True, return_counts=True)
    reach = BESIDE * max(float(narrow.max()), 1.0)
    extent = float(np.ptp(each[:, :3], axis=0).max()) + 2 * reach / ALIKE
    stand = np.column_stack([each[:, :3], each[:, 3] * extent]) * ALIKE
    heap = _heaps(stand, count)
    mine = heap[of.ravel()]
    size = np.bincount(mine)
    middle = means_of(stand, heap, count)
    broad = np.bincount(mine, narrow) / size
    pairs = cKDTree(middle).query_pairs(BESIDE * float(broad.max()), output_type="ndarray")
    apart = np.linalg.norm(middle[pairs[:, 0]] - middle[pairs[:, 1]], axis=1)
    least, most = np.sort(broad[pairs], axis=1).T
    pairs = pairs[(apart <= BESIDE * least) & (most <= AS_THICK * least)]
    return connected_groups(len(size), *pairs.T)[mine]


def _heaps(stand: Floats, count: Ints) -> Ints:
    """(c,) a number for each heap of places: each goes with the nearest that is fuller.

    Parameters
    ----------
    stand : (c, 4) float64, places, in diameters; groups are far apart
    count : (c,) int64, how many are there
    """
    pairs = cKDTree(stand).query_pairs(BESIDE / 2, output_type="ndarray")
    apart = np.linalg.norm(stand[pairs[:, 0]] - stand[pairs[:, 1]], axis=1)
    about = count.astype(np.float64)
    near = pairs[apart <= DENSE].T
    for one, two in (near, near[::-1]):
        np.add.at(about, one, count[two])
    # Of places about which as many lie the first counts as the fuller one.
    rank = np.empty(len(stand), np.int64)
    rank[np.lexsort((-np.arange(len(stand)), about))] = np.arange(len(stand))
    is_up = rank[pairs[:, 0]] < rank[pairs[:, 1]]
    low, high = np.where(is_up[:, None], pairs, pairs[:, ::-1]).T
    order = np.lexsort((-rank[high], apart, low))
    low, high = low[order], high[order]
    is_first = np.diff(low, prepend=-1) > 0
    return connected_groups(len(stand), low[is_first], high[is_first])


def _with_their_sides(aside: Floats, half: Floats, narrow: Floats, line: Ints, group: Ints) -> Ints:
    """(k,) lines again: a side that sees past its own bar into another goes with its own.

    A side is half as far from the axis of its bar as that is thick.

    Parameters
    ----------
    half : (k, 3) float64, the way across from each side to the place, in diameters
    """
    size = np.bincount(line)
    centre = means_of(aside, line)
    thick = np.bincount(line, narrow) / size
    its_group = np.zeros(len(size))
    its_group[line] = group
    extent = float(np.ptp(aside, axis=0).max()) + 1.0
    stand = np.column_stack([centre, its_group * extent])
    asked = np.column_stack([aside, group * extent])
    most = min(NEAREST, len(size))
    others = cKDTree(stand).query(asked, k=most)[1].reshape(len(line), most)
    across = half / np.linalg.norm(half, axis=1, keepdims=True)

    def off(lines: Ints) -> Floats:
        """(k, n) by how much, in diameters of the line, are sides too near its axis or too far?"""
        from_side = centre[lines] - (aside - half)[:, None]
        distance = np.einsum("kni,ki->kn", from_side, across)
        far: Floats = np.abs(distance / thick[lines] - 0.5)
        return np.where(its_group[lines] == group[:, None], far, np.inf)

    fit = off(others)
    best = fit.argmin(axis=1)
    row = np.arange(len(line))
    moves = (off(line[:, None])[:, 0] > OFF) & (fit[row, best] <= FITS)
    line = np.where(moves, others[row, best], line)
    # Sides of what crosses the end of a round bar are nearer to its axis than all its own.
    own = off(line[:, None])[:, 0]
    is_round = np.bincount(line, own <= ROUND, len(size)) >= MOSTLY * np.bincount(line)
    strays = is_round[line] & (own > 2 * ROUND)
    return np.where(strays, line + len(size), line)
