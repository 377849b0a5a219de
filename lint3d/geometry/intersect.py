"""Where does a surface run through itself?

What counts: two faces that cross, or that overlap in one plane, deeper than the resolution of the
coordinates: folded neighbours with a common edge or vertex as well. What does not: faces that only
touch (a vertex or an edge that lies on another face), faces without area, and copies of a face on
the same three vertices (`facets.py` has both). So the pairs stay the same when the part is turned
and written again. Candidates come from exact predicates (libigl), run only where faces of different
charts come near (`charts.py`, `face_boxes.py`), so that time and memory grow with the number of
faces. Lengths in mm. Guarded by tests/geometry/test_intersect.py and
tests/outside/test_solid_references.py.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise

import igl.predicates
import numpy as np
from numpy.typing import NDArray

from lint3d.geometry.charts import clear_charts
from lint3d.geometry.face_boxes import (
    FaceBoxes,
    Portion,
    face_boxes,
    mean_overlaps,
    portions_to_compare,
)
from lint3d.geometry.facets import (
    coordinate_resolution_mm,
    degenerate_faces,
    duplicate_faces,
    facet_normals,
)
from lint3d.geometry.penetration import in_common_plane, penetration_depth_mm
from lint3d.geometry.portions import chunks
from lint3d.geometry.topology import EdgeTable, consecutive_uses, edge_table, expand_runs
from lint3d.geometry.vectors import cross_product

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

# More overlapping boxes a face than this are a crowd, which is compared piece by piece.
_CROWDED = 400
# Overlapping boxes that are looked into before giving up, and how many more a face: about half a
# minute for a million faces. Sound meshes have some twenty a face.
_MOST_WORK, _MOST_WORK_A_FACE = 3e8, 500
# A pair whose depth is measured costs as much as this many overlapping boxes.
_WORK_OF_A_PAIR = 50
# How far the needle through each face reaches, in units of the resolution: two sheets in one plane
# are parted by less than one unit.
_NEEDLE = 2.0
# Pairs that may come back from one call in a crowded box.
_PAIRS_A_CALL = 2_000_000


class CrowdedFaces(RuntimeError):
    """The faces lie too densely upon each other to compare them all."""

    def __init__(self, pairs: Ints) -> None:
        super().__init__(
            "too many faces overlap to compare them all: "
            f"{len(pairs)} intersecting pairs were found before the search was given up"
        )
        self.pairs = pairs


def self_intersections(
    vertices: Floats,
    faces: Ints,
    label: Ints | None = None,
    table: EdgeTable | None = None,
    most: int = 1_000_000,
) -> Ints:
    """Which pairs of faces intersect in more than the vertices and edges they share?

    Parameters
    ----------
    vertices : (n, 3) float64, mm, finite
    faces : (m, 3) int64
    label : (m,) int64, optional
        Only faces of the same label are compared: with shells as labels, two solids that overlap
        are not taken for one that intersects itself, at no cost.
    table : EdgeTable of `faces`, optional: saves building it again
    most : stop once this many pairs are found

    Returns
    -------
    (k, 2) int64 : pairs of faces, the lower first, ascending. `k >= most` means that there may be
        more.

    Raises
    ------
    CrowdedFaces : so many boxes of faces overlap that the search was given up; it carries the pairs
        found till then

    Examples
    --------
    >>> flat, upright = [[0, 0, 0], [4, 0, 0], [0, 4, 0]], [[1, 1, -1], [1, 1, 1], [5, 5, 0]]
    >>> corners = np.array(flat + upright, float)
    >>> self_intersections(corners, np.array([[0, 1, 2], [3, 4, 5]])).tolist()
    [[0, 1]]
    """
    if table is None:
        table = edge_table(faces, len(vertices))
    mesh = _prepared(vertices, faces, label, table)
    found: list[Ints] = [_folded_neighbours(mesh, table)]
    total, work = len(found[0]), 0.0
    for portion in portions_to_compare(mesh.boxes):
        for candidates, overlaps in _candidates(mesh, portion):
            found.append(_deep(mesh, candidates))
            total += len(found[-1])
            work += overlaps + _WORK_OF_A_PAIR * len(candidates)
            enough = total >= most or work > _MOST_WORK + _MOST_WORK_A_FACE * len(faces)
            if enough:
                # A pair in two boxes is found twice, so `total` may be too large: count exactly.
                found = [_unique_pairs(np.concatenate(found), len(faces))]
                total = len(found[0])
            if total >= most:
                return mesh.rows[found[0]]
            if enough and work > _MOST_WORK + _MOST_WORK_A_FACE * len(faces):
                raise CrowdedFaces(mesh.rows[found[0]])
    pairs = _grow_in_plane(mesh, _unique_pairs(np.concatenate(found), len(faces)), most)
    return mesh.rows[pairs]


@dataclass(frozen=True, eq=False)
class _Mesh:
    """The faces worth comparing, with labels pulled apart along x."""

    vertices: Floats
    faces: Ints
    """(r, 3) faces that have an area and are not alone with their label."""
    rows: Ints
    """(r,) their numbers in the whole mesh, ascending."""
    label: Ints | None
    chart: Ints
    """(r,) faces of one chart, if it is 0 or more, are known not to cross each other."""
    apart_mm: float
    """Distance along the first axis between one label and the next: a power of two, so that nothing
    is rounded where coordinates came from a single-precision file."""
    resolution_mm: float
    boxes: FaceBoxes

    def corners(self, rows: Ints) -> Floats:
        triangles: Floats = self.vertices[self.faces[rows]]
        return triangles


def _prepared(vertices: Floats, faces: Ints, label: Ints | None, table: EdgeTable) -> _Mesh:
    resolution = coordinate_resolution_mm(vertices)
    good = ~degenerate_faces(vertices, faces, resolution)
    good[duplicate_faces(faces).face] = False
    charts = clear_charts(vertices, faces, table, ~good)
    chart = np.where(charts.is_clear[charts.chart], charts.chart, -1)
    apart = 0.0
    if label is not None and len(label):
        good &= (np.bincount(label) > 1)[label]
        extent = float(np.linalg.norm(np.ptp(vertices, axis=0))) + resolution
        apart = 2.0 ** np.ceil(np.log2(max(extent, 1e-300)) + 1)
    rows = np.flatnonzero(good)
    kept = faces if len(rows) == len(faces) else faces[rows]
    groups = None if label is None else label[rows]
    shift = None if groups is None else (groups * apart).astype(np.float64)
    boxes = face_boxes(vertices, kept, chart[rows], shift, _NEEDLE * resolution)
    return _Mesh(vertices, kept, rows, groups, chart[rows], apart, resolution, boxes)


def _candidates(mesh: _Mesh, portion: Portion) -> Iterator[tuple[Ints, float]]:
    """Pairs of faces (rows of `mesh.faces`) that meet or lie on each other, in bounded portions.

    With each portion of pairs, how many overlapping boxes were looked into.
    """
    corner = mesh.faces[portion.rows]
    count = len(mesh.vertices)
    # Labels may share vertices: pulled apart, each label has its own copy.
    keys = corner if mesh.label is None else corner + (mesh.label[portion.rows] * count)[:, None]
    used, local = np.unique(keys, return_inverse=True)
    vertices = mesh.vertices[used % count]
    if portion.frame is not None:
        vertices = vertices @ portion.frame.T
    if mesh.label is not None:
        vertices[:, 0] += used // count * mesh.apart_mm
    local = local.reshape(-1, 3)
    needles = _needles(vertices, local, mesh.resolution_mm)
    faces = np.concatenate([local, len(vertices) + np.arange(3 * len(local)).reshape(-1, 3)])
    vertices = np.concatenate([vertices, needles])
    owner = np.concatenate([portion.rows, portion.rows])
    for pairs, overlaps in _meeting(vertices, faces, mesh.chart[owner]):
        one, two = owner[pairs[:, 0]], owner[pairs[:, 1]]
        open_question = (mesh.chart[one] != mesh.chart[two]) | (mesh.chart[one] < 0)
        open_question &= one != two
        yield np.stack([one, two], axis=1)[open_question], overlaps


def _needles(vertices: Floats, faces: Ints, resolution_mm: float) -> Floats:
    """(3 m, 3) a tiny triangle set upright through the middle of each face.

    It meets a face that lies on this one, even where rounding has parted the two.
    """
    reach = _NEEDLE * resolution_mm
    corner = vertices[faces]
    middle = corner.mean(axis=1)
    normal = cross_product(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0])
    normal *= reach / np.linalg.norm(normal, axis=1)[:, None]
    along = corner[:, 1] - corner[:, 0]
    along *= reach / np.linalg.norm(along, axis=1)[:, None]
    needles: Floats = np.stack([middle + normal, middle - normal, middle + along], axis=1)
    return needles.reshape(-1, 3)


def _meeting(vertices: Floats, faces: Ints, chart: Ints) -> Iterator[tuple[Ints, float]]:
    """Pairs of faces that meet by exact predicates, and how many overlapping boxes that took."""
    a, b, c = (vertices[faces[:, corner]] for corner in range(3))
    low, high = np.minimum(np.minimum(a, b), c), np.maximum(np.maximum(a, b), c)
    crowd = mean_overlaps((low, high), (low, high))
    if crowd <= _CROWDED or len(faces) * crowd <= 2 * _PAIRS_A_CALL:
        pairs = igl.predicates.find_self_intersections(vertices, faces)[1].reshape(-1, 2)
        yield pairs, crowd * len(faces)
        return
    step = max(1, int(_PAIRS_A_CALL / crowd))
    # In a crowd it pays not even to look within a chart. Faces of none (-1) come first.
    order = np.argsort(chart, kind="stable")
    faces, chart, low, high = faces[order], chart[order], low[order], high[order]
    for begin, end in _runs(chart, step):
        first = begin if chart[begin] < 0 else int(np.searchsorted(chart, chart[begin], "right"))
        if first == len(faces):
            continue
        some, others = faces[begin:end], faces[first:]
        overlaps = mean_overlaps((low[begin:end], high[begin:end]), (low[first:], high[first:]))
        pairs = igl.predicates.find_intersections(vertices, some, vertices, others)[1]
        pairs = pairs.reshape(-1, 2) + [begin, first]
        yield order[pairs[pairs[:, 0] < pairs[:, 1]]], overlaps * len(some)


def _runs(chart: Ints, most: int) -> Iterator[tuple[int, int]]:
    """Pieces of a sorted list of charts: one chart each, and no longer than `most`."""
    bounds = np.flatnonzero(np.diff(chart, prepend=chart[0] - 1, append=chart[-1] + 1))
    for begin, end in pairwise(bounds):
        for start in range(begin, end, most):
            yield start, min(start + most, int(end))


def _deep(mesh: _Mesh, pairs: Ints) -> Ints:
    """Those pairs that run into each other deeper than the resolution."""
    keep = np.zeros(len(pairs), bool)
    for part in chunks(len(pairs), 1 << 15):
        one, two = pairs[part, 0], pairs[part, 1]
        depth = penetration_depth_mm(mesh.corners(one), mesh.corners(two), mesh.resolution_mm)
        keep[part] = depth > mesh.resolution_mm
        same = np.sort(mesh.faces[one], axis=1) == np.sort(mesh.faces[two], axis=1)
        keep[part] &= ~same.all(axis=1)
        if mesh.label is not None:
            keep[part] &= mesh.label[one] == mesh.label[two]
    return pairs[keep]


def _unique_pairs(pairs: Ints, count: int) -> Ints:
    """Each pair once, the lower face first, ascending."""
    keys = np.unique(pairs.min(axis=1) * np.int64(count) + pairs.max(axis=1))
    return np.stack(np.divmod(keys, np.int64(max(count, 1))), axis=1)


def _folded_neighbours(mesh: _Mesh, table: EdgeTable) -> Ints:
    """Faces folded flat onto one they share an edge with.

    Exact predicates see them only if they lie in one plane to the last bit, which a turn undoes.
    """
    row = np.full(table.face_count, -1, np.int64)
    row[mesh.rows] = np.arange(len(mesh.rows))
    uses = consecutive_uses(table)
    reverse = table.is_reverse[uses], table.is_reverse[uses + 1]
    pairs = row[np.stack([table.use[uses] // 3, table.use[uses + 1] // 3], axis=1)]
    kept = np.flatnonzero((pairs >= 0).all(axis=1))
    pairs = pairs[kept]
    sign = np.where(reverse[0] == reverse[1], 1.0, -1.0)[kept]
    kept = (mesh.chart[pairs[:, 0]] != mesh.chart[pairs[:, 1]]) | (mesh.chart[pairs[:, 0]] < 0)
    if mesh.label is not None:
        kept &= mesh.label[pairs[:, 0]] == mesh.label[pairs[:, 1]]
    sign, pairs = sign[kept], pairs[kept]
    is_folded = np.zeros(len(pairs), bool)
    for part in chunks(len(pairs)):
        one, two = (facet_normals(mesh.vertices, mesh.faces[pairs[part, i]]) for i in range(2))
        is_folded[part] = sign[part] * np.einsum("ij,ij->i", one, two) > 0.5
    return _deep(mesh, pairs[is_folded])


def _grow_in_plane(mesh: _Mesh, pairs: Ints, most: int) -> Ints:
    """Add the overlaps in one plane that rounding hid from the exact predicates.

    Where two sheets lie on each other, rounding makes some of their faces cross and others miss.
    From the pairs that were found, neighbours on either sheet are tried until no more are found.
    """
    one, two = pairs[:, 0], pairs[:, 1]
    flat = in_common_plane(mesh.corners(one), mesh.corners(two), mesh.resolution_mm)
    fresh = pairs[flat]
    if len(fresh) == 0:
        return pairs
    ring_start, ring = _faces_at_vertices(mesh)
    tried = pairs
    while len(fresh) and len(pairs) < most:
        near = [
            _beside(mesh, fresh[:, side], fresh[:, 1 - side], ring_start, ring) for side in range(2)
        ]
        unseen = _unique_pairs(np.concatenate(near), len(mesh.faces))
        unseen = _without(unseen[unseen[:, 0] != unseen[:, 1]], tried, len(mesh.faces))
        tried = np.concatenate([tried, unseen])
        found = _deep(mesh, unseen)
        fresh = found[
            in_common_plane(
                mesh.corners(found[:, 0]), mesh.corners(found[:, 1]), mesh.resolution_mm
            )
        ]
        pairs = _unique_pairs(np.concatenate([pairs, fresh]), len(mesh.faces))
    return pairs


def _faces_at_vertices(mesh: _Mesh) -> tuple[Ints, Ints]:
    """For each vertex where its faces begin in a list of faces, and that list."""
    corners = mesh.faces.ravel()
    order = np.argsort(corners, kind="stable")
    start = np.searchsorted(corners[order], np.arange(len(mesh.vertices) + 1))
    return start, order // 3


def _beside(mesh: _Mesh, moved: Ints, kept: Ints, ring_start: Ints, ring: Ints) -> Ints:
    """Pairs of every face that shares a vertex with `moved` and the partner that stays."""
    position, owner = expand_runs(ring_start, mesh.faces[moved].ravel())
    return np.stack([ring[position], np.repeat(kept, 3)[owner]], axis=1)


def _without(pairs: Ints, others: Ints, count: int) -> Ints:
    one = pairs[:, 0] * np.int64(count) + pairs[:, 1]
    two = others[:, 0] * np.int64(count) + others[:, 1]
    return pairs[~np.isin(one, two)]
