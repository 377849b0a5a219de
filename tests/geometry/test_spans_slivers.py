"""Does a sliver take the plane that it lies in, and nothing else another's?"""

from __future__ import annotations

import numpy as np
import shapes_walls as shapes
from scipy.spatial.transform import Rotation

from lint3d.geometry.spans_slivers import facets_of_planes
from lint3d.geometry.spans_surface import SpanSurface, surface_from_mesh

STEP = float(np.spacing(np.float32(40.0)))


def square_with_slivers(rows: int, high: float) -> tuple[np.ndarray, np.ndarray]:
    """Two large triangles, and between them rows of slivers, in a slanting plane, as float32."""
    y = [0.0, *(10 + high * np.arange(rows + 1)), 20.0]
    flat = np.array([[x, at, 0] for at in y for x in (0.0, 15.0)])
    strip = np.array([[0, 1, 2], [1, 3, 2]])
    faces = np.concatenate([strip + 2 * i for i in range(len(y) - 1)])
    turn = Rotation.random(random_state=3).as_matrix()
    return (flat @ turn.T + 20).astype(np.float32).astype(float), faces


def surface_of(vertices: np.ndarray, faces: np.ndarray) -> SpanSurface:
    return surface_from_mesh(vertices, faces, STEP)


def planes_of(surface: SpanSurface) -> np.ndarray:
    return facets_of_planes(surface, np.arange(len(surface.faces)))


def test_slivers_in_a_flat_side_have_the_plane_of_the_side() -> None:
    surface = surface_of(*square_with_slivers(3, 30 * STEP))
    assert len(surface.faces) == 10
    own, given = surface.normals, surface.normals[planes_of(surface)]
    true = own[[0, 1, -2, -1]].mean(axis=0)
    assert np.linalg.norm(own - true, axis=1).max() > 1e-3  # what rounding does
    assert np.linalg.norm(given - true, axis=1).max() < 1e-6
    assert set(planes_of(surface)[2:-2].tolist()) <= {0, 1, 8, 9}


def test_narrow_facets_of_a_round_side_keep_their_planes() -> None:
    rod = shapes.rod(0.2, 10, 600, 0.0)
    vertices, faces = shapes.arrays(rod)
    surface = surface_of(vertices.astype(np.float32).astype(float), faces)
    side = np.abs(surface.normals[:, 2]) < 0.5
    assert (2 * surface.areas / surface.longest)[side].max() < 1e4 * STEP
    turned = (surface.normals * surface.normals[planes_of(surface)]).sum(axis=1)
    # The two triangles of one flat may stand for each other; the next flat is 0.6 degrees off.
    assert np.degrees(np.arccos(np.clip(turned[side], -1, 1))).max() < 0.3


def test_a_facet_back_to_back_is_no_plane_of_a_sliver() -> None:
    vertices = np.array([[0, 0, 0], [9, 0, 0], [4, 7, 0], [4, 20 * STEP, 0.0]])
    surface = surface_of(vertices, np.array([[0, 1, 2], [1, 0, 3]]))
    assert planes_of(surface).tolist() == [0, 1]
