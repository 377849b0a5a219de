"""Which shell holds which?

A shell at even depth is the outside of a body, one at odd depth bounds a cavity of the body one up.
Held is decided by winding numbers, so that it depends on no shell's orientation and works for open
shells as well. Guarded by tests/geometry/test_nesting.py.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from lint3d.geometry.shells import facet_volumes, shell_boxes, sum_by_shell

# igl and rtree are slow to load, and a file with one shell needs neither.
if TYPE_CHECKING:
    import igl

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

# Away from a closed surface the winding number is whole, or nearly so where it is approximated.
# Between these two bounds a point lies on the surface (0.5 on a face, 0.125 at the corner of a
# box).
_SURELY_OUT = 0.1
_SURELY_IN = 0.9
# An open surface gives no whole numbers: more than half counts as in.
_OPEN_IN = 0.5
# Fewer faces cannot enclose a point.
_FEWEST_FACES_OF_A_HOLDER = 4
# Points of a shell that are tried: few to find who may hold it, more to be sure that none sticks
# out.
_FEW_SAMPLES = 8
_MANY_SAMPLES = 256
# Points this near to the holder lie on it: a few steps of the coarsest usual coordinate (float32).
_ON_SURFACE_STEPS = 4
_FLOAT32_STEP = 2.0**-23
# Up to this many face-point pairs the exact sum is quicker than building a tree.
_EXACT_PAIRS = 200_000


@dataclass(frozen=True, eq=False)
class _Shells:
    """Faces sorted by shell, with what nesting needs to know of each."""

    vertices: Floats
    faces: Ints
    start: Ints
    box: Floats
    volume: Floats
    is_closed: Bools

    def faces_of(self, shell: int) -> Ints:
        rows: Ints = self.faces[self.start[shell] : self.start[shell + 1]]
        return rows


def nest_shells(
    vertices: Floats,
    faces: Ints,
    label: Ints,
    is_closed: Bools,
    is_flipped: Bools | None = None,
) -> tuple[Ints, Ints]:
    """Which shell directly holds which, however they are turned?

    A shell is held by another if its points lie inside that one. If some do and some do not (the
    two interpenetrate), it is held only if it is turned the other way and more of it is inside: a
    cavity that breaks out. Two overlapping solids do not hold each other. Points on the holder's
    surface are not counted, so a cavity that touches its wall is still held.

    Parameters
    ----------
    vertices : (n, 3) float64, mm
    faces : (m, 3) int64
    label : (m,) int64, shell of each face, from 0 without gaps
    is_closed : (s,) bool
    is_flipped : (m,) bool, optional
        Faces to turn over first (`orientation.orient`), so that each shell has one outside.

    Returns
    -------
    parent : (s,) int64, the shell that directly holds each one, -1 for none
    depth : (s,) int64, how many shells hold it
    """
    if len(faces) == 0:
        return np.zeros(0, np.int64), np.zeros(0, np.int64)
    shells = _sorted_shells(vertices, faces, label, is_closed, is_flipped)
    inner, outer = _candidate_pairs(shells)
    held = np.zeros(len(inner), bool)
    bounds = np.flatnonzero(np.diff(outer, prepend=-1, append=-1))
    for begin, end in pairwise(bounds):
        held[begin:end] = _held_by(shells, int(outer[begin]), inner[begin:end])
    return _parents(inner[held], outer[held], shells)


def _sorted_shells(
    vertices: Floats, faces: Ints, label: Ints, is_closed: Bools, is_flipped: Bools | None
) -> _Shells:
    if is_flipped is not None and is_flipped.any():
        faces = faces.copy()
        faces[is_flipped] = faces[is_flipped][:, ::-1]
    if np.any(np.diff(label) < 0):
        order = np.argsort(label, kind="stable")
        faces, label = faces[order], label[order]
    count = int(label[-1]) + 1
    start = np.searchsorted(label, np.arange(count + 1))
    volume = np.zeros(count)
    box = np.zeros((count, 2, 3))
    if count > 1:
        box = shell_boxes(vertices, faces, label)
        volume = sum_by_shell(facet_volumes(vertices, faces, label), label)
    return _Shells(vertices, faces, start, box, volume, is_closed)


def _candidate_pairs(shells: _Shells) -> tuple[Ints, Ints]:
    """Pairs (inner, outer), sorted by outer, whose boxes let the one be mostly in the other."""
    empty = np.zeros(0, np.int64)
    count = len(shells.start) - 1
    size = shells.box[:, 1] - shells.box[:, 0]
    is_holder = np.diff(shells.start) >= _FEWEST_FACES_OF_A_HOLDER
    is_holder &= (size > 0).all(axis=1)
    holders = np.flatnonzero(is_holder)
    if count < 2 or len(holders) == 0:
        return empty, empty
    middle = shells.box.mean(axis=1)
    hits, hit_count = _points_in_boxes(middle, shells.box[holders])
    outer = np.repeat(holders, hit_count)
    # The larger box holds the smaller one; of equal boxes neither holds the other.
    diagonal = np.linalg.norm(size, axis=1)
    keep = (hits != outer) & (diagonal[hits] < diagonal[outer])
    return hits[keep], outer[keep]


def _points_in_boxes(points: Floats, boxes: Floats) -> tuple[Ints, Ints]:
    """Rows of `points` within each box, box by box in ascending order, and how many each has."""
    if len(boxes) <= 32:
        found = [
            np.flatnonzero(((points >= low) & (points <= high)).all(axis=1)) for low, high in boxes
        ]
        return np.concatenate(found), np.array([len(rows) for rows in found])
    from rtree.index import Index, Property

    tree = Index((np.arange(len(points)), points, points), properties=Property(dimension=3))
    hits, hit_count = tree.intersection_v(  # type: ignore[no-untyped-call]
        np.ascontiguousarray(boxes[:, 0]), np.ascontiguousarray(boxes[:, 1])
    )
    hits, hit_count = hits.astype(np.int64), hit_count.astype(np.int64)
    order = np.lexsort((hits, np.repeat(np.arange(len(boxes)), hit_count)))
    return hits[order], hit_count


def _held_by(shells: _Shells, outer: int, inner: Ints) -> Bools:
    """(k,) does shell `outer` hold each of the shells `inner`?"""
    winding = _Winding(shells, outer)
    is_opposite = np.sign(shells.volume[inner]) == -np.sign(shells.volume[outer])
    share = _share_inside(winding, *_sample_points(shells, inner, _FEW_SAMPLES), len(inner))
    # What is surely out, or turned alike and on both sides, needs no closer look.
    maybe = np.flatnonzero(np.isnan(share) | (share == 1) | (is_opposite & (share > 0)))
    held = np.zeros(len(inner), bool)
    if len(maybe) == 0:
        return held
    rest = inner[maybe]
    share = _share_inside(winding, *_sample_points(shells, rest, _MANY_SAMPLES), len(rest))
    is_whole = (share == 1) & ~_sticks_out(shells, rest, outer)
    held[maybe] = is_whole | (is_opposite[maybe] & (share > 0.5))
    held[maybe] &= ~_lies_on(shells, rest, winding)
    return held


def _sticks_out(shells: _Shells, inner: Ints, outer: int) -> Bools:
    """(k,) does the box of each shell leave the holder's box by more than rounding?"""
    box, other = shells.box[inner], shells.box[outer]
    step = _step(other)
    out: Bools = (box[:, 0] < other[0] - step).any(axis=1) | (box[:, 1] > other[1] + step).any(
        axis=1
    )
    return out


def _lies_on(shells: _Shells, inner: Ints, winding: _Winding) -> Bools:
    """(k,) is each shell a sheet without volume that lies all over on the holder's surface?

    On which side of it such a sheet is, rounding alone would say, in one frame so and in another
    otherwise.
    """
    size = shells.box[inner, 1] - shells.box[inner, 0]
    is_sheet = np.abs(shells.volume[inner]) <= winding.step * (size**2).sum(axis=1)
    lies = np.zeros(len(inner), bool)
    rows = np.flatnonzero(is_sheet)
    if len(rows):
        points, owner = _sample_points(shells, inner[rows], _MANY_SAMPLES)
        off = np.bincount(owner, ~winding.is_on_surface(points), minlength=len(rows))
        lies[rows] = off == 0
    return lies


def _step(box: Floats) -> float:
    """Distance below which coordinates of this size cannot be told apart, mm."""
    return float(_ON_SURFACE_STEPS * _FLOAT32_STEP * np.abs(box).max())


class _Winding:
    """Winding number about one shell, built once for many points."""

    def __init__(self, shells: _Shells, shell: int) -> None:
        faces = shells.faces_of(shell)
        used, compact = np.unique(faces, return_inverse=True)
        self.centre = shells.box[shell].mean(axis=0)
        self.step = _step(shells.box[shell])
        self.vertices = shells.vertices[used] - self.centre
        self.faces = np.ascontiguousarray(compact.reshape(-1, 3), np.int64)
        self.is_closed = bool(shells.is_closed[shell])
        self._tree: igl.FastWindingNumberBVH | None = None

    def number(self, points: Floats) -> Floats:
        """(q,) how many times the shell winds round each point, without sign."""
        import igl

        local = np.ascontiguousarray(points - self.centre)
        if self._tree is None and len(self.faces) * len(points) <= _EXACT_PAIRS:
            return np.abs(igl.winding_number(self.vertices, self.faces, local))
        if self._tree is None:
            self._tree = igl.FastWindingNumberBVH()
            self._tree.init(self.vertices, self.faces)
        return np.abs(self._tree.winding_number(local))

    def is_on_surface(self, points: Floats) -> Bools:
        import igl

        local = np.ascontiguousarray(points - self.centre)
        squared = igl.point_mesh_squared_distance(local, self.vertices, self.faces)[0]
        near: Bools = squared <= self.step**2
        return near

    def is_in_or_out(self, points: Floats) -> tuple[Bools, Bools]:
        number = self.number(points)
        if not self.is_closed:
            return number > _OPEN_IN, number <= _OPEN_IN
        return number > _SURELY_IN, number < _SURELY_OUT


def _share_inside(winding: _Winding, points: Floats, owner: Ints, count: int) -> Floats:
    """(count,) share of each owner's points that is inside; NaN where no point could tell."""
    is_in, is_out = winding.is_in_or_out(points)
    share = _share(is_in, is_out, owner, count)
    is_mixed = (share > 0) & (share < 1)
    if is_mixed.any():
        # Points on the holder's surface fall on either side by rounding: leave them out.
        check = np.flatnonzero(is_mixed[owner])
        off = np.ones(len(points), bool)
        off[check] = ~winding.is_on_surface(points[check])
        share = _share(is_in & off, is_out & off, owner, count)
    return share


def _share(is_in: Bools, is_out: Bools, owner: Ints, count: int) -> Floats:
    inside = np.bincount(owner, is_in, minlength=count)
    total = inside + np.bincount(owner, is_out, minlength=count)
    return np.divide(inside, total, out=np.full(count, np.nan), where=total > 0)


def _sample_points(shells: _Shells, inner: Ints, samples: int) -> tuple[Floats, Ints]:
    """Middles of faces spread over each shell; their corners and the outermost too if many."""
    begin = shells.start[inner]
    size = shells.start[inner + 1] - begin
    taken = np.minimum(size, samples)
    owner = np.repeat(np.arange(len(inner)), taken)
    place = np.arange(len(owner)) - np.repeat(np.cumsum(taken) - taken, taken)
    corners = shells.vertices[shells.faces[begin[owner] + (place * size[owner]) // taken[owner]]]
    if samples < _MANY_SAMPLES:
        return corners.mean(axis=1), owner
    large = np.flatnonzero(size > taken)
    extra = [_outermost(shells, int(inner[row])) for row in large]
    return (
        np.concatenate([corners.mean(axis=1), corners.reshape(-1, 3), *extra]),
        np.concatenate([owner, np.repeat(owner, 3), np.repeat(large, [len(e) for e in extra])]),
    )


def _outermost(shells: _Shells, shell: int) -> Floats:
    """Corners of a shell that lie farthest in 26 directions."""
    steps = np.array([-1.0, 0.0, 1.0])
    directions = np.stack(np.meshgrid(steps, steps, steps), axis=-1).reshape(-1, 3)
    directions = directions[np.abs(directions).sum(axis=1) > 0]
    corners = shells.vertices[shells.faces_of(shell).ravel()]
    farthest: Floats = corners[[int((corners @ direction).argmax()) for direction in directions]]
    return farthest


def _parents(inner: Ints, outer: Ints, shells: _Shells) -> tuple[Ints, Ints]:
    """From who holds whom to who directly holds whom: the holder that is itself held most often."""
    count = len(shells.start) - 1
    held_by = np.bincount(inner, minlength=count)
    order = np.lexsort((outer, np.abs(shells.volume[outer]), -held_by[outer], inner))
    inner, outer = inner[order], outer[order]
    first = np.flatnonzero(np.diff(inner, prepend=-1))
    parent = np.full(count, -1, np.int64)
    parent[inner[first]] = outer[first]
    depth = np.zeros(count, np.int64)
    above = parent.copy()
    while (above >= 0).any():
        rows = above >= 0
        depth[rows] += 1
        above[rows] = parent[above[rows]]
    return parent, depth
