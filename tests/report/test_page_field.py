"""Colours on the page stand for what was measured there."""

import numpy as np
import shapes_basic as shapes

from lint3d.report.page_field import split_by_facing, values_at
from lint3d.report.page_mesh import refined


def field_on(mesh: shapes.Mesh, faces: np.ndarray, value: float, high: float) -> dict:
    """Samples on some faces of a mesh."""
    rng = np.random.default_rng(0)
    face = np.repeat(faces, 400)
    weight = rng.dirichlet((1, 1, 1), len(face))
    point = np.einsum("ij,ijk->ik", weight, mesh[0][mesh[1]][face])
    return {"point": point, "value": np.full(len(face), value), "face": face, "high": high}


def test_vertices_are_split_where_the_surface_turns() -> None:
    vertices, faces, facing = split_by_facing(*shapes.box((2, 2, 2)))
    assert len(vertices) == 24
    assert faces.max() == 23
    assert np.allclose(np.abs(facing).max(axis=1), 1)
    assert (np.einsum("ij,ij->i", vertices, facing) > 0.99).all()


def test_a_value_stays_on_its_own_side_of_an_edge() -> None:
    mesh = shapes.box((20, 20, 4))
    vertices, _, facing = split_by_facing(*refined(*mesh, 4000))
    corners = mesh[0][mesh[1]]
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    flat = np.flatnonzero(np.abs(normal[:, 2]) > 0)
    sides = np.setdiff1d(np.arange(12), flat)
    thin, thick = field_on(mesh, flat, 0.4, 3.0), field_on(mesh, sides, 2.0, 3.0)
    both = {key: np.concatenate([thin[key], thick[key]]) for key in ("point", "value", "face")} | {
        "high": 3.0
    }
    value = values_at(vertices, facing, both, mesh)
    top = np.abs(facing[:, 2]) > 0.5
    assert (value[top] == 0.4).all()
    assert (value[~top] == 2.0).all()


def test_where_nothing_was_sampled_it_is_as_thick_as_was_looked_for() -> None:
    mesh = shapes.box((20, 20, 4))
    vertices, _, facing = split_by_facing(*mesh)
    only_top = field_on(mesh, np.array([0, 1]), 0.4, 3.0)
    value = values_at(vertices, facing, only_top, mesh)
    assert set(value.tolist()) == {0.4, 3.0}
    assert (value == 0.4).sum() == 4
    empty = {"point": np.zeros((0, 3)), "value": np.zeros(0), "face": np.zeros(0, int), "high": 3.0}
    assert (values_at(vertices, facing, empty, mesh) == 3.0).all()
