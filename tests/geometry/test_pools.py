"""Is what stays in a bowl, a bottle and a bent pipe what geometry says?"""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapes_pools as pools
import shapes_voids as parts
from manifold3d import Manifold

from lint3d.geometry.pools import Goal, retained_liquid

FRAMES = (1, 2, 3)


def in_frame(solid: Manifold, seed: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Vertices as a file holds them, faces, and the turn of the frame."""
    frame = parts.random_frame(seed)
    vertices, faces = parts.mesh(solid, frame)
    return vertices.astype(np.float32).astype(np.float64), faces, frame[:, :3]


# --- a given position ---------------------------------------------------------------------------


@pytest.mark.parametrize("tilt", [0, 10, 30, 45, 80])
def test_tilted_bowl(tilt: float) -> None:
    """π/3 R³ (1 − sin t)² (2 + sin t), closed form; the facets take 0.5 % of it at most."""
    vertices, faces, turn = in_frame(parts.bowl(10, 2, 192), tilt)
    angle = math.radians(tilt)
    found = retained_liquid(vertices, faces, turn @ [math.sin(angle), 0, math.cos(angle)])
    true = math.pi / 3 * 1000 * (1 - math.sin(angle)) ** 2 * (2 + math.sin(angle))
    assert found.exact
    assert not found.searched
    assert found.volume == pytest.approx(true, rel=0.002 + 0.03 * math.sin(angle) ** 8)
    assert found.volume < true
    if tilt == 30:
        # 5/16 of what the upright bowl holds.
        full = retained_liquid(vertices, faces, turn[:, 2]).volume
        assert found.volume / full == pytest.approx(5 / 16, rel=1e-3)


def test_bowl_upside_down_is_empty() -> None:
    vertices, faces, turn = in_frame(parts.bowl(10, 2, 48), 3)
    found = retained_liquid(vertices, faces, -turn[:, 2])
    assert (found.volume, found.pools) == (0.0, [])
    assert found.volume_upper == 0.0


def test_trough_is_filled_to_its_lower_rim() -> None:
    """A trough with one rim lower than the others: filled to that rim, exactly."""
    vertices, faces, turn = in_frame(pools.trough(), 5)
    found = retained_liquid(vertices, faces, turn[:, 2])
    (pool,) = found.pools
    assert found.volume == pytest.approx(16 * 8 * 6, rel=1e-5)
    assert found.volume_lower <= 16 * 8 * 6 <= found.volume_upper
    frame = parts.random_frame(5)
    assert pool.level == pytest.approx(3.0 + frame[:, 3] @ turn[:, 2], abs=1e-4)
    # The lower rim lies 3 mm above the middle, at the end in x.
    outlet = (pool.outlet - frame[:, 3]) @ turn
    assert outlet[0] > 7.9
    assert outlet[2] == pytest.approx(3.0, abs=1e-4)


@pytest.mark.parametrize("depth", [0.005, 0.05, 1.0])
def test_shallow_pool_counts(depth: float) -> None:
    """No grid: 5 µm over 30 × 30 mm in a part of 40 mm."""
    solid = parts.block([40, 40, 40]) - parts.block([30, 30, 2 * depth], [0, 0, 20])
    vertices, faces, turn = in_frame(solid, 7)
    found = retained_liquid(vertices, faces, turn[:, 2])
    assert found.volume_lower <= 900 * depth <= found.volume_upper
    assert found.volume == pytest.approx(900 * depth, rel=0.02)


def test_p_trap_upright_holds_its_bend() -> None:
    """The bend of a trap of square section fills to the lower edge of its outlet."""
    vertices, faces, turn = in_frame(pools.trap(), 2)
    found = retained_liquid(vertices, faces, turn[:, 2])
    assert found.volume == pytest.approx(pools.TRAP_HOLDS, rel=1e-5)


@pytest.mark.parametrize(
    ("passage", "door", "volumes"),
    [
        # The inner room runs over into the outer one: two pools, each up to its own sill.
        (5.0, 2.0, [500.0, 200.0]),
        # The outer room is full to its door, and through the passage so is the inner one.
        (2.0, 5.0, [2 * 500.0 + 2 * 3 * 3]),
    ],
)
def test_two_chambers(passage: float, door: float, volumes: list[float]) -> None:
    vertices, faces, turn = in_frame(pools.two_chambers(passage, door), 4)
    found = retained_liquid(vertices, faces, turn[:, 2])
    assert [pool.volume for pool in found.pools] == pytest.approx(volumes, rel=1e-5)


def test_sealed_hollow_is_not_counted() -> None:
    vertices, faces, turn = in_frame(parts.sealed_ball(), 1)
    assert retained_liquid(vertices, faces, turn[:, 1]).volume == 0.0
    assert retained_liquid(vertices, faces).volume == 0.0


def test_open_surface_is_an_estimate() -> None:
    vertices, faces, turn = in_frame(parts.bowl(10, 2, 48), 3)
    found = retained_liquid(vertices, faces[1:], turn[:, 2])
    assert not found.exact
    assert found.volume_lower == 0.0
    assert found.volume_upper > found.volume


@pytest.mark.parametrize("up", [[0, 0, 0], [0, 0, math.nan]])
def test_no_direction(up: list[float]) -> None:
    vertices, faces, _ = in_frame(parts.block([1, 1, 1]), 1)
    with pytest.raises(ValueError, match="three numbers"):
        retained_liquid(vertices, faces, np.array(up))


def test_nothing_at_all() -> None:
    assert retained_liquid(np.zeros((0, 3)), np.zeros((0, 3), np.int64)).volume == 0.0


# --- the best position --------------------------------------------------------------------------


@pytest.mark.parametrize("name", pools.EMPTIES)
@pytest.mark.parametrize("seed", FRAMES)
def test_empties_in_the_best_position(name: str, seed: int) -> None:
    """Found without being told where the openings are."""
    vertices, faces, _ = in_frame(pools.EMPTIES[name](), seed)
    found = retained_liquid(vertices, faces)
    assert found.searched
    # What a thousandth of a degree may leave on a floor that is level in the best position.
    assert found.volume <= 0.01
    assert retained_liquid(vertices, faces, found.up).volume == found.volume


def test_bottle_is_held_with_its_neck_downward() -> None:
    vertices, faces, turn = in_frame(parts.bottle(6, 1.5, 4), 2)
    upright = retained_liquid(vertices, faces, turn[:, 2])
    void = 18**2 * 20 - parts.bottle(6, 1.5, 4).volume()
    assert upright.volume == pytest.approx(void, rel=1e-4)
    found = retained_liquid(vertices, faces)
    assert found.volume == 0.0
    assert found.up @ turn[:, 2] < -0.8


@pytest.mark.parametrize("name", pools.KEEPS)
@pytest.mark.further
def test_keeps_some_in_every_position_and_the_same_in_every_frame(name: str) -> None:
    solid, least = pools.KEEPS[name]()
    values, bounds = [], []
    for seed in FRAMES:
        vertices, faces, _ = in_frame(solid, seed)
        found = retained_liquid(vertices, faces, goal=Goal(0.06, 6.0, 7.5))
        values.append(found.volume)
        bounds.append((found.volume_lower, found.volume_upper))
        # Proven to stay in every position, not just not found to leave.
        assert found.volume_lower > 7.5
        assert found.volume >= least
    assert max(values) / min(values) < 1.01
    assert max(low for low, _ in bounds) <= min(high for _, high in bounds)


@pytest.mark.further
def test_no_position_of_many_is_better() -> None:
    """Bounds hold against positions spread over the sphere."""
    solid, _ = pools.KEEPS["inkwell"]()
    vertices, faces, _ = in_frame(solid, 6)
    found = retained_liquid(vertices, faces, goal=Goal(0.06, 6.0, 7.5))
    ups = np.random.default_rng(3).normal(size=(200, 3))
    others = [retained_liquid(vertices, faces, up).volume for up in ups]
    assert min(others) >= found.volume_lower
    assert min(others) >= found.volume
