"""Are necks below the grid's pitch found, whatever they lead to?"""

from __future__ import annotations

import numpy as np
import pytest
import shapes_voids as parts

from lint3d.geometry.raster import Grid
from lint3d.geometry.voids import find_voids
from lint3d.geometry.voids_box import widest_way


@pytest.mark.parametrize("seed", range(2))
@pytest.mark.cases(1)
def test_two_hidden_necks_are_two_openings(seed: int) -> None:
    solid = parts.bottle(6, 0.3, 4) - parts.rod([0, 0, 0], [-20, 0, 0], 0.4, 16)
    vertices, faces = parts.mesh(solid, parts.random_frame(seed))
    found = find_voids(vertices, faces, 1.5, 6.0)
    assert len(found.pockets) == 1
    widths = [one.throat.diameter for one in found.pockets[0].openings]
    assert widths == pytest.approx(
        [parts.polygon_width(0.4, 16), parts.polygon_width(0.3, 32)], abs=0.01
    )
    assert found.pockets[0].bridge is None


@pytest.mark.parametrize("seed", range(2))
@pytest.mark.cases(1)
def test_hidden_neck_between_two_hollows(seed: int) -> None:
    """The inner hollow leads through the outer one."""
    solid = parts.series([0.3, 1.8])
    vertices, faces = parts.mesh(solid, parts.random_frame(seed))
    found = find_voids(vertices, faces, 1.5, 6.0)
    assert sorted(pocket.throat.diameter for pocket in found.pockets) == pytest.approx(
        [parts.polygon_width(0.3, 32), parts.polygon_width(1.8, 32)], abs=0.01
    )
    inner = min(found.pockets, key=lambda pocket: pocket.throat.diameter)
    assert len(inner.way_nodes) == 3


def test_widest_way_takes_the_wider_of_two() -> None:
    """Two holes through a plate; the way goes through the wider, though it is farther off."""
    plate = parts.block([12, 12, 2]) - parts.rod([-3, 0, -2], [-3, 0, 2], 1.0)
    vertices, faces = parts.mesh(plate - parts.rod([3, 0, -2], [3, 0, 2], 2.0))
    grid = Grid.around(np.array([-5.0, -2, -2]), np.array([5.0, 2, 2]), 0.2, 1)
    way = widest_way(vertices, faces, grid, np.array([-3.0, 0, -1.8]), np.array([-3.0, 0, 1.8]))
    assert way is not None
    inside = way[np.abs(way[:, 2]) < 0.9]
    assert np.all(np.linalg.norm(inside[:, :2] - [3, 0], axis=1) < 1.0)


def test_no_way_through_a_wall() -> None:
    vertices, faces = parts.mesh(parts.block([12, 12, 2]))
    grid = Grid.around(np.array([-2.0, -2, -2]), np.array([2.0, 2, 2]), 0.2, 1)
    assert widest_way(vertices, faces, grid, np.array([0, 0, -1.8]), np.array([0, 0, 1.8])) is None


@pytest.mark.parametrize(
    "seed", [0, *(pytest.param(seed, marks=pytest.mark.slow) for seed in (1, 2))]
)
@pytest.mark.further
def test_arm_of_a_cross_is_no_second_opening(seed: int) -> None:
    """An arm far narrower than the middle runs beside it all along, and nothing stands between."""
    arm = 0.344
    solid = parts.block([24, 24, 24]) - parts.ball(7.1)
    solid -= parts.block([arm, 5, 16], [0, 0, 8]) + parts.block([5, arm, 16], [0, 0, 8])
    found = find_voids(*parts.mesh(solid, parts.random_frame(seed)), 1.5, 12.75)
    (pocket,) = found.pockets
    assert pocket.bridge is not None
    assert pocket.bridge.lower <= arm * np.sqrt(2) <= pocket.bridge.upper
