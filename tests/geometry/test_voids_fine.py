"""Is a gap bounded closely that is narrower than the grid of the whole part can tell?"""

from __future__ import annotations

import numpy as np
import pytest
import shapes_voids as parts

from lint3d.geometry.raster import Grid
from lint3d.geometry.throats_clearance import Clearance
from lint3d.geometry.voids_fine import fits_in_box, widest_in_box
from lint3d.geometry.voids_space import Space, build_space


def _turned(gap: float, seed: int) -> tuple[tuple[np.ndarray, np.ndarray], np.ndarray, Space]:
    frame = parts.random_frame(seed)
    vertices, faces = parts.mesh(parts.cup_with_lid(gap), frame)
    grid = Grid.around(vertices.min(axis=0), vertices.max(axis=0), 0.375, 3)
    return (vertices, faces), frame, build_space(vertices, faces, grid, 3.25)


@pytest.mark.parametrize(("gap", "seed"), [(0.2, 3), (0.4, 0), (0.6, 5)])
def test_gap_is_bounded_closely(gap: float, seed: int) -> None:
    surface, frame, space = _turned(gap, seed)
    side = np.linspace(-8, 8, 30)
    rim = np.array([[x, y, 5 + gap / 2] for x in side for y in side if max(abs(x), abs(y)) > 5.5])
    rim = rim @ frame[:, :3].T + frame[:, 3]
    inside = space.grid.index(frame[:, 3])
    chamber = space.chambers.of_basin[space.basins.label[tuple(inside)]]
    sides = np.array([chamber]), np.array([0])
    clearance = Clearance(*surface)
    assert fits_in_box(space, rim, gap)
    bound = widest_in_box(surface, clearance, space, rim, sides, 0.99 * gap)
    assert gap - 1e-6 <= bound < 1.04 * gap
    # Where the widest ball that is known to pass is smaller, the bound is no lower.
    assert widest_in_box(surface, clearance, space, rim, sides, 0.8 * gap) >= gap - 1e-6


def test_box_that_is_too_large_bounds_nothing() -> None:
    surface, _, space = _turned(0.4, 0)
    far = np.array([[x, y, z] for x in (-50.0, 50) for y in (-50, 50) for z in (-50, 50)])
    assert not fits_in_box(space, far, 0.4)
    sides = np.array([1]), np.array([0])
    assert widest_in_box(surface, Clearance(*surface), space, far, sides, 0.4) == np.inf
