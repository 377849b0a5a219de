"""Which gaps in an open surface can be closed, so that what is behind them can be measured?

A gap that is narrower than anything in question, or flat, leaves no doubt about where the missing
faces were. It is closed with faces between the corners of its rim. Lengths in mm. Guarded by
tests/geometry/test_open_lids.py.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lint3d.geometry.topology import EdgeTable
from lint3d.geometry.vectors import principal_axes

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

#: A gap is flat if its rim strays from a plane by less than this share of its width.
_FLAT = 0.05
#: Edges of a rim, and of all, beyond which nothing is closed.
_MOST_EDGES = 20_000


@dataclass(frozen=True, eq=False)
class Lids:
    """Faces that close gaps.

    Attributes
    ----------
    faces : (c, 3) int64, turned like the faces around them
    beside : (c,) a face at the rim that each closes
    doubt : mm3, by how much the volume behind them may be off
    gaps_left : how many gaps are not closed
    """

    faces: Ints
    beside: Ints
    doubt: float
    gaps_left: int


def lids_of(vertices: Floats, table: EdgeTable, narrow: float) -> Lids:
    """Close each gap whose rim is one loop, if it is narrow or flat.

    Parameters
    ----------
    vertices : (n, 3) float64, mm
    table : edges of the faces
    narrow : mm, what is narrower is closed though it is not flat

    Examples
    --------
    A tetrahedron without one of its faces:

    >>> from lint3d.geometry.topology import edge_table
    >>> corners = np.array([[0.0, 0, 0], [1, 0, 0], [0, 1, 0], [0, 0, 1]])
    >>> faces = np.array([[0, 2, 1], [0, 1, 3], [0, 3, 2]])
    >>> sorted(lids_of(corners, edge_table(faces, 4), 0.1).faces[0].tolist())
    [1, 2, 3]
    """
    found, beside, doubt, left = [np.zeros((0, 3), np.int64)], [np.zeros(0, np.int64)], 0.0, 0
    loops, others = _loops(table)
    for loop, face in loops:
        points = vertices[loop]
        axes = principal_axes(points)
        extent = np.ptp(points @ axes.T, axis=0)
        order = np.argsort(-extent, kind="stable")
        _, across, off = extent[order]
        if across >= narrow and off > _FLAT * across:
            left += 1
            continue
        lid = _between(points, axes[order[2]])
        corner = points[lid]
        area = np.linalg.norm(
            np.cross(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0]), axis=1
        ).sum()
        doubt += float(area / 2 * off)
        found.append(loop[lid])
        beside.append(np.full(len(lid), face))
    return Lids(np.concatenate(found), np.concatenate(beside), doubt, left + others)


def _loops(table: EdgeTable) -> tuple[list[tuple[Ints, int]], int]:
    """Rims that are one loop each, as vertices in the order of the faces to come, with a face.

    And how many other rims there are, one for all where edges are very many.
    """
    edge = np.flatnonzero(table.users() == 1)
    if len(edge) > _MOST_EDGES:
        return [], 1
    row = table.start[edge]
    low, high = table.ends[edge].T
    # The face to come runs the other way.
    is_reverse = table.is_reverse[row]
    begin, end = np.where(is_reverse, low, high), np.where(is_reverse, high, low)
    face = table.use[row] // 3
    crossed = np.isin(begin, _doubled(begin)) | np.isin(end, _doubled(end))
    follower = dict(
        zip(
            begin[~crossed].tolist(),
            zip(end[~crossed].tolist(), face[~crossed].tolist(), strict=True),
            strict=True,
        )
    )
    loops, others = [], int(crossed.any())
    while follower:
        start, (here, beside) = follower.popitem()
        loop = [start]
        while here != start and here in follower:
            loop.append(here)
            here = follower.pop(here)[0]
        if here == start and len(loop) > 2:
            loops.append((np.array(loop, np.int64), beside))
        else:
            others += 1
    return loops, others


def _doubled(values: NDArray[np.int32]) -> NDArray[np.int32]:
    found, count = np.unique(values, return_counts=True)
    return found[count > 1]


def _between(points: Floats, normal: Floats) -> Ints:
    """(n − 2, 3) rows of triangles between the corners of a loop.

    Parameters
    ----------
    points : (n, 3) in the order of the loop
    normal : (3,) across the loop
    """
    from manifold3d import triangulate

    fan = np.column_stack(
        [np.zeros(len(points) - 2, np.int64), *(np.arange(len(points) - 2) + k for k in (1, 2))]
    )
    turn = np.cross(points[fan[:, 1]] - points[0], points[fan[:, 2]] - points[0]).sum(axis=0)
    normal = normal if turn @ normal >= 0 else -normal
    one = np.cross(normal, np.eye(3)[int(np.argmin(np.abs(normal)))])
    one /= np.linalg.norm(one)
    flat = points @ np.column_stack([one, np.cross(normal, one)])
    rows = np.asarray(triangulate([flat]), np.int64)
    return rows if len(rows) == len(fan) else fan
