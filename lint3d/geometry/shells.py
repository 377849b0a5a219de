"""Which faces form one surface, and which surface holds which?

A *shell* is a set of faces connected through shared edges. Lengths in mm, volumes in mm3.
Guarded by tests/geometry/test_shells.py and tests/outside/test_solid_references.py.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lint3d.geometry.components import connected_groups
from lint3d.geometry.portions import chunks
from lint3d.geometry.topology import EdgeTable, face_links, has_repeated_vertex
from lint3d.geometry.vectors import cross_product

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]


def split_shells(table: EdgeTable, faces: Ints) -> Ints:
    """Which shell does each face belong to?

    Faces that share an edge belong together, whatever the number of faces at that edge; faces that
    share only a vertex do not. A face that names a vertex twice goes with a face at its lowest
    vertex, or is a shell of its own if there is none.

    Parameters
    ----------
    table : EdgeTable of `faces`
    faces : (m, 3) int64

    Returns
    -------
    (m,) int64 : shell of each face, numbered from 0 by lowest face
    """
    one, two = face_links(table)
    repeated = np.flatnonzero(has_repeated_vertex(faces))
    if len(repeated) == 0:
        return connected_groups(len(faces), one, two)
    sound = np.flatnonzero(~has_repeated_vertex(faces))
    face_at = np.full(table.vertex_count, -1, np.int64)
    # Written backwards so that the lowest face at each vertex stays.
    face_at[faces[sound[::-1]].ravel()] = np.repeat(sound[::-1], 3)
    neighbour = face_at[faces[repeated].min(axis=1)]
    has_neighbour = neighbour >= 0
    return connected_groups(
        len(faces),
        np.concatenate([one, repeated[has_neighbour]]),
        np.concatenate([two, neighbour[has_neighbour]]),
    )


def closed_shells(table: EdgeTable, label: Ints) -> Bools:
    """(s,) is the shell closed: is each of its edges used an even number of times?

    Which way round the faces are turned does not matter. A shell without edges is not closed.
    """
    shells = int(label.max()) + 1 if len(label) else 0
    closed = np.zeros(shells, bool)
    edge_shell = label[table.use[table.start[:-1]] // 3]
    closed[edge_shell] = True
    closed[edge_shell[table.users() % 2 == 1]] = False
    return closed


def shell_boxes(vertices: Floats, faces: Ints, label: Ints) -> Floats:
    """(s, 2, 3) lowest and highest corner of the box around each shell, mm."""
    shells = int(label.max()) + 1 if len(label) else 0
    order = np.argsort(label, kind="stable") if np.any(np.diff(label) < 0) else None
    sorted_label = label if order is None else label[order]
    start = np.searchsorted(sorted_label, np.arange(shells))
    boxes = np.empty((shells, 2, 3))
    for axis in range(3):
        a, b, c = (vertices[faces[:, corner], axis] for corner in range(3))
        low, high = np.minimum(np.minimum(a, b), c), np.maximum(np.maximum(a, b), c)
        if order is not None:
            low, high = low[order], high[order]
        boxes[:, 0, axis] = np.minimum.reduceat(low, start) if shells else 0
        boxes[:, 1, axis] = np.maximum.reduceat(high, start) if shells else 0
    return boxes


def facet_volumes(vertices: Floats, faces: Ints, label: Ints) -> Floats:
    """Signed volume of the tetrahedron from its shell's centre to each face.

    Measured about the middle of the shell's own box, so that a part far from the origin loses
    nothing to rounding.

    Returns
    -------
    (m,) float64, mm3 : their sum over a closed, consistently turned shell is its volume,
        negative if it is inside out
    """
    if len(faces) == 0:
        return np.zeros(0)
    centre = shell_boxes(vertices, faces, label).mean(axis=1)
    six_volume = np.empty(len(faces))
    for rows in chunks(len(faces)):
        corner = vertices[faces[rows]] - centre[label[rows], None, :]
        a, b, c = corner[:, 0], corner[:, 1], corner[:, 2]
        six_volume[rows] = np.einsum("ij,ij->i", a, cross_product(b, c))
    return six_volume / 6


def facet_areas(vertices: Floats, faces: Ints) -> Floats:
    """(m,) float64, mm2: area of each face."""
    area = np.empty(len(faces))
    for rows in chunks(len(faces)):
        a, b, c = (vertices[faces[rows, corner]] for corner in range(3))
        area[rows] = np.linalg.norm(cross_product(b - a, c - a), axis=1) / 2
    return area


def sum_by_shell(values: Floats, label: Ints) -> Floats:
    """(s,) sum over the faces of each shell."""
    shells = int(label.max()) + 1 if len(label) else 0
    return np.bincount(label, values, minlength=shells).astype(np.float64)
