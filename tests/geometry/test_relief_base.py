"""Base of a relief: planes, drums, balls and saddles, with strangers among the points."""

from __future__ import annotations

import numpy as np
import pytest

from lint3d.geometry.relief_base import fit_base, frame, quantile, square_columns
from lint3d.geometry.relief_of_most import polynomial_of_most

RADIUS = 20.0


def _ball(xy: np.ndarray, height: float) -> np.ndarray:
    reach = np.linalg.norm(xy, axis=1)
    angle = reach / RADIUS
    way = xy / np.maximum(reach, 1e-12)[:, None]
    out = (RADIUS + height) * np.column_stack([way * np.sin(angle)[:, None], np.cos(angle)])
    return out - [0, 0, RADIUS]


def _drum(xy: np.ndarray, height: float) -> np.ndarray:
    angle = xy[:, 0] / RADIUS
    reach = RADIUS + height
    return np.column_stack([reach * np.sin(angle), xy[:, 1], reach * np.cos(angle) - RADIUS])


def _plane(xy: np.ndarray, height: float) -> np.ndarray:
    return np.column_stack([xy, np.full(len(xy), height)])


@pytest.mark.parametrize(
    ("surface", "within"),
    [(_plane, 1e-9), (_drum, 1e-4), (_ball, 1e-4)],
    ids=["plane", "drum", "ball"],
)
@pytest.mark.parametrize("strangers", [0, 30])
def test_height_above_a_base(surface, within: float, strangers: int) -> None:
    rng = np.random.default_rng(1)
    points = surface(rng.uniform(-6, 6, (400, 2)), 0.0)
    points[:strangers, 2] += rng.uniform(0.2, 1.0, strangers)
    turn = np.linalg.qr(rng.normal(size=(3, 3)))[0]
    base = fit_base(points @ turn.T, np.ones(400), np.zeros(3), turn @ [0, 0, 1.0], 1e-6)
    assert base is not None
    above = surface(rng.uniform(-4, 4, (100, 2)), 0.8)
    assert base.height(above @ turn.T) == pytest.approx(0.8, abs=within)
    assert base.residual < 10 * within + 1e-6


def test_height_above_a_base_as_steep_as_sixty_degrees() -> None:
    """The nearest place on a slope steeper than 45 degrees was not found: a code on a ring was told
    2.5 mm deep for 0.5.
    """
    rng = np.random.default_rng(2)
    flat = rng.uniform(-19, 19, (2000, 2)) * [1.0, 0.2]
    base = fit_base(_drum(flat, 0.0), np.ones(2000), np.zeros(3), np.array([0, 0, 1.0]), 1e-6)
    assert base is not None
    near = rng.uniform(-1.05, 1.05, (100, 2)) * [RADIUS, 2.0]
    off = np.abs(base.height(_drum(near * [0.9, 1.0], 0.8)) - 0.8)
    assert off.max() < 4 * base.residual < 0.1


def test_too_few_points_are_no_base() -> None:
    assert fit_base(np.zeros((2, 3)), np.ones(2), np.zeros(3), np.array([0, 0, 1.0]), 0.0) is None


def test_a_frame_is_right_handed() -> None:
    axes = frame(np.array([0.0, 3.0, 4.0]))
    assert axes @ axes.T == pytest.approx(np.eye(3), abs=1e-12)
    assert np.linalg.det(axes) == pytest.approx(1.0)


def test_quantile_by_weight() -> None:
    assert quantile(np.array([3.0, 1.0, 2.0]), np.array([1.0, 1.0, 8.0]), 0.5) == 2.0
    assert quantile(np.zeros(0), np.zeros(0), 0.5) == 0.0


@pytest.mark.parametrize("alike", [1.0, 1e-3, 1e-7, 0.0])
@pytest.mark.parametrize("count", [20, 400, 5000])
def test_columns_are_square_to_each_other_however_alike_they_were(count: int, alike: float) -> None:
    rng = np.random.default_rng(count)
    terms = rng.normal(size=(count, 6))
    terms[:, 5] = terms[:, 4] + alike * terms[:, 5]
    square, back = square_columns(terms)
    assert np.abs(square.T @ square - np.eye(6)).max() < 1e-11
    assert np.abs(square @ back - terms).max() < 1e-12 * np.abs(terms).max() * 10
    assert np.abs(np.tril(back, -1)).max() == 0


def test_a_bent_base_is_what_most_of_the_area_lies_on() -> None:
    """A rounding has more corners than the base beside it, all on one level, and little area."""
    rng = np.random.default_rng(4)
    base = _drum(rng.uniform(-6, 6, (140, 2)), 0.0)
    band = _drum(rng.uniform(-1, 1, (200, 2)), 0.09)
    points, area = np.vstack([base, band]), np.repeat([2.0, 0.02], [140, 200])
    origin, normal = np.zeros(3), np.array([0.0, 0.0, 1.0])
    found = polynomial_of_most(points, area, origin, normal, 1e-6, 0.005)
    assert found is not None
    assert found.is_of_most
    assert np.abs(found.height(_drum(rng.uniform(-1, 1, (50, 2)), 0.09)) - 0.09).max() < 0.001
    assert polynomial_of_most(points, np.ones(340), origin, normal, 1e-6, 0.005) is None
