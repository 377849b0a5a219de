"""What is the largest ball with its centre in a plane section of a passage?

The section is walked from a point in the free space, on a grid in the plane, from ball to
overlapping ball, so that no wall is crossed. If the walk does not come to an end the material does
not close the section, and it bounds nothing. The largest ball is then found by branch and bound:
the distance to the facets changes no faster than the place, so a cell whose middle lacks more than
its half diagonal cannot hold a better place. Lengths in mm. Guarded by
tests/geometry/test_throats.py.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lint3d.geometry.throats_clearance import Clearance
from lint3d.geometry.vectors import cross_product

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

#: Cells a section's throat is wide at first, and how many of them may be walked.
_CELLS_ACROSS = 6
_MOST_CELLS = 12_000
_FEW_CELLS = 400
#: Cells this much larger are walked before: a section that gets out on them is not closed.
_COARSER = 2.7
#: Cells that may be split in one round; where more stay in the running the bound is left wider.
_MOST_SPLIT = 20_000
_ROOT_HALF = np.sqrt(0.5)
_SIDES = np.array([[1, 0], [-1, 0], [0, 1], [0, -1]])


@dataclass(frozen=True, eq=False)
class Section:
    """A plane section that the material closes all around."""

    radius: float
    """mm, no larger ball has its centre in the section"""
    point: Floats
    """(3,) mm, where the largest ball that was found is"""
    found: float
    """mm, its radius"""


def largest_in_section(
    clearance: Clearance, centre: Floats, normal: Floats, radius: float, tolerance: float
) -> Section | None:
    """Bound the balls whose centres lie in the section through `centre` across `normal`.

    Parameters
    ----------
    clearance : of every facet near
    centre : (3,) mm, in the free space
    normal : (3,) unit vector
    radius : mm, clearance at the centre
    tolerance : mm, how close the bound should come

    Returns
    -------
    Section or None : None where the walk left the passage
    """
    if radius <= 0:
        return None
    cell = 2 * radius / _CELLS_ACROSS
    axes = _axes(normal)
    few = int(2 * _MOST_CELLS / _COARSER**2)
    if not _walk(clearance, centre, axes, _COARSER * cell, radius, few)[2]:
        return None
    place, value, ends = _walk(clearance, centre, axes, cell, radius, _MOST_CELLS)
    if not ends:
        return None
    best_row = int(np.argmax(value))
    best, best_at = float(value[best_row]), place[best_row]
    while cell * _ROOT_HALF > tolerance:
        alive = value + cell * _ROOT_HALF > best + tolerance
        if not alive.any():
            return Section(best + tolerance, _lift(centre, axes, best_at), best)
        if np.count_nonzero(alive) > _MOST_SPLIT:
            break
        place = (place[alive][:, None] + _quarters(cell)).reshape(-1, 2)
        cell /= 2
        value = clearance.at(_lift(centre, axes, place))
        row = int(np.argmax(value))
        if value[row] > best:
            best, best_at = float(value[row]), place[row]
    bound = max(best, float(value.max()) + cell * _ROOT_HALF)
    return Section(bound, _lift(centre, axes, best_at), best)


def places_in_section(
    clearance: Clearance, centre: Floats, normal: Floats, radius: float
) -> tuple[Floats, float] | None:
    """Places all over the section through `centre` across `normal`, and how far apart they are, mm.

    Parameters
    ----------
    centre, normal, radius : as for `largest_in_section`

    Returns
    -------
    (n, 3) mm and mm; None where the section is large or not closed
    """
    if radius <= 0:
        return None
    cell, axes = 2 * radius / _CELLS_ACROSS, _axes(normal)
    place, _, ends = _walk(clearance, centre, axes, cell, radius, _MOST_CELLS)
    return (_lift(centre, axes, place), cell) if ends else None


def wall_axis(
    clearance: Clearance, corners: Floats, centre: Floats, normal: Floats, radius: float
) -> Floats:
    """The direction that the walls around a section have in common.

    The walls of a neck all run along it, so their normals leave one direction over.

    Parameters
    ----------
    corners : (m, 3, 3) mm, of the facets of `clearance`
    normal : first guess; returned where the walls tell nothing
    """
    axes = _axes(normal)
    place, value, _ = _walk(clearance, centre, axes, 2 * radius / _CELLS_ACROSS, radius, _FEW_CELLS)
    at_wall = value < 1.01 * radius
    face = np.unique(clearance.nearest(_lift(centre, axes, place[at_wall]))[1])
    corner = corners[face]
    across = cross_product(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0])
    across /= np.maximum(np.linalg.norm(across, axis=1, keepdims=True), 1e-300)
    spread, axis = np.linalg.eigh(across.T @ across)
    if spread[1] < 0.1:
        return normal
    found: Floats = axis[:, 0] * (np.sign(axis[:, 0] @ normal) or 1.0)
    return found


def _walk(
    clearance: Clearance, centre: Floats, axes: Floats, cell: float, radius: float, most: int
) -> tuple[Floats, Floats, bool]:
    """Cells of the section that overlapping balls lead to, and whether they have an end."""
    cells, levels = [np.zeros((1, 2), np.int64)], [np.array([radius])]
    seen = _key(cells[0])
    while True:
        near = (cells[-1][:, None] + _SIDES).reshape(-1, 2)
        behind = np.repeat(levels[-1], len(_SIDES))
        # Of the sides that a cell is reached from the one with the largest ball.
        order = np.lexsort((-behind, _key(near)))
        near, behind = near[order], behind[order]
        key = _key(near)
        fresh = np.diff(key, prepend=key[0] - 1) != 0
        fresh &= seen[np.searchsorted(seen, key).clip(max=len(seen) - 1)] != key
        near, behind, key = near[fresh], behind[fresh], key[fresh]
        here = clearance.at(_lift(centre, axes, near * cell))
        joined = here + behind > cell
        front, level, key = near[joined], here[joined], key[joined]
        if len(front):
            seen = np.insert(seen, np.searchsorted(seen, key), key)
            cells.append(front)
            levels.append(level)
        is_endless = len(seen) > most or level.max(initial=0.0) > 4 * radius
        if len(front) == 0 or is_endless:
            place = np.concatenate(cells).astype(np.float64) * cell
            return place, np.concatenate(levels), not is_endless


def _key(cells: Ints) -> Ints:
    """(k,) one number for each cell of a plane, in their order."""
    key: Ints = (cells[:, 0] << 32) + cells[:, 1]
    return key


def _axes(normal: Floats) -> Floats:
    helper = np.eye(3)[int(np.argmin(np.abs(normal)))]
    one = cross_product(normal, helper)
    one /= np.linalg.norm(one)
    return np.stack([one, cross_product(normal, one)])


def _lift(centre: Floats, axes: Floats, place: Floats) -> Floats:
    lifted: Floats = centre + place @ axes
    return lifted


def _quarters(cell: float) -> Floats:
    quarter = cell / 4
    return np.array(
        [[-quarter, -quarter], [-quarter, quarter], [quarter, -quarter], [quarter, quarter]]
    )
