"""Is a neck followed that is far thinner than the grid and long against it, wherever it runs?"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import shapes_voids as parts
from manifold3d import Manifold

from lint3d.geometry.throats import Way, glimpsed
from lint3d.geometry.throats_clearance import Clearance
from lint3d.geometry.voids import find_voids
from lint3d.geometry.voids_cells import way_through_cells
from lint3d.geometry.voids_openings import measure_closely

#: Turns of the part in which its long neck runs askew to the grid.
SEEDS = (0, 4)


def _only_opening(solid: Manifold, seed: int) -> tuple[float, float, float]:
    found = find_voids(*parts.mesh(solid, parts.random_frame(seed)), 1.5, 12.75)
    (pocket,) = found.pockets
    assert not found.left_out
    throat = pocket.throat
    return float(throat.lower), float(throat.upper), float(throat.length)


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.further
def test_neck_two_hundred_times_as_long_as_wide(seed: int) -> None:
    """As thin against the grid as 0.3 mm is in a part of 200 mm that is 5 times as large."""
    solid = parts.block([30] * 3) - parts.ball(2.5) - parts.rod([0, 0, 0], [20, 0, 0], 0.06, 16)
    lower, upper, length = _only_opening(solid, seed)
    assert lower <= parts.polygon_width(0.06, 16) <= upper
    assert upper - lower < 0.01
    assert length == pytest.approx(12.5, abs=0.1)


@pytest.mark.further
def test_bent_neck() -> None:
    corners = [[0, 0, 0], [6, 0, 0], [6, 7, 0], [6, 7, 7], [0, 7, 7], [0, 7, 20]]
    solid = parts.block([24] * 3) - parts.ball(2.5) - parts.duct(corners, 0.1, 16)
    lower, upper, _ = _only_opening(solid, 1)
    assert lower <= parts.polygon_width(0.1, 16) + 1e-3
    assert parts.polygon_width(0.1, 16) - 1e-3 <= upper
    assert upper - lower < 0.01


def _plate_with_holes() -> tuple[Clearance, np.ndarray]:
    plate = parts.block([12, 12, 2]) - parts.rod([-0.5, 0, -2], [-0.5, 0, 2], 0.1)
    vertices, faces = parts.mesh(plate - parts.rod([0.5, 0, -2], [0.5, 0, 2], 0.2))
    height = np.linspace(-1, 1, 9)[:, None]
    places = np.vstack([np.array([[x, 0, 0]]) + height * [0, 0, 1] for x in (-0.55, 0.4)])
    return Clearance(vertices, faces), places


def test_the_wider_of_two_is_taken_and_no_wall_is_crossed() -> None:
    clearance, places = _plate_with_holes()
    ends = np.array([-0.5, 0, -1.3]), np.array([-0.5, 0, 1.3])
    found = way_through_cells(clearance, places, ends, 0.4)
    assert found is not None
    way, _ = found
    inside = way[np.abs(way[:, 2]) < 0.95]
    assert np.all(np.linalg.norm(inside[:, :2] - [0.5, 0], axis=1) < 0.1)
    step = np.linalg.norm(np.diff(way, axis=0), axis=1)
    free = clearance.at(way)
    assert np.all(free[:-1] + free[1:] > step)


@pytest.mark.further
def test_no_way_through_a_wall() -> None:
    clearance = Clearance(*parts.mesh(parts.block([12, 12, 2])))
    ends = np.array([0, 0, -1.3]), np.array([0, 0, 1.3])
    places = np.column_stack([np.zeros((5, 2)), np.linspace(-1, 1, 5)])
    assert way_through_cells(clearance, places, ends, 0.4) is None


@pytest.mark.slow
def test_neck_that_the_grid_shows_raggedly() -> None:
    """A way that all but touches the walls, in a neck too long for a finer grid of its box."""
    frame = parts.random_frame(0)
    solid = parts.block([3, 3, 140]) - parts.rod([0, 0, -71], [0, 0, 71], 0.6, 24)
    vertices, faces = parts.mesh(solid, frame)
    clearance = Clearance(vertices, faces)
    turn = np.random.default_rng(3).uniform(0, 2 * np.pi, 701)
    inside = np.column_stack([0.29 * np.cos(turn), 0.29 * np.sin(turn), np.linspace(-71, 71, 701)])
    inside[[0, -1], :2] = 0.0
    path = inside @ frame[:, :3].T + frame[:, 3]
    ragged = replace(
        glimpsed(clearance, path, 0.375, 2.0),
        lower=0.0,
        way=Way(path, 2 * clearance.at(path)),
    )
    throat = measure_closely((vertices, faces), clearance, ragged, 0.375, 2.0)
    truth = parts.polygon_width(0.6, 24)
    assert throat.lower <= truth <= throat.upper
    assert throat.upper - throat.lower < 0.02
