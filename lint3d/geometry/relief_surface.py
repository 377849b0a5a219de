"""On which meshes of a body are reliefs looked for?

What rounding and remeshing did to the facets is collapsed first: a flat face whose triangles lean
hither and thither by a micrometre has no creases to find. The simplified mesh keeps a part of the
vertices as they were, so that distances measured on it are not blurred. Lengths in mm.
Guarded by tests/geometry/test_reliefs.py.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lint3d.geometry.facet_turns import facet_turns
from lint3d.geometry.flat_faces import stray_mm, with_few_facets
from lint3d.geometry.open_lids import lids_of
from lint3d.geometry.patches import Folds, folds
from lint3d.geometry.relief_candidates import is_plain, may_have_relief
from lint3d.geometry.topology import EdgeTable, edge_table

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

#: Tolerances of the two simplified meshes, mm.
FINE_MM, COARSE_MM = 0.003, 0.01
#: A face lower than this many tolerances has no direction of its own.
SLIVER = 2.0
#: A second mesh is worth a look if it has this much less faces than the first.
FEWER = 0.9
#: A gap no wider than so many edges of its rim is closed, though it is not flat.
NARROW_GAP = 2.0


def simplified(
    vertices: Floats, faces: Ints, tolerances_mm: Sequence[float]
) -> Iterator[tuple[Floats, Ints]]:
    """The surface with fewer facets, none of which strays by more than the tolerance.

    Yields
    ------
    vertices, faces : for each tolerance in turn; nothing if the surface is not closed and sound
    """
    import manifold3d

    # Copies: the library takes no read-only arrays.
    mesh = manifold3d.Mesh64(np.array(vertices, np.float64), np.array(faces, np.uint64))
    solid = manifold3d.Manifold(mesh)
    if solid.status() != manifold3d.Error.NoError or solid.is_empty():
        return
    for tolerance in tolerances_mm:
        # Each from the one before: the time goes into the first.
        solid = solid.simplify(tolerance)
        out = solid.to_mesh64()
        points = np.ascontiguousarray(np.asarray(out.vert_properties)[:, :3], np.float64)
        yield points, np.asarray(out.tri_verts).astype(np.int64)


@dataclass(frozen=True, eq=False)
class Searched:
    """A mesh on which reliefs are looked for."""

    folds: Folds
    tolerance_mm: float
    """How far it may stray from the surface that was given."""
    is_whole: bool
    """Had that two faces at every edge? Sheets that lie on each other have levels, too."""


def surfaces_to_search(
    vertices: Floats, faces: Ints, table: EdgeTable, step_mm: float, *, plain: bool = True
) -> Iterator[Searched]:
    """The surface, without the noise of its facets where that can be told from shape.

    `plain` wants it for the sake of bosses and holes of convex outline, too.

    Yields
    ------
    Searched : the surface as it is where it is not closed and sound, nor can be made so by closing
        small and flat gaps; nothing if it has no creases
    """
    turns = facet_turns(vertices, faces, table)
    if not may_have_relief(vertices, faces, table, turns):
        return
    points, few = vertices, faces
    if turns.is_whole:
        points, few = with_few_facets(vertices, faces, table, turns, step_mm)
    strayed = 0.0
    if few is faces:
        plain = plain or not is_plain(vertices, faces, table, step_mm, turns)
    else:
        strayed = stray_mm(step_mm)
        plain = plain or not is_plain(points, few, edge_table(few, len(points)), step_mm)
    if not plain:
        return
    is_whole = bool((table.users() == 2).all())
    closed = few if is_whole else _with_lids(vertices, faces, table)
    tolerances = (max(FINE_MM, 4 * step_mm), max(COARSE_MM, 4 * step_mm))
    first = 0
    for number, (corners, rows) in enumerate(simplified(points, closed, tolerances)):
        if not len(rows) or (first and len(rows) > FEWER * first):
            return
        first = len(rows)
        same = len(rows) == len(faces)
        yield Searched(
            folds(corners, rows, edge_table(rows, len(corners)), SLIVER * tolerances[number]),
            step_mm if same else strayed + sum(tolerances[: number + 1]),
            True,
        )
    if not first:
        yield Searched(folds(vertices, faces, table, SLIVER * FINE_MM), 0.0, is_whole)


def _with_lids(vertices: Floats, faces: Ints, table: EdgeTable) -> Ints:
    """The faces, with others in small and flat gaps: a foot that runs through one is no line."""
    rim = vertices[table.ends[table.users() == 1]]
    if not len(rim):
        return faces
    narrow = NARROW_GAP * float(np.median(np.linalg.norm(rim[:, 1] - rim[:, 0], axis=1)))
    return np.concatenate([faces, lids_of(vertices, table, narrow).faces])
