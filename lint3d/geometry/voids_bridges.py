"""Which pockets have a single way out?

An opening that every way leads through is a bridge of the graph of chambers. One gap may lead out
of several chambers, as round a pin that parts a room into corners: that is one opening, too.
Lengths in mm. Guarded by tests/geometry/test_voids_bridges.py.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from lint3d.geometry.throats import Throat
from lint3d.geometry.throats_clearance import Clearance
from lint3d.geometry.voids_gap import as_wide_as, narrow_places, parts_of_gaps
from lint3d.geometry.voids_model import OUTSIDE, Pocket

if TYPE_CHECKING:
    import networkx as nx

#: Parts of one gap are no wider than this times each other: corners are wider than sides.
_ALIKE = 1.25
#: Openings that are asked at most whether they are one gap; and gaps that are walked at most.
_MOST_PARTS, _MOST_WALKED = 24, 12

Edge = tuple[int, int, int]


def bridges_of(graph: nx.MultiGraph) -> set[tuple[int, int]]:
    """Pairs of nodes, the lower first, that hang together by a single opening."""
    import networkx as nx

    simple = nx.Graph(graph)
    return {
        (min(pair), max(pair)) for pair in nx.bridges(simple) if graph.number_of_edges(*pair) == 1
    }


def with_shared_gaps(
    graph: nx.MultiGraph,
    pockets: list[Pocket],
    clearance: Clearance,
    limits: tuple[float, ...] = (),
) -> list[Pocket]:
    """The pockets, those with their bridge that lead out through a gap which others share.

    Parameters
    ----------
    graph, pockets : from `voids_ways.find_pockets`
    limits : mm, near which widths are known closely
    """
    behind: list[tuple[list[Edge], set[int]]] = []
    asked: set[Edge] = set()
    walked = 0
    for pocket in pockets:
        for hop in pairwise(pocket.way_nodes):
            edge = widest_edge(graph, *hop)
            parts = _alike(graph, edge)
            if edge in asked or not 1 < len(parts) <= _MOST_PARTS:
                continue
            if walked == _MOST_WALKED or not cut_off(graph, parts):
                continue
            asked.update(parts)
            walked += 1
            gaps = _gaps(graph, clearance, parts, limits)
            behind += [(gap, cut_off(graph, gap)) for gap in gaps if len(gap) > 1]
    return [_with_bridge(graph, pocket, behind) for pocket in pockets]


def _with_bridge(
    graph: nx.MultiGraph, pocket: Pocket, behind: Sequence[tuple[list[Edge], set[int]]]
) -> Pocket:
    bridge = pocket.bridge
    for gap, nodes in behind:
        if pocket.node in nodes:
            throat = max((_throat(graph, edge) for edge in gap), key=lambda one: one.diameter)
            upper = max(_throat(graph, edge).upper for edge in gap)
            if bridge is None or throat.diameter < bridge.diameter:
                bridge = replace(throat, upper=upper)
    return replace(pocket, bridge=bridge)


def _throat(graph: nx.MultiGraph, edge: Edge) -> Throat:
    throat: Throat = graph.edges[edge]["throat"]
    return throat


def widest_edge(graph: nx.MultiGraph, one: int, two: int) -> Edge:
    """The widest opening that is known between two nodes, the lower of which comes first."""
    edges = graph[one][two]
    key = max(edges, key=lambda key: (edges[key]["lower"], edges[key]["diameter"]))
    return min(one, two), max(one, two), key


def _alike(graph: nx.MultiGraph, edge: Edge) -> list[Edge]:
    """Openings about as wide as one, itself among them."""
    width = graph.edges[edge]["diameter"]
    return [
        (min(one, two), max(one, two), key)
        for one, two, key, data in graph.edges(keys=True, data=True)
        if data["lower"] > 0 and width / _ALIKE < data["diameter"] < width * _ALIKE
    ]


def cut_off(graph: nx.MultiGraph, edges: Sequence[Edge]) -> set[int]:
    """Nodes from which nothing leads outside but some edges."""
    import networkx as nx

    rest = nx.Graph(nx.restricted_view(graph, [], edges))
    return set(graph) - set(nx.node_connected_component(rest, OUTSIDE))


def _gaps(
    graph: nx.MultiGraph, clearance: Clearance, edges: list[Edge], limits: tuple[float, ...]
) -> list[list[Edge]]:
    """The same openings, those of one gap together."""
    throats = [_throat(graph, edge) for edge in edges]
    width = max(throat.diameter for throat in throats)
    widest = as_wide_as(throats, limits)
    places = [narrow_places(throat, widest * width) for throat in throats]
    owner = np.repeat(np.arange(len(edges)), [len(some) for some in places])
    gap = parts_of_gaps(clearance, np.vstack(places), width / 2, owner, widest)
    return [
        [edges[row] for row in np.flatnonzero(gap == number).tolist()]
        for number in np.unique(gap).tolist()
    ]
