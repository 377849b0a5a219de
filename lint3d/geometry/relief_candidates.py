"""Can a surface carry anything in relief at all?

What is raised has a foot of concave edges that runs round it; what is sunk has a convex rim and,
inside it, concave edges that are no mere straight lines. A plate with holes through it has sharp
edges of both kinds, but its concave ones are the straight lines down the walls of its holes: it is
left before anything else is done. The answer errs towards yes. What it does not see: straight
grooves with flat floors that run out on a convex drum, for no character is made of those alone.
Lengths in mm, angles in radians. Guarded by tests/geometry/test_relief_candidates.py.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lint3d.geometry.components import connected_groups
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


def may_have_relief(
    vertices: Floats, faces: Ints, table: EdgeTable, step_mm: float = 0.0, *, plain: bool = True
) -> bool:
    """Is there an edge line that can be the foot of something raised, or a hollow with a rim?

    Parameters
    ----------
    vertices : (n, 3) mm
    faces : (m, 3), looking out of the material
    table : EdgeTable of `faces`
    step_mm : what rounding of coordinates can do to a distance
    plain : are bosses, holes and pads of convex outline wanted as well, which are no marking?

    Returns
    -------
    bool : True where the surface is open or badly wound and has any creases of both kinds
    """
    ends, turn, width, is_whole = _turning_edges(vertices, faces, table)
    concave, convex = turn < 0, turn > 0
    if not concave.any() or not convex.any():
        return False
    angle = np.abs(turn)
    sharp = (angle >= SHARP) | ((angle >= LEAST) & (width <= BEND_MM * angle))
    if not sharp.any():
        return False
    if not is_whole:
        return True
    may = has_bent_line(vertices, ends[concave & sharp]) or (
        bool((convex & sharp).any()) and has_bent_line(vertices, ends[concave])
    )
    return may and (plain or not all_are_plain(vertices, ends, concave, step_mm))


def _turning_edges(
    vertices: Floats, faces: Ints, table: EdgeTable
) -> tuple[Ints, Floats, Floats, bool]:
    """Ends, signed turn (convex positive) and width of the narrower face of edges that turn.

    Last: is every edge shared by two faces that agree?
    """
    first = table.start[:-1]
    sound = table.users() == 2
    sound[sound] = table.is_reverse[first[sound]] != table.is_reverse[first[sound] + 1]
    is_whole = bool(sound.all())
    row = first if is_whole else first[sound]
    ends = table.ends if is_whole else table.ends[sound]
    use = table.use[row]
    one, two = use // 3, table.use[row + 1] // 3
    normal, twice = _normals(vertices, faces)
    gap = normal[one]
    gap -= normal[two]
    turns = np.einsum("ij,ij->i", gap, gap) > (2 * np.sin(FLAT / 2)) ** 2
    ends, use, one, two = ends[turns], use[turns], one[turns], two[turns]
    along = vertices[ends[:, 1]] - vertices[ends[:, 0]]
    # The first face runs from the lower to the higher vertex, unless it says else.
    along[table.is_reverse[row][turns]] *= -1
    a, b = normal[one], normal[two]
    angle = 2 * np.arctan2(np.linalg.norm(a - b, axis=1), np.linalg.norm(a + b, axis=1))
    is_convex = np.einsum("ij,ij->i", cross_product(a, b), along) >= 0
    length = np.maximum(np.linalg.norm(along, axis=1), 1e-300)
    width = np.minimum(twice[one], twice[two]) / length
    return ends.astype(np.int64), np.where(is_convex, angle, -angle), width, is_whole


def _normals(vertices: Floats, faces: Ints) -> tuple[Floats, Floats]:
    """Unit normals, and twice the areas."""
    a = vertices[faces[:, 0]]
    u, v = vertices[faces[:, 1]], vertices[faces[:, 2]]
    u -= a
    v -= a
    normal = np.empty_like(a)
    for k in range(3):
        i, j = (k + 1) % 3, (k + 2) % 3
        normal[:, k] = u[:, i] * v[:, j] - u[:, j] * v[:, i]
    twice = np.sqrt(np.einsum("ij,ij->i", normal, normal))
    normal /= np.where(twice > 0, twice, 1.0)[:, None]
    return normal, twice


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
