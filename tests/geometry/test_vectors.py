"""Cross products and directions square to others, beside numpy's own."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from lint3d.geometry.vectors import (
    carried_over,
    cross_product,
    means_of,
    principal_axes,
    square_to,
    square_to_one,
)


@pytest.mark.parametrize(
    "shapes",
    [((0, 3), (0, 3)), ((7, 3), (7, 3)), ((4, 1, 3), (5, 3)), ((3,), (3,)), ((6, 3), (3,))],
)
def test_the_cross_product_is_numpys(shapes):
    rng = np.random.default_rng(0)
    first, second = (rng.normal(size=shape) * 1e3 for shape in shapes)
    assert (cross_product(first, second) == np.cross(first, second)).all()


def test_two_ways_square_to_a_third_are_a_frame_with_it():
    way = np.random.default_rng(1).normal(size=(50, 3))
    way = np.concatenate([way / np.linalg.norm(way, axis=1)[:, None], np.eye(3), -np.eye(3)])
    frame = np.stack([way, *square_to(way)], axis=1)
    assert frame @ frame.transpose(0, 2, 1) == pytest.approx(np.tile(np.eye(3), (56, 1, 1)))
    assert np.linalg.det(frame) == pytest.approx(np.ones(56))


def test_two_ways_square_to_one_are_a_frame_with_it() -> None:
    ways = np.random.default_rng(2).normal(size=(50, 3))
    ways = np.concatenate([ways / np.linalg.norm(ways, axis=1)[:, None], np.eye(3), -np.eye(3)])
    for way in ways:
        one, two = square_to_one(way)
        assert (two == np.cross(way, one)).all()
        frame = np.array([way, one, two])
        assert frame @ frame.T == pytest.approx(np.eye(3))
        assert np.linalg.det(frame) == pytest.approx(1.0)


def test_principal_axes_are_a_right_handed_frame_by_spread() -> None:
    rng = np.random.default_rng(3)
    for _ in range(20):
        turn = np.linalg.qr(rng.normal(size=(3, 3)))[0]
        axes = principal_axes(rng.normal(size=(200, 3)) * (1.0, 5.0, 25.0) @ turn.T + 7.0)
        assert np.allclose(axes @ axes.T, np.eye(3))
        assert np.linalg.det(axes) > 0
        assert np.abs(np.diag(axes @ turn)) == pytest.approx(1.0, abs=0.1)


def test_a_way_is_carried_over_by_the_turn_between_two_planes():
    rng = np.random.default_rng(8)
    for turn in rng.uniform(-2.5, 2.5, 20):
        one = rng.normal(size=3)
        one /= np.linalg.norm(one)
        axis, way = square_to_one(one)[0], square_to_one(one).T @ rng.normal(size=2)
        turned = Rotation.from_rotvec(turn * axis)
        assert carried_over(way, one, turned.apply(one)) == pytest.approx(turned.apply(way))


def test_means_of_groups() -> None:
    points, group = np.array([[0.0, 1], [2, 3], [5, 5]]), np.array([1, 1, 0])
    assert means_of(points, group).tolist() == [[5, 5], [1, 2]]
    weighted = means_of(points, group, np.array([1, 3, 2]), 3)
    assert weighted.tolist() == [[5, 5], [1.5, 2.5], [0, 0]]
