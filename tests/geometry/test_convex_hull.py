"""Depth inside a convex hull, against closed forms and scipy's hull."""

from __future__ import annotations

import numpy as np
import pytest
import scipy.spatial
from manifold3d import Manifold
from scipy.spatial.transform import Rotation

from lint3d.geometry.convex_hull import ConvexHull


def disc(sides: int) -> np.ndarray:
    """A flat drum, 20 mm in radius and 5 mm high."""
    turn = 2 * np.pi * np.arange(sides) / sides
    rim = 20 * np.column_stack([np.cos(turn), np.sin(turn)])
    return np.concatenate([np.column_stack([rim, np.full(sides, z)]) for z in (0.0, 5.0)])


@pytest.mark.parametrize("seed", range(4))
def test_depth_in_random_hulls_is_that_to_the_nearest_side(seed: int) -> None:
    """Reference: scipy's Qhull, least distance to the planes of its sides."""
    rng = np.random.default_rng(seed)
    points = rng.normal(size=(300, 3)) * [5, 8, 3] + rng.uniform(-50, 50, 3)
    other = scipy.spatial.ConvexHull(points)
    inside = points[rng.integers(0, 300, 200)] * 0.5 + points[rng.integers(0, 300, 200)] * 0.5
    expected = -(inside @ other.equations[:, :3].T + other.equations[:, 3]).max(axis=1)
    assert ConvexHull(points, 1e-6).depth(inside) == pytest.approx(expected, abs=1e-6)
    assert ConvexHull(points, 1e-6).depth(points[other.vertices]).max() < 1e-6


@pytest.mark.parametrize("sides", [12, 100, 20_000])
def test_a_drum_in_any_frame(sides: int) -> None:
    """Of 20,000 sides its ends are fans of needles: they are taken as planes."""
    turn = Rotation.random(random_state=sides)
    points = turn.apply(disc(sides)).astype(np.float32).astype(float)
    hull = ConvexHull(points, 2e-5)
    z = np.array([0.0, 1.0, 2.5, 4.9])
    inside = turn.apply(np.column_stack([np.zeros(4), np.zeros(4), z]))
    assert hull.depth(inside) == pytest.approx(np.minimum(z, 5 - z), abs=2e-5)
    assert hull.depth(points).max() < 2e-5
    near_rim = turn.apply([[19.0 * np.cos(np.pi / sides), 19.0 * np.sin(np.pi / sides), 2.5]])
    assert hull.depth(near_rim) == pytest.approx(20 * np.cos(np.pi / sides) - 19, abs=1e-4)
    if sides > 1000:
        assert len(hull.planes) == 2


@pytest.mark.parametrize("seed", range(3))
def test_sides_without_area_are_no_plane(seed: int) -> None:
    """Halved edges lie on the hull in rows: many of its triangles are collapsed."""
    ball = Manifold.sphere(10.0, 128).refine(2)
    turn = Rotation.random(random_state=seed)
    points = turn.apply(np.asarray(ball.to_mesh64().vert_properties)[:, :3] + 30.0)
    points = points.astype(np.float32).astype(float)
    hull = ConvexHull(points, 2e-5)
    middle = turn.apply([[30.0, 30.0, 30.0], [30.0, 30.0, 38.0]])
    # The facets of the ball lie up to 0.008 mm inside it.
    assert hull.depth(middle) == pytest.approx([10.0, 2.0], abs=0.02)


def test_what_is_flat_has_no_depth() -> None:
    for points in (disc(12)[:12], np.zeros((5, 3)), np.zeros((0, 3))):
        hull = ConvexHull(points, 1e-6)
        assert hull.is_flat
        assert hull.depth(points).tolist() == [0.0] * len(points)
