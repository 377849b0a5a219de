"""Strokes and counters of outlines with known widths."""

from __future__ import annotations

import numpy as np
import pytest

from lint3d.geometry.relief_outline import Outline
from lint3d.geometry.relief_strokes import counter_widths, stroke_widths


def outline(*loops: np.ndarray) -> Outline:
    start = np.concatenate(loops)
    end = np.concatenate([np.roll(loop, -1, axis=0) for loop in loops])
    number = np.repeat(np.arange(len(loops)), [len(loop) for loop in loops])
    cross = (start[:, 0] * end[:, 1] - start[:, 1] * end[:, 0]) / 2
    return Outline(start, end, number, np.bincount(number, cross))


def rectangle(wide: float, tall: float) -> np.ndarray:
    return np.array([[0, 0], [wide, 0], [wide, tall], [0, tall]], float)


def circle(radius: float, count: int = 90) -> np.ndarray:
    angle = 2 * np.pi * np.arange(count) / count
    return radius * np.column_stack([np.cos(angle), np.sin(angle)])


@pytest.mark.parametrize("turn", [0.0, 0.4, 2.0])
def test_a_bar_is_as_wide_as_it_is(turn: float) -> None:
    c, s = np.cos(turn), np.sin(turn)
    widths = stroke_widths(outline(rectangle(8.0, 0.7) @ np.array([[c, s], [-s, c]])))
    assert widths.usual == pytest.approx(0.7, abs=1e-9)
    assert widths.narrowest == pytest.approx(0.7, abs=1e-9)


def test_a_ring_and_its_counter() -> None:
    ring = outline(circle(5.0), circle(4.0)[::-1])
    widths = stroke_widths(ring)
    assert widths.usual == pytest.approx(1.0, abs=0.01)
    assert counter_widths(ring) == pytest.approx([8.0], abs=0.02)
    assert ring.is_closed


def test_an_l_has_two_strokes() -> None:
    corner = np.array([[0, 0], [5, 0], [5, 0.5], [1, 0.5], [1, 9], [0, 9]], float)
    widths = stroke_widths(outline(corner))
    assert widths.usual == pytest.approx(1.0, abs=1e-9)
    assert widths.narrowest == pytest.approx(0.5, abs=1e-9)


def test_a_triangle_has_no_parallel_sides_but_an_inscribed_circle() -> None:
    triangle = np.array([[0, 0], [3, 0], [0, 4]], float)
    assert np.isnan(stroke_widths(outline(triangle)).usual)
    framed = outline(rectangle(9, 9) - 3, triangle[::-1])
    # The circle inscribed in a 3-4-5 triangle has radius 1.
    assert counter_widths(framed) == pytest.approx([2.0], abs=0.02)


def test_fill_is_one_for_a_disc_and_less_for_an_l() -> None:
    assert outline(circle(2.0)).fill() == pytest.approx(1.0)
    corner = np.array([[0, 0], [4, 0], [4, 1], [1, 1], [1, 4], [0, 4]], float)
    assert outline(corner).fill() == pytest.approx(7 / 11.5)


@pytest.mark.parametrize("count", [16, 32, 48])
def test_a_disc_of_few_sides_is_no_narrower_than_across_its_sides(count: int) -> None:
    inscribed = np.cos(np.pi / count)
    assert stroke_widths(outline(circle(1.0, count))).narrowest / 2 > inscribed - 0.003


@pytest.mark.parametrize("turn", [0.0, 0.3, 1.1])
def test_the_circle_in_a_sharp_counter_is_the_largest(turn: float) -> None:
    """The space in an A: radius of the incircle is twice the area over the perimeter."""
    c, s = np.cos(turn), np.sin(turn)
    space = np.array([[0, 0], [2.2, 0], [1.1, 4.3]]) @ np.array([[c, s], [-s, c]])
    sides = 2.2 + 2 * np.hypot(1.1, 4.3)
    framed = outline(rectangle(30, 30) - 15, space[::-1])
    assert counter_widths(framed) == pytest.approx([2 * 2.2 * 4.3 / sides], rel=1e-3)


def test_what_is_closed_in_by_less_than_noise_is_no_line() -> None:
    """Rings that a rough wall sheds at a level passed for closed spaces 0.015 mm wide."""
    small = rectangle(0.1, 0.1)
    rough = outline(
        rectangle(10, 10), 3 + rectangle(4, 4)[::-1], 8 + small[::-1], small + (12.0, 0.0)
    )
    assert len(rough.without_crumbs(0.01).area) == 4
    clean = rough.without_crumbs(0.2)
    assert clean.area == pytest.approx([100.0, -16.0])
    assert counter_widths(clean) == pytest.approx([4.0], rel=1e-3)
    # Of noise alone the largest is left.
    assert rough.without_crumbs(50.0).area == pytest.approx([100.0])


def test_a_dent_no_deeper_than_noise_is_no_stroke() -> None:
    """A bar of 2 mm with a slit from one side that leaves 0.05 mm on 4 % of its length."""
    bar = np.array(
        [[0.0, 0], [12, 0], [12, 0.05], [13, 0.05], [13, 0], [25, 0], [25, 0.1], [25, 2], [13, 2],
         [13, 0.1], [12, 0.1], [12, 2], [0, 2]]
    )  # fmt: skip
    assert stroke_widths(outline(bar)).narrowest == pytest.approx(0.05, rel=0.01)
    assert stroke_widths(outline(bar), 0.1).narrowest == pytest.approx(2.0, rel=0.01)
    thin = outline(rectangle(25.0, 0.05))
    assert stroke_widths(thin, 0.1).narrowest == pytest.approx(0.05, rel=0.01)
