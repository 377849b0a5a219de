"""Of very many bars the thinnest, and the longest for their thickness, are worked out."""

from __future__ import annotations

import manifold3d as m3
import numpy as np
import pytest
from scipy.spatial.transform import Rotation
from shapes_walls import arrays

from lint3d.geometry.rods import bars, worst_bars
from lint3d.geometry.spans_surface import SpanSurface, surface_from_mesh

M = m3.Manifold
SIDES = 24


def bed(thick: np.ndarray, tall: np.ndarray, seed: int) -> SpanSurface:
    """Pins of known diameter and height (n,) on a plate."""
    body = M.cube((4.0 * len(thick), 6, 3)).translate((0, 0, -3))
    for i, (wide, high) in enumerate(zip(thick, tall, strict=True)):
        pin = M.cylinder(high + 1, wide / 2, wide / 2, SIDES)
        body += pin.translate((4 * i + 2, 3, -1))
    vertices, faces = arrays(body)
    return surface_from_mesh(Rotation.random(random_state=seed).apply(vertices), faces)


@pytest.mark.parametrize("seed", range(3))
def test_the_thinnest_and_the_most_slender_are_kept(seed: int) -> None:
    rng = np.random.default_rng(seed)
    thick = rng.permutation(np.linspace(0.3, 1.2, 20))
    tall = rng.permutation(np.linspace(4.0, 14.0, 20))
    surface = bed(thick, tall, seed)
    found, more = worst_bars(surface, 2.0, "inward", 4)
    narrow = thick * np.cos(np.pi / SIDES)  # an inscribed polygon, measured across its flats
    wanted = {*np.argsort(narrow)[:4].tolist(), *np.argsort(-tall / narrow)[:4].tolist()}
    diameters = sorted(bar.diameter for bar in found)
    assert diameters == pytest.approx(sorted(narrow[list(wanted)]), abs=1e-4)
    assert more >= 20 - len(wanted)  # some are no bars on a closer look
    # What is worked out is worked out as if there were no others.
    every = {round(bar.diameter, 6): bar for bar in bars(surface, 2.0)}
    assert len(every) == 20
    for bar in found:
        assert bar.slenderness == pytest.approx(every[round(bar.diameter, 6)].slenderness)


def test_where_all_may_be_worked_out_none_is_left() -> None:
    surface = bed(np.linspace(0.4, 0.8, 5), np.full(5, 5.0), 0)
    found, more = worst_bars(surface, 2.0, "inward", 20)
    assert (len(found), more) == (5, 0)


@pytest.mark.parametrize("deep", [1.02, 1.14, 1.3, 1.6])
@pytest.mark.parametrize("seed", range(2))
def test_a_short_hole_of_uneven_corners_closes_round_beside_its_lips(
    deep: float, seed: int
) -> None:
    """A hexagon with corners of 89 and 151 degrees: the way felt on its sides is a little off."""
    turn = np.arange(6) * np.pi / 3
    corners = np.where(np.arange(6) % 2 == 0, 1.0, 0.575)[:, None]
    corners = corners * np.stack([np.cos(turn), np.sin(turn)], axis=1)
    edge = corners[1] - corners[0]
    wide = 2 * abs(edge[0] * corners[0, 1] - edge[1] * corners[0, 0]) / np.hypot(*edge)
    section = m3.CrossSection([corners * (0.4 / wide)])
    body = M.cube((6, 5, deep * 0.4)).translate((-3, -2.5, 0))
    body -= M.extrude(section, 4.0).translate((0, 0, -1))
    vertices, faces = arrays(body)
    surface = surface_from_mesh(Rotation.random(random_state=seed).apply(vertices), faces)
    (hole,) = bars(surface, 0.5, "outward")
    assert hole.diameter == pytest.approx(0.4, abs=1e-4)
    assert hole.length == pytest.approx(deep * 0.4, abs=1e-4)
