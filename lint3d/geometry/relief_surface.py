"""On which meshes of a body are reliefs looked for?

What rounding and remeshing did to the facets is collapsed first: a flat face whose triangles lean
hither and thither by a micrometre has no creases to find. The simplified mesh keeps a part of the
vertices as they were, so that distances measured on it are not blurred. Lengths in mm.
Guarded by tests/geometry/test_relief_surface.py.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lint3d.geometry.patches import Folds, folds
from lint3d.geometry.topology import EdgeTable, edge_table

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

#: Tolerances of the two simplified meshes, mm.
FINE_MM, COARSE_MM = 0.003, 0.01
#: A face lower than this many tolerances has no direction of its own.
SLIVER = 2.0
#: A second mesh is worth a look if it has this much less faces than the first.
FEWER = 0.9


def simplified(vertices: Floats, faces: Ints, tolerance_mm: float) -> tuple[Floats, Ints] | None:
    """The surface with fewer facets, none of which strays by more than the tolerance.

    Returns
    -------
    vertices, faces : None where the surface is not closed and sound
    """
    import manifold3d

    mesh = manifold3d.Mesh64(
        np.ascontiguousarray(vertices, np.float64), np.ascontiguousarray(faces, np.uint64)
    )
    solid = manifold3d.Manifold(mesh)
    if solid.status() != manifold3d.Error.NoError or solid.is_empty():
        return None
    out = solid.simplify(tolerance_mm).to_mesh64()
    points = np.ascontiguousarray(np.asarray(out.vert_properties)[:, :3], np.float64)
    return points, np.asarray(out.tri_verts).astype(np.int64)


def surfaces_to_search(
    vertices: Floats, faces: Ints, table: EdgeTable, step_mm: float
) -> list[Folds]:
    """Angles of the surface, without the noise of its facets where that can be told from shape."""
    found: list[Folds] = []
    for tolerance in (FINE_MM, COARSE_MM):
        tidy = simplified(vertices, faces, max(tolerance, 4 * step_mm))
        if tidy is None:
            return [folds(vertices, faces, table, SLIVER * FINE_MM)]
        points, rows = tidy
        if not len(rows) or (found and len(rows) > FEWER * len(found[0].faces)):
            continue
        found.append(folds(points, rows, edge_table(rows, len(points)), SLIVER * tolerance))
    return found
