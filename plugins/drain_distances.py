"""How far from the outside does a pocket lie?

Along the shortest of the ways that are nearly as wide as the widest: in a lattice very many ways
are alike, and the widest by a hair may wind through all of it. A pocket that keeps its width over a
length or an area is as far as the farthest of its widest places. Lengths in mm. Guarded by
tests/plugins/test_drain_distances.py.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from lint3d import Place
from lint3d_plugins.drain_hollows import Hollow
from lint3d_plugins.drain_necks import necks
from lint3d_plugins.drain_places import MUCH_WIDER, Neck, neck_place, steps_along

if TYPE_CHECKING:
    import networkx as nx
    from numpy.typing import NDArray

    from lint3d.geometry.throats import Throat
    from lint3d.geometry.voids_far import Surroundings
    from lint3d.geometry.voids_model import Pocket

    Floats = NDArray[np.float64]

#: A way counts as wide as the widest if its narrowest place is no narrower than this times that
#: one's. common practice, no source
AS_WIDE = 0.9
#: The outside's node.
_OUTSIDE = 0
#: A pocket of more volume than this times its largest ball's may keep its width (a cube has 1.9).
_LONG = 2.5
#: What a pocket is as far as the farthest of, mm: distance, way (n, 3), widths along it (n,).
Far = tuple[float, "Floats", "Floats"]


def far_places(hollow: Hollow) -> list[tuple[int, Place]]:
    """For each neck the place of the deepest pocket behind it, with its connected hollow."""
    from lint3d.geometry.voids_far import Surroundings

    found = []
    hull = None
    for neck in necks(hollow, lambda pocket: pocket.throat):
        hull = hull or Surroundings(hollow.group.vertices)
        depths = distances_behind(hollow, neck, hull)
        # Distances of the rest are those of some of their widest places.
        asked = {
            max(neck.pockets, key=lambda pocket: depths[pocket.node][0]),
            max(neck.pockets, key=lambda pocket: pocket.volume),
        }
        fars = [(_to_the_end(hollow, neck, one, depths[one.node]), one) for one in asked]
        far, pocket = max(fars, key=lambda pair: (pair[0][0], pair[1].node))
        found.append((neck.system, _far_place(neck, pocket, *far)))
    return found


def _to_the_end(hollow: Hollow, neck: Neck, pocket: Pocket, known: Far) -> Far:
    """The distance of the farthest of the widest places of a pocket."""
    from lint3d.geometry.voids_far import farthest_place, widest_places

    clearance, graph = hollow.voids.clearance, hollow.voids.graph
    assert clearance is not None
    assert graph is not None
    _, way, width = known
    if pocket.volume <= _LONG * np.pi / 6 * pocket.diameter**3 or len(way) < 2:
        return known
    for space in hollow.spaces():
        if any(one is pocket for owners in hollow.members(space).values() for one in owners):
            places = widest_places(space, np.array(graph.nodes[pocket.node]["members"]))
            least = AS_WIDE * neck.throat.lower / 2
            radius = clearance.at(places)
            return farthest_place(way, width, hollow.to_file(places), radius, least)
    return known


def distances_behind(
    hollow: Hollow, neck: Neck, hull: Surroundings | None = None
) -> dict[int, Far]:
    """For each pocket behind a neck: distance mm, way (n, 3) mm and the widths along it (n,).

    Parameters
    ----------
    hull : of all bodies; what lies beyond it is outside
    """
    import networkx as nx  # here: it is slow to import, and few parts have hollows

    graph = hollow.voids.graph
    assert graph is not None
    wide = AS_WIDE * neck.throat.lower
    simple = nx.Graph()
    simple.add_nodes_from(graph)
    for one, two, data in graph.edges(data=True):
        if data["diameter"] < wide:
            continue
        way = _way_of(data["throat"], data["source"], _OUTSIDE in (one, two), hull)
        length = _length(way[0])
        if not simple.has_edge(one, two) or length < simple[one][two]["length"]:
            simple.add_edge(one, two, length=length, way=way, source=data["source"])
    far, ways = nx.single_source_dijkstra(simple, _OUTSIDE, weight="length")
    return {
        pocket.node: (far[pocket.node], *_line(simple, ways[pocket.node][::-1]))
        if pocket.node in far
        else (pocket.depth, pocket.way, pocket.way_width)
        for pocket in neck.pockets
    }


def _line(simple: nx.Graph, nodes: list[int]) -> tuple[Floats, Floats]:
    """The points and widths of a way from a pocket to the outside."""
    points, widths = [], []
    for one, two in zip(nodes[:-1], nodes[1:], strict=True):
        point, width = simple[one][two]["way"]
        forward = simple[one][two]["source"] == one
        points.append(point if forward else point[::-1])
        widths.append(width if forward else width[::-1])
    return np.concatenate(points), np.concatenate(widths)


def _way_of(
    throat: Throat, source: int, leads_out: bool, hull: Surroundings | None
) -> tuple[Floats, Floats]:
    """Points and widths of the way of an opening, without what lies past its mouth outside.

    Where a way is surely outside is a matter of the grid; from there it may run back to the part.
    """
    point, width = throat.way.point, throat.way.width
    narrow = np.flatnonzero(width <= MUCH_WIDER * throat.diameter)
    if hull is not None and leads_out:
        narrow = narrow[hull.hold(point[narrow])]
    if not leads_out or len(narrow) == 0:
        return point, width
    rows = slice(int(narrow[0]), None) if source == _OUTSIDE else slice(int(narrow[-1]) + 1)
    return point[rows], width[rows]


def _length(way: Floats) -> float:
    return float(np.linalg.norm(np.diff(way, axis=0), axis=1).sum())


def _far_place(neck: Neck, far: Pocket, depth: float, way: Floats, width: Floats) -> Place:
    doubt = far.diameter / 2 + neck.hollow.voids.pitch
    rest = tuple(one for one in neck.pockets if one is not far)
    place = neck_place(
        Neck(neck.hollow, neck.throat, (far, *rest)),
        (depth, max(depth - doubt, 0.0), depth + doubt),
        f"A pocket reaches {depth:.4g} mm in from the outside along the shortest wide way.",
        depth_mm=depth,
    )
    if len(way):
        far = replace(far, position=way[0], diameter=float(width[0]))
    place.position = far.position
    place.path = steps_along(far, way, width)
    return place
