"""How thick is the material at each corner of the mesh that the page shows?

Measured values are taken over from the sample that is nearest in place and looks the same way;
where nothing was sampled near, the material is at least as thick as was looked for. Lengths in mm.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

#: How far a sample may be away, in steps between samples, and how far one counts as away whose
#: surface is turned by 60 degrees: it must be too far.
_REACH, _TURN = 10.0, 12.0


def split_by_facing(vertices: Floats, faces: Ints) -> tuple[Floats, Ints, Floats]:
    """A vertex for each way that the surface looks there.

    Returns
    -------
    vertices : (k, 3), faces : (m, 3) rows of them, facing : (k, 3) unit vectors
    """
    corners = vertices[faces]
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    length = np.linalg.norm(normal, axis=1, keepdims=True)
    normal = normal / np.where(length > 0, length, 1.0)
    facing = np.rint(normal * 8).astype(np.int64) + 8
    code = (facing[:, 0] * 17 + facing[:, 1]) * 17 + facing[:, 2]
    key = faces.ravel() * 17**3 + np.repeat(code, 3)
    _, first, group = np.unique(key, return_index=True, return_inverse=True)
    return vertices[faces.ravel()[first]], group.reshape(-1, 3), np.repeat(normal, 3, axis=0)[first]


def values_at(
    points: Floats, facing: Floats, field: dict[str, Any], mesh: tuple[Floats, Ints]
) -> Floats:
    """The thickness at points of the surface.

    Parameters
    ----------
    points, facing : (k, 3) mm and unit vectors
    field : "point" (n, 3) mm, "value" (n,) mm, "face" (n,) rows of the mesh's faces, "high" mm
    mesh : vertices and faces as measured

    Returns
    -------
    (k,) mm; `high` means that or more
    """
    from scipy.spatial import cKDTree

    high = float(field["high"])
    where, value, face = field["point"], field["value"], field["face"]
    if not len(where) or not len(points):
        return np.full(len(points), high)
    corners = mesh[0][mesh[1]]
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    area = np.linalg.norm(normal, axis=1)
    normal /= np.where(area > 0, area, 1.0)[:, None]
    step = max(float(np.sqrt(area.sum() / 2 / len(where))), 1e-9)
    tree = cKDTree(np.column_stack([where / step, normal[face] * _TURN]))
    far, row = tree.query(
        np.column_stack([points / step, facing * _TURN]), distance_upper_bound=_REACH
    )
    known = np.isfinite(far)
    found = np.full(len(points), high)
    found[known] = np.minimum(value[row[known]], high)
    return found
