"""What is a base like that is folded: a bar of few faces, or a roof that letters run over?

A polynomial rounds its edges off. The planes of the facets beside a foot say more, where they are
bent the same way all round: heights are above the nearest of them. Where all edges run the same
way the base can be rolled flat, with true lengths. Lengths in mm, angles in radians. Guarded by
tests/geometry/test_relief_folded.py.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lint3d.geometry.patches import Folds
from lint3d.geometry.relief_base import quantile

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

#: More planes times points of a foot than this are not compared: such facets are fine, and a
#: polynomial fits them.
MOST_PAIRS = 2_000_000
#: A base of more faces is not looked at as a whole; planes that differ by less (as angles, and as
#: shares of the foot's size) are one.
MOST_BASE, SAME_PLANE = 20_000, 1e-5
#: Facets that lean against each other by less are one face; edges that differ by less run the same
#: way. A base of more faces than that is bent rather than folded.
ONE_FACE, SAME_WAY, MOST_FACES = 0.006, 0.01, 16
#: Walls near an edge may stand otherwise than is taken for granted by this share of the way that a
#: parallel surface reaches over the edge.
WALLS = 0.3
#: Faces lean from the middle of their base by less than this.
LEAN = np.cos(np.radians(80.0))


@dataclass(frozen=True, eq=False)
class FacetPlanes:
    """Planes of the facets beside a foot, all bent the same way: what is below all of them, or
    below any of them, is material."""

    normal: Floats
    """(p, 3) unit"""
    offset: Floats
    """(p,) mm along each normal"""
    area: Floats
    """(p,) mm2, of each facet"""
    is_convex: bool
    doubt: float
    """mm: 95 % of the foot lies nearer to them."""

    def foot(self, points: Floats) -> tuple[Floats, Floats]:
        """(n,) mm above the planes, positive outside, and (n, 3) normals of the nearest ones.

        A surface with the planes' own folds, parallel to them, is everywhere equally high.
        """
        height, nearest = self.nearest(points)
        return height, self.normal[nearest]

    def nearest(self, points: Floats) -> tuple[Floats, Ints]:
        """(n,) mm above the planes, and (n,) which plane that is."""
        height = points @ self.normal.T - self.offset
        nearest = height.argmax(axis=1) if self.is_convex else height.argmin(axis=1)
        return height[np.arange(len(points)), nearest], nearest


def facet_planes(
    folds: Folds, start: Ints, end: Ints, beside: Ints, most_doubt: float
) -> FacetPlanes | None:
    """The planes that a foot lies on.

    Parameters
    ----------
    folds : angles of a surface
    start, end : vertices of the edges of the foot
    beside : faces of the base that touch the foot
    most_doubt : mm

    Returns
    -------
    FacetPlanes, or None where the foot strays farther from them: a saddle, or noise
    """
    # A sliver has the plane of its neighbour, and at a foot that may be a wall.
    beside = beside[folds.is_plain[beside]]
    if not len(beside) or len(beside) * len(start) > MOST_PAIRS:
        return None
    normal = folds.normal[beside]
    offset = np.einsum("ij,ij->i", normal, folds.vertices[folds.faces[beside]].mean(axis=1))
    length = np.linalg.norm(folds.vertices[end] - folds.vertices[start], axis=1)
    height = folds.vertices[start] @ normal.T - offset
    found = None
    for is_convex in (True, False):
        off = height.max(axis=1) if is_convex else height.min(axis=1)
        doubt = quantile(np.abs(off), length, 0.95)
        if doubt <= (most_doubt if found is None else found.doubt):
            found = FacetPlanes(normal, offset, folds.area[beside], is_convex, doubt)
    return found


def planes_of_base(
    folds: Folds, foot: tuple[Ints, Ints], base: Ints, normal: Floats, most_doubt: float
) -> FacetPlanes | None:
    """The planes of a whole base, where it is all bent one way and has few of them.

    Above a flat cap's edge, and below a flat floor's, the nearest facet may be one that the foot
    does not touch.

    Parameters
    ----------
    folds : angles of a surface
    foot : vertices where the edges of the foot start and end
    base : faces of the base
    normal : (3,) roughly that of the base along the foot
    most_doubt : mm

    Returns
    -------
    FacetPlanes, or None where the base has too many faces, or the foot strays from the planes
    """
    if len(base) > MOST_BASE:
        return None
    # An end face is beside a base, whatever way both meet.
    base = base[folds.is_plain[base] & (folds.normal[base] @ normal >= LEAN)]
    offset = np.einsum("ij,ij->i", folds.normal[base], folds.vertices[folds.faces[base, 0]])
    size = float(np.ptp(folds.vertices[foot[0]], axis=0).max(initial=1e-9))
    look = np.round(np.column_stack([folds.normal[base], offset / size]) / SAME_PLANE)
    one_each = np.unique(look, axis=0, return_index=True)[1]
    return facet_planes(folds, *foot, base[one_each], most_doubt)


@dataclass(frozen=True, eq=False)
class FoldedBase:
    """Faces with parallel edges, side by side: a profile along one straight way."""

    origin: Floats
    axes: Floats
    """(3, 3) rows: across the edges, along them, and the normal."""
    planes: FacetPlanes
    """One for each face, in the order of their places across the edges."""
    edge: Floats
    """(p + 1,) mm, where each face begins and ends, from the origin along the profile; where the
    foot does at both ends."""
    turn: Floats
    """(p + 1,) how the profile turns at each edge, positive where it is convex; 0 at both ends."""
    residual: float
    """mm, what a length on it may be off: which way walls stand near an edge is not known."""
    _place: Floats
    """(p,) mm: what to add to a point's way along its face."""

    def unrolled(self, points: Floats) -> Floats:
        """(n, 2) mm: where points stand on the base, with distances along it from its origin.

        Above an edge a parallel surface is longer or shorter than the base, and walls stand as the
        bisector does: from there to the middle of a face they turn to its own normal.
        """
        height, face = self.planes.nearest(points)
        arm = points - self.origin
        along = np.cross(self.axes[1], self.planes.normal)
        place = np.einsum("ij,ij->i", arm, along[face]) + self._place[face]
        wide = np.diff(self.edge)[face]
        for side, sign in ((face, -1.0), (face + 1, 1.0)):
            # From the edge inward; a parallel surface ends `over` beyond it.
            at = self.edge[side]
            over = height * np.tan(self.turn[side] / 2)
            reach = np.maximum(2 * np.abs(over), wide / 2)
            inward = np.minimum(sign * (at - place), 2 * reach)
            drawn = (inward + over) * reach / np.maximum(reach + over, 1e-300)
            near = (inward < reach) & (over != 0)
            place[near] = (at - sign * drawn)[near]
        return np.column_stack([place, arm @ self.axes[1]])


def folded_base(
    planes: FacetPlanes, foot: Floats, origin: Floats, normal: Floats, height: float
) -> FoldedBase | None:
    """The base that some planes are, rolled out along their edges.

    Parameters
    ----------
    planes : of the facets beside a foot
    foot : (n, 3) mm, points of it
    origin, normal : (3,) middle of the foot, and roughly the base's normal there
    height : mm, how far what stands on it rises

    Returns
    -------
    FoldedBase, or None where it has too many faces, or edges that run different ways
    """
    faces = _faces(planes, origin)
    if faces is None:
        return None
    way = np.linalg.svd(planes.normal[faces])[2][2]
    if np.abs(planes.normal[faces] @ way).max() > SAME_WAY:
        return None
    up = normal - (normal @ way) * way
    axes = np.stack([np.cross(way, up / np.linalg.norm(up)), way, up / np.linalg.norm(up)])
    side, ahead = (planes.normal[faces] @ axes[k] for k in (0, 2))
    if ahead.min() < LEAN:
        return None
    # Along a convex profile normals lean forward more and more, along a hollow one less and less.
    lean = np.arctan2(side, ahead)
    order = np.argsort(lean if planes.is_convex else -lean)
    faces, lean = faces[order], lean[order]
    far = (planes.offset - planes.normal @ origin)[faces]
    turn = np.diff(lean)
    # Where neighbouring planes cross, in the plane of the profile.
    one = np.column_stack([np.sin(lean), np.cos(lean)])
    pairs = np.column_stack([np.arange(len(faces) - 1), np.arange(1, len(faces))])
    corner = np.linalg.solve(one[pairs], far[pairs][:, :, None])[:, :, 0]
    ahead = np.column_stack([np.cos(lean), -np.sin(lean)])
    # Where each corner lies on the face before and on the one after it.
    before = np.einsum("ij,ij->i", corner, ahead[:-1])
    after = np.einsum("ij,ij->i", corner, ahead[1:])
    if (before[1:] <= after[:-1]).any():
        return None
    shift = np.concatenate([[0.0], np.cumsum(before - after)])
    # The origin lies on the face nearest to it.
    middle = FacetPlanes(
        planes.normal[faces], planes.offset[faces], planes.area[faces], planes.is_convex, 0.0
    )
    shift -= shift[middle.nearest(origin[None])[1][0]]
    reach = float(np.linalg.norm(foot - origin, axis=1).max())
    inner = before + shift[:-1]
    ends = min(-reach, inner.min(initial=0.0)), max(reach, inner.max(initial=0.0))
    edge = np.concatenate([ends[:1], inner, ends[1:]])
    turns = np.concatenate([[0.0], turn, [0.0]])
    doubt = planes.doubt + WALLS * height * float(np.tan(np.abs(turn).max(initial=0.0) / 2))
    return FoldedBase(origin, axes, middle, edge, turns, doubt, shift)


def _faces(planes: FacetPlanes, origin: Floats) -> Ints | None:
    """One facet, the largest, of each face; None if there are too many faces."""
    rest = np.argsort(-planes.area, kind="stable")
    found: list[int] = []
    while len(rest):
        if len(found) == MOST_FACES:
            return None
        first = int(rest[0])
        found.append(first)
        lean = np.linalg.norm(planes.normal[rest] - planes.normal[first], axis=1)
        rest = rest[lean >= ONE_FACE]
    return np.array(found)
