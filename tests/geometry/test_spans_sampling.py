"""Do points spread over triangles lie within them and share out the whole area?"""

from __future__ import annotations

import numpy as np
import pytest

from lint3d.geometry.sampling import grid_weights, spread_points


def spread(corners: np.ndarray, step: float, most: int = 10**6) -> tuple:
    side = np.roll(corners, -1, 1) - corners
    areas = np.linalg.norm(np.cross(side[:, 0], side[:, 1]), axis=1) / 2
    longest = np.linalg.norm(side, axis=2).max(1)
    return (*spread_points(corners, areas, longest, step, most), areas)


@pytest.mark.parametrize("step", [0.05, 0.5, 5.0])
def test_area_is_shared_out_and_points_lie_within(step: float) -> None:
    rng = np.random.default_rng(2)
    corners = rng.normal(size=(200, 3, 3)) * rng.uniform(0.01, 3, (200, 1, 3))
    point, triangle, area, areas = spread(corners, step)
    assert np.bincount(triangle, area) == pytest.approx(areas)
    own = corners[triangle]
    total = sum(
        np.linalg.norm(np.cross(own[:, i] - point, own[:, (i + 1) % 3] - point), axis=1) / 2
        for i in range(3)
    )
    assert total == pytest.approx(areas[triangle], rel=1e-6)
    assert (np.diff(triangle) >= 0).all()


def test_a_sliver_has_points_near_both_of_its_ends() -> None:
    corners = np.array([[[0, 0, 0], [20, 0, 0], [20, 0.3, 0.0]]])
    point, *_ = spread(corners, 1.0)
    assert point[:, 0].min() < 2
    assert point[:, 0].max() > 18


def test_a_fan_of_needles_is_covered_along_its_radius() -> None:
    angle = np.linspace(0, 2 * np.pi, 5001)
    rim = 20 * np.stack([np.cos(angle), np.sin(angle), 0 * angle], axis=1)
    corners = np.stack([np.zeros((5000, 3)), rim[:-1], rim[1:]], axis=1)
    point, *_ = spread(corners, 1.0)
    assert np.histogram(np.linalg.norm(point, axis=1), 10, (0, 20))[0].min() > 100


def test_fewer_points_where_there_would_be_too_many() -> None:
    corners = np.random.default_rng(0).normal(size=(100, 3, 3)) * 10
    assert len(spread(corners, 0.1, most=500)[0]) <= 500


def test_grid_weights_are_middles_of_equal_parts() -> None:
    weights = grid_weights(4)
    assert weights.shape == (16, 3)
    assert weights.sum(1) == pytest.approx(1)
    assert weights.min() > 0
    assert weights.mean(0) == pytest.approx(1 / 3)
