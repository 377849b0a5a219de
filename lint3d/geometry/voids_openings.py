"""Where do chambers meet, and how wide are they there?

Steps from one chamber to another that lie side by side are one opening. Each is measured exactly
along the widest way between the tops of both chambers. Two openings whose throats overlap are one
and the same. Lengths in mm. Guarded by tests/geometry/test_voids.py.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from lint3d.geometry.chambers import contacts
from lint3d.geometry.components import connected_groups
from lint3d.geometry.throats import Throat, narrowest
from lint3d.geometry.throats_clearance import Clearance
from lint3d.geometry.voids_space import Space

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

#: Steps this near to each other belong to one opening, voxels.
_SIDE_BY_SIDE = 2.3
#: How much wider than the grid says a passage can be, voxels of its diameter: half a diagonal to
#: the middle of the way and a step for a marked wall, on both sides.
_GRID_DOUBT = 2 * (0.87 + 1.0)


@dataclass(frozen=True, eq=False)
class Contact:
    """An opening as the grid sees it."""

    chambers: tuple[int, int]
    step: tuple[int, int]
    """flat numbers of the two points of its widest step, in the order of `chambers`"""
    width: float
    """mm, diameter at that step by the grid"""


def find_contacts(space: Space) -> list[Contact]:
    """All openings between chambers, by falling width."""
    pair, step, value = contacts(space.basins, space.chambers, space.distance, space.core)
    if len(pair) == 0:
        return []
    group = _side_by_side(space, pair, step)
    order = np.lexsort((step[:, 0], -value, group))
    first = order[np.flatnonzero(np.diff(group[order], prepend=-1))]
    first = first[np.lexsort((step[first, 0], -value[first]))]
    pitch = space.grid.pitch
    return [
        Contact(
            (int(pair[row, 0]), int(pair[row, 1])),
            (int(step[row, 0]), int(step[row, 1])),
            2.0 * pitch * float(value[row]),
        )
        for row in first
    ]


def measure_contact(space: Space, clearance: Clearance, contact: Contact) -> Throat | None:
    """The narrowest place between the tops of the two chambers, through this opening."""
    path = _path(space, contact)
    if len(path) < 2:
        return None
    return narrowest(
        clearance, path, space.grid.pitch, contact.width + _GRID_DOUBT * space.grid.pitch
    )


def without_doubles(
    measured: list[tuple[Contact, Throat]],
) -> list[tuple[Contact, Throat]]:
    """Leave out openings whose throat ball overlaps that of a wider one between the same two."""
    kept: list[tuple[Contact, Throat]] = []
    for contact, throat in measured:
        overlaps = any(
            other.chambers == contact.chambers
            and np.linalg.norm(seen.position - throat.position)
            < (seen.diameter + throat.diameter) / 2
            for other, seen in kept
        )
        if not overlaps:
            kept.append((contact, throat))
    return kept


def _path(space: Space, contact: Contact) -> Floats:
    """(n, 3) mm, from the top of the first chamber through the opening to that of the second."""
    ends = []
    for chamber, point in zip(contact.chambers, contact.step, strict=True):
        basin = int(space.basins.label.reshape(-1)[point])
        goal = _top_basin(space, chamber)
        chain, gates = space.chain(goal, basin)
        ends.append((chain, gates))
    (out, out_gates), (back, back_gates) = ends
    if not out or not back:
        return np.zeros((0, 3))
    chain = out + back[::-1]
    gates = np.concatenate([out_gates, [contact.step], back_gates[::-1, ::-1]])
    return space.points(space.way(chain, gates))


def _top_basin(space: Space, chamber: int) -> int:
    if chamber == 0:
        return 0
    return int(space.basins.label.reshape(-1)[space.chambers.top[chamber]])


def _side_by_side(space: Space, pair: Ints, step: Ints) -> Ints:
    """(k,) which steps between the same two chambers lie next to each other?"""
    middle = (
        np.stack(np.unravel_index(step[:, 0], space.grid.shape), axis=-1)
        + np.stack(np.unravel_index(step[:, 1], space.grid.shape), axis=-1)
    ) / 2.0
    links = cKDTree(middle).query_pairs(_SIDE_BY_SIDE, output_type="ndarray")
    same = (pair[links[:, 0]] == pair[links[:, 1]]).all(axis=1)
    links = links[same]
    between = np.rint((middle[links[:, 0]] + middle[links[:, 1]]) / 2).astype(np.int64)
    free = ~space.raster.solid[tuple(between.T)]
    return connected_groups(len(step), links[free, 0], links[free, 1])
