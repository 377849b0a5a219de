"""Guards lint3d/geometry/relief_shapes.py: which outlines are alike?"""

import manifold3d as m3
import numpy as np
import pytest
from shapes_relief import Outline, barred, centred, font_text, lettered, on_slab

from lint3d.geometry.relief_strokes import counter_widths, stroke_widths
from lint3d.geometry.reliefs import Found, find_reliefs
from lint3d.geometry.topology import edge_table


def _found(vertices: np.ndarray, faces: np.ndarray) -> Found:
    return find_reliefs(vertices, faces, edge_table(faces, len(vertices)), 1e-6)


@pytest.mark.parametrize("text", ["BER", "325 m", "8069"])
@pytest.mark.parametrize("font", ["DejaVu Sans", "DejaVu Serif", "DejaVu Sans Mono"])
@pytest.mark.cases(4)
def test_letters_of_like_area_and_size_are_unlike(text: str, font: str) -> None:
    """With serifs B, E and R agree within 4 % in area, perimeter and radii of gyration."""
    case = lettered(text, 0.8, 10.0, font=font)
    (line,) = _found(case.vertices, case.faces).inscriptions
    assert line.characters == case.characters


def test_turned_copies_of_one_outline_are_alike() -> None:
    hook = centred(font_text("R", 10.0, "DejaVu Serif"))
    row = hook
    for place, turn in enumerate((40.0, 160.0, 250.0, 300.0)):
        row = row + hook.rotate(turn).translate((14.0 * (place + 1), 0))
    case = on_slab(row, 0.8)
    found = _found(case.vertices, case.faces)
    assert not found.inscriptions
    assert len(found.marks) == 5


def _grid(cells: int, rib: float, size: float) -> Outline:
    whole = m3.CrossSection.square((size, size), True)
    pitch = (size - rib) / cells
    hole = m3.CrossSection.square((pitch - rib, pitch - rib), True)
    at = (np.arange(cells) - (cells - 1) / 2) * pitch
    return whole - m3.CrossSection.batch_boolean(
        [hole.translate((x, y)) for x in at for y in at], m3.OpType.Add
    )


def _wheel(teeth: int, size: float) -> Outline:
    turn = np.arange(4 * teeth) * np.pi / 2 / teeth
    reach = size / 2 * np.where(np.arange(4 * teeth) // 2 % 2, 1.0, 0.78)
    outline = np.column_stack([reach * np.cos(turn), reach * np.sin(turn)])
    return m3.CrossSection([outline]) - m3.CrossSection.circle(size / 6, 32)


PATTERNS = {
    "grids": (_grid(3, 0.9, 12.0), _grid(4, 0.7, 14.0)),
    "wheels": (_wheel(9, 12.0), _wheel(14, 13.0)),
    "a grid and a wheel": (_grid(3, 0.9, 12.0), _wheel(13, 13.0)),
}


@pytest.mark.parametrize("name", PATTERNS)
def test_grids_of_ribs_and_wheels_are_no_characters(name: str) -> None:
    one, two = PATTERNS[name]
    case = on_slab(one + two.rotate(11).translate((17.0, 0)), 2.0)
    found = _found(case.vertices, case.faces)
    assert not found.inscriptions
    assert not found.marks
    assert len(found.others) >= 2


def test_a_word_beside_a_wheel_is_read_without_it() -> None:
    word = centred(font_text("TIDE", 12.0))
    case = on_slab(word + _wheel(11, 12.0).translate((28.0, 0)), 0.8)
    (line,) = _found(case.vertices, case.faces).inscriptions
    assert line.characters == 4
    assert len(line.shapes) == 4


@pytest.mark.parametrize(
    ("text", "font"), [("A-B", "DejaVu Sans Mono"), ("N°5", "DejaVu Sans"), ("4.2", "DejaVu Serif")]
)
def test_two_letters_with_a_small_sign_between_them(text: str, font: str) -> None:
    case = lettered(text, 0.8, 10.0, font=font)
    (line,) = _found(case.vertices, case.faces).inscriptions
    assert line.characters == 3


@pytest.mark.parametrize(
    ("text", "font"),
    [
        ("RK-9", "DejaVu Sans"),
        ("HT-51", "DejaVu Serif"),
        ("gdt", "DejaVu Sans"),
        ("fjörð", "DejaVu Sans"),
        ("fjörd", "DejaVu Serif"),
        ("gjf1", "DejaVu Sans"),
    ],
)
def test_dashes_under_arms_and_letters_on_no_common_line(text: str, font: str) -> None:
    case = lettered(text, 0.6, 8.0, font=font)
    (line,) = _found(case.vertices, case.faces).inscriptions
    assert line.characters == len(text)


@pytest.mark.parametrize("text", ["LTA", "LTL", "AVA"])
def test_letters_whose_middles_lie_far_from_one_line(text: str) -> None:
    case = lettered(text, 0.6, 6.0)
    (line,) = _found(case.vertices, case.faces).inscriptions
    low, high = line.character_height_interval
    assert low <= 6.0 <= high


@pytest.mark.parametrize("text", ["#%&@8B", "*+*M*", "QWS$"])
def test_letters_with_spaces_and_signs_are_no_patterns(text: str) -> None:
    case = lettered(text, 0.8, 10.0)
    (line,) = _found(case.vertices, case.faces).inscriptions
    assert line.characters == case.characters


@pytest.mark.parametrize("height", [1.2, -1.2])
def test_spaces_between_walls_that_lean_are_those_at_the_cap(height: float) -> None:
    """As strokes are: 1 % too narrow in a bold O with walls at 6 degrees, as seen at 0.7 of it."""
    case = barred("OLO", height, 9.0, 1.8, draft_deg=6.0)
    (line,) = _found(case.vertices, case.faces).inscriptions
    spaces = np.concatenate([shape.counters for shape in line.shapes])
    assert len(spaces) == 2
    assert spaces == pytest.approx([4 * (9.0 - 1.8) / 6 - 1.8] * 2, rel=0.003)


@pytest.mark.parametrize("text", ["B-We", "agke"])
def test_walls_that_stand_upright_change_no_width(text: str) -> None:
    """Strokes and counters at the cap are those of the outline that was raised.

    In letters with thick and thin strokes the usual width hangs on where the outline is sampled:
    the cap was told up to 2 % narrower or wider than the wall below it.
    """
    case = lettered(text, 0.5, 10.0, font="DejaVu Sans", bold=True)
    (line,) = _found(case.vertices, case.faces).inscriptions
    counted = 0
    for shape in line.shapes:
        assert shape.outline is not None
        # The step by which the surface was simplified.
        assert shape.counters == pytest.approx(counter_widths(shape.outline), abs=1e-3)
        drawn = stroke_widths(shape.outline)
        assert shape.strokes.usual == pytest.approx(drawn.usual, abs=1e-3, nan_ok=True)
        counted += len(shape.counters)
    assert counted >= 3
