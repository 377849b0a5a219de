"""Rods and holes with slanting ends, and stepped ones: how long are they?"""

from __future__ import annotations

import numpy as np
import pytest
import shapes_walls as shapes
from scipy.spatial.transform import Rotation

from lint3d.geometry.rods import bars
from lint3d.geometry.rods_lips import lips
from lint3d.geometry.spans_surface import surface_from_mesh


def found(body, seed, look="outward", reach=2.0):
    vertices, faces = shapes.arrays(body)
    turn = Rotation.random(random_state=seed)
    surface = surface_from_mesh(turn.apply(vertices), faces)
    return sorted(bars(surface, reach, look), key=lambda bar: bar.diameter)


def drill(diameter, low, high, sides):
    return shapes.m3.Manifold.cylinder(high - low, diameter / 2, circular_segments=sides).translate(
        [0, 0, low]
    )


@pytest.mark.parametrize("sides", [6, 24, 64])
@pytest.mark.parametrize("lean", [0, 30, 45, 60])
def test_a_slanted_bore_is_as_deep_as_its_axis(sides, lean):
    """It was told to the far tip of its lips: by the diameter times tan(lean) more."""
    depth = 14.2
    thick = depth * np.cos(np.radians(lean))
    bore = drill(1.0, -40, 40, sides).rotate([0, lean, 0]).translate([0, 0, thick / 2])
    (bar,) = found(shapes.box([60, 10, thick], [-30, -5, 0]) - bore, sides + lean)
    assert bar.length == pytest.approx(depth, abs=1e-3)
    assert bar.shortest <= depth <= bar.longest
    assert np.linalg.norm(bar.end - bar.start) == pytest.approx(depth, abs=1e-3)


@pytest.mark.parametrize("sides", [3, 6, 12, 64])
@pytest.mark.parametrize("wider", [1.4, 2.0])
def test_a_stepped_bore_is_two_holes(sides, wider):
    """One of 1 mm that stepped to 1.5 or 2 mm was one hole, as narrow as the one and as deep as
    both."""
    body = shapes.box([10, 10, 28], [-5, -5, 0])
    bores = [drill(1.0, -1, 20.05, sides), drill(wider, 20, 30, sides)]
    narrow, wide = found(body - bores[0] - bores[1], sides, reach=2.5)
    inner = np.cos(np.pi / sides)
    assert (narrow.diameter, narrow.length) == pytest.approx((inner, 20), abs=1e-3)
    assert (wide.diameter, wide.length) == pytest.approx((wider * inner, 8), abs=1e-3)


def test_what_has_no_two_ends_is_left_as_it_is():
    """All facets of a closed body: no rim."""
    surface = surface_from_mesh(*shapes.arrays(shapes.box([1, 1, 9])))
    every = np.arange(len(surface.faces))
    assert lips(surface, every, np.array([0.0, 0, 1])) == (None, None)
