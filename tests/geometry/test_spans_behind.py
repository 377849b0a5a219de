"""Are places between round faces that taper to a sharp edge told apart from walls?"""

from __future__ import annotations

from typing import Literal

import manifold3d as m3
import numpy as np
import pytest
import shapes_walls as shapes

from lint3d.geometry.spans import spans
from lint3d.geometry.spans_regions import ThinRegion, thin_regions
from lint3d.geometry.spans_surface import surface_from_mesh

LIMIT = 0.423


def thin(body: m3.Manifold, look: Literal["inward", "outward"], seed: int) -> list[ThinRegion]:
    turned = body.rotate(tuple(np.random.default_rng(seed).uniform(0, 360, 3)))
    v, f = shapes.arrays(turned)
    return thin_regions(spans(surface_from_mesh(v, f), LIMIT, 1.25 * LIMIT, look), LIMIT)


def ball(radius: float, sides: int, seed: int) -> m3.Manifold:
    turn = tuple(np.random.default_rng(seed).uniform(0, 360, 3))
    return m3.Manifold.sphere(radius, sides).rotate(turn)


@pytest.mark.parametrize(("radius", "sides"), [(10, 64), (5, 40), (20, 100)])
def test_the_crevice_round_a_ball_on_a_plate_is_no_gap(radius: float, sides: int) -> None:
    """The void over the plate only grows outward from the ring where both meet."""
    plate = shapes.box([6 * radius, 6 * radius, 3], [-3 * radius, -3 * radius, -3])
    body = ball(radius, sides, sides).translate((0, 0, 0.98 * radius)) + plate
    assert not thin(body, "outward", sides)


# At their rims (of 31 to 40 degrees between smooth balls) facets enclose less and more than that.
@pytest.mark.parametrize(
    ("radius", "sides", "thick"), [(20, 160, 1.5), (25, 128, 2.0), (10, 64, 1.2)]
)
def test_the_rim_of_a_lens_is_no_wall(radius: float, sides: int, thick: float) -> None:
    """The intersection of two balls is thickest in the middle and thins to nothing at its rim."""
    other = ball(radius, sides, 1).translate((2 * radius - thick, 0.2, 0.1))
    assert not thin(ball(radius, sides, 2) ^ other, "inward", sides)


def test_the_rim_of_a_coarse_lens_with_a_flat_side_is_no_wall() -> None:
    body = m3.Manifold.sphere(10, 64).translate((0, 0, -9.4)).trim_by_plane((0, 0, 1), 0)
    assert not thin(body, "inward", 2)


@pytest.mark.parametrize("seed", [1, 2])
def test_a_bent_strip_that_thins_to_nothing_is_no_wall(seed: int) -> None:
    """A crescent between two circles that cross at 5 degrees: its horns bend away from a line."""
    circle = m3.CrossSection.circle(18, 180)
    body = (circle.rotate(1.3 * seed) - circle.translate((1.6, 0))).extrude(8)
    assert not thin(body, "inward", seed)


@pytest.mark.parametrize("bevel", [15.0, 25.0])
@pytest.mark.parametrize("draft", [0.5, 2.0])
def test_a_wall_that_tapers_a_little_before_its_bevel_is_one(bevel: float, draft: float) -> None:
    """It is thinnest where the bevel begins, not beyond."""
    thick, high = 0.3, 10.0
    tip = thick / 2 / np.tan(np.radians(bevel / 2))
    wide = thick / 2 + high * np.tan(np.radians(draft / 2))
    outline = [(-wide, 0), (wide, 0), (thick / 2, high), (0, high + tip), (-thick / 2, high)]
    walls = thin(shapes.prism(outline, 9), "inward", int(bevel))
    assert len(walls) == 1
    assert walls[0].lower <= thick <= walls[0].upper
    assert walls[0].upper - walls[0].lower <= 1e-3


def test_a_neck_before_a_sharp_edge_is_a_wall() -> None:
    """From the neck it first grows thicker on the way to the edge."""
    outline = [(-3, 0), (3, 0), (0.15, 3), (0.19, 4), (0, 5.2), (-0.19, 4), (-0.15, 3)]
    (wall,) = thin(shapes.prism(outline, 9), "inward", 3)
    assert wall.lower <= 0.3 <= wall.upper
