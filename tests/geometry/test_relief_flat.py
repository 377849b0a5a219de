"""Flat caps on bases that bend: widths as drawn, heights where they are lowest, by Pythagoras."""

from __future__ import annotations

import numpy as np
import pytest
import shapes_relief as shapes
from shapes_relief import ReliefCase

from lint3d.geometry.relief_flat import FlatLimits, flat_cap
from lint3d.geometry.relief_lines import Inscription
from lint3d.geometry.reliefs import find_reliefs
from lint3d.geometry.topology import edge_table


def line_on(case: ReliefCase) -> Inscription:
    case = shapes.stored(shapes.moved(case, np.random.default_rng(8)))
    step = 2.0**-23 * float(np.abs(case.vertices).max())
    table = edge_table(case.faces, len(case.vertices))
    (line,) = find_reliefs(case.vertices, case.faces, table, step).inscriptions
    return line


@pytest.mark.parametrize("turn", [0.0, 90.0])
@pytest.mark.parametrize(("height", "radius"), [(1.0, 24.0), (1.0, 60.0), (-1.0, 60.0)])
def test_strokes_and_characters_are_as_drawn(height: float, radius: float, turn: float) -> None:
    """They were up to a third too narrow: outlined at a level that parts of the cap are below."""
    outline = shapes.centred(shapes.bar_text("EHTL", 10.0, 1.2))
    case = shapes.flat_capped(outline, height, radius=radius, sides=256, turn_deg=turn)
    line = line_on(case)
    low, high = line.character_height_interval
    assert low <= 10.0 <= high
    assert high - low < 0.1
    for shape in line.shapes:
        assert shape.strokes.narrowest == pytest.approx(1.2, abs=shape.stroke_uncertainty(1.2))
    # Lines are ordered along the text or against it.
    lowest = np.sort(case.more["lowest"])
    told = np.sort([shape.height for shape in line.shapes])
    assert told == pytest.approx(lowest, abs=case.slack + 0.01)


def lowest_above_facets(
    outline: shapes.Outline, height: float, radius: float, sides: int
) -> np.ndarray:
    """By closed form: where each character is lowest above the planes of a drum's facets, mm."""
    x0, _, x1, _ = outline.bounds()
    far = max(-x0, x1)
    middle = np.pi / sides * (2 * np.arange(sides) + 1)
    facets = np.column_stack([np.cos(middle), np.sin(middle)])
    top = height if height > 0 else height - radius + np.sqrt(radius**2 - far**2)
    lowest = []
    for one in outline.decompose():
        x = np.linspace(*one.bounds()[::2], 2001)
        level = np.column_stack([x, np.full(len(x), top + radius)]) @ facets.T
        level = level.max(axis=1) - radius * np.cos(np.pi / sides)
        lowest.append(abs(level).min())
    return np.sort(lowest)


@pytest.mark.parametrize(
    ("text", "sides", "radius", "height", "turn"),
    [
        ("HELLO", 48, 88.0, -0.8, 0.0),  # 0.533 was told for 0.749
        ("EHTL", 64, 60.0, -0.8, 90.0),  # 0.851 for 0.762
        ("EHTL", 64, 30.0, -0.5, 90.0),
        ("EHTL", 48, 60.0, 0.8, 90.0),  # over a crown between two facets
        ("EHTL", 64, 60.0, 0.8, 0.0),
    ],
)
def test_flat_caps_are_as_high_as_the_facets_below_say(
    text: str, sides: int, radius: float, height: float, turn: float
) -> None:
    outline = shapes.centred(shapes.bar_text(text, 10.0, 1.1))
    case = shapes.flat_capped(outline, height, radius=radius, sides=sides, turn_deg=turn)
    told = sorted((one.height, one.lower, one.upper) for one in line_on(case).shapes)
    lowest = lowest_above_facets(outline.rotate(turn), height, radius, sides)
    assert [value for value, _, _ in told] == pytest.approx(lowest, abs=0.002)
    for (_, lower, upper), drawn in zip(told, lowest, strict=True):
        assert lower <= drawn <= upper


@pytest.mark.parametrize(("text", "sides", "radius"), [("HULA", 64, 105.0), ("HULA", 48, 70.0)])
def test_facets_that_dip_below_their_drum_are_no_part_of_a_mark(
    text: str, sides: int, radius: float
) -> None:
    """The facets round the last letter lie as deep as marks begin: a groove of 0.08 was told."""
    outline = shapes.centred(shapes.font_text(text, 10.0))
    line = line_on(shapes.flat_capped(outline, -0.8, radius=radius, sides=sides))
    plate = line_on(shapes.on_slab(outline, -0.8))
    told, drawn = (min(one.strokes.narrowest for one in it.shapes) for it in (line, plate))
    assert told == pytest.approx(drawn, rel=0.01)


def test_closed_spaces_are_as_drawn() -> None:
    outline = shapes.centred(shapes.font_text("AO8R", 10.0))
    drum = shapes.flat_capped(outline, 1.0, radius=24.0, sides=256)
    plate = shapes.on_slab(outline, 1.0)
    told, drawn = (
        np.sort(np.concatenate([shape.counters for shape in line_on(one).shapes]))
        for one in (drum, plate)
    )
    assert told == pytest.approx(drawn, rel=0.005)


def test_a_cap_that_follows_its_base_is_not_flat() -> None:
    """Patches of a drum of 30 mm and of a plane 1 mm above one of 20 mm, by hand."""
    rng = np.random.default_rng(3)
    corner = rng.uniform(-4, 4, (400, 1, 3)) + rng.uniform(-0.3, 0.3, (400, 3, 3))
    limits = FlatLimits(np.zeros(3), 20.0, 0.0, 1e-4)
    leaning, area = np.ones(400, bool), np.full(400, 0.1)

    def above(points: np.ndarray) -> np.ndarray:
        return np.hypot(points[:, 0], points[:, 2] + 20.0) - 20.0

    round_cap = corner.copy()
    round_cap[:, :, 2] = np.sqrt(21.0**2 - corner[:, :, 0] ** 2) - 20.0
    normal = np.array([0.0, 0, 1]) + round_cap.mean(axis=1) * (1 / 21.0, 0, 0)
    normal /= np.linalg.norm(normal, axis=1)[:, None]
    assert flat_cap((round_cap, normal, area), above, leaning, limits) is None
    even = corner.copy()
    even[:, :, 2] = 1.0
    normal = np.tile((0.0, 0, 1), (400, 1))
    told = flat_cap((even, normal, area), above, leaning, limits)
    assert told is not None
    assert len(told.faces) == 400
    assert told.lowest == pytest.approx(1.0, abs=1e-4)
    # Half a cap hangs over a drum: where that is highest lies between corners.
    long = np.array([[[-9.0, 0, 1], [9.0, -4, 1], [9.0, 4, 1]]])
    told = flat_cap((long, normal[:1], np.array([72.0])), above, leaning[:1], limits)
    assert told is not None
    assert told.lowest == pytest.approx(1.0, abs=1e-4)
    assert told.highest == pytest.approx(np.hypot(9.0, 21.0) - 20.0)


def test_a_flat_base_has_no_flat_caps() -> None:
    outline = shapes.centred(shapes.bar_text("EHTL", 10.0, 1.2))
    line = line_on(shapes.on_slab(outline, 0.5))
    assert all(shape.measured.flat is None for shape in line.shapes)
