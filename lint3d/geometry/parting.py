"""Which solids is a surface made of, where solids share edges or corners?

Two boxes that lie on each other corner on corner share vertices and edges: read from a file they
are one surface with four faces at an edge. Going round such an edge, material and space take turns;
the two faces round one wedge of material belong together. Lengths in mm. Guarded by
tests/geometry/test_parting.py.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lint3d.geometry.components import connected_groups
from lint3d.geometry.topology import edge_table, expand_runs

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]


def part_solids(vertices: Floats, faces: Ints, step: float) -> Ints | None:
    """Which solid does each face belong to?

    Parameters
    ----------
    vertices, faces : mm; faces look out of the material
    step : mm, how far rounding may move a coordinate; faces that part by less lie on each other

    Returns
    -------
    (m,) int64, numbered from 0 by lowest face; a cavity is a solid of its own, with a negative
    volume. None where the faces enclose nothing for certain: an open edge, a face turned over, an
    edge round which material and space do not take turns.
    """
    table = edge_table(faces, len(vertices))
    users = table.users()
    if (users % 2).any() or len(table.use) < 3 * len(faces):
        return None
    forward = ~table.is_reverse
    balance = np.add.reduceat(np.where(forward, 1, -1), table.start[:-1])
    if balance.any():
        return None
    plain = np.flatnonzero(users == 2)
    use = table.use.astype(np.int64)
    first = table.start[plain].astype(np.int64)
    one, two = [use[first] // 3], [use[first + 1] // 3]
    crowded = np.flatnonzero(users > 2)
    if len(crowded):
        rows, owner = expand_runs(table.start, crowded)
        rows = np.asarray(rows, np.int64)
        paired = _paired(vertices, faces, use[rows], forward[rows], np.asarray(owner), step)
        if paired is None:
            return None
        one.append(use[rows[paired[0]]] // 3)
        two.append(use[rows[paired[1]]] // 3)
    return connected_groups(len(faces), np.concatenate(one), np.concatenate(two))


def _paired(
    vertices: Floats, faces: Ints, use: Ints, forward: Bools, owner: Ints, step: float
) -> tuple[Ints, Ints] | None:
    """Rows of the uses that bound a wedge of material together; None where they do not take turns.

    Parameters
    ----------
    use : (u,) side of face, edge by edge
    forward : (u,) does the face run along its edge from the lower vertex to the higher one?
    owner : (u,) ascending, number of the edge
    """
    face, side = use // 3, use % 3
    begin, end = faces[face, side], faces[face, (side + 1) % 3]
    low, high = np.where(forward, begin, end), np.where(forward, end, begin)
    axis = vertices[high] - vertices[low]
    length = np.linalg.norm(axis, axis=1)
    if (length == 0).any():
        return None
    axis /= length[:, None]
    out = vertices[faces[face, (side + 2) % 3]] - vertices[low]
    out -= np.einsum("ij,ij->i", out, axis)[:, None] * axis
    height = np.linalg.norm(out, axis=1)
    start = np.flatnonzero(np.diff(owner, prepend=-1))
    count = np.diff(np.append(start, len(owner)))
    x = np.repeat(out[start] / np.maximum(height[start], 1e-300)[:, None], count, axis=0)
    y = np.cross(axis, x)
    angle = np.arctan2(np.einsum("ij,ij->i", out, y), np.einsum("ij,ij->i", out, x))
    # Material lies before a face that runs forward and behind one that runs back. Where two lie on
    # each other the material of the one ends before that of the other begins.
    doubt = np.minimum(2 * step / np.maximum(height, 1e-300), 0.1)
    angle = _counted_from_a_gap(angle, owner, start, count) + np.where(forward, -doubt, doubt)
    order = np.lexsort((~forward, angle, owner))
    closes = forward[order]
    following = np.arange(1, len(order) + 1)
    following[start + count - 1] = start
    if (closes == closes[following]).any():
        return None
    opens = np.flatnonzero(~closes)
    return order[opens], order[following[opens]]


def _counted_from_a_gap(angle: Floats, owner: Ints, start: Ints, count: Ints) -> Floats:
    """The angles round each edge, counted from the middle of the widest gap between faces."""
    order = np.lexsort((angle, owner))
    ranked = angle[order]
    following = np.arange(1, len(order) + 1)
    following[start + count - 1] = start
    gap = ranked[following] - ranked
    gap[start + count - 1] += 2 * np.pi
    widest = np.lexsort((-gap, owner))[start]
    counted: Floats = np.mod(angle - np.repeat(ranked[widest] + gap[widest] / 2, count), 2 * np.pi)
    return counted
