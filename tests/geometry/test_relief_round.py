"""Drums, cones and balls are known from the rim of what hides them; other bases are polynomials."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from lint3d.geometry.relief_base import Base
from lint3d.geometry.relief_round import RoundBase, base_below, round_of_most

RADIUS = 50.0
Bend = Callable[[np.ndarray, float], np.ndarray]


def _drum(side: float) -> Bend:
    def bend(xy: np.ndarray, height: float) -> np.ndarray:
        angle, reach = xy[:, 0] / RADIUS, RADIUS + side * height
        lie = side * (reach * np.cos(angle) - RADIUS)
        return np.column_stack([reach * np.sin(angle), xy[:, 1], lie])

    return bend


def _ball(side: float) -> Bend:
    def bend(xy: np.ndarray, height: float) -> np.ndarray:
        far = np.linalg.norm(xy, axis=1)
        angle, reach = far / RADIUS, RADIUS + side * height
        way = xy / np.maximum(far, 1e-12)[:, None]
        lie = side * (reach * np.cos(angle) - RADIUS)
        return np.column_stack([way * (reach * np.sin(angle))[:, None], lie])

    return bend


def _cone(half_deg: float, side: float) -> Bend:
    """Rolled up from the plane, the apex on the positive y axis; outside, or inside as a funnel."""
    half = np.radians(half_deg)
    to_apex = RADIUS / np.sin(half)

    def bend(xy: np.ndarray, height: float) -> np.ndarray:
        x, y = xy[:, 0], to_apex - xy[:, 1]
        far, turn = np.hypot(x, y), np.arctan2(x, y) / np.sin(half)
        round_, along = far * np.sin(half), -far * np.cos(half)
        points = np.column_stack([round_ * np.sin(turn), along, round_ * np.cos(turn)])
        normal = np.column_stack(
            [
                np.sin(turn) * np.cos(half),
                np.full(len(turn), np.sin(half)),
                np.cos(turn) * np.cos(half),
            ]
        )
        return points + side * height * normal

    return bend


def _rim(wide: float, rng: np.random.Generator, count: int = 300) -> np.ndarray:
    """Points in a thin square frame: what is seen of a base round a code."""
    angle = rng.uniform(0, 2 * np.pi, count)
    way = np.column_stack([np.cos(angle), np.sin(angle)])
    return wide * rng.uniform(1.0, 1.1, count)[:, None] * way / np.abs(way).max(axis=1)[:, None]


def _fitted(bend: Bend, wide: float, noise: float = 0.0, strangers: int = 0) -> tuple:
    rng = np.random.default_rng(1)
    turn = np.linalg.qr(rng.normal(size=(3, 3)))[0]
    turn *= np.linalg.det(turn)
    points = bend(_rim(wide, rng), 0.0)
    zero = np.zeros((1, 2))
    up = bend(zero, 1.0)[0] - bend(zero, 0.0)[0]
    points += rng.normal(size=(300, 1)) * noise * up
    points[:strangers] += rng.uniform(0.5, 2.0, (strangers, 1)) * up
    flat = rng.uniform(-wide, wide, (100, 2))
    base = base_below(points @ turn.T, np.ones(300), points.mean(axis=0) @ turn.T, turn @ up, 1e-6)
    return base, flat, bend(flat, 0.7) @ turn.T


BENDS = {
    "drum": _drum(1.0),
    "bore": _drum(-1.0),
    "ball": _ball(1.0),
    "bowl": _ball(-1.0),
    "cone 8": _cone(8.0, 1.0),
    "cone 35": _cone(35.0, 1.0),
    "cone 65": _cone(65.0, 1.0),
    "funnel 35": _cone(35.0, -1.0),
}


@pytest.mark.parametrize("wide", [5.0, 35.0])
@pytest.mark.parametrize("kind", BENDS)
def test_a_rim_tells_the_whole_of_a_round_base(kind: str, wide: float) -> None:
    if kind == "cone 65":
        wide = max(wide, 20.0)
    base, flat, above = _fitted(BENDS[kind], wide)
    assert isinstance(base, RoundBase)
    assert base.residual < 1e-6
    assert base.height(above) == pytest.approx(0.7, abs=1e-5)
    assert base.axes @ base.axes.T == pytest.approx(np.eye(3), abs=1e-9)
    assert np.linalg.det(base.axes) == pytest.approx(1.0)
    at, height, normal = base.foot(above)
    assert height == pytest.approx(base.height(above))
    # Back down along the normals, the height is none.
    assert base.height(above - 0.7 * normal) == pytest.approx(0.0, abs=1e-5)
    assert base.unrolled(above) == pytest.approx(at)
    if kind in ("ball", "bowl"):
        return
    # Drums and cones are rolled flat with all distances true, and not mirrored.
    move = np.linalg.lstsq(np.column_stack([flat, np.ones(100)]), at, rcond=None)[0]
    assert np.column_stack([flat, np.ones(100)]) @ move == pytest.approx(at, abs=1e-4)
    assert move[:2] @ move[:2].T == pytest.approx(np.eye(2), abs=1e-5)


@pytest.mark.parametrize("kind", ["ball", "bowl"])
def test_distances_from_the_middle_of_a_ball_are_true(kind: str) -> None:
    base, flat, above = _fitted(BENDS[kind], 5.0)
    far = np.linalg.norm(base.unrolled(above) - base.unrolled(base.origin[None]), axis=1)
    # The middle of the rim's points is not quite the middle of the frame.
    assert far == pytest.approx(np.linalg.norm(flat, axis=1), abs=0.5)
    straight = above - base.origin
    chord = np.linalg.norm(straight - straight @ base.axes[2][:, None] * base.axes[2], axis=1)
    side = 1.0 if kind == "ball" else -1.0
    assert far == pytest.approx(RADIUS * np.arcsin(chord / (RADIUS + side * 0.7)), abs=1e-6)


@pytest.mark.parametrize("kind", ["drum", "ball", "cone 35"])
def test_noise_and_strangers_among_the_points(kind: str) -> None:
    base, _, above = _fitted(BENDS[kind], 30.0, noise=0.002, strangers=20)
    assert isinstance(base, RoundBase)
    assert 0.002 < base.residual < 0.01
    assert np.abs(base.height(above) - 0.7).max() < base.residual


def test_a_plane_and_what_is_not_round_are_polynomials() -> None:
    def saddle(xy: np.ndarray, height: float) -> np.ndarray:
        return np.column_stack([xy, (xy[:, 0] ** 2 - xy[:, 1] ** 2) / 200 + height])

    def plane(xy: np.ndarray, height: float) -> np.ndarray:
        return np.column_stack([xy, np.full(len(xy), height)])

    for bend in (saddle, plane):
        base, _, _ = _fitted(bend, 10.0)
        assert isinstance(base, Base)
        assert base.residual < 1e-6


def test_the_rim_of_a_dome_is_no_ball() -> None:
    """A braille dot on few facets: of a circle alone, a ball with that equator is never far."""
    angle = np.linspace(0, 2 * np.pi, 97, endpoint=False)
    # Chords of a circle and of facets: a little nearer here, a little higher there.
    nearer = np.cos(2 * angle) ** 2
    rim = (0.825 - 0.0003 * nearer)[:, None] * np.column_stack([np.cos(angle), np.sin(angle)])
    points = np.column_stack([rim, 0.006 * np.cos(2 * angle) + 0.003 * nearer])
    base = base_below(points, np.ones(97), np.zeros(3), np.array([0, 0, 1.0]), 1.5e-3)
    assert base.height(np.array([[0.0, 0.0, 0.65]])) == pytest.approx(0.65, abs=0.02)


def test_too_few_points_are_no_base() -> None:
    assert base_below(np.zeros((2, 3)), np.ones(2), np.zeros(3), np.array([0, 0, 1.0]), 0.0) is None


@pytest.mark.parametrize("bend", [_drum(1.0), _drum(-1.0), _ball(1.0)])
def test_a_base_is_what_nearly_all_the_area_lies_near(bend: Bend) -> None:
    """Corners of a rounding are many, and have little area."""
    rng = np.random.default_rng(2)
    wide = rng.uniform(-14.0, 14.0, (60, 2))
    bands = rng.uniform(-9.0, 9.0, (900, 2))
    rounding = bend(bands, -0.9) + rng.normal(0, 0.05, (900, 3))
    points = np.concatenate([bend(wide, 0.0), rounding])
    area = np.concatenate([np.full(60, 9.0), np.full(900, 0.02)])
    up = np.array([0.0, 0.0, 1.0])
    base = round_of_most(points, area, np.zeros(3), up, 0.1)
    assert base is not None
    flat = rng.uniform(-9.0, 9.0, (100, 2))
    assert np.abs(base.height(bend(flat, 0.7)) - 0.7).max() < 0.01
    # Of bands with half of the area none is taken for a base.
    area[60:] = 0.6
    assert round_of_most(points, area, np.zeros(3), up, 0.1) is None
