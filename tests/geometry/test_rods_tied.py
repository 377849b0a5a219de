"""Rims and beads are held along their length; pins, struts and bars are not."""

from __future__ import annotations

import manifold3d as m3
import pytest
from scipy.spatial.transform import Rotation
from shapes_walls import arrays

from lint3d.geometry.rods import bars
from lint3d.geometry.rods_tied import are_tied
from lint3d.geometry.spans_surface import SpanSurface, surface_from_mesh

M = m3.Manifold


def surface_of(body: m3.Manifold, seed: int) -> SpanSurface:
    vertices, faces = arrays(body)
    return surface_from_mesh(Rotation.random(random_state=seed).apply(vertices), faces)


def tray(high: float, floor: float, rim: float) -> m3.Manifold:
    inner = M.cube((90 - 2 * rim, 60 - 2 * rim, high), True).translate((0, 0, floor))
    return M.cube((90, 60, high), True) - inner


@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize("sizes", [(4, 0.8, 3), (4, 1.5, 3), (4, 2, 3), (5, 1, 3), (3, 1, 2)])
def test_the_rim_of_a_tray_is_held_by_its_floor(
    sizes: tuple[float, float, float], seed: int
) -> None:
    surface = surface_of(tray(*sizes), seed)
    found = bars(surface, 4.5)
    assert all(are_tied(surface, found))


@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize("sides", [3, 4, 5, 6, 32])
def test_a_pin_on_a_plate_is_held_at_its_foot_alone(sides: int, seed: int) -> None:
    pin = M.cylinder(40, 1, 1, sides, True).translate((0, 0, 20))
    surface = surface_of(M.cube((20, 20, 4), True) + pin, seed)
    found = bars(surface, 3.0)
    assert found
    assert not any(are_tied(surface, found))


@pytest.mark.parametrize("seed", range(3))
def test_a_flat_bar_with_struts_across_it_is_a_rod(seed: int) -> None:
    struts = [M.cube((2, 30, 2), True).translate((x, 0, 0)) for x in (-20, 0, 20)]
    body = M.batch_boolean([M.cube((70, 3.6, 2), True), *struts], m3.OpType.Add)
    surface = surface_of(body, seed)
    found = [bar for bar in bars(surface, 3.0) if bar.length > 60]
    assert not any(are_tied(surface, found))
