"""Where do faces lie on each other back to back, with nothing between them?

A wall of nothing (a pocket that reaches down to a cavity) and a gap of nothing (a slit whose sides
close) have no span: from either side one looks straight past the other. Where two faces that look
opposite ways share an area, and are as near as coordinates can tell all over it, what lies beyond
them decides: space on both sides makes a wall, material on both sides a gap. Lengths in mm.
Tested by tests/geometry/test_back_to_back.py.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lint3d.geometry.captive_sweep import common_corners, height_over
from lint3d.geometry.components import connected_groups
from lint3d.geometry.sampling import GOLDEN
from lint3d.geometry.spans_effort import effort_of_step
from lint3d.geometry.spans_surface import SpanSurface
from lint3d.geometry.spans_tree import facing_pairs
from lint3d.geometry.vectors import cross_product

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

OPPOSITE = -0.99  # cosine: a facet of a finer round may lie on one of a coarser
STEPS = 4.0  # how many coordinate steps the planes may be apart
WIDTH_STEPS = 16.0  # and how broad what they share is at least, so that a common edge is none
ALL_OF = 200_000  # a surface of no more facets is looked at pair by pair
LARGEST = 50_000  # of a larger one so many of the largest are, the others by a ray each few
EACH_FEW = 8
RINGS_MOST = 1_000  # rounds in which what was met by rays is followed to neighbours
PAIRS_AT_ONCE = 50_000
WALL, GAP, UNSURE = 0, 1, 2


@dataclass(frozen=True, eq=False)
class BackToBack:
    """Pairs of facets that lie on each other back to back.

    Attributes
    ----------
    faces : (k, 2) int64, rows of the mesh that was given
    point : (k, 3) float64, mm, the middle of what both share
    area : (k,) float64, mm2 that they share
    box : (k, 2, 3) float64, mm, of what they share
    kind : (k,) int64, WALL, GAP, or UNSURE where there is space on one side and material on the
        other, as under a sheet without thickness that lies on a face
    group : (k,) int64, those that hang together and are of one kind
    complete : False where the surface is such a tangle that fewer facets sent a ray than usual
    """

    faces: Ints
    point: Floats
    area: Floats
    box: Floats
    kind: Ints
    group: Ints
    complete: bool = True


def back_to_back(surface: SpanSurface) -> BackToBack:
    """Find faces that lie on each other back to back.

    Parameters
    ----------
    surface : see `surface_from_mesh`

    Raises
    ------
    RaysSpent : the surface is a tangle
    """
    corners, ids = surface.corners, surface.face_ids
    every = _every_few(surface)
    pairs = _opposed(surface, every)
    if len(surface.cancelled):
        # Faces that cancel are no facets of the surface: here they come after those that are.
        more = len(corners) + np.arange(2 * len(surface.cancelled)).reshape(-1, 2)
        corners = np.concatenate([corners, surface.cancelled_corners.reshape(-1, 3, 3)])
        ids = np.concatenate([ids, surface.cancelled.ravel()])
        pairs = np.concatenate([pairs, more])
    found = _shared(corners, pairs, surface.resolution)
    kept = found.area > 0
    found, pairs = found.take(kept), pairs[kept]
    kind = _kinds(surface, _normals(corners[pairs[:, 0]]), found)
    group = _groups(found, kind, WIDTH_STEPS * surface.resolution)
    complete = every == EACH_FEW
    return BackToBack(ids[pairs], found.middle, found.area, _boxes(found), kind, group, complete)


@dataclass(eq=False)
class _Shared:
    """What pairs of facets that lie on each other have in common.

    Attributes
    ----------
    middle : (k, 3) mm; area : (k,) mm2, 0 where they do not lie on each other
    corners : (k, 15, 3) mm, of the polygon that both share, in any order
    valid : (k, 15) which of them are corners of it
    """

    middle: Floats
    area: Floats
    corners: Floats
    valid: Bools

    def take(self, rows: Bools) -> _Shared:
        return _Shared(*(getattr(self, name)[rows] for name in self.__dataclass_fields__))


def _every_few(surface: SpanSurface) -> int:
    """One in how many facets sends a ray: fewer where that would cost more than a look may."""
    count = len(surface.faces)
    if count <= ALL_OF:
        return EACH_FEW
    return max(EACH_FEW, -(-count // effort_of_step(surface).rays))


def _opposed(surface: SpanSurface, every: int) -> Ints:
    """Pairs of facets that may lie on each other and look opposite ways."""
    reach = STEPS * surface.resolution
    count = len(surface.faces)
    if count <= ALL_OF:
        large = np.arange(count)
    else:
        large = np.argpartition(surface.areas, count - LARGEST)[count - LARGEST :]
    # By their boxes: of facets in one plane none stands before the other.
    near, _ = facing_pairs(surface.corners[large], -surface.normals[large], reach, flat=False)
    pairs = _look_opposite(surface, large[near])
    return pairs if count <= ALL_OF else _followed(surface, pairs, _met_by_rays(surface, every))


def _look_opposite(surface: SpanSurface, pairs: Ints) -> Ints:
    along = np.einsum("ij,ij->i", surface.normals[pairs[:, 0]], surface.normals[pairs[:, 1]])
    pairs = pairs[along < OPPOSITE]
    # Most that do not lie on each other show by the corners of one being off the other's plane.
    step = surface.vertices[surface.faces[pairs[:, 1]]] - surface.corners[pairs[:, 0], :1]
    height = np.einsum("ijk,ik->ij", step, surface.normals[pairs[:, 0]])
    off = np.maximum(height.min(axis=1), -height.max(axis=1))
    return pairs[off <= STEPS * surface.resolution]


def _met_by_rays(surface: SpanSurface, every: int) -> Ints:
    """Pairs of some facets, and what a ray onto them from close by meets in their place.

    Of two that lie on each other either is met first: from both sides, one of both.
    """
    # One in so many, unevenly: files hold facets in patterns.
    turn = np.arange(len(surface.faces) // every)
    rows = ((turn + turn * GOLDEN % 1.0) * every).astype(np.int64)
    away = surface.normals[rows]
    above = STEPS * surface.scene.nearest_mm
    start = surface.vertices[surface.faces[rows]].mean(axis=1) + above * away
    met = surface.scene.first_facet(start, -away, 2 * above)
    other = np.flatnonzero((met >= 0) & (met != rows))
    return _look_opposite(surface, np.stack([rows[other], met[other]], axis=1))


def _followed(surface: SpanSurface, known: Ints, pairs: Ints) -> Ints:
    """Those pairs of a few facets and the pairs next to them, as far as facets share an area."""
    size = np.int64(len(surface.faces))
    every = [known]
    seen = np.zeros(0, dtype=np.int64)
    for _ in range(RINGS_MOST):
        pairs = np.unique(np.sort(pairs, axis=1), axis=0)
        key = pairs[:, 0] * size + pairs[:, 1]
        new = ~np.isin(key, seen)
        pairs, seen = pairs[new], np.concatenate([seen, key[new]])
        corners = surface.vertices[surface.faces[pairs.ravel()]]
        rows = np.arange(2 * len(pairs)).reshape(-1, 2)
        pairs = pairs[_shared(corners, rows, surface.resolution).area > 0]
        if not len(pairs):
            break
        every.append(pairs)
        # Over a side of the one, of the other, or of both where they run together.
        first, second = (
            np.concatenate([own[:, None], surface.neighbours[own]], axis=1) for own in pairs.T
        )
        around = np.stack([np.repeat(first, 4, axis=1), np.tile(second, 4)], axis=2).reshape(-1, 2)
        around = around[(around >= 0).all(axis=1) & (around[:, 0] != around[:, 1])]
        pairs = _look_opposite(surface, around)
    return np.unique(np.sort(np.concatenate(every), axis=1), axis=0)


def _shared(corners: Floats, pairs: Ints, resolution: float) -> _Shared:
    """What pairs of facets share, if they lie on each other all over it."""
    if not len(pairs):
        none = np.zeros((0, 15), dtype=bool)
        return _Shared(np.zeros((0, 3)), np.zeros(0), np.zeros((0, 15, 3)), none)
    parts = [
        _shared_by_some(corners[pairs[i : i + PAIRS_AT_ONCE]], resolution)
        for i in range(0, len(pairs), PAIRS_AT_ONCE)
    ]
    names = _Shared.__dataclass_fields__
    return _Shared(*(np.concatenate([getattr(part, name) for part in parts]) for name in names))


def _shared_by_some(corners: Floats, resolution: float) -> _Shared:
    one, two = corners[:, 0], corners[:, 1]
    frame = _frames(_normals(one))
    origin = one.mean(axis=1, keepdims=True)
    flat_one, flat_two = (one - origin) @ frame, (two - origin) @ frame
    points, valid = common_corners(flat_one[..., :2], flat_two[..., :2])
    number = points.shape[1]
    heights = np.stack([height_over(flat_two, points[:, i]) for i in range(number)], axis=1)
    count = np.maximum(valid.sum(axis=1), 1)
    middle = np.where(valid[..., None], points, 0.0).sum(axis=1) / count[:, None]
    away = np.where(valid[..., None], points - middle[:, None], 0.0)
    area, breadth = _area_and_breadth(away, valid)
    apart = np.abs(np.where(valid, heights, 0.0)).max(axis=1)
    lies = (breadth > WIDTH_STEPS * resolution) & (apart <= STEPS * resolution)
    height = np.where(valid, heights, 0.0).sum(axis=1) / count
    turned = frame.transpose(0, 2, 1)
    there = np.concatenate([middle, height[:, None] / 2], axis=1)
    at = np.concatenate([points, np.zeros((*points.shape[:2], 1))], axis=2)
    at = np.where(valid[..., None], at, 0.0)
    return _Shared(
        np.einsum("ij,ijk->ik", there, turned) + origin[:, 0],
        np.where(lies, area, 0.0),
        at @ turned + origin,
        valid,
    )


def _area_and_breadth(away: Floats, valid: Bools) -> tuple[Floats, Floats]:
    """Area of convex polygons and their breadth, from their corners about their middle."""
    angle = np.where(valid, np.arctan2(away[..., 1], away[..., 0]), np.inf)
    order = np.argsort(angle, axis=1)
    ring = np.take_along_axis(away, order[..., None], axis=1)
    count = valid.sum(axis=1)
    # Corners that are none take the place of the first: they add nothing.
    ring = np.where((np.arange(ring.shape[1]) < count[:, None])[..., None], ring, ring[:, :1])
    after = np.roll(ring, -1, axis=1)
    area = np.abs((ring[..., 0] * after[..., 1] - ring[..., 1] * after[..., 0]).sum(axis=1)) / 2
    longest = 2 * np.sqrt((away**2).sum(axis=2).max(axis=1))
    return area, area / np.maximum(longest, 1e-300)


def _boxes(found: _Shared) -> Floats:
    """(k, 2, 3) lowest and highest coordinates of what is shared."""
    valid = found.valid[..., None]
    low = np.where(valid, found.corners, np.inf).min(axis=1, initial=np.inf)
    high = np.where(valid, found.corners, -np.inf).max(axis=1, initial=-np.inf)
    return np.stack([low, high], axis=1)


def _kinds(surface: SpanSurface, normal: Floats, found: _Shared) -> Ints:
    """Is there space or material on both sides of each pair? The middle of three places tells."""
    if not len(normal):
        return np.zeros(0, dtype=np.int64)
    aside = STEPS * surface.resolution + 2 * surface.scene.nearest_mm
    rows, last = np.arange(len(normal)), found.valid.shape[1] - 1
    first, last = found.valid.argmax(axis=1), last - found.valid[:, ::-1].argmax(axis=1)
    ends = (found.corners[rows, first], found.corners[rows, last])
    aims = (found.middle, *((found.middle + end) / 2 for end in ends))
    held = []
    for way in (normal, -normal):
        votes = np.zeros(len(normal), dtype=np.int64)
        for aim in aims:
            met = surface.scene.first_facet(aim + aside * way, way, np.inf)
            # What is met from inside the material looks the way of the ray.
            along = np.einsum("ij,ij->i", surface.normals[met], way)
            votes += (met >= 0) & (along > 0)
        held.append(votes >= 2)
    return np.where(held[0] == held[1], np.where(held[0], GAP, WALL), UNSURE)


def _groups(found: _Shared, kind: Ints, reach: float) -> Ints:
    """Numbers for those that are of one kind and have a corner of what they share in common."""
    owner, column = np.nonzero(found.valid)
    corner = found.corners[owner, column]
    links = [np.zeros((2, 0), dtype=np.int64)]
    # Corners a rounding apart may fall into two cells of one grid, but not of both.
    for shift in (0.0, 0.5):
        cell = np.floor(corner / (2 * reach) + shift).astype(np.int64)
        cell = np.concatenate([cell, kind[owner][:, None]], axis=1)
        _, first, back = np.unique(cell, axis=0, return_index=True, return_inverse=True)
        links.append(np.stack([owner, owner[first[back.ravel()]]]))
    one, two = np.concatenate(links, axis=1)
    return connected_groups(len(kind), one, two)


def _normals(corners: Floats) -> Floats:
    normal = cross_product(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    unit: Floats = normal / np.maximum(np.linalg.norm(normal, axis=1), 1e-300)[:, None]
    return unit


def _frames(normal: Floats) -> Floats:
    """(k, 3, 3) frames whose third column is the normal."""
    helper = np.eye(3)[np.abs(normal).argmin(axis=1)] if len(normal) else normal
    x = cross_product(normal, helper)
    x /= np.maximum(np.linalg.norm(x, axis=1), 1e-300)[:, None]
    return np.stack([x, cross_product(normal, x), normal], axis=2)
