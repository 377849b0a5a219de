"""Is what stays in a bowl, a bottle and a bent pipe what geometry says?"""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapes_voids as parts

from lint3d.geometry.pools import retained_liquid
from lint3d.geometry.pools_flood import directions
from lint3d.geometry.voids import find_voids


@pytest.mark.parametrize("tilt", [0, 10, 30, 45])
def test_tilted_bowl(tilt: float) -> None:
    """π/3 R³ (1 − sin t)² (2 + sin t), closed form; the facets take 0.5 % of it at most."""
    frame = parts.random_frame(tilt)
    vertices, faces = parts.mesh(parts.bowl(10, 2, 96), frame)
    angle = math.radians(tilt)
    up = frame[:, :3] @ [math.sin(angle), 0, math.cos(angle)]
    found = retained_liquid(vertices, faces, up)
    true = math.pi / 3 * 1000 * (1 - math.sin(angle)) ** 2 * (2 + math.sin(angle))
    assert found.exact
    assert found.volume == pytest.approx(true, rel=0.007)
    assert found.volume < true


def test_bowl_empties_in_the_best_position() -> None:
    vertices, faces = parts.mesh(parts.bowl(10, 2, 48), parts.random_frame(3))
    assert retained_liquid(vertices, faces).volume == 0.0


def test_box_filled_to_its_lower_rim() -> None:
    """A trough with one rim lower than the others: filled to that rim, exactly."""
    trough = parts.block([20, 12, 10]) - parts.block([16, 8, 10], [0, 0, 2])
    trough -= parts.block([4, 4, 4], [9, 0, 5])
    vertices, faces = parts.mesh(trough, parts.random_frame(5))
    found = retained_liquid(vertices, faces, parts.random_frame(5)[:, 2])
    assert found.volume == pytest.approx(16 * 8 * 6, rel=1e-4)
    assert found.volume_lower <= 16 * 8 * 6 <= found.volume_upper + 1e-6


def test_bottle_upright_is_full_and_upside_down_empty() -> None:
    frame = parts.random_frame(2)
    vertices, faces = parts.mesh(parts.bottle(6, 1.5, 4), frame)
    ways = [pocket.way for pocket in find_voids(vertices, faces, 1.5, 6.0).pockets]
    upright = retained_liquid(vertices, faces, frame[:, 2], ways)
    void = 18**2 * 20 - parts.bottle(6, 1.5, 4).volume()
    assert upright.volume == pytest.approx(void, rel=2e-3)
    assert retained_liquid(vertices, faces, -frame[:, 2], ways).volume < 0.01 * void


def test_no_hollow_no_pool() -> None:
    vertices, faces = parts.mesh(parts.block([9, 8, 7]), parts.random_frame(1))
    assert retained_liquid(vertices, faces).volume == 0.0


def test_directions_are_spread() -> None:
    every = directions(200)
    assert every.shape == (200, 3)
    assert np.allclose(np.linalg.norm(every, axis=1), 1)
    assert (every @ every.T - 2 * np.eye(200)).max(axis=1).min() > 0.95
