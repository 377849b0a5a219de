"""The largest ball in shapes where it is known by hand, in any frame."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from lint3d.geometry.largest_ball import largest_ball


def _moved(mesh: trimesh.Trimesh, seed: int) -> tuple[np.ndarray, np.ndarray]:
    rng = np.random.default_rng(seed)
    turn = Rotation.random(random_state=seed)
    return turn.apply(mesh.vertices) + rng.uniform(-50, 50, 3), mesh.faces[
        rng.permutation(len(mesh.faces))
    ]


@settings(max_examples=15, deadline=None)
@given(sides=st.tuples(*[st.floats(2.0, 40.0)] * 3), seed=st.integers(0, 10_000))
@pytest.mark.further
def test_a_box_holds_a_ball_of_its_shortest_side(sides: tuple[float, ...], seed: int) -> None:
    vertices, faces = _moved(trimesh.creation.box(sides), seed)
    ball = largest_ball(vertices, faces, enough=1.0)
    assert ball is not None
    assert ball.diameter <= min(sides) + 1e-9 <= ball.upper + 2e-9
    # The middle of a wide plate is equally deep everywhere: too many cubes to split for ever.
    if max(sides) < 2 * min(sides):
        assert ball.upper <= ball.diameter * 1.03


@pytest.mark.parametrize("seed", range(3))
def test_a_lump_beside_a_plate(seed: int) -> None:
    """A 60 x 60 x 3 plate with a cube of 16 on it: the ball in the cube reaches into the plate."""
    plate = trimesh.creation.box((60, 60, 3))
    cube = trimesh.creation.box((16, 16, 16)).apply_translation((15, 10, 9.4))
    mesh = trimesh.boolean.union([plate, cube], engine="manifold")
    vertices, faces = _moved(mesh, seed)
    ball = largest_ball(vertices, faces, enough=1.0)
    assert ball is not None
    assert ball.diameter <= 16.0 + 1e-9 <= ball.upper + 2e-9
    assert ball.upper <= 16.2


def test_a_hollow_ball_holds_no_more_than_its_wall() -> None:
    outer = trimesh.creation.icosphere(subdivisions=3, radius=10)
    inner = trimesh.creation.icosphere(subdivisions=3, radius=7)
    vertices = np.vstack([outer.vertices, inner.vertices])
    faces = np.vstack([outer.faces, inner.faces[:, ::-1] + len(outer.vertices)])
    ball = largest_ball(vertices, faces, enough=8.0)
    assert ball is not None
    # Nothing below `enough` is looked at closely, but the bound stays below it.
    assert ball.diameter <= 3.05
    assert 2.9 <= ball.upper <= 8.0


def test_a_surface_that_encloses_nothing() -> None:
    square = np.array([[0, 0, 0], [10, 0, 0], [10, 10, 0], [0, 10, 0]], float)
    faces = np.array([[0, 1, 2], [0, 2, 3], [2, 1, 0], [3, 2, 0]])
    assert largest_ball(square, faces, enough=1.0) is None
