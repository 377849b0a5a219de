"""Does a way out run straight where nothing is in its way?"""

from __future__ import annotations

import numpy as np
import pytest
import shapes_voids as parts

from lint3d.geometry.raster import Grid
from lint3d.geometry.throats_clearance import Clearance
from lint3d.geometry.voids import find_voids
from lint3d.geometry.voids_space import build_space
from lint3d.geometry.voids_straight import straightened


@pytest.mark.parametrize("seed", [1])
@pytest.mark.further
def test_way_out_of_a_cup_does_not_go_round_it(seed: int) -> None:
    found = find_voids(*parts.mesh(parts.cup_with_lid(1.2), parts.random_frame(seed)), 1.5, 5.0)
    assert found.pockets[0].depth < 25


def _space() -> tuple[np.ndarray, Grid, np.ndarray, Clearance]:
    """A wall with a hole in it, and a way from one side to the other that goes far about."""
    vertices, faces = parts.mesh(parts.block([2, 20, 20]) - parts.rod([-2, 0, 0], [2, 0, 0], 6))
    grid = Grid.around(np.array([-8.0, -10, -10]), np.array([8.0, 10, 10]), 0.5, 3)
    space = build_space(vertices, faces, grid, 6.0)
    corners = np.array([[-7, 0, 0], [-7, 8, 0], [-3, 8, 8], [-3, 0, 0], [3, 0, 0], [7, -8, 5]])
    way = np.vstack(
        [np.linspace(one, two, 40)[:-1] for one, two in zip(corners[:-1], corners[1:], strict=True)]
    )
    return grid.point(grid.index(way)), grid, space.distance, Clearance(vertices, faces)


def test_detours_go_and_the_hole_is_kept() -> None:
    way, grid, distance, clearance = _space()
    line = straightened(way, grid, distance, clearance)
    length = np.linalg.norm(np.diff(line, axis=0), axis=1).sum()
    assert np.array_equal(line[[0, -1]], way[[0, -1]])
    assert length < 1.25 * np.linalg.norm(way[-1] - way[0])
    assert clearance.at(line).min() > 1.0
    assert np.linalg.norm(np.diff(line, axis=0), axis=1).max() < 1.8 * grid.pitch


def test_nothing_is_cut_where_a_wall_is_in_the_way() -> None:
    way, grid, distance, clearance = _space()
    line = straightened(way, grid, distance, clearance)
    inside = np.abs(line[:, 0]) < 1
    assert inside.any()
    assert np.linalg.norm(line[inside, 1:], axis=1).max() < 3
