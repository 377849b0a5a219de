"""Which further ways between chambers does the grid hide?

Whether a fine opening shows on a grid hangs on how the grid lies. Where all that is known of a way
out is one opening, or one so narrow that a hidden one may be wider, the surface is searched for
faces that lead past it. Lengths in mm. Guarded by tests/geometry/test_voids_narrow.py.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from lint3d.geometry.chambers import neighbours
from lint3d.geometry.throats import Throat
from lint3d.geometry.throats_clearance import Clearance
from lint3d.geometry.throats_route import unit
from lint3d.geometry.voids_bridges import bridges_of
from lint3d.geometry.voids_crossings import Crossings
from lint3d.geometry.voids_model import OUTSIDE
from lint3d.geometry.voids_narrow import follow
from lint3d.geometry.voids_openings import GRID_DOUBT, NARROW, Contact, is_one_passage, sees_across
from lint3d.geometry.voids_space import Space
from lint3d.geometry.voids_tight import largest_balls
from lint3d.geometry.voids_walls import Surface, Walls
from lint3d.geometry.voids_ways import CRUMB

if TYPE_CHECKING:
    import networkx as nx

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

#: Pieces of free space between which further ways are looked for, and ways that are followed.
_MOST_PIECES, _MOST_FOLLOWED = 24, 24
#: Places of a group that are looked at from the ways that are known.
_MOST_LOOKED_AT = 24
#: Places this near to where the grid shows an opening are part of it, voxels.
_BESIDE = 3.0


def find_second_ways(
    surface: Surface,
    space: Space,
    clearance: Clearance,
    graph: nx.MultiGraph,
    limits: tuple[float, ...] = (),
) -> list[tuple[Contact, Throat]]:
    """Openings that the grid does not show, besides those it shows.

    Parameters
    ----------
    graph : from `voids_ways.find_pockets`; its nodes name the chambers they are made of
    """
    pieces = _pieces(graph, space.grid.pitch)
    if len(pieces) < 2:
        return []
    piece_of = np.full(len(space.chambers.peak), -1, np.int64)
    for number, nodes in enumerate(pieces):
        for node in nodes:
            piece_of[graph.nodes[node]["members"]] = number
    nearest = Clearance(surface.vertices, surface.faces)
    walls = Walls(surface, space, nearest, piece_of, range(len(pieces)))
    known = [data["throat"] for _, _, data in graph.edges(data=True)]
    shown = _shown(walls, piece_of, known)
    found: list[tuple[Contact, Throat]] = []
    crossings: dict[int, Crossings] = {}
    for piece in range(1, len(pieces)):
        crossings.clear()
        for places, other in walls.necks(piece, piece)[:_MOST_FOLLOWED]:
            if not _is_hidden(places, shown, space.grid.pitch):
                continue
            if any(_lies_beside(clearance, places, throat) for throat in known):
                continue
            if other not in crossings:
                crossings[other] = Crossings(clearance, space, piece_of, (piece, other))
                for throat in known:
                    crossings[other].leads(throat)
            if crossings[other].is_known(places):
                continue
            between = piece, other
            one = follow(surface, walls, clearance, between, places, limits, crossings[other])
            if one is None or one[1].lower <= 0:
                continue
            crossings[other].leads(one[1], places)
            if not any(is_one_passage(clearance, one[1], throat) for throat in known):
                known.append(one[1])
                found.append(one)
    return found


def _pieces(graph: nx.MultiGraph, pitch: float) -> list[set[int]]:
    """Nodes joined by more than one opening, none of them narrower than a hidden one may be.

    The outside's piece comes first, the others by falling volume.
    """
    import networkx as nx

    bridges = bridges_of(graph)
    for hidden_width in (GRID_DOUBT * pitch, 0.0):
        firm = nx.Graph()
        firm.add_nodes_from(graph)
        firm.add_edges_from(
            (one, two)
            for one, two, data in graph.edges(data=True)
            if (min(one, two), max(one, two)) not in bridges and data["diameter"] > hidden_width
        )
        pieces = [
            piece
            for piece in nx.connected_components(firm)
            if sum(graph.nodes[node]["volume"] for node in piece) >= CRUMB * pitch**3
        ]
        if len(pieces) <= _MOST_PIECES:
            break
    pieces.sort(key=lambda piece: (-sum(graph.nodes[node]["volume"] for node in piece), min(piece)))
    outside = [piece for piece in pieces if OUTSIDE in piece]
    others = [piece for piece in pieces if OUTSIDE not in piece]
    return (outside + others)[:_MOST_PIECES]


def _shown(walls: Walls, piece_of: Ints, known: list[Throat]) -> list[tuple[cKDTree, float]]:
    """Points at openings that are known, and how far from them places are part of these."""
    space = walls.space
    pitch = space.grid.pitch
    chamber = np.append(space.chambers.of_basin, -1)
    piece = np.append(piece_of, -1)[chamber]
    label = space.basins.label.reshape(-1)
    beside = piece[label[walls.row[:, None] + neighbours(space.grid.shape)]]
    at_border = np.any((beside >= 0) & (beside != walls.part[:, None]), axis=1)
    found = [(cKDTree(walls.point[at_border]), _BESIDE * pitch)] if at_border.any() else []
    for throat in known:
        narrow = throat.way.width <= NARROW * max(throat.diameter, float(throat.way.width.min()))
        found.append((cKDTree(throat.way.point[narrow]), throat.diameter / 2 + 1.5 * pitch))
    return found


def _is_hidden(places: Floats, shown: list[tuple[cKDTree, float]], pitch: float) -> bool:
    """Do places lie apart from every opening that is known?"""
    return not any(np.min(tree.query(places)[0]) < reach for tree, reach in shown)


def _lies_beside(clearance: Clearance, places: Floats, throat: Throat) -> bool:
    """Is the space in front of places seen straight across from a way that is known?

    So it is in the arms of a cross: no other way leads through them, and following one takes long.
    """
    if throat.lower <= 0:
        return False
    point = places[:: len(places) // _MOST_LOOKED_AT + 1]
    corner = clearance.corners[clearance.nearest(point)[1]]
    normal = unit(np.cross(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0]))
    radius = largest_balls(clearance, point, normal, throat.diameter)
    # Beside edges there is little room, and it tells little.
    roomy = radius >= np.median(radius)
    return all(
        sees_across(clearance, point[row] + radius[row] * normal[row], 2 * radius[row], throat)
        for row in np.flatnonzero(roomy).tolist()
    )
