"""How far from the outside does a pocket lie?

Along the shortest of the ways that are nearly as wide as the widest: in a lattice very many ways
are alike, and the widest by a hair may wind through all of it. Lengths in mm. Guarded by
tests/plugins/test_drain_distances.py.
"""

from __future__ import annotations

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
    from lint3d.geometry.voids_model import Pocket

    Floats = NDArray[np.float64]

#: A way counts as wide as the widest if its narrowest place is no narrower than this times that
#: one's. common practice, no source
AS_WIDE = 0.9
#: The outside's node.
_OUTSIDE = 0


def far_places(hollow: Hollow) -> list[tuple[int, Place]]:
    """For each neck the place of the deepest pocket behind it, with its connected hollow."""
    found = []
    for neck in necks(hollow, lambda pocket: pocket.throat):
        depths = distances_behind(hollow, neck)
        far = max(neck.pockets, key=lambda pocket: depths[pocket.node][0])
        found.append((neck.system, _far_place(neck, far, *depths[far.node])))
    return found


def distances_behind(hollow: Hollow, neck: Neck) -> dict[int, tuple[float, Floats, Floats]]:
    """For each pocket behind a neck: distance mm, way (n, 3) mm and the widths along it (n,)."""
    import networkx as nx  # here: it is slow to import, and few parts have hollows

    graph = hollow.voids.graph
    assert graph is not None
    wide = AS_WIDE * neck.throat.lower
    simple = nx.Graph()
    simple.add_nodes_from(graph)
    for one, two, data in graph.edges(data=True):
        if data["diameter"] < wide:
            continue
        way = _way_of(data["throat"], data["source"], _OUTSIDE in (one, two))
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


def _way_of(throat: Throat, source: int, leads_out: bool) -> tuple[Floats, Floats]:
    """Points and widths of the way of an opening, without what lies past its mouth outside.

    Where a way is surely outside is a matter of the grid.
    """
    point, width = throat.way.point, throat.way.width
    narrow = np.flatnonzero(width <= MUCH_WIDER * throat.diameter)
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
        f"A pocket lies {depth:.4g} mm from the outside along the shortest wide way.",
        depth_mm=depth,
    )
    place.position = far.position
    place.path = steps_along(far, way, width)
    return place
