"""What does a span need to know about a surface, whichever way one looks?

Normals, heights and neighbours of the facets that can carry a span, with the ray scene over
them. Prepared once, used for walls (looking inward) and gaps (looking outward). Lengths in mm.
Tested by tests/geometry/test_spans_surface.py.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from lint3d.geometry.doubled import doubled_faces, doubled_in_place
from lint3d.geometry.rays import RayScene
from lint3d.geometry.vectors import cross_product
from lint3d.geometry.walk import near_each_other

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

# A facet lower than this many half float32 steps has no direction to speak of: slivers at the
# pole of a float32 sphere otherwise show walls of half a micron.
NEEDLE_HALF_STEPS = 8
TURN_DEGREES = 20.0  # re-entrant sides sharper than this send rays
TURN_COS = float(np.cos(np.radians(TURN_DEGREES)))
HOLLOW_MOST = (
    1_000_000  # facets times corners of a surface that is looked at for whether it is convex
)
FACETS_AT_ONCE = 100_000  # work arrays that stay in the processor's cache


@dataclass(eq=False)
class SpanSurface:
    """Facets that can carry a span, with all that is looked up again and again.

    Attributes
    ----------
    vertices : (n, 3) float64, mm
    faces : (k, 3) int64, the facets kept
    face_ids : (k,) int64, their rows in the mesh that was given
    normals : (k, 3) float64, unit, out of the material
    areas, longest : (k,) float64, mm2 and mm: area and longest side
    neighbours : (k, 3) int64, the facet across side i -> i+1; -1 at an open side
    resolution : float, mm, the step of the coordinates
    dropped : dict, why facets were left out -> how many
    dropped_mm2 : float, area of those too narrow to have a direction that lie in bundles: nothing
        measurable lies beside them
    dense : see `spans_dense.dense_facets`, by range of interest
    ray_work : float, see `spans_effort.work_of_ray`; None until it was asked for
    cancelled : (c, 2) int64, rows of the mesh that was given: faces left out because they have
        their three corners in common and look opposite ways
    cancelled_corners : (c, 2, 3, 3) float64, mm
    """

    vertices: Floats
    faces: Ints
    face_ids: Ints
    normals: Floats
    areas: Floats
    longest: Floats
    neighbours: Ints
    resolution: float
    dropped: dict[str, int] = field(default_factory=dict)
    dropped_mm2: float = 0.0
    samples: dict[tuple[float, int], tuple[Floats, Ints, Floats]] = field(default_factory=dict)
    dense: dict[float, tuple[float, Bools]] = field(default_factory=dict)
    ray_work: float | None = None
    cancelled: Ints = field(default_factory=lambda: np.zeros((0, 2), np.int64))
    cancelled_corners: Floats = field(default_factory=lambda: np.zeros((0, 2, 3, 3)))

    @cached_property
    def corners(self) -> Floats:
        """(k, 3, 3) float64, mm."""
        return self.vertices[self.faces]

    @cached_property
    def scene(self) -> RayScene:
        """The facets, ready for rays."""
        return RayScene(self.vertices, self.faces, self.normals)

    @cached_property
    def walk(self) -> Ints:
        """(k,) int64, the facets in an order in which those near each other come soon."""
        return near_each_other(self.vertices, self.faces)

    @cached_property
    def incidence(self) -> tuple[Ints, Ints]:
        """Facets round each vertex as (start, facet): those of v are facet[start[v]:start[v+1]]."""
        flat = self.faces.ravel()
        order = np.argsort(flat, kind="stable")
        counts = np.bincount(flat, minlength=len(self.vertices))
        return np.concatenate([[0], np.cumsum(counts)]), order // 3

    @cached_property
    def normal_sums(self) -> tuple[Floats, Ints]:
        """(n, 3) sum of the normals of the facets round each vertex, (n,) how many there are."""
        flat = self.faces.ravel()
        count = np.bincount(flat, minlength=len(self.vertices))
        each = [np.bincount(flat, np.repeat(way, 3), len(count)) for way in self.normals.T]
        return np.stack(each, axis=1), count

    @cached_property
    def hollow_mm(self) -> float:
        """How far, mm, may one look out from a facet and meet the surface again?

        No farther than a corner lies above the facet's plane: 0 on a convex body. inf, not looked
        at, on a surface of many facets.
        """
        # Marked, not sorted out: of 1.3 million facets that took a tenth of all rules of walls.
        is_corner = np.zeros(len(self.vertices), dtype=bool)
        is_corner[self.faces] = True
        corner = np.flatnonzero(is_corner)
        if len(self.faces) * len(corner) > HOLLOW_MOST:
            return np.inf
        height = self.normals @ self.vertices[corner].T
        height -= np.einsum("ij,ij->i", self.normals, self.corners[:, 0])[:, None]
        return float(height.max(initial=0.0))

    def has_no_gaps(self, low: float) -> bool:
        """Is it known that nothing lies outside the material between two parts of the surface?

        Parameters
        ----------
        low : mm, gaps far narrower than that, and than coordinates resolve, are none
        """
        return self.hollow_mm <= min(float(np.sqrt(3.0)) * self.resolution, low / 1000)

    @cached_property
    def turns(self) -> Turns:
        """Sides at which the surface turns by more than `TURN_DEGREES`."""
        found = []
        for start in range(0, len(self.faces), FACETS_AT_ONCE):
            rows = np.arange(start, min(start + FACETS_AT_ONCE, len(self.faces)))
            for side in range(3):
                other = self.neighbours[rows, side]
                along = np.einsum("ij,ij->i", self.normals[rows], self.normals[other])
                keep = (along < TURN_COS) & (other > rows)
                found.append(
                    np.stack([rows[keep], np.full(int(keep.sum()), side), other[keep]], axis=1)
                )
        facet, side, other = np.concatenate([np.zeros((0, 3), np.int64), *found]).T
        begin = self.vertices[self.faces[facet, side]]
        along = self.vertices[self.faces[facet, (side + 1) % 3]] - begin
        along /= np.linalg.norm(along, axis=1)[:, None]
        # Normals that diverge about the side (seen along it) make a corner.
        turn = cross_product(self.normals[facet], self.normals[other])
        return Turns(facet, side, other, -np.einsum("ij,ij->i", turn, along))


@dataclass(eq=False)
class Turns:
    """Sides at which the surface turns, each once.

    Attributes
    ----------
    facet, side, other : (t,) int64, the side `side` of `facet`, and the facet across
    rise : (t,) float64, sine by which the facet across rises out of the material: positive at a
        re-entrant side (the bottom of a groove), negative at a corner
    """

    facet: Ints
    side: Ints
    other: Ints
    rise: Floats


def surface_from_mesh(
    vertices: Floats, faces: Ints, resolution: float | None = None
) -> SpanSurface:
    """Prepare a mesh for spans.

    Parameters
    ----------
    vertices : (n, 3) float64, mm, welded
    faces : (m, 3) int, oriented with the normal out of the material
    resolution : mm, the step of the coordinates; the float32 step of the largest one if None

    Returns
    -------
    SpanSurface : without collapsed and needle facets, second copies and pairs that cancel

    Raises
    ------
    ValueError : a coordinate is not finite, or a row number is out of range
    """
    vertices = np.ascontiguousarray(vertices, dtype=np.float64).reshape(-1, 3)
    faces = np.ascontiguousarray(faces, dtype=np.int64).reshape(-1, 3)
    if not np.isfinite(vertices).all():
        raise ValueError("a coordinate is not finite: repair the file before measuring spans")
    if len(faces) and (faces.min() < 0 or faces.max() >= len(vertices)):
        raise ValueError("a face names a vertex that is not there")
    if resolution is None:
        resolution = float(np.spacing(np.float32(np.abs(vertices).max(initial=0.0))))
    doubled, cancelled = doubled_faces(faces)
    doubled[~doubled] = doubled_in_place(vertices, faces[~doubled])
    normals, areas, longest = _shape(vertices, faces)
    with np.errstate(divide="ignore", invalid="ignore"):
        height = np.where(longest > 0, 2 * areas / longest, 0.0)
    needle = ~(height > _needle_height(vertices)) & ~doubled
    keep = np.flatnonzero(~doubled & ~needle)
    kept = faces[keep]
    return SpanSurface(
        vertices,
        kept,
        keep,
        normals[keep],
        areas[keep],
        longest[keep],
        neighbours_across_sides(kept, len(vertices)),
        resolution,
        {"needle": int(needle.sum()), "doubled": int(doubled.sum())},
        _bundled(vertices, faces[needle], areas[needle], longest[needle]),
        cancelled=cancelled,
        cancelled_corners=vertices[faces[cancelled]],
    )


def neighbours_across_sides(faces: Ints, vertex_count: int) -> Ints:
    """The facet across each side.

    Returns
    -------
    (m, 3) int64 : -1 at an open side; where more than two facets meet they are linked in a ring
    """
    key = _side_keys(faces, vertex_count)
    order = np.argsort(key)
    across = np.empty(len(key), dtype=np.int64)
    if _come_in_twos(key, order):
        one, two = order[0::2], order[1::2]
        across[one], across[two] = two // 3, one // 3
    else:
        across[order] = _next_in_ring(key[order], order // 3)
    beside: Ints = across.reshape(-1, 3)
    beside[beside == np.arange(len(faces))[:, None]] = -1
    return beside


def _come_in_twos(key: Ints, order: Ints) -> bool:
    """Has each side exactly two users, as on any sound surface?"""
    if len(key) % 2:
        return False
    first, second = key[order[0::2]], key[order[1::2]]
    return bool((first == second).all() and (first[1:] != second[:-1]).all())


def _next_in_ring(ranked: Ints, facet: Ints) -> Ints:
    """Of the users of each side, in order of sides, the one that comes next; the last's is first.

    Parameters
    ----------
    ranked : (u,) sides, ascending
    facet : (u,) who uses them
    """
    if not len(ranked):
        return facet
    starts = np.flatnonzero(np.concatenate([[True], ranked[1:] != ranked[:-1]]))
    sizes = np.diff(np.concatenate([starts, [len(ranked)]]))
    after = np.arange(1, len(ranked) + 1)
    after[starts + sizes - 1] = starts
    return facet[after]


def _bundled(vertices: Floats, faces: Ints, areas: Floats, longest: Floats) -> float:
    """Area of those of some needles that lie between other needles, by both their long sides."""
    if len(faces) < 3:
        return 0.0
    beside = neighbours_across_sides(faces, len(vertices)) >= 0
    inner = np.ones(len(faces), dtype=bool)
    for side in range(3):
        along = vertices[faces[:, (side + 1) % 3]] - vertices[faces[:, side]]
        is_long = np.linalg.norm(along, axis=1) > longest / 2
        inner &= beside[:, side] | ~is_long
    return float(areas[inner].sum())


def _side_keys(faces: Ints, vertex_count: int) -> Ints:
    """One number for each side, the same whichever way round it is used."""
    key = np.empty(faces.shape, dtype=np.int64)
    for side in range(3):
        begin, end = faces[:, side], faces[:, (side + 1) % 3]
        key[:, side] = np.minimum(begin, end)
        key[:, side] *= max(vertex_count, 1)
        key[:, side] += np.maximum(begin, end)
    return key.ravel()


def _shape(vertices: Floats, faces: Ints) -> tuple[Floats, Floats, Floats]:
    """Unit normal, area and longest side of each facet; NaN normal if collapsed."""
    normal, area, longest = np.empty(faces.shape), np.empty(len(faces)), np.empty(len(faces))
    for start in range(0, len(faces), FACETS_AT_ONCE):
        rows = slice(start, start + FACETS_AT_ONCE)
        normal[rows], area[rows], longest[rows] = _shape_of_some(vertices, faces[rows])
    return normal, area, longest


def _shape_of_some(vertices: Floats, faces: Ints) -> tuple[Floats, Floats, Floats]:
    first, second, third = (vertices[faces[:, i]] for i in range(3))
    one, two = second - first, third - first
    normal = cross_product(one, two)
    double = np.sqrt(np.einsum("ij,ij->i", normal, normal))
    longest = np.einsum("ij,ij->i", one, one)
    np.maximum(longest, np.einsum("ij,ij->i", two, two), out=longest)
    two -= one
    np.maximum(longest, np.einsum("ij,ij->i", two, two), out=longest)
    with np.errstate(divide="ignore", invalid="ignore"):
        normal /= double[:, None]
    return normal, double / 2, np.sqrt(longest)


def _needle_height(vertices: Floats) -> float:
    """Height below which rounding of the coordinates decides where a facet points.

    Coordinates that hold more digits than float32, also after metres or inches became mm, were
    never rounded about the origin; their step is taken about the middle of the part.
    """
    if not len(vertices):
        return 0.0
    reach = float(np.abs(vertices).max())
    for scale in (1.0, 1000.0, 25.4, 10.0):
        plain = vertices / scale
        with np.errstate(over="ignore"):
            gap = np.abs(plain.astype(np.float32) - plain)
        if (gap <= 4e-16 * np.abs(plain)).all():
            return NEEDLE_HALF_STEPS * 2.0**-24 * reach
    centred = float((vertices.max(0) - vertices.min(0)).max()) / 2
    return NEEDLE_HALF_STEPS * 2.0**-24 * min(reach, centred)
