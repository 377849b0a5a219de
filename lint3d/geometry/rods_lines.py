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

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

BESIDE = 0.9  # of the diameter: axes of bars beside each other are farther apart than that
ALIKE = 0.05  # of the diameter: places so near each other are one


def lines_of(place: Floats, axis: Floats, thick: Floats, group: Ints) -> Ints:
    """(k,) groups again, parted where the places of one lie on lines beside each other.

    Parameters
    ----------
    place : (k, 3) float64, mm, in the middle of a bar
    axis : (k, 3) float64, unit, the way that the bars of the group run; zero leaves a group whole
    thick : (k,) float64, mm
    group : (k,) int64, each number from 0 has a member
    """
    if not len(group):
        return group
    size = np.bincount(group)
    usual = (np.bincount(group, thick) / size)[group]
    mean = np.stack([np.bincount(group, place[:, i]) for i in range(3)], axis=1) / size[:, None]
    place = place - mean[group]
    aside = (place - (place * axis).sum(axis=1)[:, None] * axis) / usual[:, None]
    aside[~axis.any(axis=1)] = 0.0
    # Most groups are one bar, and all their places near its axis.
    farthest = np.zeros(len(size))
    np.maximum.at(farthest, group, np.abs(aside).max(axis=1))
    doubtful = np.flatnonzero((farthest > BESIDE / 4)[group])
    if not len(doubtful):
        return group
    line = np.zeros(len(group), np.int64)
    line[doubtful] = _parted(aside[doubtful], group[doubtful])
    return np.unique(group * (line.max() + 1) + line, return_inverse=True)[1]


def _parted(aside: Floats, group: Ints) -> Ints:
    """(k,) a number for each line, none twice; places are told in diameters, square to the bars."""
    # Of all that are one only one is asked; groups are set far apart.
    cell = np.column_stack([np.round(aside / ALIKE).astype(np.int64), group])
    each, of = np.unique(cell, axis=0, return_inverse=True)
    extent = float(np.ptp(each[:, :3], axis=0).max()) + 2 * BESIDE / ALIKE
    stand = np.column_stack([each[:, :3], each[:, 3] * extent]) * ALIKE
    pairs = cKDTree(stand).query_pairs(BESIDE, output_type="ndarray")
    return connected_groups(len(each), pairs[:, 0], pairs[:, 1])[of.ravel()]
