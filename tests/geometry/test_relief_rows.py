"""Characters stand on lines; hooks and lugs that are set out otherwise are no lettering."""

from __future__ import annotations

import manifold3d as m3
import numpy as np
import pytest
import shapes_relief as shapes
from shapes_walls import arrays

from lint3d.geometry.reliefs import Found, find_reliefs
from lint3d.geometry.topology import edge_table


def _found(vertices: np.ndarray, faces: np.ndarray) -> Found:
    return find_reliefs(vertices, faces, edge_table(faces, len(vertices)), 1e-5)


def _hook(long: float, high: float) -> m3.CrossSection:
    leg = m3.CrossSection.square((long, 1.0)) + m3.CrossSection.square((1.0, high))
    return leg + m3.CrossSection.square((0.4 * long, 1.0)).translate((0, high - 1))


def _plate_with_hooks(lean: tuple[int, ...]) -> Found:
    plate = m3.Manifold.cube((60.0, 60.0, 4.0), True).translate((0, 0, -2))
    places = [(-10, 0), (-3, 3), (4, -1), (11, 2), (2, 9)]
    hooks = [
        _hook(4.0 + 0.5 * k, 5.0 - 0.4 * k).rotate(lean[k]).translate(at).extrude(0.8)
        for k, at in enumerate(places)
    ]
    return _found(*arrays(plate + m3.Manifold.batch_boolean(hooks, m3.OpType.Add)))


@pytest.mark.parametrize("lean", [(241, 289, 8, 290, 168), (160, 193, 186, 123, 340)])
def test_hooks_that_lean_every_way_are_no_lettering(lean: tuple[int, ...]) -> None:
    """They were told as lines of one to four characters."""
    found = _plate_with_hooks(lean)
    assert not found.inscriptions
    assert len(found.marks) == 5


def test_of_three_characters_no_line_is_asked() -> None:
    """The way of so few may be told wrong, of a Wg7 on a coarse drum too: that is lettering."""
    found = _plate_with_hooks((170, 184, 271, 342, 12))
    assert max(line.characters for line in found.inscriptions) == 3


def test_three_characters_on_a_coarse_drum_stand_on_a_line() -> None:
    outline = shapes.centred(shapes.font_text("Wg7", 8.0))
    case = shapes.on_prism(outline, 0.6, sides=39, radius=20.0, phase_deg=4.0)
    (line,) = _found(case.vertices, case.faces).inscriptions
    assert line.characters == 3


@pytest.mark.parametrize("high", [0.8, -0.8])
def test_features_that_are_set_out_from_a_middle_line_are_no_lettering(high: float) -> None:
    """Neither their feet nor their heads lie on a line."""
    outline, at = m3.CrossSection(), 0.0
    for long, turn in ((10.0, 0), (6.0, 90), (8.0, 180), (7.0, 90)):
        one = shapes.centred(_hook(0.6 * long, long).rotate(turn))
        left, _, right, _ = one.bounds()
        outline += one.translate((at - left, 0.0))
        at += right - left + 2.0
    case = shapes.on_slab(shapes.centred(outline), high)
    assert not _found(case.vertices, case.faces).inscriptions


def _clip_ring(radius: float, turn: float) -> m3.CrossSection:
    circle = m3.CrossSection.circle
    ring = circle(radius, 32) - circle(radius - 0.8, 32)
    slit = m3.CrossSection.square((20.0, 1.8)).translate((0.0, -0.9))
    return (ring - slit).rotate(turn)


def test_clip_rings_of_unlike_sizes_are_no_lettering() -> None:
    """The line told leans, as heads of some have it; their middles lie on a straight one."""
    outline = m3.CrossSection()
    turns = (20, 120, 250, 310, 75, 190)
    radii = (2.8, 2.9, 3.6, 2.9, 3.2, 4.0)
    for k, (radius, turn) in enumerate(zip(radii, turns, strict=True)):
        outline += _clip_ring(radius, turn).translate((10.0 * k, 0.0))
    case = shapes.on_slab(shapes.centred(outline), 1.2)
    assert not _found(case.vertices, case.faces).inscriptions


def test_small_letters_between_those_that_reach_above_and_below_are_type() -> None:
    """The middles of both tailed and both small ones lie on one line: it was no word."""
    outline, at = m3.CrossSection(), 0.0
    for foot, head, shape in ((-2, 10, "F"), (0, 8, "Z"), (0, 10, "L"), (-2, 10, "F"), (0, 8, "N")):
        one = shapes.bar_text(shape, 10.0, 1.0)
        left, low, right, high = one.bounds()
        one = one.translate((-left, -low)).scale((1.0, (head - foot) / (high - low)))
        outline += one.translate((at, foot))
        at += right - left + 2.0
    case = shapes.on_slab(shapes.centred(outline), 0.6)
    (line,) = _found(case.vertices, case.faces).inscriptions
    assert line.characters == 5


@pytest.mark.parametrize("text", ["jig", "Wg7p", "T-Qy", "a.m.", "jvsm"])
@pytest.mark.cases(3)
def test_letters_of_unlike_heights_stand_on_lines(text: str) -> None:
    case = shapes.lettered(text, 0.6, 8.0, base="cylinder")
    found = _found(case.vertices, case.faces)
    assert sum(len(line.shapes) for line in found.inscriptions) == case.islands


def test_letters_one_below_the_other_stand_on_a_line() -> None:
    outline = m3.CrossSection()
    for k, letter in enumerate("HTKL"):
        one = shapes.centred(shapes.font_text(letter, 6.0))
        outline += one.translate((0.0, -8.0 * k))
    case = shapes.on_slab(shapes.centred(outline), 0.6)
    found = _found(case.vertices, case.faces)
    assert sum(len(line.shapes) for line in found.inscriptions) == 4


def test_blocks_between_tees_make_no_word_of_them() -> None:
    """Tees and blocks in turn, eight tall: the blocks are four strokes wide, an I would be one."""
    square = m3.CrossSection.square
    outline = m3.CrossSection()
    for k, wide in enumerate((2.1, 1.8, 2.5, 2.2, 1.9)):
        if k % 2:
            one = square((2 * wide, 1.0)).translate((-wide, -4.0))
            one += square((1.0, 8.0)).translate((-0.5, -4.0))
        else:
            one = square((2 * wide, 8.0), center=True)
        outline += one.translate((6.7 * k, 0.0))
    case = shapes.on_slab(shapes.centred(outline), 2.0)
    assert not _found(case.vertices, case.faces).inscriptions


def test_an_upright_beside_letters_is_a_character() -> None:
    """Bars as wide as the strokes beside them are an I and an l."""
    case = shapes.lettered("FIlT", 0.6, 8.0)
    (line,) = _found(case.vertices, case.faces).inscriptions
    assert line.characters == 4
