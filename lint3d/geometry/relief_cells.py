"""Which way do cells of braille lie, and are the nearest two dots of them neighbours in a cell?

In words of k, a, e, i, o alone none are: the two dots of a k are two steps apart, those of an e,
an i and an o stand across the cell. Lengths in mm. Guarded by tests/geometry/test_relief_cells.py.

References
----------
A cell is two dots wide and three high; cells are 2.4 to 3.3 times as far apart as their dots, and
lines more than four times: 2010 ADA Standards, table 703.3.1.
"""

from __future__ import annotations

import itertools

import numpy as np
from numpy.typing import NDArray
from scipy.sparse.csgraph import breadth_first_order, minimum_spanning_tree
from scipy.spatial.distance import cdist

from lint3d.geometry.vectors import carried_over, cross_product

Floats = NDArray[np.float64]

#: How far apart cells are, in steps of their dots; the standard's numbers and some slack.
CELLS_APART = (2.2, 3.6)
#: Lines leave at least this many steps between the lowest dot of one and the highest of the next.
LINES_APART = 2.0
WIDE, HIGH = 2, 3  # a cell, in dots
#: Steps by which a dot may be out of its place.
OUT_OF_PLACE = 0.12
TINY = 1e-12
#: Steps from the nearest dot, and by how many degrees the cell's rows are turned against the way
#: there: beside it, below it, across the cell (a, e, i, o), two below (a, k).
NEAREST = ((1.0, (0.0, 90.0)), (np.sqrt(2.0), (45.0, -45.0)), (2.0, (90.0,)))


def spacing_share(centre: Floats, normal: Floats) -> float:
    """How far apart are dots of a cell, as a share of the way from a dot to the nearest?

    Parameters
    ----------
    centre : (k, 3) mm, middles of the dots, k > 1
    normal : (k, 3) unit, away from the base

    Returns
    -------
    1 where the nearest dots are neighbours in a cell, 1 / sqrt(2) where they stand across one, 1/2
    where one is left out between them; 1 if the dots fit no cells, or stand on one line, which
    tells nothing of cells
    """
    apart = cdist(centre, centre)
    np.fill_diagonal(apart, np.inf)
    one, two = np.unravel_index(apart.argmin(), apart.shape)
    at = _rolled_flat(centre, normal, apart, int(one), int(two)) / apart[one, two]
    if np.ptp(at[:, 1]) <= OUT_OF_PLACE:
        return 1.0
    for signs in (False, True):
        for steps, turns in NEAREST:
            for turn in np.radians(turns):
                along, down = [[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]]
                if _are_rows(at @ down * steps) and _are_columns(at @ along * steps, signs):
                    return float(1 / steps)
    return 1.0


def _rolled_flat(centre: Floats, normal: Floats, apart: Floats, one: int, two: int) -> Floats:
    """(k, 2) mm: dots laid out from one of them, the first axis the way to another.

    Each is laid out from its neighbour in the shortest tree, so that a bent base is rolled flat.
    """
    along = np.zeros(centre.shape)
    along[one] = _in_plane(centre[two] - centre[one], normal[one])
    tree = minimum_spanning_tree(np.where(np.isfinite(apart), apart, 0.0))
    order, parent = breadth_first_order(tree, one, directed=False)
    at = np.zeros((len(centre), 2))
    for dot in order[1:]:
        by = parent[dot]
        along[dot] = _in_plane(carried_over(along[by], normal[by], normal[dot]), normal[dot])
        mean = along[by] + along[dot]
        common = normal[by] + normal[dot]
        common /= max(float(np.linalg.norm(common)), TINY)
        step = centre[dot] - centre[by]
        flat = np.array([step @ mean, step @ cross_product(common, mean)])
        length = float(np.linalg.norm(step))
        at[dot] = at[by] + flat * (length / max(float(np.linalg.norm(flat)), TINY))
    return at


def _in_plane(way: Floats, normal: Floats) -> Floats:
    flat: Floats = way - (way @ normal) * normal
    return flat / max(float(np.linalg.norm(flat)), TINY)


def _are_rows(down: Floats) -> bool:
    """Are these heights of dots, in steps, those of cells in lines?"""
    heights = _levels(down)
    gaps = np.diff(heights)
    is_line = gaps > LINES_APART - OUT_OF_PLACE
    line = np.cumsum(np.concatenate([[0], is_line]))
    return bool(
        (np.abs(gaps[~is_line] - 1) <= OUT_OF_PLACE).all() and (np.bincount(line) <= HIGH).all()
    )


def _are_columns(along: Floats, signs: bool) -> bool:
    """Are these places of dots along a line, in steps, those of cells of one pitch?

    Parameters
    ----------
    signs : a cell may have dots in its right column alone, as signs have; letters have not
    """
    places = _levels(along)
    places = places - places[0]
    most = int(places[-1] / CELLS_APART[0]) + 2
    for cells, column in itertools.product(range(1, most), (-1.0, 0.0, 1.0)):
        # The widest distance is of so many cells, more or less one column.
        pitch = (places[-1] + column) / cells
        if not CELLS_APART[0] <= pitch <= CELLS_APART[1]:
            continue
        for first in (0.0, 1.0):
            cell, place = np.divmod(places + first + pitch / 4, pitch)
            off = place - pitch / 4
            is_left = np.abs(off) <= OUT_OF_PLACE
            is_right = np.abs(off - 1) <= OUT_OF_PLACE
            if not (is_left | is_right).all():
                continue
            if signs or any(len(set(cell[one])) == len(set(cell)) for one in (is_left, is_right)):
                return True
    return len(places) <= WIDE and bool(places[-1] <= 1 + OUT_OF_PLACE)


def _levels(values: Floats) -> Floats:
    """Values in order, those that are one but for `OUT_OF_PLACE` taken once."""
    order = np.sort(values)
    group = np.cumsum(np.diff(order, prepend=order[0]) > OUT_OF_PLACE)
    mean: Floats = np.bincount(group, order) / np.bincount(group)
    return mean
