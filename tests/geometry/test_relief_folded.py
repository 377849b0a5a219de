"""Letters that run over edges: roofs of any angle, bars of few faces, and lengths rolled flat."""

from __future__ import annotations

import numpy as np
import pytest
import shapes_relief as shapes
from shapes_relief import ReliefCase

from lint3d.geometry.relief_folded import FacetPlanes, folded_base
from lint3d.geometry.reliefs import Found, find_reliefs
from lint3d.geometry.topology import edge_table


def found_on(case: ReliefCase) -> Found:
    case = shapes.stored(shapes.moved(case, np.random.default_rng(5)))
    step = 2.0**-23 * float(np.abs(case.vertices).max())
    return find_reliefs(case.vertices, case.faces, edge_table(case.faces, len(case.vertices)), step)


@pytest.mark.parametrize("text", ["Rc8", "NdT", "DLLE"])
@pytest.mark.parametrize("height", [0.5, -0.5])
@pytest.mark.parametrize("sides", [5, 6, 7, 10])
@pytest.mark.cases(2)
def test_letters_round_a_bar_are_all_told(text: str, height: float, sides: int) -> None:
    """Their base is fitted to one of the faces, and the other left out as a stranger."""
    outline = shapes.centred(shapes.font_text(text, 8.0))
    case = shapes.on_prism(outline, height, sides=sides, radius=30.0, phase_deg=9.0)
    (line,) = found_on(case).inscriptions
    assert line.characters == len(text)
    for shape in line.shapes:
        assert shape.lower <= abs(height) <= shape.upper
        assert (shape.upper - shape.lower) / 2 <= 0.01


@pytest.mark.parametrize("height", [0.5, -0.5])
@pytest.mark.parametrize("angle", [-60.0, -30.0, 45.0, 60.0, 70.0])
@pytest.mark.cases(4)
def test_letters_over_the_edge_of_a_roof_are_all_told(angle: float, height: float) -> None:
    """A turn of 60 degrees is as sharp as that of many walls: it is no crease for what is wide."""
    outline = shapes.centred(shapes.font_text("HNMEK", 8.0))
    (line,) = found_on(shapes.on_roof(outline, height, angle, turn_deg=25.0)).inscriptions
    assert line.characters == 5
    for shape in line.shapes:
        assert shape.lower <= abs(height) <= shape.upper
        assert (shape.upper - shape.lower) / 2 <= 0.01


@pytest.mark.parametrize("height", [0.5, -0.5])
@pytest.mark.parametrize("sides", [10, 14, 20])
@pytest.mark.cases(2)
def test_strokes_and_heights_over_an_edge_are_those_rolled_flat(sides: int, height: float) -> None:
    outline = shapes.centred(shapes.bar_text("EHTL", 10.0, 1.2))
    (line,) = found_on(shapes.on_prism(outline, height, sides=sides, radius=40.0)).inscriptions
    low, high = line.character_height_interval
    assert low <= 10.0 <= high
    assert high - low < 0.7
    for shape in line.shapes:
        # On the flat of a face what was drawn round its circle is shorter in the middle and longer
        # at the edges; walls that run to the middle of the bar stand farther apart at the top.
        doubt = shape.stroke_uncertainty(1.2)
        doubt += 1.2 * (1 / np.cos(np.pi / sides) - 1 + abs(height) / 40.0)
        assert shape.strokes.usual == pytest.approx(1.2, abs=doubt)


def test_a_profile_is_rolled_out_along_its_faces() -> None:
    """Three faces of a bar of eight, 20 mm wide: lengths by hand."""
    lean = np.radians([-45.0, 0.0, 45.0])
    normal = np.column_stack([np.sin(lean), np.zeros(3), np.cos(lean)])
    offset = np.full(3, 10.0 / np.tan(np.pi / 8))
    top = np.array([0.0, 0.0, offset[1]])
    corner = top + (10.0, 0, 0)
    far = corner + 7.0 * np.array([np.cos(lean[2]), 0, -np.sin(lean[2])])
    planes = FacetPlanes(normal, offset, np.ones(3), True, 0.0)
    base = folded_base(planes, np.array([far, -far * (1, 1, -1)]), top, np.array([0, 0, 1.0]), 0.0)
    assert base is not None
    points = np.array([top + (0, 3.0, 0), top + (4.0, 0, 0), corner, far, far * (-1, 1, 1)])
    flat = base.unrolled(points)
    assert np.abs(flat[:, 0]) == pytest.approx([0.0, 4.0, 10.0, 17.0, 17.0])
    assert np.abs(flat[:, 1]) == pytest.approx([3.0, 0, 0, 0, 0])
    assert flat[3, 0] == pytest.approx(-flat[4, 0])


def test_faces_without_a_common_way_are_not_rolled_out() -> None:
    lean = np.radians(20.0)
    around = np.radians([0.0, 120.0, 240.0])
    normal = np.column_stack(
        [np.sin(lean) * np.cos(around), np.sin(lean) * np.sin(around), np.full(3, np.cos(lean))]
    )
    planes = FacetPlanes(normal, np.full(3, 10.0), np.ones(3), True, 0.0)
    foot = 5.0 * np.eye(3)
    assert folded_base(planes, foot, np.zeros(3), np.array([0, 0, 1.0]), 0.5) is None
