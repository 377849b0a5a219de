"""Does an opening hold what the law of the wetted rim says?"""

from __future__ import annotations

import math
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
import shapes_voids as parts

from lint3d.geometry.pools_laws import Liquid, head_held_mm
from lint3d.geometry.pools_sphere import directions
from lint3d_plugins.drain_held import BETWEEN, TRIES, _every, _outlet, held_by, least_below

WAX = Liquid(780.0, 0.026, 6.5)


def pocket(
    volume: float, diameter: float, at: tuple[float, float, float], ball: float = 9.0
) -> Any:
    throat = SimpleNamespace(
        position=np.array(at), diameter=diameter, lower=diameter, upper=diameter
    )
    return SimpleNamespace(
        volume=volume,
        volume_lower=volume,
        volume_upper=volume,
        throat=throat,
        diameter=ball,
        position=np.array(at),
        way=np.array([at]),
        way_width=np.array([diameter]),
    )


def ball_points(radius: float, count: int = 30) -> np.ndarray:
    side = np.linspace(-radius, radius, count)
    grid = np.stack(np.meshgrid(side, side, side), axis=-1).reshape(-1, 3)
    return grid[np.linalg.norm(grid, axis=1) <= radius]


@pytest.mark.parametrize("diameter", [1.5, 2.0, 3.0])
def test_ball_with_an_opening_at_its_bottom(diameter: float) -> None:
    """A cap of the head's height: π h² (R − h/3)."""
    radius, head = 6.0, head_held_mm(WAX, diameter)
    volume = 4 / 3 * math.pi * radius**3
    held = held_by(WAX, [pocket(volume, diameter, (0, 0, -radius))], [ball_points(radius)], 0.1)
    cap = math.pi * head**2 * (radius - head / 3)
    assert held.head == head
    assert held.volume == pytest.approx(cap, rel=0.08)
    assert held.lower <= cap <= held.upper
    assert held.up[2] > 0.95


def test_all_is_held_where_the_pocket_is_lower_than_the_head() -> None:
    held = held_by(WAX, [pocket(100.0, 1.0, (0, 0, -3))], [ball_points(3.0)], 0.1)
    assert (held.lower, held.volume, held.upper) == pytest.approx((100.0, 100.0, 100.0))


def test_opening_that_lets_bubbles_past_holds_nothing() -> None:
    held = held_by(WAX, [pocket(100.0, 3.5, (0, 0, -3))], [ball_points(3.0)], 0.1)
    assert (held.lower, held.volume, held.upper) == (0.0, 0.0, 0.0)


def test_pockets_behind_one_throat_count_by_their_volumes() -> None:
    near, far = pocket(10.0, 2.0, (0, 0, 0)), pocket(90.0, 2.0, (0, 0, 0))
    points = [np.array([[0, 0, 1.0]]), np.array([[0, 0, 60.0]])]
    held = held_by(WAX, [near, far], points, 0.1)
    assert held.volume == pytest.approx(10.0)


@pytest.mark.parametrize(("aside", "held_mm3"), [(0.0, 0.0), (6.0, 11.5)])
def test_a_bend_of_the_neck_holds_nothing_of_its_own(aside: float, held_mm3: float) -> None:
    """Whether the grid takes a bend for a pocket is chance; a small pocket aside of it is none."""
    main, bend = pocket(900.0, 2.0, (0, 0, 0)), pocket(11.5, 2.0, (aside, 0, -10), 2.8)
    down = np.linspace(0, -12, 61)
    main.way = np.column_stack([np.zeros((61, 2)), down])
    main.way_width = np.select([down > -5.9, np.abs(down + 10) < 0.5], [12.0, 2.8], 2.0)
    points = [np.array([[0, 0, 1.0]]), ball_points(1.35, 6) + [aside, 0.3, -10]]
    held = held_by(WAX, [main, bend], points, 0.1)
    assert held.volume == pytest.approx(held_mm3, rel=0.2)


def test_every_direction_is_near_one_that_is_tried() -> None:
    every = np.random.default_rng(1).normal(size=(20_000, 3))
    every /= np.linalg.norm(every, axis=1, keepdims=True)
    nearest = (every @ directions(TRIES).T).max(axis=1)
    assert np.arccos(nearest.min()) < BETWEEN


def test_head_counts_from_the_outer_end_of_the_neck() -> None:
    """The longer the neck that hangs full, the less stays above it."""
    one = pocket(100.0, 2.0, (0, 0, -3))
    one.way = np.array([[0, 0, 0.0], [0, 0, -3], [0, 0, -13], [0, 0, -14]])
    one.way_width = np.array([6.0, 2.0, 2.02, 4.0])
    assert held_by(WAX, [one], [ball_points(3.0)], 0.1).volume == 0.0


@pytest.mark.parametrize("apart", [0.025, 0.2, 0.3, 0.5])
def test_way_past_a_sharp_rim_is_outside_of_the_neck(apart: float) -> None:
    """There a ball of radius √(r² + s²) fits: the head counts from the rim, not from there."""
    one = pocket(100.0, 2.0, (0, 0, -3))
    past = np.arange(0, 2, apart)
    level = np.concatenate([[0, -3, -5], -13 - past])
    one.way = np.column_stack([np.zeros((len(level), 2)), level])
    one.way_width = np.concatenate([[6.0, 2, 2], 2 * np.sqrt(1 + past**2)])
    assert _outlet(one)[2] == pytest.approx(-13.0, abs=0.12)


def test_points_of_a_pocket_lie_at_all_heights() -> None:
    """In a room 105 points high every 15th point lies in one of seven planes."""
    label = np.zeros((20, 20, 105), np.int32)
    rows = _every(label, np.array([3]), {3: 15})[3]
    assert len(rows) == pytest.approx(label.size / 15, rel=0.01)
    counts = np.bincount(rows % 105, minlength=105)
    assert counts.min() > 10
    assert counts.max() < 45


@pytest.mark.parametrize("diameter", [1.5, 2.5])
def test_interval_is_about_as_wide_as_a_voxel_is_high(diameter: float) -> None:
    """It was so wide that what surely stays was for review: ten times the limit of 6 mm3."""
    radius, pitch, head = 5.0, 0.3, head_held_mm(WAX, diameter)
    volume = 4 / 3 * math.pi * radius**3
    held = held_by(WAX, [pocket(volume, diameter, (0, 0, -radius))], [ball_points(radius)], pitch)
    widest = math.pi * radius**2
    assert held.upper - held.lower < 1.3 * widest * pitch + 0.03 * volume
    assert held.lower <= math.pi * head**2 * (radius - head / 3) <= held.upper


def test_no_position_has_less_than_the_bound() -> None:
    random = np.random.default_rng(2)
    offset, volume = random.normal(size=(300, 3)) * [9, 4, 2] + [6, 0, 1], random.random(300)
    bound = least_below(offset, 3.0, volume)
    ups = random.normal(size=(20_000, 3))
    ups /= np.linalg.norm(ups, axis=1, keepdims=True)
    least = (volume @ (offset @ ups.T < 3.0)).min()
    assert 0.85 * least < bound <= least


@pytest.mark.parametrize("seed", range(4))
def test_what_is_held_is_the_same_in_every_frame(seed: int) -> None:
    """A long room with the opening in one corner: the points turned with the opening."""
    side = [np.linspace(-half, half, 16) for half in (12.0, 5.0, 4.0)]
    points = np.stack(np.meshgrid(*side), axis=-1).reshape(-1, 3)
    at = np.array([12.0, 5.0, 4.0])
    here = held_by(WAX, [pocket(960.0, 2.0, tuple(at))], [points], 0.1)
    turn = parts.random_frame(seed)[:, :3]
    there = held_by(WAX, [pocket(960.0, 2.0, tuple(turn @ at))], [points @ turn.T], 0.1)
    assert there.volume == pytest.approx(here.volume, rel=0.02)
    assert there.lower <= here.volume <= there.upper
