"""Does a mesh cross itself? A slow and exact answer, to judge quicker ones by.

The sign of a volume is taken from floats where these are sure of it, else from whole numbers.
"""

from collections.abc import Iterator

import numpy as np
import trimesh
from numpy.typing import NDArray
from rtree import index

Floats = NDArray[np.float64]


def piercings(mesh: trimesh.Trimesh) -> Iterator[tuple[int, int]]:
    """Pairs (edge, facet) without a common corner where the edge meets the facet, exactly."""
    corners, faces, edges = mesh.vertices, mesh.faces, mesh.edges_unique
    low, high = mesh.triangles.min(axis=1), mesh.triangles.max(axis=1)
    boxes = ((row, (*low[row], *high[row]), None) for row in range(len(faces)))
    tree = index.Index(boxes, properties=index.Property(dimension=3))
    ends = corners[edges]
    face, count = tree.intersection_v(  # type: ignore[no-untyped-call]
        ends.min(axis=1), ends.max(axis=1)
    )
    face, edge = face.astype(np.int64), np.repeat(np.arange(len(edges)), count.astype(np.int64))
    apart = ~(faces[face][:, :, None] == edges[edge][:, None, :]).any(axis=(1, 2))
    face, edge = face[apart], edge[apart]
    start, end = ends[edge, 0], ends[edge, 1]
    facet = [mesh.triangles[face, k] for k in range(3)]
    from_start, from_end = side(*facet, start), side(*facet, end)
    turns = np.array([side(start, end, facet[k], facet[(k + 1) % 3]) for k in range(3)])
    is_across = (from_start * from_end <= 0) & ((from_start != 0) | (from_end != 0))
    is_within = (turns.min(axis=0) >= 0) | (turns.max(axis=0) <= 0)
    hits = np.flatnonzero(is_across & is_within)
    yield from zip(edge[hits].tolist(), face[hits].tolist(), strict=True)


def side(origin: Floats, *others: Floats) -> NDArray[np.int64]:
    """Sign of the volume of each tetrahedron; whole numbers decide where floats cannot."""
    first, second, third = (np.asarray(other) - origin for other in others)
    volume = np.einsum("ij,ij->i", first, np.cross(second, third))
    largest = np.prod([np.abs(way).max(axis=1) for way in (first, second, third)], axis=0)
    sign: NDArray[np.int64] = np.sign(volume).astype(np.int64)
    for row in np.flatnonzero(np.abs(volume) <= 1e-12 * largest):
        # float32 coordinates above 1e-5 mm are whole multiples of 2^-41 mm
        points = [[int(value * 2.0**48) for value in point[row]] for point in (origin, *others)]
        (a, b, c), (d, e, f), (g, h, i) = (
            [value - start for value, start in zip(point, points[0], strict=True)]
            for point in points[1:]
        )
        exact = a * (e * i - f * h) + b * (f * g - d * i) + c * (d * h - e * g)
        sign[row] = (exact > 0) - (exact < 0)
    return sign
