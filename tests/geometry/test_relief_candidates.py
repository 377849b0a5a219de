"""Surfaces without relief are left at once, and none that carries any."""

from __future__ import annotations

from collections.abc import Callable

import manifold3d as m3
import numpy as np
import pytest
import shapes_relief as shapes
import shapes_sound as sound
from shapes_walls import arrays

from lint3d.geometry.relief_candidates import has_bent_line, may_have_relief
from lint3d.geometry.topology import edge_table


def may(vertices: np.ndarray, faces: np.ndarray) -> bool:
    return may_have_relief(vertices, faces, edge_table(faces, len(vertices)))


@pytest.mark.parametrize(
    "build",
    [
        lambda: m3.Manifold.cube((10, 20, 30)),
        lambda: m3.Manifold.sphere(20, 128),
        lambda: sound.drilled(4, 1.5),
        lambda: sound.rounded(3),
        lambda: sound.fins(8),
        lambda: sound.rack(10),
        lambda: sound.gear(20),
        lambda: sound.honeycomb(8),
    ],
    ids=["box", "ball", "holes", "rounded", "fins", "rack", "gear", "honeycomb"],
)
def test_what_has_holes_and_straight_corners_only_is_left_at_once(
    build: Callable[[], m3.Manifold],
) -> None:
    assert not may(*arrays(build()))


@pytest.mark.parametrize("height", [0.4, -0.4])
@pytest.mark.parametrize("base", ["flat", "cylinder", "sphere", "saddle"])
@pytest.mark.parametrize("text", ["I", "-", "L", "O", "."])
def test_no_character_is_missed(text: str, base: str, height: float) -> None:
    kind = {} if base == "flat" else {"base": base, "radius": 40.0}
    case = shapes.lettered(text, height, 6.0, **kind)
    assert may(*arrays_of(shapes.moved(case, np.random.default_rng(1))))


@pytest.mark.parametrize("height", [0.6, -0.6])
@pytest.mark.cases(1)
def test_no_filleted_or_drafted_character_is_missed(height: float) -> None:
    for more in ({"fillet": 0.25}, {"draft_deg": 12.0}):
        case = shapes.lettered("LO", height, 8.0, thick=5.0, **more)
        assert may(*arrays_of(shapes.stored(shapes.moved(case, np.random.default_rng(2)))))


def arrays_of(case: shapes.ReliefCase) -> tuple[np.ndarray, np.ndarray]:
    return case.vertices, case.faces


def test_a_letter_on_a_drilled_plate_counts() -> None:
    letter = shapes.font_text("L", 8.0).extrude(1.0).translate((0, 0, 1.5))
    assert may(*arrays(sound.drilled(2, 1.5) + letter))
    assert may(*arrays(sound.drilled(2, 1.5) - letter))


def test_a_fine_fillet_at_the_foot_hides_nothing() -> None:
    """Thirty facets at the foot, a sharp head: no concave edge turns by more than three degrees."""
    angle = np.linspace(0, np.pi / 2, 31)
    foot = np.column_stack([5.4 - 0.4 * np.sin(angle), 0.4 - 0.4 * np.cos(angle)])
    outline = np.vstack([[0, -3], [20, -3], [20, 0], foot, [5, 1], [0, 1]])
    assert may(*arrays(m3.CrossSection([outline]).revolve(180)))


def test_lines_are_bent_from_a_hundredth_of_a_millimetre_on() -> None:
    points = np.array([[0, 0, 0], [5, 0, 0], [10, 0, 0], [10, 0.01, 5], [20, 0.03, 0]], float)
    assert not has_bent_line(points, np.array([[0, 1], [1, 2]]))
    assert not has_bent_line(points, np.array([[0, 1], [2, 3]]))
    assert has_bent_line(points, np.array([[0, 1], [1, 2], [2, 3]]))
    assert not has_bent_line(points, np.zeros((0, 2), int))
