"""How do neighbouring facets of a surface face, each against the next?

Worked out once for all who ask at first glance: what turns at all is a small part of most surfaces.
Guarded by tests/geometry/test_flat_faces.py.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lint3d.geometry.topology import EdgeTable

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class FacetTurns:
    """Normals of all facets, and the pairs that share an edge."""

    normal: Floats
    """(m, 3) unit normals"""
    twice: Floats
    """(m,) twice the area of each, mm2"""
    edges: NDArray[np.int64]
    """(e,) rows of the table: those that two facets share and agree on"""
    one: NDArray[np.int32]
    two: NDArray[np.int32]
    """(e,) the facets at each of them"""
    gap2: Floats
    """(e,) square of the distance between their normals"""
    is_whole: bool
    """Are all edges so?"""


def facet_turns(vertices: Floats, faces: NDArray[np.int64], table: EdgeTable) -> FacetTurns:
    """How facets face.

    Parameters
    ----------
    vertices : (n, 3) mm
    faces : (m, 3)
    table : EdgeTable of `faces`

    Returns
    -------
    FacetTurns
    """
    first = table.start[:-1]
    sound = table.users() == 2
    sound[sound] = table.is_reverse[first[sound]] != table.is_reverse[first[sound] + 1]
    rows = np.flatnonzero(sound)
    is_whole = len(rows) == len(sound)
    row = first if is_whole else first[rows]
    one, two = table.use[row] // 3, table.use[row + 1] // 3
    normal, twice = _normals(vertices, faces)
    gap = normal[one]
    gap -= normal[two]
    return FacetTurns(normal, twice, rows, one, two, np.einsum("ij,ij->i", gap, gap), is_whole)


def _normals(vertices: Floats, faces: NDArray[np.int64]) -> tuple[Floats, Floats]:
    """Unit normals, and twice the areas."""
    a = vertices[faces[:, 0]]
    u, v = vertices[faces[:, 1]], vertices[faces[:, 2]]
    u -= a
    v -= a
    normal = np.empty_like(a)
    for k in range(3):
        i, j = (k + 1) % 3, (k + 2) % 3
        normal[:, k] = u[:, i] * v[:, j] - u[:, j] * v[:, i]
    twice = np.sqrt(np.einsum("ij,ij->i", normal, normal))
    normal /= np.where(twice > 0, twice, 1.0)[:, None]
    return normal, twice
