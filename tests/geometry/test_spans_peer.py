"""Are spans as near the truth as trimesh's largest spheres, on the same samples?

Reference library: trimesh.proximity.thickness(method="max_sphere").
"""

from __future__ import annotations

import numpy as np
import trimesh

from lint3d.geometry.spans import spans_at
from lint3d.geometry.spans_surface import surface_from_mesh


def test_error_on_a_nested_sphere_is_no_larger() -> None:
    thickness = 0.7
    outer = trimesh.creation.icosphere(subdivisions=4, radius=10.0)
    inner = trimesh.creation.icosphere(subdivisions=4, radius=10.0 - thickness)
    inner.invert()
    mesh = trimesh.util.concatenate([outer, inner])
    facets = np.random.default_rng(1).choice(len(mesh.faces), 400, replace=False)
    points = mesh.triangles_center[facets]
    theirs = trimesh.proximity.thickness(
        mesh, points, normals=mesh.face_normals[facets], method="max_sphere"
    )
    surface = surface_from_mesh(np.asarray(mesh.vertices), np.asarray(mesh.faces))
    value, interval, _ = spans_at(surface, points, facets, 1.25)
    assert np.abs(value - thickness).max() <= np.abs(theirs - thickness).max() + 1e-9
    # Between facets the true shell is at most its sagitta thicker than the facets tell.
    sagitta = 10.0 * (1 - np.sqrt(1 - (surface.longest.max() / np.sqrt(3) / 10.0) ** 2))
    assert (interval[:, 0] <= thickness).all()
    assert (interval[:, 1] >= thickness - sagitta).all()
