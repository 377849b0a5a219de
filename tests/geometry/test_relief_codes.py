"""Fields of squares are told as one marking with their height; what repeats is none."""

from __future__ import annotations

import manifold3d as m3
import numpy as np
import pytest
import shapes_machined as machined
import shapes_relief as shapes
import shapes_sound as sound
from shapes_walls import arrays

from lint3d.geometry.reliefs import TOO_BENT, Found, find_reliefs
from lint3d.geometry.topology import edge_table


def found_on(case: shapes.ReliefCase, seed: int = 0) -> Found:
    case = shapes.stored(shapes.moved(case, np.random.default_rng(seed)))
    step = 2.0**-23 * float(np.abs(case.vertices).max())
    table = edge_table(case.faces, len(case.vertices))
    return find_reliefs(case.vertices, case.faces, table, step)


def coded(
    count: int, side: float, height: float, seed: int = 0, **more: object
) -> shapes.ReliefCase:
    outline = shapes.centred(shapes.squares(count, side, np.random.default_rng(seed)))
    return shapes.on_slab(outline, height, **more)  # type: ignore[arg-type]


def check(found: Found, count: int, side: float, height: float, slack: float = 1e-5) -> None:
    assert not found.trouble
    assert not found.inscriptions
    assert not found.marks
    (code,) = found.codes
    assert code.filled.shape == (count, count)
    assert code.pitch == pytest.approx(side, rel=0.01)
    assert code.square == pytest.approx(side, rel=0.02)
    assert code.raised == (height > 0)
    for shape in code.shapes:
        assert shape.lower - slack <= abs(height) <= shape.upper + slack
        assert shape.height == pytest.approx(abs(height), abs=slack + 0.01)


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize(
    ("count", "side", "height"),
    [(21, 1.0, 0.5), (21, 0.5, 0.3), (21, 2.0, -0.6), (14, 1.2, -0.8), (29, 0.6, 0.25)],
)
@pytest.mark.cases(2)
def test_a_field_of_squares_is_one_marking(
    count: int, side: float, height: float, seed: int
) -> None:
    check(found_on(coded(count, side, height, seed), seed), count, side, height)


@pytest.mark.parametrize("height", [0.5, -0.5])
@pytest.mark.parametrize("base", ["cylinder", "sphere", "saddle"])
@pytest.mark.cases(2)
def test_a_field_of_squares_on_a_bent_base(base: str, height: float) -> None:
    case = coded(15, 0.8, height, 1, base=base, radius=60.0, facet=2.0)
    check(found_on(case), 15, 0.8, height, case.slack + 1e-5)


@pytest.mark.parametrize("height", [0.5, -0.5])
@pytest.mark.parametrize(
    ("base", "count", "span", "facets"),
    [("cylinder", 21, 1.25, 25), ("cylinder", 16, 0.8, 15), ("sphere", 16, 0.8, 15)],
)
@pytest.mark.cases(1)
def test_a_field_that_goes_far_round_its_base(
    base: str, count: int, span: float, facets: int, height: float
) -> None:
    """No unrolling about the middle is true at the rim: `span` is the angle the field goes round.

    On a sphere squares cannot all be alike, and the pitch is that in the middle.
    """
    radius = count * 1.2 / span
    outline = shapes.centred(shapes.squares(count, 1.2, np.random.default_rng(3)))
    case = shapes.on_slab(outline, height, base=base, radius=radius, facet=radius / facets)
    found = found_on(case)
    (code,) = found.codes
    assert code.filled.shape == (count, count)
    assert code.pitch == pytest.approx(1.2, rel=0.03)
    assert not found.inscriptions
    for shape in code.shapes:
        assert shape.lower - case.slack <= 0.5 <= shape.upper + case.slack


@pytest.mark.parametrize(("seed", "height"), [(0, 0.5), (3, -0.5)])
@pytest.mark.cases(1)
def test_a_code_hides_the_most_of_a_strongly_bent_base(seed: int, height: float) -> None:
    """Only the rim of the base is seen: a polynomial held by that alone told 1.3 mm for 0.5."""
    filled = np.random.default_rng(seed).random((16, 16)) < 0.5
    filled[0], filled[:, 0] = True, True
    case = fields(filled, 1.202, 1.2, height, base="cylinder", radius=15.36, facet=1.024)
    check(found_on(case), 16, 1.2, height, case.slack)


def test_a_code_far_round_a_ball() -> None:
    """Normals along its rim differ by up to a hundred degrees."""
    filled = np.random.default_rng(0).random((12, 12)) < 0.5
    filled[0], filled[:, 0], filled[-1, ::2], filled[::2, -1] = True, True, True, True
    case = fields(filled, 1.202, 1.2, -0.5, base="sphere", radius=11.52, facet=0.768)
    found = found_on(case)
    (code,) = found.codes
    assert code.filled.shape == (12, 12)
    assert not code.raised
    for shape in code.shapes:
        assert shape.lower - case.slack <= 0.5 <= shape.upper + case.slack


def test_a_code_that_is_bent_too_tightly_is_open(monkeypatch: pytest.MonkeyPatch) -> None:
    """On the inner side of a narrow ring it was told as letters: the spaces between its squares."""
    filled = np.random.default_rng(0).random((12, 12)) < 0.5
    filled[0], filled[:, 0] = True, True

    def ring(radius: float) -> shapes.Bend:
        large = -1.8 * radius

        def bend(points: np.ndarray) -> np.ndarray:
            x, y, z = points.T
            reach, turn = radius + z, y / (large + radius)
            out = large + reach * np.cos(x / radius)
            return np.column_stack(
                [reach * np.sin(x / radius), out * np.sin(turn), out * np.cos(turn)]
            )

        return bend

    monkeypatch.setitem(shapes.BENDS, "ring", ring)
    cells = [
        shapes.Outline.square((1.002, 1.002)).translate((float(i), float(j)))
        for i, j in np.argwhere(filled)
    ]
    outline = shapes.centred(m3.CrossSection.batch_boolean(cells, m3.OpType.Add)).rotate(20)
    case = shapes.on_slab(outline, 0.4, base="ring", radius=9.6, facet=0.8, thick=3.0)
    found = found_on(case)
    assert found.trouble == TOO_BENT
    assert not found.inscriptions


def fields(
    filled: np.ndarray, wide: float, pitch: float, height: float, **more: object
) -> shapes.ReliefCase:
    cells = [
        shapes.Outline.square((wide, wide)).translate((pitch * i, pitch * j))
        for i, j in np.argwhere(filled)
    ]
    outline = shapes.centred(m3.CrossSection.batch_boolean(cells, m3.OpType.Add))
    return shapes.on_slab(outline, height, **more)  # type: ignore[arg-type]


def test_a_row_may_be_empty() -> None:
    """Between the large squares in two corners of a code only a few squares are free for data."""
    filled = np.random.default_rng(2).random((21, 21)) < 0.5
    filled[7] = False
    check(found_on(fields(filled, 1.002, 1.0, 0.5)), 21, 1.0, 0.5)


@pytest.mark.parametrize("seed", range(2))
@pytest.mark.further
def test_squares_two_empty_ones_apart_are_one_field(seed: int) -> None:
    rng = np.random.default_rng(seed)
    filled = rng.random((24, 24)) < 0.5
    # A square in the corner that only its diagonal neighbours would join.
    filled[:, 10:12], filled[12, :10], filled[12, 12:] = False, False, True
    filled[0, ::2], filled[-1, ::2], filled[::2, 0], filled[::2, -1] = True, True, True, True
    filled[12, 10] = filled[0, 11] = True
    cells = [
        shapes.Outline.square((0.9, 0.9)).translate((float(i), float(j)))
        for i, j in np.argwhere(filled)
    ]
    outline = shapes.centred(m3.CrossSection.batch_boolean(cells, m3.OpType.Add))
    (code,) = found_on(shapes.on_slab(outline, 0.5)).codes
    assert code.filled.shape == (24, 24)
    assert len(code.shapes) == len(cells)


def test_a_full_stop_smaller_than_a_square_may_stand_beside_a_code() -> None:
    outline = shapes.squares(21, 1.0, np.random.default_rng(0))
    text = shapes.centred(shapes.font_text("No. 7", 2.5)).translate((10, -4.0))
    found = found_on(shapes.on_slab(shapes.centred(outline + text), 0.5))
    assert [code.filled.shape for code in found.codes] == [(21, 21)]


def test_a_field_of_squares_on_a_slanted_face_with_draft() -> None:
    case = coded(21, 1.0, 0.5, 2, slanted_deg=12.0)
    check(found_on(case), 21, 1.0, 0.5)


@pytest.mark.parametrize("gap", [0.0, -0.1, -0.38])
@pytest.mark.cases(1)
def test_squares_that_meet_at_an_edge_only_or_not_at_all(gap: float) -> None:
    """Stored in a file, corners that meet are one vertex, and the edge between has four faces."""
    rng = np.random.default_rng(5)
    wide = 1.0 + gap
    cells = [
        shapes.Outline.square((wide, wide)).translate((float(i), float(j)))
        for i in range(16)
        for j in range(16)
        if i == 0 or j == 0 or rng.random() < 0.5
    ]
    outline = shapes.centred(m3.CrossSection.batch_boolean(cells, m3.OpType.Add))
    (code,) = found_on(shapes.on_slab(outline, 0.5)).codes
    assert code.filled.shape == (16, 16)
    assert code.square == pytest.approx(wide, rel=0.01)
    assert all(shape.height == pytest.approx(0.5, abs=2e-3) for shape in code.shapes)


def test_which_squares_are_filled_is_known_up_to_turns() -> None:
    rng = np.random.default_rng(7)
    filled = rng.random((12, 12)) < 0.5
    filled[0], filled[:, 0] = True, True
    (code,) = found_on(coded(12, 1.0, 0.5, 7)).codes
    turned = [np.rot90(m, k) for m in (filled, filled.T) for k in range(4)]
    assert any((code.filled == one).all() for one in turned)


@pytest.mark.parametrize("side", [1.0, -1.0])
@pytest.mark.cases(1)
def test_text_below_a_code_is_lettering_still(side: float) -> None:
    outline = shapes.squares(21, 1.0, np.random.default_rng(0))
    text = shapes.centred(shapes.font_text("LOT 47", 5.0)).translate((10, -5.5))
    found = found_on(shapes.on_slab(shapes.centred(outline + text), side * 0.5))
    assert [code.filled.shape for code in found.codes] == [(21, 21)]
    (line,) = found.inscriptions
    assert line.characters == 5


LETTERS = {
    "L": "10000 10000 10000 10000 10000 10000 11111",
    "O": "01110 10001 10001 10001 10001 10001 01110",
    "T": "11111 00100 00100 00100 00100 00100 00100",
    "4": "00010 00110 01010 10010 11111 00010 00010",
    "E": "11111 10000 10000 11110 10000 10000 11111",
}


def test_letters_made_of_squares_are_lettering() -> None:
    cells = [
        shapes.Outline.square((1.01, 1.01)).translate((6 * k + x, -y))
        for k, letter in enumerate("LOT4E")
        for y, row in enumerate(LETTERS[letter].split())
        for x, bit in enumerate(row)
        if bit == "1"
    ]
    outline = shapes.centred(m3.CrossSection.batch_boolean(cells, m3.OpType.Add))
    found = found_on(shapes.on_slab(outline, 0.5))
    assert not found.codes
    assert len(found.inscriptions) == 1


def chequered(count: int, side: float) -> m3.Manifold:
    tile = sound._box(side * 1.001, side * 1.001, 1.5, (0, 0, 2))
    tiles = [
        tile.translate(((i - count / 2) * side, (j - count / 2) * side, 0))
        for i in range(count)
        for j in range(count)
        if (i + j) % 2
    ]
    return sound.plate() + sound._sum(tiles)


@pytest.mark.parametrize(
    "body",
    [
        machined.square_grid(9, 2, 0.6),
        machined.square_grid(12, 1.5, -0.6),
        machined.square_grid(15, 1.2, 0.4),
        chequered(14, 2.0),
        sound.crossed_ribs(),
        machined.grille(9),
        machined.diamond_knob(24),
        sound.cross_knurled(20),
        sound.pin_fins(7),
    ],
    ids=["9x9", "12x12", "15x15", "chequer", "ribs", "grille", "diamonds", "knurl", "pins"],
)
@pytest.mark.cases(1)
def test_what_repeats_is_no_code(body: m3.Manifold) -> None:
    found = found_on(shapes.ReliefCase("", *arrays(body), height=0.0))
    assert not found.codes
    assert not found.inscriptions


def test_an_even_grid_with_some_squares_left_out_is_a_code() -> None:
    """Where the border lies: 225 equal places, half of them empty at random, repeat no more."""
    rng = np.random.default_rng(3)
    tile = sound._box(1.0, 1.0, 1.5, (0, 0, 2))
    tiles = [
        tile.translate((i - 7.0, j - 7.0, 0))
        for i in range(15)
        for j in range(15)
        if i in (0, 14) or j in (0, 14) or rng.random() < 0.5
    ]
    found = found_on(shapes.ReliefCase("", *arrays(sound.plate() + sound._sum(tiles)), height=0.75))
    (code,) = found.codes
    assert code.filled.shape == (15, 15)
