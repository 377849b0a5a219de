"""Reliefs: lettering of known height on every base, what is no lettering, and dirty surfaces."""

from __future__ import annotations

from dataclasses import replace

import manifold3d as m3
import numpy as np
import pytest
import shapes_relief as shapes
from shapes_relief import ReliefCase
from shapes_walls import arrays

from lint3d.geometry.reliefs import Found, find_reliefs
from lint3d.geometry.topology import edge_table

#: Of a flat or cylindrical base: 2 % of the height or 0.01 mm.
MOST_UNCERTAIN_MM = 0.01


def found_on(vertices: np.ndarray, faces: np.ndarray) -> Found:
    step = 2.0**-23 * float(np.abs(vertices).max())
    return find_reliefs(vertices, faces, edge_table(faces, len(vertices)), step)


def check(case: ReliefCase, within: float = 1e-3, uncertain: float = MOST_UNCERTAIN_MM) -> Found:
    """All islands of a case are characters, of the right sense, with the height in the interval."""
    found = found_on(case.vertices, case.faces)
    islands = [shape for one in found.inscriptions for shape in one.shapes]
    assert len(islands) == case.islands, case.name
    height = abs(case.height)
    for shape in islands:
        assert shape.raised == (case.height > 0)
        assert shape.lower - case.slack <= height <= shape.upper + case.slack
        assert shape.height == pytest.approx(height, abs=within + case.slack)
        assert (shape.upper - shape.lower) / 2 <= max(uncertain, 0.02 * height) + case.slack
    return found


@pytest.mark.parametrize("height", [0.8, -0.5])
@pytest.mark.parametrize("base", ["flat", "cylinder", "sphere", "saddle"])
@pytest.mark.cases(1)
def test_lettering_on_every_base_in_any_frame(base: str, height: float) -> None:
    rng = np.random.default_rng(len(base))
    case = shapes.stored(shapes.moved(shapes.lettered("Kai 8%", height, 6.0, base=base), rng))
    found = check(case)
    (line,) = found.inscriptions
    assert line.characters == case.characters
    assert not found.marks


@pytest.mark.parametrize("height", [0.8, -0.8])
def test_a_round_letter_on_a_hollow_base_is_told(height: float) -> None:
    """What the O stands round is not on a level with its foot."""
    radius = -43.0 if height > 0 else 43.0
    case = shapes.lettered("LOT 42", height, 12.0, base="sphere", radius=radius, facet=3.6)
    (line,) = check(case).inscriptions
    assert line.characters == 5


@pytest.mark.parametrize("base", ["flat", "cylinder"])
def test_strokes_and_height_of_characters(base: str) -> None:
    case = shapes.barred("FAKE", 0.6, 12.0, 1.3, base=base)
    (line,) = check(case).inscriptions
    for shape in line.shapes:
        assert shape.strokes.usual == pytest.approx(1.3, rel=0.01)
        assert shape.strokes.narrowest == pytest.approx(1.3, rel=0.03)
    # The feet of an A and a K reach below the line by what a square end of a bar adds.
    assert line.character_height == pytest.approx(12.0, rel=0.03)


@pytest.mark.parametrize("text", ["TIDE", "LEFT"])
def test_flat_capitals_are_as_tall_as_they_are_drawn(text: str) -> None:
    rng = np.random.default_rng(0)
    case = shapes.moved(shapes.lettered(text, 0.8, 20.0), rng)
    (line,) = check(case).inscriptions
    low, high = line.character_height_interval
    assert low <= 20.0 <= high
    assert high - low < 0.01


@pytest.mark.parametrize(
    ("text", "font"),
    [(text, font) for text in ("Kij 8", "HÉ7", "QT2", "Rijo") for font in ("Sans", "Serif")]
    + [("ÄLE", "Sans"), ("IjH", "Serif")],
)
@pytest.mark.cases(5)
def test_a_line_is_as_tall_as_its_capitals_and_figures(text: str, font: str) -> None:
    """As 2010 ADA Standards 703.2.5 has it, by the I: no hook of a j or accent makes it taller."""
    (line,) = check(shapes.lettered(text, 0.8, 8.0, font=f"DejaVu {font}")).inscriptions
    # Round figures and ascenders reach 2 to 6 % beyond a flat capital in these fonts.
    assert 8.0 - 1e-3 <= line.character_height <= 1.065 * 8.0


def test_a_slash_that_reaches_beyond_all_characters_makes_a_line_no_taller() -> None:
    """In this font it is 1.47 times as tall as a capital."""
    (line,) = check(shapes.lettered("HK/4", 0.8, 8.0, font="cmr10")).inscriptions
    assert line.character_height == pytest.approx(8.0, rel=0.02)


def test_letters_that_are_convex_outside_are_lettering() -> None:
    """B, 8 and 0 fill their hulls; what tells them from bosses are their closed spaces."""
    (line,) = check(shapes.lettered("B80", 0.6, 10.0)).inscriptions
    assert line.characters == 3


@pytest.mark.parametrize("text", ["M8", "OK", "10", "B2", "R8"])
def test_two_characters_are_lettering_though_one_is_convex_outside(text: str) -> None:
    (line,) = check(shapes.lettered(text, 0.6, 10.0)).inscriptions
    assert line.characters == 2


@pytest.mark.parametrize("text", ["kg", "pH", "No", "4g", "L1", "Qy", "A+", "dB"])
def test_two_characters_need_not_be_as_tall_as_each_other(text: str) -> None:
    (line,) = check(shapes.lettered(text, 0.6, 10.0)).inscriptions
    assert line.characters == 2


@pytest.mark.parametrize(
    "lines", [("TIDE", "Haven"), ("max 12", "bar", "AC 4"), ("of", "gauge 1", "no")]
)
@pytest.mark.parametrize("pitch", [1.5, 1.9])
@pytest.mark.cases(3)
def test_a_block_of_short_lines_is_read_along_them(lines: tuple[str, ...], pitch: float) -> None:
    """Neither across them nor round a circle that goes through all of them."""
    size = 7.0
    rows = [
        shapes.font_text(text, size).translate((0, -k * pitch * size))
        for k, text in enumerate(lines)
    ]
    block = shapes.centred(shapes.Outline.batch_boolean(rows, m3.OpType.Add))
    case = shapes.moved(shapes.on_slab(block, 0.6), np.random.default_rng(len(lines)))
    found = found_on(case.vertices, case.faces)
    counts = sorted(line.characters for line in found.inscriptions)
    assert counts == sorted(len(text.replace(" ", "")) for text in lines)
    assert all(line.character_height < 1.4 * size for line in found.inscriptions)


def test_two_equal_lines_of_letters_with_one_middle_are_no_ring() -> None:
    """The middles of eight such letters lie on a circle; nothing was told, and all passed."""
    rows = [shapes.bar_text("HOZN", 10.0, 1.5).translate((0, 20.0 * k)) for k in range(2)]
    block = shapes.centred(shapes.Outline.batch_boolean(rows, m3.OpType.Add))
    case = shapes.moved(shapes.on_slab(block, 0.6), np.random.default_rng(4))
    found = found_on(case.vertices, case.faces)
    assert [line.characters for line in found.inscriptions] == [4, 4]


@pytest.mark.parametrize("share", [0.8, 0.4, 0.2, 1.5])
@pytest.mark.parametrize("place", [0, 2, 4])
@pytest.mark.cases(4)
def test_a_character_lower_or_higher_than_its_line_belongs_to_it(share: float, place: int) -> None:
    """It is the worst glyph that counts."""
    glyphs, x = [], 0.0
    for k, letter in enumerate("TIDE4"):
        glyph = shapes.font_text(letter, 8.0)
        left, _, right, _ = glyph.bounds()
        high = 0.8 * (share if k == place else 1.0)
        glyphs.append(glyph.translate((x - left, 0)).extrude(high + 1).translate((-14, -4, -1)))
        x += right - left + 1.4
    (line,) = found_on(*_plate_with(*glyphs)).inscriptions
    assert line.characters == 5
    extreme = min if share < 1 else max
    assert extreme(s.height for s in line.shapes) == pytest.approx(0.8 * share, abs=1e-4)


@pytest.mark.parametrize("sides", [6, 7])
def test_one_letter_on_the_next_side_of_a_bar_belongs_to_its_word(sides: int) -> None:
    apothem = 26.0
    half = apothem * np.tan(np.pi / sides)
    bar = m3.Manifold.cylinder(
        60.0, apothem / np.cos(np.pi / sides), circular_segments=sides, center=True
    ).rotate((0, 0, 180 / sides))
    letters = []
    for k, (letter, height) in enumerate(zip("EHT4", (0.8, 0.8, 0.8, 0.5), strict=True)):
        glyph = shapes.centred(shapes.font_text(letter, 7.0)).extrude(height + 1)
        # Down a side of the bar; the last one stands on the next.
        across = half - 3.5 - 7.0 * (2 - k) if k < 3 else 3.5 - half
        glyph = glyph.translate((across, 0, apothem - 1)).rotate((90, 0, 90))
        letters.append(glyph.rotate((0, 0, 360 / sides if k == 3 else 0)))
    solid = bar + m3.Manifold.batch_boolean(letters, m3.OpType.Add)
    (line,) = found_on(*arrays(solid)).inscriptions
    assert line.characters == 4
    assert min(shape.height for shape in line.shapes) == pytest.approx(0.5, abs=1e-4)


def test_long_thin_ridges_end_to_end_are_no_lettering() -> None:
    """Folds of a coarse bowl were told as characters 0.5 mm tall."""
    ridges, x = [], -18.0
    for long in (12.0, 9.0, 14.0):
        kink = [(x, -0.1), (x + long / 2, 0.05), (x + long, -0.1)]
        outline = np.array([*kink, *((a, b + 0.12) for a, b in reversed(kink))])
        ridges.append(m3.CrossSection([outline]).extrude(0.1))
        x += long + 1.0
    assert not found_on(*_plate_with(*ridges)).inscriptions


def test_a_pad_beside_a_line_is_none_of_it() -> None:
    word = shapes.centred(shapes.font_text("TIDE", 8.0)).extrude(1.8).translate((0, 0, -1))
    pad = m3.Manifold.cube((7, 7, 0.4)).translate((14, -3.5, 0))
    (line,) = found_on(*_plate_with(word, pad)).inscriptions
    assert line.characters == 4


def test_a_blind_hole_above_a_word_is_no_accent_of_it() -> None:
    """It was the lowest character of the word, which was told twice as tall."""
    word = shapes.centred(shapes.font_text("OUT", 10.0))
    _, _, end, head = word.bounds()
    hole = m3.CrossSection.circle(0.9, 24).translate((end - 3.0, 1.8 * head + 6.0))
    case = shapes.on_slab(word + hole, -1.0, characters=3, name="a word and a hole")
    found = check(replace(case, islands=3))
    assert found.inscriptions[0].character_height == pytest.approx(10.1, abs=0.2)


def test_a_slot_beside_a_word_is_no_character_of_it() -> None:
    """It was taken for one that is deeper than the rest, and turned the way of the line."""
    word = shapes.centred(shapes.font_text("LID", 8.0, "DejaVu Serif"))
    slab = m3.Manifold.cube((60.0, 50.0, 5.0), True).translate((0, 0, -2.5))
    slot = m3.Manifold.cube((7.1, 0.9, 3.6), True).rotate((0, 0, 90)).translate((-8.3, 13.7, 0))
    vertices, faces = arrays(slab - shapes.standing(word, 1.0, 0.64) - slot)
    (line,) = found_on(vertices, faces).inscriptions
    assert line.characters == 3


def test_rings_in_each_other_are_no_lettering() -> None:
    rings = [
        m3.Manifold.cylinder(1.0, r + 1, circular_segments=64)
        - m3.Manifold.cylinder(3.0, r, circular_segments=64).translate((0, 0, -1))
        - m3.Manifold.cube((2, 20, 3)).rotate((0, 0, 70.0 * r)).translate((0, 0, -0.5))
        for r in (5.0, 8.0, 11.0)
    ]
    assert not found_on(*_plate_with(*rings)).inscriptions


def test_a_ring_beside_a_clamp_is_no_lettering() -> None:
    """Their walls are not alike, as strokes of one font are."""
    ring = m3.Manifold.cylinder(1.5, 4, circular_segments=48) - m3.Manifold.cylinder(4, 3.2)
    clamp = m3.Manifold.cube((8, 2.4, 1.5)) + m3.Manifold.cube((2.4, 8, 1.5))
    found = found_on(*_plate_with(ring.translate((-5, 0, 0)), clamp.translate((1, -4, 0))))
    assert not found.inscriptions


def _bored_pad(length: float, width: float, bore: float) -> m3.CrossSection:
    holes = [
        m3.CrossSection.circle(bore, 32).translate((side * 0.28 * length, 0)) for side in (-1, 1)
    ]
    return m3.CrossSection.square((length, width), True) - holes[0] - holes[1]


def _crossed(length: float) -> m3.CrossSection:
    bars = m3.CrossSection.square((length, 1.5), True) + m3.CrossSection.square((1.5, length), True)
    return bars + m3.CrossSection.circle(0.3 * length, 32) - m3.CrossSection.circle(0.12 * length)


@pytest.mark.parametrize("rise", [0.6, 1.5, -0.6])
@pytest.mark.parametrize(
    ("left", "right", "gap"),
    [
        (_bored_pad(14, 7, 1.6), m3.CrossSection.circle(4, 48) - m3.CrossSection.circle(1.7), 8.0),
        (_bored_pad(14, 7, 1.6), _bored_pad(18, 8, 2.0), 2.0),
        (_crossed(12), _crossed(10), 6.0),
        (_crossed(12), m3.CrossSection.circle(4, 48) - m3.CrossSection.circle(1.7), 3.0),
    ],
    ids=["bored pad and ring", "bored pads", "gussets", "cross and ring"],
)
@pytest.mark.cases(7)
def test_two_features_apart_or_on_one_middle_line_are_no_lettering(
    left: m3.CrossSection, right: m3.CrossSection, gap: float, rise: float
) -> None:
    """Letters stand close to each other, and on a line or under one."""
    both = left.translate((-left.bounds()[2] - gap / 2, 0))
    both += right.translate((-right.bounds()[0] + gap / 2, 0))
    plate = m3.Manifold.cube((60, 40, 4)).translate((-30, -20, -4))
    tool = both.extrude(abs(rise) + 1).translate((0, 0, -1 if rise > 0 else rise))
    assert not found_on(*arrays(plate + tool if rise > 0 else plate - tool)).inscriptions


def test_a_fillet_at_the_foot_and_draft_leave_the_height_alone() -> None:
    for more in ({"fillet": 0.15}, {"draft_deg": 6.0}):
        check(shapes.lettered("LIT", 0.8, 8.0, **more))


@pytest.mark.parametrize("text", ["NEZT", "HFN", "HEN"])
@pytest.mark.parametrize("base", ["flat", "cylinder"])
@pytest.mark.cases(1)
def test_letters_with_leaning_walls_and_a_round_foot_are_told(text: str, base: str) -> None:
    """Few limits find their feet, but these turn one way all round."""
    more = {"draft_deg": 20.0, "fillet": 0.36, "base": base, "radius": 40.0}
    check(shapes.barred(text, -1.2, 16.0, 1.9, **more), within=0.01, uncertain=0.03)


def test_a_remesh_with_noise_leaves_lettering_recognisable() -> None:
    rng = np.random.default_rng(2)
    case = shapes.remeshed(shapes.lettered("TIDE 3", 0.8, 8.0), 0.5, 0.0007, rng)
    check(case, within=0.005)


def test_dots_and_parts_of_one_character_are_one() -> None:
    (line,) = check(shapes.lettered("Pi: 3.14 é ÷%", 0.3, 5.0)).inscriptions
    assert line.characters == 10


def test_a_word_over_an_edge_holds_the_height_in_its_interval() -> None:
    case = shapes.across_edge("TIDE", 0.8, 8.0)
    found = found_on(case.vertices, case.faces)
    for shape in (shape for one in found.inscriptions for shape in one.shapes):
        assert shape.lower <= 0.8 <= shape.upper


def test_braille_is_measured_by_dots() -> None:
    case = shapes.moved(shapes.braille("tide"), np.random.default_rng(6))
    found = found_on(case.vertices, case.faces)
    (dots,) = found.dots
    assert not found.inscriptions
    assert len(dots.shapes) == case.more["dots"]
    for shape in dots.shapes:
        assert shape.lower <= 0.75 <= shape.upper
    low, high = dots.diameter[:, 1], dots.diameter[:, 2]
    assert (low <= 1.55).all()
    assert (high >= 1.55 - case.slack).all()
    assert np.nanmin(dots.spacing) == pytest.approx(2.4, abs=0.005)
    assert np.nanmax(dots.spacing) == pytest.approx(2.4, abs=0.005)


@pytest.mark.parametrize(("radius", "chord"), [(25.0, 0.6), (25.0, 2.4), (40.0, 1.2), (80.0, 2.4)])
@pytest.mark.parametrize("seed", [0, 1])
@pytest.mark.cases(1)
def test_dots_on_a_drum_of_chords_are_all_as_high(radius: float, chord: float, seed: int) -> None:
    """A ring of chords round a dot does not hold a polynomial of high degree in its middle."""
    rng = np.random.default_rng(seed)
    case = shapes.stored(shapes.moved(shapes.braille_on_drum("tide", radius, chord, rng), rng))
    (dots,) = found_on(case.vertices, case.faces).dots
    assert len(dots.shapes) == case.islands
    for shape in dots.shapes:
        assert shape.lower - case.slack <= 0.65 <= shape.upper + case.slack
        assert shape.height == pytest.approx(0.65, abs=0.03)


@pytest.mark.parametrize(("count", "pitch"), [((6, 4), 2.4), ((4, 1), 4.0)])
def test_pins_in_a_field_or_far_apart_are_no_braille(count: tuple[int, int], pitch: float) -> None:
    """A grip, or locating pins, of the size of dots."""
    pin = m3.Manifold.cylinder(1.7, 0.78, 0.78, 24).translate((0, 0, -1.0))
    pins = [
        pin.translate((pitch * x - 6.0, pitch * y - 4.0, 0))
        for x in range(count[0])
        for y in range(count[1])
    ]
    found = found_on(*_plate_with(*pins))
    assert not found.dots
    assert len(found.others) == len(pins)


def test_a_lone_arrow_is_a_mark() -> None:
    case = shapes.on_slab(shapes.centred(shapes.arrow(10.0, 2.0)), 0.5)
    found = found_on(case.vertices, case.faces)
    assert not found.inscriptions
    (mark,) = found.marks
    assert mark.height == pytest.approx(0.5, abs=1e-6)


def _plate_with(*bodies: m3.Manifold) -> tuple[np.ndarray, np.ndarray]:
    plate = m3.Manifold.cube((60, 40, 4)).translate((-30, -20, -4))
    return arrays(plate + m3.Manifold.batch_boolean(list(bodies), m3.OpType.Add))


def _row(body: m3.Manifold, count: int, step: float) -> list[m3.Manifold]:
    return [body.translate((step * (i - (count - 1) / 2), 0, -0.1)) for i in range(count)]


@pytest.mark.parametrize(
    "bodies",
    [
        _row(m3.Manifold.cylinder(1.1, 2.0, circular_segments=48), 5, 6.0),
        _row(m3.Manifold.cube((1.0, 12.0, 1.1), True).translate((0, 0, 0.5)), 8, 3.0),
        _row(m3.Manifold.cube((2.0, 2.0, 0.6), True).translate((0, 0, 0.3)), 9, 4.0),
        _row(
            m3.Manifold.cylinder(5, 3.0, circular_segments=48)
            - m3.Manifold.cylinder(6, 1.5, circular_segments=48).translate((0, 0, -0.5)),
            4,
            9.0,
        ),
        _row(m3.Manifold.cylinder(1.0, 0.8, 0.01, 4), 12, 1.7),
    ],
    ids=["bosses", "ribs", "pads", "bushes", "knurl"],
)
def test_features_of_another_kind_are_no_lettering(bodies: list[m3.Manifold]) -> None:
    found = found_on(*_plate_with(*bodies))
    assert not found.inscriptions
    assert not found.dots


def test_a_plain_body_is_left_at_once() -> None:
    body = m3.Manifold.sphere(20, 128)
    found = found_on(*arrays(body))
    assert found.searched is None
    assert [*found.inscriptions, *found.marks, *found.others] == []


def test_a_rough_surface_is_told_to_be_too_rough() -> None:
    rng = np.random.default_rng(0)
    vertices, faces = arrays(m3.Manifold.sphere(20, 128))
    found = found_on(vertices + rng.normal(0, 0.3, vertices.shape), faces)
    assert "too rough" in found.trouble


def test_an_open_surface_is_searched_as_it_is() -> None:
    case = shapes.lettered("TIDE", 0.8, 8.0)
    corners = case.vertices[case.faces]
    below = corners[:, :, 2].max(axis=1) < -3.9
    found = found_on(case.vertices, case.faces[~below])
    (line,) = found.inscriptions
    assert len(line.shapes) == case.islands


@pytest.mark.parametrize("height", [0.8, -0.8])
def test_the_dot_of_a_zero_counts(height: float) -> None:
    case = shapes.lettered("7024", height, 10.0, font="DejaVu Sans Mono")
    table = edge_table(case.faces, len(case.vertices))
    (line,) = find_reliefs(case.vertices, case.faces, table, 1e-6).inscriptions
    assert line.characters == 4
    assert len(line.shapes) == case.islands == 5
    (zero,) = (c for c in range(4) if (line.character == c).sum() == 2)
    assert zero in (1, 2)  # reading order, or against it


@pytest.mark.further
def test_facets_of_a_rounding_in_a_counter_are_no_character() -> None:
    """They were the lowest of the word, by 0.034 mm for 1."""
    rounded = {"draft_deg": 8.0, "fillet": 0.25, "head": 0.1}
    case = shapes.barred("AL", 1.0, 10.0, 1.0, **rounded)
    check(shapes.stored(shapes.moved(case, np.random.default_rng(0))))


@pytest.mark.further
def test_the_floor_of_a_counter_is_no_dot_in_it() -> None:
    """It was told 1.84 mm high beside letters of 2.237 mm: near enough to be one of them."""
    rounded = {"fillet": 0.349, "head": 0.125}
    place = {"base": "cylinder", "radius": 118.76, "facet": 17.4, "margin": 20.0, "thick": 13.0}
    case = shapes.lettered("TD", 2.2367, 26.0, **place, **rounded)
    check(shapes.stored(shapes.moved(case, np.random.default_rng(1))))


@pytest.mark.parametrize("text", ["1000", "0001", "2002", "1110", "88881", "ELEE"])
@pytest.mark.parametrize("base", ["flat", "cylinder"])
@pytest.mark.cases(1)
def test_a_number_of_few_different_figures_is_one_inscription(text: str, base: str) -> None:
    case = shapes.lettered(text, 0.5, 7.0, base=base)
    (line,) = check(case).inscriptions
    assert line.characters == len(text)


@pytest.mark.parametrize(
    ("text", "font"),
    [
        ("1 000", "DejaVu Sans"),
        ("1 000", "DejaVu Sans Mono"),
        ("TTTL", "DejaVu Serif"),
        ("1112", "DejaVu Serif"),
        ("Rev. 9.9", "DejaVu Sans Mono"),
    ],
)
@pytest.mark.cases(2)
def test_few_figures_with_a_space_or_serifs_are_one_inscription(text: str, font: str) -> None:
    """One gap of a line may be a space; letters with serifs have thick strokes and thin ones."""
    (line,) = check(shapes.lettered(text, 0.5, 7.0, font=font)).inscriptions
    assert line.characters == len(text.replace(" ", ""))


def test_two_ribs_or_hooks_set_out_on_no_line_are_no_word() -> None:
    """An L and a T on lines that no font has; two hooks far apart with a boss between."""
    square, disc = m3.CrossSection.square, m3.CrossSection.circle(2.0, 48)
    ell = square((12.0, 1.5), True) + square((1.5, 12.0), True).translate((-5.25, 5.25))
    tee = square((12.0, 1.5), True) + square((1.5, 9.0), True).translate((0.0, -4.0))
    hook = square((8.0, 3.0), True) + square((3.0, 8.0), True).translate((2.5, 3.0))
    other = square((8.0, 3.0), True) + square((3.0, 6.0), True).translate((-2.5, 2.0))
    for outline in (
        ell.translate((-9.0, 0.0)) + tee.translate((8.0, 4.0)),
        hook.translate((-8.0, 0.0)) + other.translate((8.0, 0.0)) + disc,
    ):
        case = shapes.on_slab(outline, 0.6, name="ribs and hooks")
        assert not found_on(case.vertices, case.faces).inscriptions


@pytest.mark.parametrize(
    ("text", "font"),
    [
        *((text, "DejaVu Sans") for text in ("Kg", "Lp", "2x", "A)", "Qu", "gT")),
        ("0E", "DejaVu Serif"),
    ],
)
def test_two_letters_of_a_font_are_a_word(text: str, font: str) -> None:
    (line,) = check(shapes.lettered(text, 0.5, 7.0, font=font)).inscriptions
    assert line.characters == 2


def test_equal_pads_and_an_odd_one_in_a_row_are_no_number() -> None:
    """Their feet and heads are not in line, they stand far apart, or they are plain."""
    ring = m3.CrossSection.circle(3.0, 48) - m3.CrossSection.circle(1.8, 48)
    square = m3.CrossSection.square((6.0, 6.0), True)
    slot = m3.CrossSection.square((2.0, 6.0), True)
    key = slot + m3.CrossSection.square((4.0, 2.0), True).translate((1.0, 2.0))
    for pads, pitch in [
        ((ring, ring, ring, key), 12.0),
        ((square, square, square, key), 7.0),
        ((slot, slot, slot, slot, key), 4.0),
        ((ring, ring, ring, key.translate((0.0, 1.0))), 7.0),
    ]:
        row = [pad.translate((pitch * k, 0.0)) for k, pad in enumerate(pads)]
        outline = m3.CrossSection.batch_boolean(row, m3.OpType.Add)
        case = shapes.on_slab(outline, 0.6, name="pads in a row")
        assert not found_on(case.vertices, case.faces).inscriptions
