"""Guards lint3d/geometry/relief_lean.py: as tall as they are drawn, whichever letters they are."""

from typing import Any

import manifold3d as m3
import numpy as np
import pytest
from shapes_relief import Outline, centred, font_text, moved, on_slab

from lint3d.geometry.relief_lines import Inscription
from lint3d.geometry.reliefs import find_reliefs
from lint3d.geometry.topology import edge_table


def _told(outline: Outline, **kind: Any) -> Inscription:
    case = moved(on_slab(centred(outline), 0.5, **kind), np.random.default_rng(3))
    table = edge_table(case.faces, len(case.vertices))
    found = find_reliefs(case.vertices, case.faces, table, 1e-5)
    (line,) = found.inscriptions
    return line


def _drawn_height(outline: Outline) -> float:
    _, low, _, high = outline.bounds()
    return float(high - low)


def test_two_letters_whose_middles_lie_at_unlike_heights() -> None:
    """The way from the middle of an L to that of a T leans by more than ten degrees."""
    bar = m3.CrossSection.square
    letters = (
        bar((1.2, 10.0)) + bar((7.0, 1.2)) + bar((1.2, 10.0)).translate((11.8, 0))
        + bar((7.0, 1.2)).translate((8.9, 8.8))
    )  # fmt: skip
    low, high = _told(letters).character_height_interval
    assert low <= 10.0 <= high
    assert high - low < 0.02


@pytest.mark.parametrize(
    ("text", "font"), [("G8", "DejaVu Sans Mono"), ("OC", "DejaVu Sans"), ("9009", "DejaVu Serif")]
)
def test_round_letters_alone_are_as_tall_as_they_are_drawn(text: str, font: str) -> None:
    """They are about as tall when they lean a little: 0.1 % too low was told."""
    outline = font_text(text, 10.0, font)
    low, high = _told(outline).character_height_interval
    assert low <= _drawn_height(outline) <= high
    assert high - low < 0.1


@pytest.mark.parametrize(
    ("text", "kind"),
    [("SO", {}), ("OG3S", {"base": "cylinder", "radius": 25.0, "facet": 1.5})],
)
def test_round_letters_that_slant_are_as_tall_as_they_are_drawn(
    text: str, kind: dict[str, Any]
) -> None:
    """They are less tall where the line leans towards them: 0.1 to 0.5 % too low was told."""
    outline = font_text(text, 10.0).transform(np.array([[1.0, 0.2, 0.0], [0.0, 1.0, 0.0]]))
    low, high = _told(outline, **kind).character_height_interval
    assert low <= _drawn_height(outline) <= high
    assert high - low < 0.1


@pytest.mark.parametrize(("text", "size"), [("BJR", 15.4), ("HJHEPW", 17.2)])
def test_one_letter_with_a_tail_among_capitals_leaves_their_height_open(
    text: str, size: float
) -> None:
    """They were told a fourth too tall: the J may be the only capital, for all its outline says."""
    line = _told(font_text(text, size))
    low, high = line.character_height_interval
    assert low <= size <= high


def test_where_two_letters_are_tall_their_height_is_known() -> None:
    line = _told(font_text("Kilo", 15.0))
    low, high = line.character_height_interval
    assert low <= 15.0 <= high
    assert high - low < 0.1 * 15.0
