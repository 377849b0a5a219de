"""Which openings are parts of one gap, and how wide is it?

A gap all round a lid meets the grid in many places and is yet one opening. From each such place the
gap is walked: a step along its walls, then to the middle between them, as long as it stays about as
narrow. Places that are met on the way belong to the same gap. Lengths in mm. Guarded by
tests/geometry/test_voids_gap.py.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from lint3d.geometry.components import connected_groups
from lint3d.geometry.throats import Throat
from lint3d.geometry.throats_clearance import Clearance
from lint3d.geometry.voids_border import border_between
from lint3d.geometry.voids_led import squeezed
from lint3d.geometry.voids_openings import Contact, is_close
from lint3d.geometry.voids_reach import sees
from lint3d.geometry.voids_space import Space
from lint3d.geometry.voids_tight import grown

if TYPE_CHECKING:
    import networkx as nx

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

#: How narrow a gap stays, times the radius at the places.
_NARROWEST, _WIDEST = 0.5, 1.6
#: The same where widths are known closely, so that nothing before a mouth counts.
_CLOSELY = 1.2
#: A ball that grew to this share of what it may is no part of the gap.
_AS_FAR = 0.95
#: Lengths of steps, times the radius: the long ones get far, the short ones round bends.
_STEPS = (4.0, 1.5)
_DIRECTIONS = 8
#: Where on the way of a step it is looked whether that is still in the gap, shares of it.
_OVER = (0.5, 0.25, 0.75)
#: Of what is met in a cell of this size, times the radius, one place is gone on from.
_CELL = 2.0
#: Pairs of chambers with several openings that are looked at, at most.
_MOST_PAIRS = 12
#: Places on the way of an opening that are set out from.
_MOST_PLACES = 7
#: Squares looked at, at most, on all borders that are not bounded otherwise.
_MOST_SQUARES = 3_000_000
#: Places met at most; who does not come to an end in these says that all belongs together.
_MOST_MET = 12_000


def gaps_as_one(
    space: Space,
    clearance: Clearance,
    graph: nx.MultiGraph,
    measured: list[tuple[Contact, Throat]],
    limits: tuple[float, ...] = (),
) -> list[tuple[Contact, Throat]]:
    """Of openings that are parts of one gap between two pockets keep the best, closely bounded.

    A single opening that a section closes is left as it is. Of several, sections tell nothing: the
    corners of a gap round a square pin are wider than its sides, and each looks like an opening.

    Parameters
    ----------
    space : the grid that the openings were found on
    graph : from `voids_ways.find_pockets`; its nodes name the chambers they are made of
    measured : openings between chambers
    limits : mm, near which sections had to close more closely
    """
    members = dict(graph.nodes(data="members"))
    node_of = {one: node for node, own in members.items() for one in own}
    of_pair: dict[frozenset[int], list[int]] = {}
    for row in sorted(range(len(measured)), key=lambda row: -measured[row][1].lower):
        contact, throat = measured[row]
        if throat.diameter > 0:
            pair = frozenset(node_of.get(one, one) for one in contact.chambers)
            of_pair.setdefault(pair, []).append(row)
    known = [
        (pair, rows)
        for pair, rows in of_pair.items()
        if len(pair) == 2 and any(measured[row][1].lower > 0 for row in rows)
    ]
    kept = dict(enumerate(measured))
    squares = _MOST_SQUARES
    for pair, rows in known[:_MOST_PAIRS]:
        throats = [measured[row][1] for row in rows]
        is_bounded = is_close(throats[0], limits)
        if not is_bounded:
            best = next(row for row in rows if measured[row][1].lower > 0)
            width = measured[best][1].diameter
            nodes = [node_of.get(one, one) for one in measured[best][0].chambers]
            sides = [np.array(members.get(node, [node]), np.int64) for node in nodes]
            others = [one for node, own in members.items() if node not in pair for one in own]
            border = border_between(
                clearance, space, (sides[0], sides[1]), others, (width / 2, squares)
            )
            if border is not None:
                kept[best] = squeezed(border, (sides[0], sides[1]), measured[best], limits)
                squares -= border.looked_at
                bound = kept[best][1].upper
                for row in rows:
                    contact, throat = kept[row]
                    upper = max(min(throat.upper, bound), throat.diameter)
                    kept[row] = contact, replace(throat, upper=upper)
            throats = [kept[row][1] for row in rows]
        if len(rows) == 1:
            continue
        # Ways that are only glimpsed tell little about how wide the gap is.
        width = max(throat.diameter for throat in throats if throat.lower > 0)
        widest = as_wide_as(throats, limits)
        narrow = [narrow_places(throat, widest * width) for throat in throats]
        owner = np.repeat(np.arange(len(rows)), [len(places) for places in narrow])
        gap = parts_of_gaps(clearance, np.vstack(narrow), width / 2, owner, widest)
        for number in np.unique(gap).tolist():
            for row in np.flatnonzero(gap == number).tolist()[1:]:
                del kept[rows[row]]
    return [kept[row] for row in sorted(kept)]


def as_wide_as(throats: list[Throat], limits: tuple[float, ...]) -> float:
    """Up to how many times the widest of some openings a gap that they are parts of may be wide."""
    return _CLOSELY if all(is_close(throat, limits) for throat in throats) else _WIDEST


def narrow_places(throat: Throat, width: float) -> Floats:
    """(k, 3) mm, some places where a way is no wider than a gap may be, its throat among them."""
    narrow = np.flatnonzero(throat.way.width <= width)
    chosen = narrow[np.linspace(0, len(narrow) - 1, min(len(narrow), _MOST_PLACES)).astype(int)]
    return np.vstack([throat.position, throat.way.point[chosen]])


def parts_of_gaps(
    clearance: Clearance,
    places: Floats,
    radius: float,
    owner: Ints | None = None,
    widest: float = _WIDEST,
) -> Ints:
    """Which places lie in one and the same gap?

    Parameters
    ----------
    clearance : of every facet
    places : (n, 3) mm, in gaps
    radius : mm, about half as wide as the gaps are
    owner : (n,) numbers from 0 on of the openings that the places are in; each in one by default
    widest : what is wider than this times the radius is no part of a gap

    Returns
    -------
    for each opening the number of the gap it lies in; where a gap is too large to be walked to its
    end, all have one number
    """
    owner = np.arange(len(places)) if owner is None else owner
    openings = int(owner.max()) + 1
    front, wide = grown(clearance, places, clearance.at(places), widest * radius)
    narrow = _is_narrow(wide, radius, widest)
    front, owner = front[narrow], owner[narrow]
    # The first rows stand for the openings, those that follow for the cells that are met.
    cells: dict[tuple[int, int, int], int] = {}
    for cell in _cells(front, radius):
        cells.setdefault(cell, openings + len(cells))
    front_row = np.array([cells[cell] for cell in _cells(front, radius)], np.int64)
    links = [np.column_stack([owner, front_row])]
    rows = openings + len(cells)
    group = np.arange(openings)
    while len(front):
        step_from, place = _steps(clearance, front, radius, widest)
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
            return np.zeros(openings, np.int64)
    gap: Ints = np.unique(group[:openings], return_inverse=True)[1]
    return gap


def _is_narrow(size: Floats, radius: float, widest: float) -> Bools:
    """Which balls are as narrow as the gap? Those that grew as far as they may are not."""
    narrow: Bools = (size > _NARROWEST * radius) & (size < _AS_FAR * widest * radius)
    return narrow


def _cells(points: Floats, radius: float) -> list[tuple[int, int, int]]:
    cells = np.floor(points / (_CELL * radius)).astype(np.int64)
    return [(one, two, three) for one, two, three in cells.tolist()]


def _steps(
    clearance: Clearance, middle: Floats, radius: float, widest: float
) -> tuple[Ints, Floats]:
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
        seen = sees(clearance.scene, middle[row], goal)
        start, goal = row[seen], goal[seen]
        place, wide = grown(clearance, goal, clearance.at(goal), widest * radius)
        kept = np.flatnonzero(_is_narrow(wide, radius, widest) & sees(clearance.scene, goal, place))
        # From mouth to mouth a step may pass over the wall between two gaps, or through the room
        # that they lead to, near its wall.
        for share in _OVER:
            over = (1 - share) * middle[start[kept]] + share * place[kept]
            free = grown(clearance, over, clearance.at(over), widest * radius)[1]
            kept = kept[_is_narrow(free, radius, widest)]
        found.append((start[kept], place[kept]))
    starts, ends = zip(*found, strict=True)
    return np.concatenate(starts), np.concatenate(ends)
