"""How large a ball fits in front of each place of the surface?

Places stand where the grid's lines cross the surface, so that they are spread evenly however it is
cut into facets; slender facets that fall between the lines get places of their own. The ball that
touches the surface in a place shrinks until no other facet reaches into it. Gaps of any width are
seen so, far below the grid's pitch. Lengths in mm. Guarded by tests/geometry/test_voids_tight.py.

References
----------
Shrinking balls: J. Ma, S. W. Bae, S. Choi, "3D medial axis point approximation using nearest
neighbors and the normal field", The Visual Computer 28 (2012) 7.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lint3d.geometry.raster import Crossings, Grid, crossings_along
from lint3d.geometry.throats_clearance import Clearance
from lint3d.geometry.throats_route import unit
from lint3d.geometry.topology import edge_table

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

#: Facets lower than this fall between the grid's lines, voxels.
_SLENDER = 1.5
#: A ball is at rest if what reaches into it does so by less than this share of its radius.
_AT_REST = 1e-6
_MOST_ROUNDS = 40
#: A ball that grows by less than this share is stuck; how often it is moved at most.
_STUCK, _MOST_MOVES = 1e-3, 12
#: Walls face each other if the unit vectors off them sum up to less than this (20 degrees).
_FACING = 0.35
#: How far a ball is nudged to see the next wall, and moved, times its radius.
_NUDGE, _MOVES = 0.02, np.array([0.06, 0.35, 1.6])
#: Convex edges sharper than this get places, too: the rims of gaps are such. Degrees.
_SHARP = 25.0
#: Places on the longest side of one facet at most.
_MOST_ON_SIDE = 2000


@dataclass(frozen=True, eq=False)
class Places:
    """Places on the surface."""

    point: Floats
    """(n, 3) mm"""
    normal: Floats
    """(n, 3) unit, out of the material"""
    at_rim: Bools
    """(n,) does it stand on a sharp convex edge?"""

    def __getitem__(self, rows: Ints | Bools | slice) -> Places:
        return Places(self.point[rows], self.normal[rows], self.at_rim[rows])

    def __len__(self) -> int:
        return len(self.point)


def axes_of_places(vertices: Floats, faces: Ints, pitch: float) -> NDArray[np.int8]:
    """(m,) the axis along which a facet is crossed by lines for its places.

    −1 for slender facets, which the lines miss, and −2 for those without area.
    """
    corner = vertices[faces]
    across = np.cross(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0])
    area = np.linalg.norm(across, axis=1)
    side = np.linalg.norm(corner - np.roll(corner, 1, axis=1), axis=2)
    slender = area < _SLENDER * pitch * side.max(axis=1)
    axis = np.where(slender, -1, np.argmax(np.abs(across), axis=1))
    return np.where(area > 0, axis, -2).astype(np.int8)


def places_on(
    vertices: Floats, faces: Ints, grid: Grid, known: tuple[Crossings, ...] = ()
) -> Places:
    """Places all over the surface within a grid, about a voxel apart.

    Parameters
    ----------
    vertices : (n, 3) mm
    faces : (m, 3) turned out of the material
    known : for each axis the crossings of the facets that have it by `axes_of_places`, if they are
        at hand
    """
    corner = vertices[faces]
    across = np.cross(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0])
    area = np.linalg.norm(across, axis=1)
    normal = across / np.maximum(area, 1e-300)[:, None]
    side = np.linalg.norm(corner - np.roll(corner, 1, axis=1), axis=2)
    axis_of = axes_of_places(vertices, faces, grid.pitch)
    points, owners = [], []
    for axis in range(3):
        if known:
            found, owner = known[axis], known[axis].face.astype(np.int64)
        else:
            rows = np.flatnonzero(axis_of == axis)
            found = crossings_along(vertices, faces[rows], grid, axis)
            owner = rows[found.face]
        index = np.column_stack(np.unravel_index(found.line, grid.shape)).astype(np.float64)
        index[:, axis] = found.step - found.below
        points.append(grid.origin + grid.pitch * index)
        owners.append(owner)
    ends = grid.origin, grid.point(np.array(grid.shape) - 1)
    meets = np.all((corner.min(axis=1) <= ends[1]) & (corner.max(axis=1) >= ends[0]), axis=1)
    rows = np.flatnonzero((axis_of == -1) & meets)
    point, owner = along_sides(corner[rows], side[rows], grid.pitch)
    rims, faces_at_rims = _along_rims(vertices, faces, normal, grid.pitch)
    every = np.concatenate([*points, point, rims])
    face = np.concatenate([*owners, rows[owner], faces_at_rims])
    inside = np.all((every >= ends[0]) & (every <= ends[1]), axis=1)
    # Steps within a line are held in float32: back into the plane of the facet.
    every, face = every[inside], face[inside]
    off = np.einsum("ij,ij->i", every - corner[face, 0], normal[face])
    at_rim = np.flatnonzero(inside) >= len(inside) - len(rims)
    return Places(every - off[:, None] * normal[face], normal[face], at_rim)


def along_sides(corner: Floats, side: Floats, apart: float) -> tuple[Floats, Ints]:
    """Places in a row through each slender facet, beside its longest side.

    Parameters
    ----------
    corner : (m, 3, 3) mm
    side : (m, 3) mm, length of the sides that lead to each corner from the one before it
    apart : mm

    Returns
    -------
    (k, 3) mm, and which facet each is on
    """
    if len(corner) == 0:
        return np.zeros((0, 3)), np.zeros(0, np.int64)
    longest = np.argmax(side, axis=1)
    row = np.arange(len(corner))
    # side[k] joins corners k and k - 1.
    begin, end = corner[row, longest - 1], corner[row, longest]
    third = corner[row, (longest + 1) % 3]
    count = np.clip(np.ceil(side[row, longest] / apart), 1, _MOST_ON_SIDE).astype(np.int64)
    owner = np.repeat(row, count)
    number = np.arange(len(owner)) - np.repeat(np.cumsum(count) - count, count)
    share = ((number + 0.5) / count[owner])[:, None]
    foot = begin[owner] * (1 - share) + end[owner] * share
    return 0.7 * foot + 0.3 * third[owner], owner


def _along_rims(vertices: Floats, faces: Ints, normal: Floats, apart: float) -> tuple[Floats, Ints]:
    """Places in a row along each sharp convex edge, once for each of its two faces."""
    table = edge_table(faces, len(vertices))
    two = np.flatnonzero(table.users() == 2)
    one, other = (table.use[table.start[two] + i] // 3 for i in (0, 1))
    sharp = np.einsum("ij,ij->i", normal[one], normal[other]) < np.cos(np.radians(_SHARP))
    two, one, other = two[sharp], one[sharp], other[sharp]
    begin, end = vertices[table.ends[two, 0]], vertices[table.ends[two, 1]]
    away = vertices[faces[other]].mean(axis=1) - begin
    convex = np.einsum("ij,ij->i", away, normal[one]) < 0
    begin, end, one, other = begin[convex], end[convex], one[convex], other[convex]
    count = np.ceil(np.linalg.norm(end - begin, axis=1) / apart).clip(1, _MOST_ON_SIDE)
    owner = np.repeat(np.arange(len(count)), count.astype(np.int64))
    number = np.arange(len(owner)) - np.repeat(np.cumsum(count) - count, count.astype(np.int64))
    share = ((number + 0.5) / count[owner])[:, None]
    place = begin[owner] * (1 - share) + end[owner] * share
    return np.vstack([place, place]), np.concatenate([one[owner], other[owner]]).astype(np.int64)


def grown(
    clearance: Clearance, centre: Floats, radius: Floats, most: float
) -> tuple[Floats, Floats]:
    """Balls moved out of the corner that they touch on one side only, until walls face each other.

    A ball that touches a facet of a bore off its middle is smaller than the bore; between two walls
    that face each other it stays where it is.

    Parameters
    ----------
    most : mm, no ball grows larger or moves farther

    Returns
    -------
    (n, 3) mm centres and (n,) mm radii, none smaller than given
    """
    begin, centre, radius = centre, centre.copy(), radius.copy()
    busy = np.flatnonzero(radius < most * (1 - _STUCK))
    foot = clearance.nearest(centre[busy])[2]
    for _ in range(_MOST_MOVES):
        if len(busy) == 0:
            break
        off = _off_the_walls(clearance, centre[busy], radius[busy], foot)
        free = np.linalg.norm(off, axis=1) > _FACING
        busy, off = busy[free], off[free]
        off /= np.linalg.norm(off, axis=1, keepdims=True)
        move = off[:, None] * (radius[busy, None, None] * _MOVES[:, None])
        trial = centre[busy][:, None] + move
        value, _, places = clearance.nearest(trial)
        value[np.linalg.norm(trial - begin[busy][:, None], axis=2) > most] = 0.0
        best, row = np.argmax(value, axis=1), np.arange(len(busy))
        grew = value[row, best] > radius[busy] * (1 + _STUCK)
        rows = busy[grew]
        centre[rows] = trial[row, best][grew]
        radius[rows] = np.minimum(value[row, best][grew], most)
        may_grow = radius[rows] < most * (1 - _STUCK)
        busy, foot = rows[may_grow], places[row, best][grew][may_grow]
    return centre, radius


def _off_the_walls(clearance: Clearance, centre: Floats, radius: Floats, foot: Floats) -> Floats:
    """(n, 3) sum of the unit vectors off the nearest wall, met at a foot, and off the next one."""
    one = unit(centre - foot)
    moved = centre + _NUDGE * radius[:, None] * one
    return one + unit(moved - clearance.nearest(moved)[2])


def largest_balls(clearance: Clearance, point: Floats, normal: Floats, most: float) -> Floats:
    """(n,) mm, radius of the largest free ball that touches the surface in each point.

    Parameters
    ----------
    point : (n, 3) mm, on the surface
    normal : (n, 3) unit vectors out of the material
    most : mm, larger balls are not looked for
    """
    radius = np.full(len(point), most)
    busy = np.arange(len(point))
    for _ in range(_MOST_ROUNDS):
        centre = point[busy] + normal[busy] * radius[busy, None]
        free, face, foot = clearance.nearest(centre)
        touched = free < radius[busy] * (1 - _AT_REST)
        busy, face, foot = busy[touched], face[touched], foot[touched]
        if len(busy) == 0:
            break
        towards = foot - point[busy]
        ahead = np.einsum("ij,ij->i", towards, normal[busy])
        square = np.einsum("ij,ij->i", towards, towards)
        smaller = square / (2 * np.maximum(ahead, 1e-300))
        smaller = np.minimum(smaller, _against(clearance.corners[face], point[busy], normal[busy]))
        # A foot that lies beside or behind the place leaves it no room.
        radius[busy] = np.where(ahead > 0, np.minimum(smaller, radius[busy]), 0.0)
        busy = busy[radius[busy] > 0]
    return radius


def _against(corner: Floats, point: Floats, normal: Floats) -> Floats:
    """(n,) mm, radius of the ball that touches the surface in a point, and a facet inside it.

    Infinite where it touches the facet's plane outside the facet. A ball that slides along a facet
    as it shrinks gets there at once.

    Parameters
    ----------
    corner : (n, 3, 3) mm, of one facet for each point
    """
    side = corner[:, 1:] - corner[:, :1]
    across = np.cross(side[:, 0], side[:, 1])
    size = np.linalg.norm(across, axis=1)
    plane = across / np.maximum(size, 1e-300)[:, None]
    height = np.einsum("ij,ij->i", point - corner[:, 0], plane)
    # Seen from the side of the facet that the point is on.
    plane *= np.where(height < 0, -1.0, 1.0)[:, None]
    turned = 1 - np.einsum("ij,ij->i", plane, normal)
    radius = np.abs(height) / np.maximum(turned, 1e-300)
    foot = point + radius[:, None] * (normal - plane) - corner[:, 0]
    share = np.stack(
        [
            np.einsum("ij,ij->i", np.cross(foot, side[:, 1]), across),
            np.einsum("ij,ij->i", np.cross(side[:, 0], foot), across),
        ]
    ) / np.maximum(size**2, 1e-300)
    is_inside = (share >= 0).all(axis=0) & (share.sum(axis=0) <= 1) & (size > 0) & (turned > 1e-9)
    return np.where(is_inside, radius, np.inf)
