"""Which edges are there only because a smooth shape was cut into facets?

A *facet* is a set of faces in one plane, or two faces that stand for one slightly twisted quad; a
*border* is where two facets meet. A border is evidently smooth if the surface keeps turning: its
turn is at most 50 degrees, on both of its sides the facet's far border turns the same way by a like
amount, and the two facets are of like width. A box edge, a chamfer, a bend or a draft line stands
alone and is none. An octagonal prism with equal sides cannot be told from a coarse cylinder and
counts as one. Lengths in mm, angles in radians. Guarded by tests/geometry/test_smooth.py.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lint3d.geometry.components import connected_groups
from lint3d.geometry.facets import coordinate_resolution_mm, facet_heights, facet_normals
from lint3d.geometry.portions import chunks
from lint3d.geometry.shells import shell_boxes
from lint3d.geometry.topology import EdgeTable, expand_runs
from lint3d.geometry.vectors import cross_product

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

# Common practice, no source: a coarser facetting than seven or eight to the turn is a prism.
_MOST_TURN = np.radians(50.0)
# Faces that turn by less are one plane: 0.03 degrees, or what rounding does to a narrow face.
_LEAST_TURN = 5e-4
# Turns (or curvatures) of neighbouring borders are alike within this factor: a fillet that is
# tangent to its walls begins with half a turn.
_LIKE = 2.5
# Facets of one curve have like widths. Above 30 degrees a chamfered box looks like a coarse arc but
# for its widths, so they must agree better.
_LIKE_WIDTH, _LIKE_WIDTH_STEEP, _STEEP = 4.0, 1.5, np.radians(30.0)
# The last border of an arc that is tangent to a wall turns half as far as the others.
_END_OF_ARC = 0.75
# How nearly opposite two borders of a facet lie: cosine between them; 0.5 in a regular triangle.
_OPPOSITE = 0.25
# A side turned by less than this share of the others is the diagonal of a twisted quad.
_DIAGONAL = 0.35
# More borders than this: a flat area with an outline, and not a strip or cell of a curved one.
_MOST_BORDERS = 16
# Borders that cannot hide this share of the asked-for deviation are not worth a look: what the
# bound leaves out (both curvatures of a ball add up) is well below a factor of four.
_WITNESS = 0.25


@dataclass(frozen=True, eq=False)
class SmoothEdges:
    """What is facetted-smooth in a mesh."""

    facet: Ints
    """(m,) the facet of each face."""
    normal: Floats
    """(m, 3) unit normals of the faces."""
    inner: NDArray[np.int32]
    """(i, 2) pairs of faces of one facet that share an edge."""
    face: NDArray[np.int32]
    """(k, 2) the two faces at each evidently smooth edge."""
    turn: Floats
    """(k,) angle between their normals, radians, without sign."""
    width_mm: Floats
    """(k,) width of the narrower facet, square to the edge."""


@dataclass(frozen=True, eq=False)
class _Edges:
    """Edges with two users that agree, with their turn (positive: convex)."""

    ends: NDArray[np.int32]
    face: NDArray[np.int32]
    turn: Floats
    is_flat: Bools

    def take(self, rows: NDArray[Any] | slice) -> _Edges:
        return _Edges(self.ends[rows], self.face[rows], self.turn[rows], self.is_flat[rows])


@dataclass(frozen=True, eq=False)
class _Sides:
    """Each border seen from each of its two facets: rows 2 i and 2 i + 1 are border i."""

    facet: NDArray[np.int32]
    other: NDArray[np.int32]
    turn: Floats
    outward: NDArray[np.float32]
    width: Floats
    middle: Floats


def smooth_edges(
    vertices: Floats, faces: Ints, table: EdgeTable, floor_mm: float = 0.0
) -> SmoothEdges:
    """Find the evidently smooth edges.

    Parameters
    ----------
    vertices : (n, 3) float64, mm
    faces : (m, 3) int64
    table : EdgeTable of `faces`
    floor_mm : edges that cannot hide a deviation of this size may be left out; 0 keeps all

    Returns
    -------
    SmoothEdges
    """
    normal = facet_normals(vertices, faces)
    edges = _turning_edges(vertices, faces, table, normal)
    flat = edges.face[edges.is_flat]
    facet = connected_groups(len(faces), flat[:, 0], flat[:, 1])
    edges = edges.take(np.flatnonzero(~edges.is_flat & (np.abs(edges.turn) <= _MOST_TURN)))
    if floor_mm > 0:
        edges = _edges_in_question(vertices, faces, edges, facet, floor_mm)
    has_flat = np.zeros(len(faces), bool)
    has_flat[flat.ravel()] = True
    quads = _twisted_quads(
        edges.take(np.flatnonzero(~has_flat[edges.face].any(axis=1))), len(faces)
    )
    inner = np.concatenate([flat, quads])
    if len(quads):
        facet = connected_groups(len(faces), inner[:, 0], inner[:, 1])
    edges = edges.take(facet[edges.face[:, 0]] != facet[edges.face[:, 1]])
    border, longest = _borders(vertices, edges, facet)
    sides = _sides(vertices, faces, edges.take(longest), facet, normal)
    evident = _evident(sides)
    rows = np.flatnonzero(evident[border])
    width = np.minimum(sides.width[0::2], sides.width[1::2])[border[rows]]
    found = edges.take(rows)
    return SmoothEdges(facet, normal, inner, found.face, np.abs(found.turn), width)


def _turning_edges(vertices: Floats, faces: Ints, table: EdgeTable, normal: Floats) -> _Edges:
    first = table.start[:-1]
    edges = np.flatnonzero(table.users() == 2)
    edges = edges[table.is_reverse[first[edges]] != table.is_reverse[first[edges] + 1]]
    height = facet_heights(vertices, faces)
    resolution = coordinate_resolution_mm(vertices)
    sound = height > resolution
    blur = 0.5 * resolution / np.maximum(height, resolution)
    use = np.stack([table.use[first[edges]], table.use[first[edges] + 1]], axis=1)
    face = use // 3
    both = sound[face].all(axis=1)
    if not both.all():
        edges, use, face = edges[both], use[both], face[both]
    turn, is_flat = np.empty(len(edges)), np.empty(len(edges), bool)
    for part in chunks(len(edges)):
        turn[part] = _signed_turn(vertices, faces, normal, use[part])
        limit = np.maximum(_LEAST_TURN, blur[face[part]].sum(axis=1))
        is_flat[part] = np.abs(turn[part]) <= limit
    return _Edges(table.ends[edges], face, turn, is_flat)


def _signed_turn(vertices: Floats, faces: Ints, normal: Floats, use: Ints) -> Floats:
    """Angle between the normals at each edge, positive where the surface bends away from them."""
    face = use // 3
    one, two = normal[face[:, 0]], normal[face[:, 1]]
    angle = 2 * np.arctan2(np.linalg.norm(one - two, axis=1), np.linalg.norm(one + two, axis=1))
    opposite = faces[face[:, 1], (use[:, 1] + 2) % 3]
    start = faces[face[:, 0], use[:, 0] % 3]
    rise = np.einsum("ij,ij->i", one, vertices[opposite] - vertices[start])
    signed: Floats = np.where(rise > 0, -angle, angle)
    return signed


def _twisted_quads(edges: _Edges, face_count: int) -> NDArray[np.int32]:
    """Pairs of faces whose common edge turns far less than their others: twisted quads."""
    turn = np.abs(edges.turn)
    most = np.zeros(face_count)
    least = np.full(face_count, np.inf)
    for side in range(2):
        np.maximum.at(most, edges.face[:, side], turn)
        np.minimum.at(least, edges.face[:, side], turn)
    is_diagonal = np.ones(len(turn), bool)
    for side in range(2):
        face = edges.face[:, side]
        is_diagonal &= (turn == least[face]) & (turn <= _DIAGONAL * most[face])
    return edges.face[is_diagonal]


def _edges_in_question(
    vertices: Floats, faces: Ints, edges: _Edges, facet: Ints, floor_mm: float
) -> _Edges:
    """Edges where a deviation might reach the floor, and all others of the facets beside them."""
    # The sides of all faces of a facet together are surely longer than the facet: a quick bound.
    longest = np.bincount(facet, _longest_sides(vertices, faces)).astype(np.float64)
    if not _can_matter(edges, facet, longest, floor_mm).any():
        return edges.take(slice(0, 0))
    box = shell_boxes(vertices, faces, facet)
    across = np.linalg.norm(box[:, 1] - box[:, 0], axis=1)
    is_beside = np.zeros(len(across), bool)
    is_beside[facet[edges.face[_can_matter(edges, facet, across, floor_mm)].ravel()]] = True
    return edges.take(np.flatnonzero(is_beside[facet[edges.face]].any(axis=1)))


def _can_matter(edges: _Edges, facet: Ints, across: Floats, floor_mm: float) -> Bools:
    # Two faces that make up a twisted quad reach as far as both together.
    reach = across[facet[edges.face[:, 0]]] + across[facet[edges.face[:, 1]]]
    can: Bools = reach / 2 * np.tan(np.abs(edges.turn) / 4) >= _WITNESS * floor_mm
    return can


def _longest_sides(vertices: Floats, faces: Ints) -> Floats:
    longest = np.empty(len(faces))
    for part in chunks(len(faces)):
        a, b, c = (vertices[faces[part, corner]] for corner in range(3))
        squares = (np.einsum("ij,ij->i", side, side) for side in (b - a, c - b, a - c))
        longest[part] = np.sqrt(np.maximum.reduce(list(squares)))
    return longest


def _borders(vertices: Floats, edges: _Edges, facet: Ints) -> tuple[Ints, Ints]:
    """Border of each edge, and the longest edge of each border."""
    pair = np.sort(facet[edges.face], axis=1)
    keys = pair[:, 0] * np.int64(len(facet)) + pair[:, 1]
    _, border = np.unique(keys, return_inverse=True)
    length = np.linalg.norm(vertices[edges.ends[:, 1]] - vertices[edges.ends[:, 0]], axis=1)
    order = np.lexsort((length, border))
    last = np.flatnonzero(np.diff(border[order], append=-1))
    return border, order[last]


def _sides(vertices: Floats, faces: Ints, borders: _Edges, facet: Ints, normal: Floats) -> _Sides:
    count = 2 * len(borders.turn)
    outward = np.empty((count, 3), np.float32)
    face = borders.face.ravel()
    for part in chunks(count):
        ends = borders.ends[np.arange(part.start, min(part.stop, count)) // 2]
        start = vertices[ends[:, 0]]
        square = cross_product(vertices[ends[:, 1]] - start, normal[face[part]])
        square /= np.linalg.norm(square, axis=1)[:, None]
        centre = vertices[faces[face[part]]].mean(axis=1) - start
        square[np.einsum("ij,ij->i", square, centre) > 0] *= -1
        outward[part] = square
    mine = facet[borders.face].astype(np.int32)
    width, middle = _reach(vertices, faces, facet, mine.ravel(), borders.ends[:, 0], outward)
    other, turn = mine[:, ::-1].ravel(), np.repeat(borders.turn, 2)
    return _Sides(mine.ravel(), other, turn, outward, width, middle)


def _reach(
    vertices: Floats,
    faces: Ints,
    facet: Ints,
    sides: NDArray[np.int32],
    start: NDArray[np.int32],
    outward: NDArray[np.float32],
) -> tuple[Floats, Floats]:
    """How far each side's facet reaches from its border, and its centre of area from it, mm.

    Zero for facets with so many borders that they are no cell of a curved surface.
    """
    order = np.argsort(facet, kind="stable")
    begin = np.searchsorted(facet[order], np.arange(int(facet.max(initial=-1)) + 2))
    width, middle = np.zeros(len(sides)), np.zeros(len(sides))
    borders = np.bincount(sides, minlength=len(begin) - 1)
    wanted = np.flatnonzero(borders[sides] <= _MOST_BORDERS)
    size = np.cumsum(np.diff(begin)[sides[wanted]])
    # Portions of about a hundred thousand faces, however they are spread over the sides.
    portions = np.flatnonzero(np.diff(size // (1 << 17), prepend=-1, append=-1))
    for low, high in pairwise(portions):
        rows = wanted[low:high]
        position, owner = expand_runs(begin, sides[rows])
        corner = vertices[faces[order[position]]]
        corner -= vertices[start[rows // 2]][owner][:, None]
        a, b, c = (np.einsum("ij,ij->i", corner[:, i], outward[rows][owner]) for i in range(3))
        area = np.linalg.norm(
            cross_product(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0]), axis=1
        )
        first = np.flatnonzero(np.diff(owner, prepend=-1))
        width[rows] = -np.minimum.reduceat(np.minimum(np.minimum(a, b), c), first)
        total = np.add.reduceat(area, first)
        middle[rows] = -np.add.reduceat(area * (a + b + c), first) / (3 * total)
    return width, middle


def _evident(sides: _Sides) -> Bools:
    """(borders,) does the surface go on turning on both sides, in facets of like width?"""
    opposed = _is_opposed(sides)
    one, two = sides.width[0::2], sides.width[1::2]
    steep = np.abs(sides.turn[0::2]) > _STEEP
    ratio = np.maximum(one, two) <= np.minimum(one, two) * np.where(
        steep, _LIKE_WIDTH_STEEP, _LIKE_WIDTH
    )
    evident: Bools = opposed[0::2] & opposed[1::2] & ratio & (one > 0) & (two > 0)
    return evident


def _is_opposed(sides: _Sides) -> Bools:
    """(sides,) does the facet have a border on its far side that turns alike?"""
    opposed = np.zeros(len(sides.facet), bool)
    if len(opposed) == 0:
        return opposed
    apart = sides.middle[0::2] + sides.middle[1::2]
    apart = np.repeat(np.where(apart > 0, apart, np.inf), 2)
    bend = np.abs(sides.turn) / apart
    order = np.argsort(sides.facet, kind="stable")
    _, begin, count = np.unique(sides.facet[order], return_index=True, return_counts=True)
    wanted = np.flatnonzero((count >= 2) & (count <= _MOST_BORDERS))
    run = np.append(begin, len(order))
    for part in chunks(len(wanted), 1 << 16):
        position, owner = expand_runs(run, wanted[part])
        pair_position, pair_owner = expand_runs(run, wanted[part][owner])
        one, two = order[position][pair_owner], order[pair_position]
        alike = (sides.turn[one] > 0) == (sides.turn[two] > 0)
        one, two = one[alike], two[alike]
        alike = (sides.other[one] != sides.other[two]) & (
            _is_like(np.abs(sides.turn), one, two) | _is_like(bend, one, two)
        )
        one, two = one[alike], two[alike]
        cosine = np.einsum("ij,ij->i", sides.outward[one], sides.outward[two])
        far = cosine <= -_OPPOSITE
        one, two = one[far], two[far]
        opposed[one[_goes_on_as_arc(sides, one, two)]] = True
    return opposed


def _goes_on_as_arc(sides: _Sides, one: Ints, two: Ints) -> Bools:
    """Is a steep border's far neighbour that of an arc, and not of a chamfer?

    On an arc the next facet is as wide as this one, or the arc ends there with a smaller turn.
    """
    turn = np.abs(sides.turn)
    mine, beyond = sides.width[two], sides.width[two ^ 1]
    like_width = np.maximum(mine, beyond) <= _LIKE_WIDTH_STEEP * np.minimum(mine, beyond)
    arc: Bools = (turn[one] <= _STEEP) | like_width | (turn[two] <= _END_OF_ARC * turn[one])
    return arc


def _is_like(values: Floats, one: Ints, two: Ints) -> Bools:
    a, b = values[one], values[two]
    like: Bools = (a <= _LIKE * b) & (b <= _LIKE * a)
    return like
