"""Do several openings of a pocket join in one duct that every way out leads through?

A duct that keeps its width is no chamber of its own: it belongs to the outside, or to the room that
it leads to, and where two ducts join in it the graph of chambers shows two openings. Whether the
duct is a bridge nevertheless is asked of the grid: a section across it is taken away, and then
either a way out is left or none. Lengths in mm. Guarded by tests/geometry/test_voids_trunks.py.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from lint3d.geometry.chambers import neighbours
from lint3d.geometry.each_once import distinct, distinct_but
from lint3d.geometry.throats import Throat, narrowest
from lint3d.geometry.throats_clearance import Clearance
from lint3d.geometry.voids_bridges import bridges_of, cut_off, widest_edge
from lint3d.geometry.voids_model import OUTSIDE, Pocket
from lint3d.geometry.voids_openings import GRID_DOUBT
from lint3d.geometry.voids_space import Space

if TYPE_CHECKING:
    import networkx as nx

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

Edge = tuple[int, int, int]

#: Another way within this many widths may run through the same duct.
_NEAR = 4.0
#: A room is a chamber that is wider than its ducts by more than this.
_ROOM = 1.05
#: Sections across a way are this share of its width apart; and so many of them are looked at.
_APART, _MOST_SECTIONS = 0.5, 40
#: The way is in the middle of a duct where no ball of the section, of so many that the grid says
#: are the largest, is larger than what this is the share of. Where ducts meet it is not.
_MIDDLE, _ASKED = 0.9, 16
#: A section reaches no farther than this many widths.
_BROAD = 12.0
#: The duct ends where it is this much wider than in its narrowest section.
_END = 1.3
#: A way widens where it is so much wider a little farther on, and narrower a little before.
_WIDENS = 1.03
#: Two ways run through one duct if they are this share of its width apart, or if the line between
#: them has all but this share of the width all along: two ducts that meet askew are pinched there.
_TOGETHER, _UNPINCHED = 0.25, 0.95
#: Openings that are looked at, and sections that are taken away, at most.
_MOST_OPENINGS, _MOST_CUTS = 24, 6


@dataclass(frozen=True, eq=False)
class _Tail:
    """The part of an opening's way that lies in one of the two chambers, towards its middle."""

    edge: Edge
    point: Floats
    width: Floats


def with_trunks(
    space: Space, clearance: Clearance, graph: nx.MultiGraph, pockets: list[Pocket], high: float
) -> list[Pocket]:
    """The pockets, those with their bridge whose openings join in one duct.

    Parameters
    ----------
    space : the grid that the openings were found on
    graph, pockets : from `voids_ways.find_pockets`
    high : mm, what is wider is not told apart from the outside
    """
    bridges = bridges_of(graph)
    trunks: list[tuple[Throat, set[int]]] = []
    looked: set[tuple[Edge, int]] = set()
    cuts = _MOST_CUTS
    for pocket in pockets:
        for one, two in pairwise(pocket.way_nodes):
            if (min(one, two), max(one, two)) in bridges:
                continue
            edge = widest_edge(graph, one, two)
            for node in (one, two):
                if (edge, node) in looked or len(looked) >= _MOST_OPENINGS:
                    continue
                looked.add((edge, node))
                for section, behind in _sections(space, clearance, graph, (edge, node, one), high):
                    if cuts == 0:
                        break
                    cuts -= 1
                    if _parts(space, section.flat, graph.nodes[one]["members"]):
                        trunks.append((_measured(space, clearance, section), behind))
                        break
    if not trunks:
        return pockets
    return [_with_bridge(pocket, trunks) for pocket in pockets]


def _with_bridge(pocket: Pocket, trunks: list[tuple[Throat, set[int]]]) -> Pocket:
    known = [throat for throat, behind in trunks if pocket.node in behind]
    if pocket.bridge is not None:
        known.append(pocket.bridge)
    return replace(pocket, bridge=min(known, key=lambda one: one.diameter)) if known else pocket


@dataclass(frozen=True, eq=False)
class _Section:
    """Points of the grid that close a duct, and the way from there on."""

    flat: Ints
    point: Floats
    width: Floats


def _sections(
    space: Space,
    clearance: Clearance,
    graph: nx.MultiGraph,
    hop: tuple[Edge, int, int],
    high: float,
) -> Iterator[tuple[_Section, set[int]]]:
    """Sections across the way of an opening that may part a pocket from the outside.

    Parameters
    ----------
    hop : the opening, the node that the sections lie in, and the node of the pocket

    Yields
    ------
    the narrowest first; with the nodes that are behind it, if what lies in the node is parted
    """
    edge, node, pocket = hop
    tails = [_tail(graph, one, node) for one in _edges_at(graph, node)]
    own = next(tail for tail in tails if tail.edge == edge)
    room = graph.nodes[node]["diameter"]
    limit = min(high, room / _ROOM)
    reach = _NEAR * min(limit, float(own.width[np.isfinite(own.width)].max(initial=0.0)))
    box = own.point.min(axis=0) - reach, own.point.max(axis=0) + reach
    others = [
        tail
        for tail in tails
        if tail.edge != edge and np.any(np.all((tail.point > box[0]) & (tail.point < box[1]), 1))
    ]
    if not others or pocket not in cut_off(graph, [edge, *(tail.edge for tail in others)]):
        return
    for row in _rows(own, limit):
        normal = own.point[min(row + 1, len(own.point) - 1)] - own.point[max(row - 1, 0)]
        normal /= max(float(np.linalg.norm(normal)), 1e-300)
        flat = _closing(space, own.point[row], normal, _BROAD * own.width[row])
        if flat is None or own.width[row] < _MIDDLE * _widest(space, clearance, flat):
            continue
        place, width = own.point[row], float(own.width[row])
        shared = []
        for tail in others:
            other = _crossing(space, tail, place, normal, flat)
            if other is not None and _is_one_duct(clearance, place, other, width):
                shared.append(tail.edge)
        behind = cut_off(graph, [edge, *shared]) if shared else set()
        if pocket in behind:
            wider = np.flatnonzero(own.width[row:] > _END * own.width[row])
            last = row + int(wider[0]) + 1 if len(wider) else len(own.point)
            yield _Section(flat, own.point[row:last], own.width[row:last]), behind


def _edges_at(graph: nx.MultiGraph, node: int) -> list[Edge]:
    edges = graph.edges(node, keys=True, data="lower")
    return [(min(one, two), max(one, two), key) for one, two, key, lower in edges if lower > 0]


def _tail(graph: nx.MultiGraph, edge: Edge, node: int) -> _Tail:
    throat: Throat = graph.edges[edge]["throat"]
    way = throat.way if graph.edges[edge]["source"] != node else throat.reversed().way
    first = int(np.argmin(way.width))
    return _Tail(edge, way.point[first:], way.width[first:])


def _rows(tail: _Tail, limit: float) -> list[int]:
    """Rows of a tail narrower than a limit, not too near to each other, the narrowest first.

    Where the way widens all along a duct opens into a junction: such rows come last.
    """
    rows: list[int] = []
    along = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(tail.point, axis=0), axis=1))])
    for row in range(1, len(along)):
        near = bool(rows) and along[row] - along[rows[-1]] < _APART * tail.width[row]
        if tail.width[row] < limit and not near:
            rows.append(row)
    chosen = [
        rows[i] for i in np.linspace(0, len(rows) - 1, min(len(rows), _MOST_SECTIONS), dtype=int)
    ]
    step = _APART * tail.width[chosen]
    ahead = np.interp(along[chosen] + step, along, tail.width)
    behind = np.interp(along[chosen] - step, along, tail.width)
    widens = (ahead > tail.width[chosen] * _WIDENS) & (behind < tail.width[chosen] / _WIDENS)
    return [chosen[i] for i in np.lexsort((chosen, tail.width[chosen], widens))]


def _closing(space: Space, place: Floats, normal: Floats, reach: float) -> Ints | None:
    """Flat numbers of the free points of a plane section around a place; None if it does not close.

    The section is so thick that no way along the axes of the grid steps over it.
    """
    grid = space.grid
    level, offsets = space.distance.reshape(-1), neighbours(grid.shape)
    thick = 0.5 * grid.pitch * float(np.abs(normal).sum()) * (1 + 1e-9)
    start = int(np.ravel_multi_index(tuple(grid.index(place)), grid.shape))
    if not 0 < level[start] < np.inf:
        return None
    front = np.array([start], np.int64)
    found = [front]
    before = front[:0]
    while len(front):
        near = distinct((front[:, None] + offsets).reshape(-1))
        near = near[level[near] > 0]
        away = space.points(near) - place
        near = near[(np.abs(away @ normal) <= thick)]
        if np.any(np.isinf(level[near])) or np.any(np.abs(away) > reach):
            return None
        # Points next to the front are in it, in the one before, or new.
        near = distinct_but(near, np.concatenate([front, before]))
        before, front = front, near
        found.append(near)
    return np.sort(np.concatenate(found))


def _widest(space: Space, clearance: Clearance, flat: Ints) -> float:
    """The largest ball about one of some points of the grid, mm."""
    some = flat[np.argsort(-space.distance.reshape(-1)[flat], kind="stable")[:_ASKED]]
    return 2 * float(clearance.at(space.points(some)).max())


def _crossing(
    space: Space, tail: _Tail, place: Floats, normal: Floats, section: Ints
) -> Floats | None:
    """(3,) mm, where a way runs through a section, nearest to a place; None if it does not."""
    side = (tail.point - place) @ normal
    rows = np.flatnonzero((side[:-1] < 0) != (side[1:] < 0))
    if len(rows) == 0:
        return None
    share = side[rows] / (side[rows] - side[rows + 1])
    at = tail.point[rows] + share[:, None] * (tail.point[rows + 1] - tail.point[rows])
    flat = np.ravel_multi_index(tuple(space.grid.index(at).T), space.grid.shape)
    at = at[np.isin(flat, section)]
    if len(at) == 0:
        return None
    nearest: Floats = at[np.argmin(np.linalg.norm(at - place, axis=1))]
    return nearest


def _is_one_duct(clearance: Clearance, one: Floats, two: Floats, width: float) -> bool:
    """Do two ways run through one duct at these places?"""
    apart = float(np.linalg.norm(two - one))
    if apart <= _TOGETHER * width:
        return True
    share = np.linspace(0.0, 1.0, int(apart / (_TOGETHER * width)) + 3)[:, None]
    free = 2 * clearance.at(one + share * (two - one))
    return bool(free.min() >= _UNPINCHED * min(free[0], free[-1]))


def _parts(space: Space, section: Ints, members: list[int]) -> bool:
    """Is a chamber parted from the outside without some points of the grid?"""
    from scipy.ndimage import label

    free = ~space.raster.solid
    free.reshape(-1)[section] = False
    piece = label(free)[0].reshape(-1)
    # A grid around a hollow may show the outside in several pieces.
    is_outside = np.zeros(int(piece.max()) + 1, bool)
    is_outside[piece[np.isinf(space.distance.reshape(-1))]] = True
    tops = space.chambers.top[[one for one in members if one != OUTSIDE]]
    return bool(len(tops)) and not bool(is_outside[piece[tops]].any())


def _measured(space: Space, clearance: Clearance, section: _Section) -> Throat:
    """The narrowest place of a duct from a section on."""
    pitch = space.grid.pitch
    bound = pitch * (2 * float(space.distance.reshape(-1)[section.flat].max()) + GRID_DOUBT)
    return narrowest(clearance, section.point, pitch, bound)
