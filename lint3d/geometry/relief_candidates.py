"""Can a surface carry anything in relief at all?

What is raised has a foot of concave edges that runs round it; what is sunk has a convex rim and,
inside it, concave edges that are no mere straight lines. A plate with holes through it has sharp
edges of both kinds, but its concave ones are the straight lines down the walls of its holes: it is
left before anything else is done. The answer errs towards yes. What it does not see: straight
grooves with flat floors that run out on a convex drum, for no character is made of those alone.
Lengths in mm, angles in radians. Guarded by tests/geometry/test_relief_candidates.py.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lint3d.geometry.components import connected_groups
from lint3d.geometry.facet_turns import FacetTurns, facet_turns
from lint3d.geometry.relief_plain import all_are_plain
from lint3d.geometry.topology import EdgeTable
from lint3d.geometry.vectors import cross_product

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

#: Edges that turn by less are flat.
FLAT = np.radians(0.5)
#: An edge that turns by less than `SHARP`, on a surface that bends less tightly than this, is no
#: crease for any of the limits in `relief_islands.py` (20 degrees, 2.5 mm), with room to spare; nor
#: is one that turns by less than `LEAST` (a fillet in 45 facets; their least is 3 degrees).
SHARP, BEND_MM, LEAST = np.radians(15.0), 4.0, np.radians(2.0)
#: Lines of edges that stray less than this from a straight one enclose nothing, mm.
STRAIGHT_MM = 0.02


@dataclass(frozen=True, eq=False)
class _TurningEdges:
    """The edges of a surface that turn."""

    ends: Ints
    """(e, 2) their vertices"""
    turn: Floats
    """(e,) angle between the normals, positive where the surface is convex"""
    width: Floats
    """(e,) how far the narrower facet reaches from the edge, mm"""
    is_whole: bool
    """Is every edge of the surface shared by two facets that agree?"""


def may_have_relief(
    vertices: Floats, faces: Ints, table: EdgeTable, turns: FacetTurns | None = None
) -> bool:
    """Is there an edge line that can be the foot of something raised, or a hollow with a rim?

    Parameters
    ----------
    vertices : (n, 3) mm
    faces : (m, 3), looking out of the material
    table : EdgeTable of `faces`
    turns : FacetTurns of them, where they are known

    Returns
    -------
    bool : True where the surface is open or badly wound and has any creases of both kinds
    """
    edges = _turning_edges(vertices, table, turns or facet_turns(vertices, faces, table))
    concave, convex = edges.turn < 0, edges.turn > 0
    if not concave.any() or not convex.any():
        return False
    angle = np.abs(edges.turn)
    sharp = (angle >= SHARP) | ((angle >= LEAST) & (edges.width <= BEND_MM * angle))
    if not sharp.any():
        return False
    if not edges.is_whole:
        return True
    return has_bent_line(vertices, edges.ends[concave & sharp]) or (
        bool((convex & sharp).any()) and has_bent_line(vertices, edges.ends[concave])
    )


def is_plain(
    vertices: Floats,
    faces: Ints,
    table: EdgeTable,
    step_mm: float,
    turns: FacetTurns | None = None,
) -> bool:
    """Has it bosses, holes and pads of convex outline alone, which are no marking?

    Parameters
    ----------
    vertices, faces, table, turns : as in `may_have_relief`
    step_mm : what rounding of coordinates can do to a distance

    Returns
    -------
    bool : False where it is open or badly wound, or not sure
    """
    edges = _turning_edges(vertices, table, turns or facet_turns(vertices, faces, table))
    return edges.is_whole and all_are_plain(vertices, edges.ends, edges.turn < 0, step_mm)


def _turning_edges(vertices: Floats, table: EdgeTable, turns: FacetTurns) -> _TurningEdges:
    turning = np.flatnonzero(turns.gap2 > (2 * np.sin(FLAT / 2)) ** 2)
    edges = turns.edges[turning]
    ends, one, two = table.ends[edges], turns.one[turning], turns.two[turning]
    along = vertices[ends[:, 1]] - vertices[ends[:, 0]]
    # The first face runs from the lower to the higher vertex, unless it says else.
    along[table.is_reverse[table.start[edges]]] *= -1
    a, b = turns.normal[one], turns.normal[two]
    angle = 2 * np.arctan2(np.linalg.norm(a - b, axis=1), np.linalg.norm(a + b, axis=1))
    is_convex = np.einsum("ij,ij->i", cross_product(a, b), along) >= 0
    length = np.maximum(np.linalg.norm(along, axis=1), 1e-300)
    width = np.minimum(turns.twice[one], turns.twice[two]) / length
    return _TurningEdges(
        ends.astype(np.int64), np.where(is_convex, angle, -angle), width, turns.is_whole
    )


def has_bent_line(vertices: Floats, ends: Ints) -> bool:
    """Do any edges that hang together stray from a straight line?

    Parameters
    ----------
    vertices : (n, 3) mm
    ends : (e, 2) vertices of the edges

    Examples
    --------
    >>> corner = np.array([[0.0, 0, 0], [1, 0, 0], [1, 1, 0]])
    >>> has_bent_line(corner, np.array([[0, 1], [1, 2]]))
    True
    >>> has_bent_line(corner, np.array([[0, 1]]))
    False
    """
    if not len(ends):
        return False
    used, local = np.unique(ends, return_inverse=True)
    local = local.reshape(-1, 2)
    line = connected_groups(len(used), local[:, 0], local[:, 1])
    points = vertices[used]
    # Groups are numbered by their first member.
    start = points[np.unique(line, return_index=True)[1]][line]
    arm = points - start
    far = np.linalg.norm(arm, axis=1)
    order = np.lexsort((far, line))
    last = order[np.flatnonzero(np.diff(line[order], append=-1))]
    way = arm[last] / np.maximum(far[last], 1e-300)[:, None]
    aside = np.linalg.norm(cross_product(arm, way[line]), axis=1)
    return bool((aside > STRAIGHT_MM).any())
