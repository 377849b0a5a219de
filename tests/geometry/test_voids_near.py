"""Are bodies put together whose convex hulls are near, in every frame?"""

from __future__ import annotations

import manifold3d
import numpy as np
import pytest
import shapes_voids as shapes

from lint3d.geometry.voids_near import are_near, near_groups


@pytest.mark.parametrize("seed", range(40))
def test_distance_of_hulls_is_that_of_manifold3d(seed: int) -> None:
    """Reference: manifold3d's smallest gap between the hulls (PyPI manifold3d, Apache-2.0)."""
    random = np.random.default_rng(seed)
    count = int(random.integers(4, 60))
    one, two = random.normal(size=(count, 3)), random.normal(size=(count, 3)) * 2
    two += random.normal(size=3) * random.uniform(0, 6)
    hulls = [manifold3d.Manifold.hull_points(points.tolist()) for points in (one, two)]
    gap = hulls[0].min_gap(hulls[1], 50.0)
    for near in (0.5 * gap, gap - 1e-3, gap + 1e-3, 2.0):
        if abs(near - gap) > 1e-4 and near >= 0:
            assert are_near(one, two, near) == (gap <= near)


def test_a_body_in_another_is_near() -> None:
    box, ball = shapes.mesh(shapes.block([9, 9, 9])), shapes.mesh(shapes.ball(1.0))
    assert near_groups([box[0], ball[0]], 0.1).tolist() == [0, 0]


@pytest.mark.parametrize("seed", range(8))
def test_rods_side_by_side_stand_apart_however_they_are_turned(seed: int) -> None:
    """Their boxes overlap in most frames."""
    frame = shapes.random_frame(seed)
    rods = [
        shapes.mesh(shapes.rod((x, 0, 0), (x, 0, 60), 2.0, 24), frame)[0] for x in (0.0, 6.0, 8.5)
    ]
    assert near_groups(rods, 1.5).tolist() == [0, 1, 1]


def test_flat_bodies_and_single_ones() -> None:
    flat = np.array([[0, 0, 0], [1, 0, 0], [0, 1, 0], [1, 1, 0.0]])
    assert near_groups([flat], 1.0).tolist() == [0]
    assert near_groups([flat, flat + [0, 0, 0.5], flat + [0, 0, 5]], 1.0).tolist() == [0, 0, 1]
    assert near_groups([flat, flat], 0.0).tolist() == [0, 0]
