"""Plain bosses and holes are known for what they are, and nothing that may be a marking is."""

from __future__ import annotations

import manifold3d as m3
import numpy as np
import pytest
import shapes_relief as shapes
import shapes_sound as sound
from shapes_walls import arrays

from lint3d.geometry.relief_candidates import is_plain, may_have_relief
from lint3d.geometry.topology import edge_table

C = m3.CrossSection


def may(case: shapes.ReliefCase, seed: int = 0) -> bool:
    """In a frame of its own, from a file."""
    case = shapes.stored(shapes.moved(case, np.random.default_rng(seed)))
    step = 2.0**-23 * float(np.abs(case.vertices).max())
    table = edge_table(case.faces, len(case.vertices))
    surface = case.vertices, case.faces, table
    return may_have_relief(*surface) and not is_plain(*surface, step)


def part(body: m3.Manifold) -> shapes.ReliefCase:
    return shapes.ReliefCase("part", *arrays(body), height=0.0)


@pytest.mark.parametrize(
    "body",
    [
        sound.bosses(4, 2.0, 2.0),
        sound.blind(4, 2.0, 1.0),
        sound.counterbored(3),
        sound.countersunk(3),
        sound.ribbed(5, 2.0, 0.8),
        sound.slotted(4, 3.0, 0.8),
        sound.plate() + C.circle(8, 64).offset(1.0).extrude(3).refine_to_length(0.7),
    ],
    ids=["bosses", "blind holes", "counterbores", "countersinks", "ribs", "slots", "cut up"],
)
def test_plain_features_are_no_candidates(body: m3.Manifold) -> None:
    assert not may(part(body))


@pytest.mark.parametrize("height", [0.5, -0.5])
@pytest.mark.parametrize("text", ["L", "O", "C", "D", "8"])
@pytest.mark.parametrize("draft", [0.0, 12.0])
@pytest.mark.cases(10)
def test_no_character_is_plain(text: str, height: float, draft: float) -> None:
    assert may(shapes.lettered(text, height, 6.0, draft_deg=draft))


def test_no_filleted_character_is_plain() -> None:
    assert may(shapes.lettered("O", 0.5, 6.0, fillet=0.2))


@pytest.mark.parametrize("facets", [16, 128])
def test_a_ring_is_a_mark(facets: int) -> None:
    ring = C.circle(4, facets) - C.circle(2, facets)
    for high in (1.0, -1.0):
        tool = ring.extrude(abs(high) + 1).translate((0, 0, 2 - (1 if high > 0 else -high)))
        assert may(part(sound.plate() + tool if high > 0 else sound.plate() - tool))
    drilled = sound.plate() + C.circle(4, facets).extrude(3.0)
    assert may(part(drilled - C.circle(2, facets).extrude(20).translate((0, 0, -10))))


def test_a_boss_with_a_sunk_letter_or_a_kidney_beside_bosses_is_none() -> None:
    pad = sound.plate() + C.circle(8, 64).extrude(3.0)
    letter = shapes.font_text("T", 5.0).extrude(2.0).translate((0, 0, 2.6))
    assert not may(part(pad))
    assert may(part(pad - letter))
    kidney = C.circle(8, 200) - C.circle(4, 200) - C.square((20, 20), True).translate((10, 0))
    assert may(part(sound.bosses(2, 2.0, 2.0) + kidney.extrude(3.0)))


@pytest.mark.parametrize("apart", [0.3, -0.3])
def test_a_code_of_squares_apart_is_a_candidate(apart: float) -> None:
    filled = np.random.default_rng(1).random((9, 9)) < 0.5
    squares = [
        m3.Manifold.cube((1.2, 1.2, 1.0)).translate((1.5 * i - 6, 1.5 * j - 6, 1.4))
        for i, j in np.argwhere(filled).tolist()
    ]
    field = m3.Manifold.batch_boolean(squares, m3.OpType.Add)
    assert may(part(sound.plate() + field if apart > 0 else sound.plate() - field))


def test_braille_is_a_candidate() -> None:
    assert may(shapes.braille("bd"))
