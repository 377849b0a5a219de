"""Is a thin place told once that is narrower than points lie apart, and are several told apart?"""

from __future__ import annotations

from typing import Any

import manifold3d as m3
import numpy as np
import pytest
import shapes_walls as shapes

from lint3d.geometry.spans import Look, spans
from lint3d.geometry.spans_regions import ThinRegion, thin_regions
from lint3d.geometry.spans_surface import surface_from_mesh


def told(body: Any, limit: float, look: Look = "inward") -> list[ThinRegion]:
    v, f = shapes.arrays(body)
    return thin_regions(spans(surface_from_mesh(v, f), limit, 1.25 * limit, look), limit)


def wedge(degrees: float, thick: float, long: float, leans: bool, wide: float = 16.0) -> Any:
    """A wedge that is cut off where it is `thick`; both sides lean, or one."""
    rise = long * np.tan(np.radians(degrees) / (1 if leans else 2))
    if leans:
        return shapes.prism([(0, 0), (long, 0), (long, thick + rise), (0, thick)], wide)
    half = thick / 2
    return shapes.prism([(0, -half - rise), (long, -half), (long, half), (0, half + rise)], wide)


@pytest.mark.parametrize(("degrees", "leans"), [(22.0, False), (12.0, False), (21.0, True)])
@pytest.mark.parametrize("facets", [1.2, 1.7, 2.5])
@pytest.mark.cases(2)
def test_the_thin_end_of_a_coarse_wedge_is_one_region(
    degrees: float, leans: bool, facets: float
) -> None:
    (end,) = told(wedge(degrees, 1.06, 12.0, leans).refine_to_length(facets), 1.065)
    assert end.lower <= 1.06 <= end.upper
    assert end.extent == pytest.approx(16.0, abs=0.01)


def test_teeth_cut_into_a_thin_end_are_as_many_regions() -> None:
    body = wedge(22.0, 1.06, 12.0, False)
    for start in (4.0, 9.0):
        body -= shapes.box([8, 9, 0.8], [7, -4.5, start])
    assert len(told(body.refine_to_length(1.7), 1.065)) == 3


def test_the_lip_of_a_cup_is_one_region() -> None:
    outline = [(0, 0), (7.2, 0), (6.6, 8), (6, 8), (6, 2), (0, 2)]
    cup = m3.Manifold.revolve(m3.CrossSection([outline]), 40).refine_to_length(1.5)
    (lip,) = told(cup, 0.605)
    assert lip.extent == pytest.approx(13.2, abs=0.1)


def test_both_ends_of_a_bar_that_is_thick_between_are_two() -> None:
    outline = [(0, -0.4), (5, -1.4), (10, -0.4), (10, 0.4), (5, 1.4), (0, 0.4)]
    assert len(told(shapes.prism(outline, 12.0).refine_to_length(1.5), 0.803)) == 2


def test_a_slot_that_tapers_to_its_floor_is_one_gap() -> None:
    cut = shapes.prism([(-0.4, 0), (0.4, 0), (1.9, 6), (-1.9, 6)], 30.0).translate((0, 0, -15))
    block = (shapes.box([12, 9, 16], [-6, -3, -8]) - cut).refine_to_length(1.4)
    (gap,) = told(block, 0.803, "outward")
    assert gap.extent == pytest.approx(16.0, abs=0.01)
