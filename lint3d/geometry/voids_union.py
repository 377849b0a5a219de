"""What is the common surface of bodies that overlap or touch?

A pocket may be shut by a second body. Shells then tell nothing about it until both are one.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


def united(vertices: Floats, faces: Ints, shell: Ints) -> tuple[Floats, Ints] | None:
    """One surface around everything that any of the shells encloses.

    Parameters
    ----------
    vertices, faces : mm; faces look out of the material
    shell : (m,) shell of each face

    Returns
    -------
    (n, 3) mm and (m, 3), or None where the shells are no sound solids
    """
    import manifold3d

    # Shells turned inward are cavities of what holds them: together they are one sound solid, if
    # the outer shells do not meet. Where they do, each outer shell is a solid of its own and the
    # cavities are taken out of all of them.
    solids: list[Any] = []
    hollows: list[Any] = []
    for number in range(int(shell.max()) + 1):
        rows = faces[shell == number]
        used, compact = np.unique(rows, return_inverse=True)
        turned = compact.reshape(-1, 3)
        corner = vertices[used][turned] - vertices[used].mean(axis=0)
        volume = np.einsum("ij,ij->i", corner[:, 0], np.cross(corner[:, 1], corner[:, 2])).sum()
        if volume < 0:
            turned = turned[:, ::-1]
        mesh = manifold3d.Mesh64(
            np.ascontiguousarray(vertices[used]), np.ascontiguousarray(turned.astype(np.uint64))
        )
        solid = manifold3d.Manifold(mesh)
        if solid.status() != manifold3d.Error.NoError:
            return None
        (solids if volume > 0 else hollows).append(solid)
    return _plain(_combined(solids, hollows))


def _combined(solids: list[Any], hollows: list[Any]) -> Any:
    """Union of the solids, each less the hollows that it holds whole."""
    import manifold3d

    cut = []
    free = list(hollows)
    for solid in sorted(solids, key=lambda s: s.volume()):
        held = [h for h in free if _holds(solid, h)]
        free = [h for h in free if h not in held]
        cut.append(
            solid - manifold3d.Manifold.batch_boolean(held, manifold3d.OpType.Add)
            if held
            else solid
        )
    return manifold3d.Manifold.batch_boolean(cut, manifold3d.OpType.Add)


def _holds(solid: Any, hollow: Any) -> bool:
    outer, inner = np.array(solid.bounding_box()), np.array(hollow.bounding_box())
    if np.any(inner[:3] < outer[:3]) or np.any(inner[3:] > outer[3:]):
        return False
    return bool(abs((solid ^ hollow).volume() - hollow.volume()) <= 1e-6 * hollow.volume())


def _plain(solid: Any) -> tuple[Floats, Ints]:
    mesh = solid.to_mesh64() if hasattr(solid, "to_mesh64") else solid.to_mesh()
    return (
        np.asarray(mesh.vert_properties, np.float64)[:, :3].copy(),
        np.asarray(mesh.tri_verts, np.int64).copy(),
    )
