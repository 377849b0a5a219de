"""Which parts of a surface surely do not run through themselves?

A *chart* is a connected set of faces that all look along the same axis, up to 55 degrees. Seen
along that axis it covers each point as often as its outline winds round the point. If the outline
does not cross itself and has one outer loop, that is once at most: no two of its faces can meet
except in the vertices and edges they share. So only faces of different charts remain to be
compared. Lengths in mm. Guarded by tests/geometry/test_charts.py.
"""

from __future__ import annotations

from dataclasses import dataclass

import igl.predicates
import numpy as np
from numpy.typing import NDArray

from lint3d.geometry.components import connected_groups
from lint3d.geometry.facets import facet_normals
from lint3d.geometry.topology import EdgeTable

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

# Smaller charts are quicker to test face by face than to prove.
_FEWEST_FACES = 200
# Faces where a chart touches itself in a vertex are taken out, which can make new such places.
_ROUNDS = 8


@dataclass(frozen=True, eq=False)
class Charts:
    """Faces by chart, and which charts are proven clear."""

    chart: Ints
    """(m,) chart of each face, from 0."""
    is_clear: Bools
    """(charts,) no two faces of the chart meet in more than what they share."""


@dataclass(frozen=True, eq=False)
class _Outline:
    """Sides of faces along which charts end, directed with their face."""

    face: Ints
    start: Ints
    """Vertex at which the side starts."""
    end: Ints
    start_corner: Ints
    """3 * face + corner."""
    end_corner: Ints


def clear_charts(vertices: Floats, faces: Ints, table: EdgeTable, skip: Bools) -> Charts:
    """Cut a surface into charts and prove which of them do not cross themselves.

    Parameters
    ----------
    vertices : (n, 3) float64, mm
    faces : (m, 3) int64
    table : EdgeTable of `faces`
    skip : (m,) bool, faces to leave out: each is a chart of its own that is not clear

    Returns
    -------
    Charts
    """
    direction = _direction(facet_normals(vertices, faces))
    direction[skip] = -1
    one, two, use_one, use_two = _links(table)
    same = direction[one] == direction[two]
    one, two, use_one, use_two = one[same], two[same], use_one[same], use_two[same]
    for _ in range(_ROUNDS):
        joined = (direction[one] >= 0) & (direction[two] >= 0)
        chart = connected_groups(len(faces), one[joined], two[joined])
        large = (np.bincount(chart, minlength=1) >= _FEWEST_FACES)[chart] & (direction >= 0)
        outline = _outline(faces, large, table, use_one[joined], use_two[joined])
        fan = _fans_at(faces, outline, large, use_one[joined], use_two[joined])
        pinched = _pinched_faces(faces, chart, outline, fan)
        if len(pinched) == 0:
            break
        direction[pinched] = -1
    is_clear = np.zeros(int(chart.max(initial=-1)) + 1, bool)
    is_clear[chart[large]] = True
    is_clear[chart[pinched]] = False
    _strike_by_loops(vertices, chart, direction, outline, fan, is_clear)
    _strike_by_crossings(vertices, chart, direction, outline, is_clear)
    return Charts(chart, is_clear)


def _direction(normal: Floats) -> NDArray[np.int8]:
    """(m,) along which axis each face looks most: 0 to 2, and 3 more if backwards; -1 for none."""
    size = np.abs(normal)
    axis = np.where(size[:, 1] > size[:, 0], 1, 0)
    axis = np.where(size[:, 2] > np.maximum(size[:, 0], size[:, 1]), 2, axis)
    value = np.take_along_axis(normal, axis[:, None], axis=1)[:, 0]
    direction = axis + np.where(value < 0, 3, 0)
    direction[value == 0] = -1
    return direction.astype(np.int8)


def _links(table: EdgeTable) -> tuple[Ints, Ints, Ints, Ints]:
    """Faces on both sides of each edge with two users that agree, and the sides they use it by."""
    first = table.start[:-1][table.users() == 2]
    first = first[table.is_reverse[first] != table.is_reverse[first + 1]]
    use_one, use_two = table.use[first].astype(np.int64), table.use[first + 1].astype(np.int64)
    return use_one // 3, use_two // 3, use_one, use_two


def _outline(faces: Ints, large: Bools, table: EdgeTable, use_one: Ints, use_two: Ints) -> _Outline:
    is_outline = np.repeat(large, 3)
    is_outline[use_one] = False
    is_outline[use_two] = False
    side = np.flatnonzero(is_outline)
    after = np.where(side % 3 == 2, side - 2, side + 1)
    corners = faces.ravel()
    return _Outline(side // 3, corners[side], corners[after], side, after)


def _fans_at(faces: Ints, outline: _Outline, large: Bools, use_one: Ints, use_two: Ints) -> Ints:
    """(3 m,) for corners at an outline's vertices: which fan of their chart; -1 elsewhere."""
    near_vertex = np.zeros(int(faces.max(initial=-1)) + 1, bool)
    near_vertex[outline.start] = True
    corner = np.flatnonzero(near_vertex[faces].ravel() & np.repeat(large, 3))
    row = np.full(3 * len(faces), -1, np.int64)
    row[corner] = np.arange(len(corner))
    # Few links lie at an outline: choose them by face before looking at corners.
    is_near = np.zeros(len(faces), bool)
    is_near[corner // 3] = True
    some = is_near[use_one // 3]
    use_one, use_two = use_one[some], use_two[some]
    after_one = np.where(use_one % 3 == 2, use_one - 2, use_one + 1)
    after_two = np.where(use_two % 3 == 2, use_two - 2, use_two + 1)
    # The two faces run along the edge in opposite ways.
    one = np.concatenate([row[use_one], row[after_one]])
    two = np.concatenate([row[after_two], row[use_two]])
    both = (one >= 0) & (two >= 0)
    row[corner] = connected_groups(len(corner), one[both], two[both])
    return row


def _pinched_faces(faces: Ints, chart: Ints, outline: _Outline, fan: Ints) -> Ints:
    """Faces at vertices where a chart has more than one fan: it touches itself there."""
    keys = chart[outline.face] * (int(faces.max(initial=-1)) + 1) + outline.start
    order = np.argsort(keys)
    again = np.flatnonzero(keys[order][1:] == keys[order][:-1])
    rows = np.unique(np.concatenate([order[again], order[again + 1]]))
    fans = np.unique(fan[outline.start_corner[rows]])
    is_pinched = np.isin(fan, fans[fans >= 0])
    return np.unique(np.flatnonzero(is_pinched) // 3)


def _strike_by_loops(
    vertices: Floats,
    chart: Ints,
    direction: NDArray[np.int8],
    outline: _Outline,
    fan: Ints,
    is_clear: Bools,
) -> None:
    """A chart has one outer loop, seen from its side; all others are holes."""
    if len(outline.face) == 0:
        return
    from_, to = fan[outline.start_corner], fan[outline.end_corner]
    loop = connected_groups(int(fan.max()) + 1, from_, to)[from_]
    _, loop = np.unique(loop, return_inverse=True)
    a = _seen(vertices[outline.start], direction[outline.face])
    b = _seen(vertices[outline.end], direction[outline.face])
    loops = int(loop.max()) + 1
    corner = np.zeros((loops, 2))
    corner[loop] = a
    a, b = a - corner[loop], b - corner[loop]
    area = np.bincount(loop, a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0], minlength=loops)
    owner = np.zeros(loops, np.int64)
    owner[loop] = chart[outline.face]
    outer = np.bincount(owner[area > 0], minlength=len(is_clear))
    is_clear &= outer == 1


def _seen(points: Floats, direction: NDArray[np.int8]) -> Floats:
    """(k, 2) points in the plane square to each direction, turning left as seen from ahead."""
    axis = (direction % 3).astype(np.int64)
    rows = np.arange(len(points))
    across, up = points[rows, (axis + 1) % 3], points[rows, (axis + 2) % 3]
    flat: Floats = np.stack([np.where(direction >= 3, -across, across), up], axis=1)
    return flat


def _strike_by_crossings(
    vertices: Floats,
    chart: Ints,
    direction: NDArray[np.int8],
    outline: _Outline,
    is_clear: Bools,
) -> None:
    """No two sides of a chart's outline cross or touch, seen along its axis.

    Each side is stood up as a wall, each chart's walls on a floor of its own, and the walls are
    tested by exact predicates.
    """
    keep = is_clear[chart[outline.face]]
    if not keep.any():
        return
    face, sides = outline.face[keep], np.stack([outline.start, outline.end], axis=1)[keep]
    floor, vertex_count = chart[face], len(vertices)
    _, floor = np.unique(floor, return_inverse=True)
    keys = floor[:, None] * vertex_count + sides
    used, first, local = np.unique(keys, return_index=True, return_inverse=True)
    local = local.reshape(-1, 2)
    flat = _seen(vertices[used % vertex_count], direction[face[first // 2]])
    low = np.column_stack([flat, 2.0 * (used // vertex_count)])
    high = low + [0, 0, 1]
    a, b = local[:, 0], local[:, 1]
    top = len(used)
    walls = np.concatenate([np.stack([a, b, b + top], 1), np.stack([a, b + top, a + top], 1)])
    pairs = igl.predicates.find_self_intersections(np.concatenate([low, high]), walls)[1]
    is_clear[chart[face[pairs.ravel() % len(face)]]] = False
