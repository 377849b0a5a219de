"""Is the grid filled where the winding number says so, and does no thin wall leak?"""

from __future__ import annotations

import igl
import numpy as np
import pytest
import shapes_voids as parts
from scipy import ndimage

from lint3d.geometry.raster import Grid, rasterise


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("name", ["bottle", "serpentine", "cup", "overlap"])
def test_fill_agrees_with_winding_number(name: str, seed: int) -> None:
    solid = {
        "bottle": parts.bottle,
        "serpentine": parts.serpentine,
        "cup": parts.cup,
        "overlap": lambda: parts.block([8, 8, 8]),
    }[name]()
    vertices, faces = parts.mesh(solid, parts.random_frame(seed))
    if name == "overlap":
        second = parts.mesh(solid, parts.random_frame(seed) + np.eye(3, 4, 3) * 3)
        faces = np.vstack([faces, second[1] + len(vertices)])
        vertices = np.vstack([vertices, second[0]])
    grid = Grid.around(vertices.min(0), vertices.max(0), 0.41)
    raster = rasterise(vertices, faces, grid)
    assert len(raster.leaking) == 0
    chosen = np.random.default_rng(seed).integers(0, grid.size, 3000)
    points = grid.point(np.column_stack(np.unravel_index(chosen, grid.shape)))
    inside = igl.winding_number(vertices, faces, points) > 0.5
    differs = raster.solid.reshape(-1)[chosen] != inside
    # Only points that were marked beside a thin wall may differ.
    assert np.isin(chosen[differs], raster.marked).all()
    assert (raster.deepest > 1) == (name == "overlap")


@pytest.mark.parametrize("seed", range(6))
def test_thin_wall_does_not_leak(seed: int) -> None:
    """A wall of a seventh of the pitch still parts inside from outside."""
    box = parts.block([10, 10, 10]) - parts.block([9.9, 9.9, 9.9])
    vertices, faces = parts.mesh(box, parts.random_frame(seed))
    raster = rasterise(vertices, faces, Grid.around(vertices.min(0), vertices.max(0), 0.35))
    label, _ = ndimage.label(~raster.solid)
    centre = raster.grid.index(parts.random_frame(seed)[:, 3])
    assert label[tuple(centre)] not in (0, label[0, 0, 0])


def test_open_surface_is_said_and_mended_by_vote() -> None:
    vertices, faces = parts.mesh(parts.block([10, 10, 10]))
    raster = rasterise(
        vertices,
        faces[np.abs(vertices[faces].mean(1)[:, 2] - 5) > 1e-9],
        Grid.around(vertices.min(0), vertices.max(0), 0.5),
    )
    assert len(raster.leaking) > 300
    assert raster.solid.sum() * 0.125 == pytest.approx(1000, rel=0.1)


def test_degenerate_and_axis_parallel_faces() -> None:
    """Grid points that fall exactly on faces are on one side of all of them."""
    vertices, faces = parts.mesh(parts.block([4, 4, 4]))
    grid = Grid(np.array([-4.0, -4.0, -4.0]), 0.5, (17, 17, 17))
    raster = rasterise(vertices, np.vstack([faces, [[0, 0, 1], [2, 2, 2]]]), grid)
    assert len(raster.leaking) == 0
    assert raster.solid.sum() == 8**3
