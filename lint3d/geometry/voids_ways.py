"""How does each pocket lead to the outside?

Chambers and openings form a graph. The widest way out runs along its maximum spanning tree. Lengths
in mm. Guarded by tests/geometry/test_voids.py.
"""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from lint3d.geometry.chambers import MERGE_RATIO
from lint3d.geometry.throats import Throat
from lint3d.geometry.throats_clearance import Clearance
from lint3d.geometry.throats_series import in_series
from lint3d.geometry.voids_bridges import bridges_of
from lint3d.geometry.voids_model import OUTSIDE, Opening, Pocket
from lint3d.geometry.voids_openings import Contact, is_one_passage
from lint3d.geometry.voids_space import Space

if TYPE_CHECKING:
    import networkx as nx

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

#: Points on the wall of a pocket that are looked up to name its faces.
_WALL_POINTS = 300
#: Where there are more pockets than this, fewer points do for each.
_MANY, _FEW_WALL_POINTS = 40, 60
#: Openings between two chambers that are compared with one another at most.
_MOST_BESIDE = 24
#: Smaller hollows are noise in tight gaps, grid points.
CRUMB = 25


def find_pockets(
    space: Space, clearance: Clearance, openings: list[tuple[Contact, Throat]], high: float
) -> tuple[nx.MultiGraph, list[Pocket]]:
    """Graph of chambers and openings, and the pockets with their ways out.

    Returns
    -------
    graph, and pockets by falling volume; chambers that no opening leads out of are in neither
    """
    graph = _graph(space, clearance, openings)
    _put_together(graph)
    _leave_out_doubles(graph, clearance)
    _add_volumes(graph, space)
    ways = _widest_ways(graph, "diameter")
    most = _widest_ways(graph, "upper")
    bridges = bridges_of(graph)
    walls = _Walls(space, clearance, len(ways))
    pockets = []
    for node in sorted(ways):
        if node == OUTSIDE or graph.nodes[node]["volume"] < CRUMB * space.grid.pitch**3:
            continue
        nodes = ways[node][::-1]
        pocket = _pocket(walls, graph, nodes, bridges)
        # Another way that is known less well may be wider.
        upper = min(
            max(edge["upper"] for edge in graph[one][two].values())
            for one, two in pairwise(most[node])
        )
        pockets.append(replace(pocket, throat=replace(pocket.throat, upper=upper)))
    return graph, sorted(pockets, key=lambda pocket: (-pocket.volume, *pocket.position))


def put_side_by_side(
    found: list[tuple[nx.MultiGraph, list[Pocket]]],
) -> tuple[nx.MultiGraph, list[Pocket]]:
    """One graph of several that share nothing but the outside; nodes are numbered on."""
    import networkx as nx

    whole = nx.MultiGraph()
    whole.add_node(OUTSIDE, position=None, diameter=float("inf"), volume=float("inf"))
    pockets: list[Pocket] = []
    first = 0
    for graph, some in found:
        number = {node: node + first if node != OUTSIDE else OUTSIDE for node in graph}
        for _, _, data in graph.edges(data=True):
            data["source"] = number[data["source"]]
            data["length"] = data["throat"].length
        whole.update(nx.relabel_nodes(graph, number))
        pockets += [_renumbered(pocket, number) for pocket in some]
        first = max([first, *number.values()])
    return whole, sorted(pockets, key=lambda pocket: (-pocket.volume, *pocket.position))


def _renumbered(pocket: Pocket, number: dict[int, int]) -> Pocket:
    return replace(
        pocket,
        node=number[pocket.node],
        openings=tuple(replace(one, to=number[one.to]) for one in pocket.openings),
        way_nodes=tuple(number[node] for node in pocket.way_nodes),
    )


def _graph(
    space: Space, clearance: Clearance, openings: list[tuple[Contact, Throat]]
) -> nx.MultiGraph:
    import networkx as nx

    graph = nx.MultiGraph()
    graph.add_node(OUTSIDE, position=None, diameter=float("inf"), members=[OUTSIDE])
    for node in sorted({end for contact, _ in openings for end in contact.chambers} - {OUTSIDE}):
        top = space.points(space.chambers.top[node])
        graph.add_node(
            node,
            position=tuple(top.tolist()),
            diameter=2 * float(clearance.at(top[None])[0]),
            members=[node],
        )
    for contact, throat in openings:
        graph.add_edge(*contact.chambers, **_facts(throat, contact.chambers[0]))
    return graph


def _facts(throat: Throat, source: int) -> dict[str, Any]:
    """What an edge tells: its throat, seen from one of its nodes."""
    return {
        "throat": throat,
        "source": source,
        "diameter": throat.diameter,
        "lower": throat.lower,
        "upper": throat.upper,
        "position": tuple(throat.position.tolist()),
    }


def _put_together(graph: nx.MultiGraph) -> None:
    """Join chambers that the grid told apart and the exact widths do not.

    From the widest opening down, as on the grid: where the narrower of the two is less than
    `MERGE_RATIO` wider than the opening between them, they are one. Ways that ended in one of them
    run on to where the whole begins: to its widest place, or to the outside.
    """
    import networkx as nx

    edges = sorted(
        graph.edges(keys=True, data="diameter"), key=lambda edge: (-edge[3], edge[0], edge[1])
    )
    leader = {node: node for node in graph}
    within = nx.Graph()
    within.add_nodes_from(graph)
    middle = {node: node for node in graph}

    def find(node: int) -> int:
        while leader[node] != node:
            node = leader[node]
        return node

    for one, two, key, width in edges:
        low, high = sorted((find(one), find(two)))
        narrower = min(graph.nodes[low]["diameter"], graph.nodes[high]["diameter"])
        if low != high and narrower < MERGE_RATIO * width:
            leader[high] = low
            within.add_edge(one, two, **graph.edges[one, two, key])
            if graph.nodes[high]["diameter"] > graph.nodes[low]["diameter"]:
                graph.nodes[low].update(
                    {name: graph.nodes[high][name] for name in ("diameter", "position")}
                )
                middle[low] = middle[high]
            graph.nodes[low]["members"] += graph.nodes[high]["members"]
    for one, two, key, data in list(graph.edges(keys=True, data=True)):
        ends = find(one), find(two)
        if ends != (one, two) or (middle[ends[0]], middle[ends[1]]) != (one, two):
            graph.remove_edge(one, two, key)
            if ends[0] != ends[1]:
                first = data["source"]
                last = two if first == one else one
                start, stop = middle[find(first)], middle[find(last)]
                throat = _run_on(within, start, (first, data["throat"], last), stop)
                graph.add_edge(*ends, **_facts(throat, find(first)))
    graph.remove_nodes_from([node for node in list(graph) if find(node) != node])


def _leave_out_doubles(graph: nx.MultiGraph, clearance: Clearance) -> None:
    """Of openings between two chambers that are one passage keep the widest.

    A chamber that was put together with one of them may have stood inside the passage: then a way
    leads through it, and another past it.
    """
    for one, two in sorted({(min(pair), max(pair)) for pair in graph.edges()}):
        edges = graph[one][two]
        known = [key for key in edges if edges[key]["lower"] > 0]
        if not 1 < len(known) <= _MOST_BESIDE:
            continue
        kept: list[Throat] = []
        for key in sorted(known, key=lambda key: (-edges[key]["lower"], key)):
            throat = edges[key]["throat"]
            if any(is_one_passage(clearance, throat, other) for other in kept):
                graph.remove_edge(one, two, key)
            else:
                kept.append(throat)


def _run_on(within: nx.Graph, start: int, opening: tuple[int, Throat, int], stop: int) -> Throat:
    """An opening with the ways to it inside what was put together, from and to the middles.

    Parameters
    ----------
    within : the openings that chambers were put together by, a forest
    opening : chamber, its opening seen from there, and the chamber behind it
    """
    import networkx as nx

    first, throat, last = opening
    before = nx.shortest_path(within, start, first)
    after = nx.shortest_path(within, last, stop)
    return in_series(
        [
            *(_seen_from(within[one][two], one) for one, two in pairwise(before)),
            throat,
            *(_seen_from(within[one][two], one) for one, two in pairwise(after)),
        ]
    )


def _widest_ways(graph: nx.MultiGraph, width: str) -> dict[int, list[int]]:
    """From the outside to each node, the nodes along the widest way by one of the widths."""
    import networkx as nx

    simple = nx.Graph()
    simple.add_nodes_from(graph)
    for one, two, data in graph.edges(data=True):
        if not simple.has_edge(one, two) or simple[one][two][width] < data[width]:
            simple.add_edge(one, two, **{width: data[width]})
    ways: dict[int, list[int]] = nx.single_source_shortest_path(
        nx.maximum_spanning_tree(simple, weight=width), OUTSIDE
    )
    return ways


def _pocket(
    walls: _Walls,
    graph: nx.MultiGraph,
    nodes: list[int],
    bridges: set[tuple[int, int]],
) -> Pocket:
    node = nodes[0]
    hops = [widest_between(graph, one, two) for one, two in pairwise(nodes)]
    throat = min(hops, key=lambda hop: hop.diameter)
    crossed = [
        hop
        for hop, pair in zip(hops, pairwise(nodes), strict=True)
        if (min(pair), max(pair)) in bridges
    ]
    way = np.concatenate([hop.way.point for hop in hops])
    width = np.concatenate([hop.way.width for hop in hops])
    openings = [
        Opening(other, key, _seen_from(graph.edges[node, other, key], node))
        for _, other, key in graph.edges(node, keys=True)
    ]
    openings.sort(key=lambda opening: -opening.throat.diameter)
    data = graph.nodes[node]
    return Pocket(
        node,
        data["volume"],
        data["volume_lower"],
        data["volume_upper"],
        np.array(data["position"]),
        data["diameter"],
        tuple(openings),
        throat,
        way,
        width,
        tuple(nodes),
        float(np.linalg.norm(np.diff(way, axis=0), axis=1).sum()),
        min(crossed, key=lambda hop: hop.diameter) if crossed else None,
        walls.faces(data["members"]),
    )


def widest_between(graph: nx.MultiGraph, one: int, two: int) -> Throat:
    """The widest opening that is known from one chamber to another, seen from the first.

    Another that is known less well may be wider: the upper bound is that of all.
    """
    edges = graph[one][two].values()
    data = max(edges, key=lambda edge: (edge["lower"], edge["diameter"]))
    return replace(_seen_from(data, one), upper=max(edge["upper"] for edge in edges))


def _seen_from(edge: dict[str, object], node: int) -> Throat:
    """The throat of an edge with its way leading out of a node."""
    throat: Throat = edge["throat"]  # type: ignore[assignment]
    return throat if edge["source"] == node else throat.reversed()


def _add_volumes(graph: nx.MultiGraph, space: Space) -> None:
    """Volume of each chamber with bounds: half of what each point at the wall stands for."""
    label = space.basins.label.reshape(-1)
    wall = space.beside_wall
    at_wall = np.bincount(space.chambers.of_basin[label[wall]], minlength=len(space.chambers.peak))
    cell = space.grid.pitch**3
    for _, data in graph.nodes(data=True):
        members = data["members"]
        points = float(space.chambers.volume[members].sum())
        half = 0.5 * float(at_wall[members].sum())
        if OUTSIDE in members:
            points = np.inf
        data["volume"] = points * cell
        data["volume_lower"] = max(points - half, 0.0) * cell
        data["volume_upper"] = (points + half) * cell


class _Walls:
    """Points at the walls of chambers, sorted by chamber."""

    def __init__(self, space: Space, clearance: Clearance, pockets: int) -> None:
        self.space, self.clearance = space, clearance
        self.most = _WALL_POINTS if pockets <= _MANY else _FEW_WALL_POINTS
        rows = np.zeros(0, np.int64)
        if pockets > 1:
            rows = space.at_wall
        chamber = space.chambers.of_basin[space.basins.label.reshape(-1)[rows]]
        order = np.argsort(chamber, kind="stable")
        self.rows = rows[order]
        self.first = np.searchsorted(chamber[order], np.arange(len(space.chambers.peak) + 1))

    def faces(self, members: list[int]) -> Ints:
        """Some faces around chambers, those nearest to points at their wall."""
        rows = np.concatenate(
            [self.rows[self.first[one] : self.first[one + 1]] for one in sorted(members)]
        )
        if len(rows) == 0:
            return np.zeros(0, np.int64)
        step = max(len(rows) // self.most, 1)
        return np.unique(self.clearance.nearest(self.space.points(rows[::step]))[1])
