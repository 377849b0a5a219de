"""How does a mesh come onto the page: light enough, fine enough for colours, small in bytes?

What is shown may be simplified; nothing is measured on it. Lengths in mm.
"""

from __future__ import annotations

import base64
import gzip
from typing import Any

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

#: Edges sharper than this are drawn as lines.
CREASE_DEGREES = 25.0
#: A body with more such edges is too rough for lines to help.
MOST_CREASES = 40_000


def simplified(vertices: Floats, faces: Ints, most: int) -> tuple[Floats, Ints]:
    """The mesh with about `most` faces or fewer, for looking at.

    Closed meshes keep their shape within a tolerance that grows until they are light enough;
    others, and what is still too heavy then, have vertices that share a cell joined.
    """
    if len(faces) <= most:
        return vertices, faces
    size = max(float(np.ptp(vertices, axis=0).max()), 1e-9)
    for tolerance in size * np.array([2e-5, 1e-4, 4e-4, 1.5e-3]):
        found = _closed_simplified(vertices, faces, float(tolerance))
        if found is None:
            break
        if len(found[1]) <= most:
            return found
    cell = size / 400
    while True:
        joined = clustered(vertices, faces, cell)
        if len(joined[1]) <= most or cell > size:
            return joined
        cell *= 1.4


def _closed_simplified(
    vertices: Floats, faces: Ints, tolerance: float
) -> tuple[Floats, Ints] | None:
    """Simplified within a tolerance; None for a mesh that is not closed."""
    import manifold3d

    mesh = manifold3d.Mesh64(vertices, faces.astype(np.uint64))
    solid = manifold3d.Manifold(mesh)
    if solid.status() != manifold3d.Error.NoError or solid.is_empty():
        return None
    found = solid.simplify(tolerance).to_mesh64()
    return found.vert_properties[:, :3], found.tri_verts.astype(np.int64)


def clustered(vertices: Floats, faces: Ints, cell: float) -> tuple[Floats, Ints]:
    """All vertices in one cell of a grid become one; faces that collapse go."""
    if not len(faces):
        return vertices, faces
    grid = np.floor((vertices - vertices.min(axis=0)) / cell).astype(np.int64)
    _, first, group = np.unique(grid, axis=0, return_index=True, return_inverse=True)
    moved = group.ravel()[faces]
    whole = (
        (moved[:, 0] != moved[:, 1]) & (moved[:, 1] != moved[:, 2]) & (moved[:, 2] != moved[:, 0])
    )
    kept = moved[whole]
    _, rows = np.unique(np.sort(kept, axis=1), axis=0, return_index=True)
    return vertices[first], kept[np.sort(rows)]


def refined(vertices: Floats, faces: Ints, most: int) -> tuple[Floats, Ints]:
    """Faces halved along their longest side until all are about as small as `most` faces allow."""
    corners = vertices[faces]
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    area = float(np.linalg.norm(normal, axis=1).sum() / 2)
    longest = 2 * np.sqrt(area / max(most, 1))
    while longest > 0:
        found = _halved(vertices, faces, longest, most)
        if found is not None:
            return found
        longest *= 1.5
    return vertices, faces


def _halved(vertices: Floats, faces: Ints, longest: float, most: int) -> tuple[Floats, Ints] | None:
    while True:
        corners = vertices[faces]
        side = np.linalg.norm(corners - np.roll(corners, -1, axis=1), axis=2)
        which = side.argmax(axis=1)
        rows = np.flatnonzero(side[np.arange(len(faces)), which] > longest)
        if not len(rows):
            return vertices, faces
        if len(faces) + len(rows) > most:
            return None
        turn = (which[rows][:, None] + np.arange(3)) % 3
        a, b, c = np.take_along_axis(faces[rows], turn, axis=1).T  # a-b is the longest side
        pair = np.sort(np.column_stack([a, b]), axis=1)
        pairs, middle = np.unique(pair, axis=0, return_inverse=True)
        middle = middle.ravel() + len(vertices)
        vertices = np.concatenate([vertices, vertices[pairs].mean(axis=1)])
        faces = faces.copy()
        faces[rows] = np.column_stack([a, middle, c])
        faces = np.concatenate([faces, np.column_stack([middle, b, c])])


def creases(vertices: Floats, faces: Ints) -> Ints:
    """(k, 2) rows of vertices: the edges that are drawn as lines."""
    if not len(faces):
        return np.zeros((0, 2), np.int64)
    corners = vertices[faces]
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    length = np.linalg.norm(normal, axis=1, keepdims=True)
    normal /= np.where(length > 0, length, 1.0)
    edges = np.sort(faces[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2), axis=1)
    of = np.repeat(np.arange(len(faces)), 3)
    pairs, group, users = np.unique(edges, axis=0, return_inverse=True, return_counts=True)
    group = group.ravel()
    order = np.argsort(group, kind="stable")
    start = np.cumsum(users) - users
    one = of[order[start]]
    two = of[order[start + np.minimum(users - 1, 1)]]
    bend = np.einsum("ij,ij->i", normal[one], normal[two])
    drawn = (users != 2) | (bend < np.cos(np.radians(CREASE_DEGREES)))
    found = pairs[drawn]
    return found if len(found) <= MOST_CREASES else found[:0]


def packed(array: NDArray[Any]) -> str:
    """The bytes of an array, little-endian, compressed, as text that JSON can hold."""
    data = np.ascontiguousarray(array)
    data = data.astype(data.dtype.newbyteorder("<"), copy=False)
    return base64.b64encode(gzip.compress(data.tobytes(), compresslevel=9, mtime=0)).decode("ascii")


def packed_points(points: Floats, low: Floats, high: Floats) -> dict[str, Any]:
    """Points in 16 bits a coordinate within a box, column by column, each less the one before.

    The step is 1/65535 of the box's longest side: 2 µm for a part of 130 mm.
    """
    step = max(float((high - low).max()), 1e-9) / 65535
    grid = np.rint((points.reshape(-1, 3) - low) / step).clip(0, 65535).astype(np.uint16)
    return {
        "origin": [float(f"{x:.9g}") for x in low],
        "step": float(f"{step:.9g}"),
        "count": len(grid),
        "data": packed(_differences(grid)),
    }


def packed_rows(rows: Ints) -> dict[str, Any]:
    """Row numbers in 32 bits, column by column, each less the one before."""
    grid = rows.astype(np.uint32)
    return {"count": len(grid), "width": grid.shape[1], "data": packed(_differences(grid))}


def _differences(grid: NDArray[Any]) -> NDArray[Any]:
    """Wraps around where a difference is negative: adding up again wraps back."""
    before = np.concatenate([np.zeros((1, grid.shape[1]), grid.dtype), grid[:-1]])
    return np.ascontiguousarray((grid - before).T)
