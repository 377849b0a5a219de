"""Is a ledge that is far lower than broad no thin wall, and a low wall one still?"""

from __future__ import annotations

from typing import Literal

import manifold3d as m3
import numpy as np
import pytest
import shapes_walls as shapes

from lint3d.geometry.spans import spans
from lint3d.geometry.spans_regions import ThinRegion, thin_regions
from lint3d.geometry.spans_surface import surface_from_mesh

LIMIT, HIGH = 0.423, 0.53
STEPS = [1e-4, 1e-3, 0.02]


def thin(
    body: m3.Manifold, look: Literal["inward", "outward"] = "inward", limit: float = LIMIT
) -> list[ThinRegion]:
    turn = tuple(np.random.default_rng(3).uniform(0, 360, 3))
    surface = surface_from_mesh(*shapes.arrays(body.rotate(turn)))
    return thin_regions(spans(surface, LIMIT, HIGH, look), limit)


def pin(thick: float, step: float) -> m3.Manifold:
    """Square, and half of one side stands out."""
    half, out = thick / 2, thick + step
    return shapes.prism(
        [(0, 0), (thick, 0), (thick, out), (half, out), (half, thick), (0, thick)], 4
    )


@pytest.mark.parametrize("step", STEPS)
def test_a_pin_and_a_hole_with_a_ledge_are_as_thick_as_they_are(step: float) -> None:
    assert not thin(pin(0.8, step))
    (rod,) = thin(pin(0.5, step), limit=HIGH)
    assert rod.lower <= 0.5 <= rod.upper
    hole = pin(0.8, step).translate((0, 0, -0.5))
    assert not thin(shapes.box([6, 6, 3], [-3, -3, 0]) - hole, "outward")


@pytest.mark.parametrize("step", STEPS)
def test_a_strip_that_stands_out_a_little_is_no_wall(step: float) -> None:
    block = shapes.box([8, 4, 10], [0, 0, 0])
    edge, bead = (shapes.box([0.3, 4 + step, 10], [x, 0, 0]) for x in (0.0, 3.0))
    assert not thin(block + edge)
    assert not thin(block + bead)


@pytest.mark.parametrize("step", STEPS)
def test_a_scratch_is_no_gap(step: float) -> None:
    block = shapes.box([8, 4, 10], [0, 0, 0])
    assert not thin(block - shapes.box([0.3, 1, 12], [3, 4 - step, -1]), "outward")


@pytest.mark.parametrize("high", [0.15, 0.4])
def test_a_low_rib_is_a_wall(high: float) -> None:
    body = shapes.box([8, 4, 10], [0, 0, 0]) + shapes.box([0.3, high + 1, 10], [3, 3, 0])
    (rib,) = thin(body)
    assert rib.lower <= 0.3 <= rib.upper


def test_a_wall_of_many_low_facets_is_one() -> None:
    body = shapes.box([2, 0.3, 2], [0, 0, 0]).refine_to_length(0.06)
    (wall,) = thin(body)
    assert wall.lower <= 0.3 <= wall.upper
    assert wall.area == pytest.approx(4, rel=0.1)
