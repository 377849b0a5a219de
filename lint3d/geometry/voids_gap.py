"""Which openings are parts of one gap?

A gap all round a lid meets the grid in many places and is yet one opening. From each such place the
gap is walked: a step along its walls, then to the middle between them, as long as it stays about as
narrow. Places that are met on the way belong to the same gap. Lengths in mm. Guarded by
tests/geometry/test_voids_gap.py.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from lint3d.geometry.components import connected_groups
from lint3d.geometry.throats import Throat
from lint3d.geometry.throats_clearance import Clearance
from lint3d.geometry.voids_openings import Contact, is_close
from lint3d.geometry.voids_tight import grown

if TYPE_CHECKING:
    import networkx as nx

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

#: How narrow a gap stays, times the radius at the places.
_NARROWEST, _WIDEST = 0.5, 1.6
#: Lengths of steps, times the radius: the long ones get far, the short ones round bends.
_STEPS = (4.0, 1.5)
_DIRECTIONS = 8
#: Of what is met in a cell of this size, times the radius, one place is gone on from.
_CELL = 2.0
#: Pairs of chambers with several openings that are looked at, at most.
_MOST_PAIRS = 12
#: Places on the way of an opening that are set out from.
_MOST_PLACES = 7
#: Places met at most; who does not come to an end in these says that all belongs together.
_MOST_MET = 6_000
#: Balls overlap so far that no facet is between them.
_OVERLAP = 1.0 + 1e-4


def without_parts_of_gaps(
    measured: list[tuple[Contact, Throat]],
    clearance: Clearance,
    graph: nx.MultiGraph,
    limits: tuple[float, ...] = (),
) -> list[tuple[Contact, Throat]]:
    """Leave out openings that are parts of one gap with a better one between the same pockets.

    Only openings that no section closes are looked at: the others are each closed by themselves.

    Parameters
    ----------
    measured : openings between chambers
    graph : from `voids_ways.find_pockets`; its nodes name the chambers they are made of
    limits : mm, near which sections had to close more closely
    """
    node_of = {one: node for node, data in graph.nodes(data=True) for one in data["members"]}
    of_pair: dict[frozenset[int], list[int]] = {}
    for row in sorted(range(len(measured)), key=lambda row: -measured[row][1].lower):
        contact, throat = measured[row]
        if throat.diameter > 0 and not is_close(throat, limits):
            pair = frozenset(node_of.get(one, one) for one in contact.chambers)
            of_pair.setdefault(pair, []).append(row)
    several = [
        rows
        for rows in of_pair.values()
        if len(rows) > 1 and any(measured[row][1].lower > 0 for row in rows)
    ]
    gone: set[int] = set()
    for rows in several[:_MOST_PAIRS]:
        width = max(measured[row][1].diameter for row in rows)
        narrow = [_narrow_places(measured[row][1], width) for row in rows]
        owner = np.repeat(np.arange(len(rows)), [len(places) for places in narrow])
        gap = parts_of_gaps(clearance, np.vstack(narrow), width / 2, owner)
        first = np.unique(gap, return_index=True)[1]
        gone |= set(rows) - {rows[row] for row in first.tolist()}
    return [one for row, one in enumerate(measured) if row not in gone]


def _narrow_places(throat: Throat, width: float) -> Floats:
    """(k, 3) mm, some places where a way is about as narrow as a gap, its throat among them."""
    narrow = np.flatnonzero(throat.way.width <= _WIDEST * width)
    chosen = narrow[np.linspace(0, len(narrow) - 1, min(len(narrow), _MOST_PLACES)).astype(int)]
    return np.vstack([throat.position, throat.way.point[chosen]])


def parts_of_gaps(
    clearance: Clearance, places: Floats, radius: float, owner: Ints | None = None
) -> Ints:
    """Which places lie in one and the same gap?

    Parameters
    ----------
    clearance : of every facet
    places : (n, 3) mm, in gaps
    radius : mm, about half as wide as the gaps are
    owner : (n,) numbers from 0 on of the openings that the places are in; each in one by default

    Returns
    -------
    for each opening the number of the gap it lies in; where a gap is too large to be walked to its
    end, all have one number
    """
    owner = np.arange(len(places)) if owner is None else owner
    openings = int(owner.max()) + 1
    front, wide = grown(clearance, places, clearance.at(places), _WIDEST * radius)
    narrow = _is_narrow(wide, radius)
    front, owner = front[narrow], owner[narrow]
    # The first rows stand for the openings, those that follow for the cells that are met.
    cells: dict[tuple[int, int, int], int] = {}
    for cell in _cells(front, radius):
        cells.setdefault(cell, openings + len(cells))
    front_row = np.array([cells[cell] for cell in _cells(front, radius)])
    links = [np.column_stack([owner, front_row])]
    rows = openings + len(cells)
    group = np.arange(openings)
    while len(front):
        step_from, place = _steps(clearance, front, radius)
        fresh, pairs = [], []
        for number, cell in enumerate(_cells(place, radius)):
            row = cells.get(cell)
            if row is None:
                row = cells[cell] = rows
                rows += 1
                fresh.append(number)
            pairs.append((front_row[step_from[number]], row))
        links.append(np.array(pairs, np.int64).reshape(-1, 2))
        front = place[fresh]
        front_row = np.arange(rows - len(fresh), rows)
        if rows > _MOST_MET:
            return np.zeros(openings, np.int64)
        every = np.concatenate(links)
        group = connected_groups(rows, every[:, 0], every[:, 1])
        if len(np.unique(group[:openings])) == 1:
            break
    found: Ints = np.unique(group[:openings], return_inverse=True)[1]
    return found


def _is_narrow(size: Floats, radius: float) -> Bools:
    """Which balls are as narrow as the gap? Those that grew as far as they may are not."""
    narrow: Bools = (size > _NARROWEST * radius) & (size < (1 - 1e-6) * _WIDEST * radius)
    return narrow


def _cells(points: Floats, radius: float) -> list[tuple[int, int, int]]:
    cells = np.floor(points / (_CELL * radius)).astype(np.int64)
    return [(one, two, three) for one, two, three in cells.tolist()]


def _steps(clearance: Clearance, middle: Floats, radius: float) -> tuple[Ints, Floats]:
    """Where steps along the walls lead to: from which row, and to which place."""
    free, _, foot = clearance.nearest(middle)
    normal = (middle - foot) / np.maximum(free, 1e-300)[:, None]
    helper = np.eye(3)[np.argmin(np.abs(normal), axis=1)]
    one = np.cross(normal, helper)
    one /= np.linalg.norm(one, axis=1, keepdims=True)
    two = np.cross(normal, one)
    angle = 2 * np.pi * np.arange(_DIRECTIONS) / _DIRECTIONS
    ways = np.cos(angle)[:, None] * one[:, None] + np.sin(angle)[:, None] * two[:, None]
    row = np.repeat(np.arange(len(middle)), _DIRECTIONS)
    ways = ways.reshape(-1, 3)
    found = []
    for length in _STEPS:
        goal = middle[row] + length * radius * ways
        kept = _sees(clearance, middle[row], goal, radius)
        start, goal = row[kept], goal[kept]
        place, wide = grown(clearance, goal, clearance.at(goal), _WIDEST * radius)
        kept = _is_narrow(wide, radius) & _sees(clearance, goal, place, radius)
        found.append((start[kept], place[kept]))
    starts, ends = zip(*found, strict=True)
    return np.concatenate(starts), np.concatenate(ends)


def _sees(clearance: Clearance, start: Floats, end: Floats, radius: float) -> Bools:
    """Do balls that touch no facet overlap all along straight lines about as long as a step?"""
    count = int(np.ceil(_STEPS[0] / 0.4)) + 1
    share = np.linspace(0.0, 1.0, count)[:, None]
    line = start[:, None] + share * (end - start)[:, None]
    gap = np.linalg.norm(end - start, axis=1) / (count - 1)
    free = clearance.at(line)
    sees: Bools = np.all(free[:, :-1] + free[:, 1:] > _OVERLAP * gap[:, None], axis=1)
    return sees
