"""Texts of plain bars are told as what may be characters; rows of ribs and slots are not."""

from __future__ import annotations

import manifold3d as m3
import numpy as np
import pytest
import shapes_relief as shapes
import shapes_sound as sound
from shapes_walls import arrays

from lint3d.geometry.reliefs import Found, find_reliefs
from lint3d.geometry.topology import edge_table

C = m3.CrossSection


def found_on(case: shapes.ReliefCase, seed: int) -> Found:
    """As the rules look for it, in a frame of its own, from a file."""
    case = shapes.stored(shapes.moved(case, np.random.default_rng(seed)))
    step = 2.0**-23 * float(np.abs(case.vertices).max())
    table = edge_table(case.faces, len(case.vertices))
    return find_reliefs(case.vertices, case.faces, table, step, plain=False)


#: How many islands each text of DejaVu Sans has.
BARS = {"ill": 4, "i.": 3, "II": 2, "III": 3, "!!": 4, "--": 2, "i": 2, "Il": 2, "=": 2}


@pytest.mark.parametrize("height", [0.3, -0.3])
@pytest.mark.parametrize("text", BARS)
@pytest.mark.cases(14)
def test_bars_near_each_other_may_be_characters(text: str, height: float) -> None:
    found = found_on(shapes.lettered(text, height, 5.0), seed=len(text))
    assert not found.inscriptions
    (group,) = found.bars
    assert len(group) == BARS[text]
    assert all(bar.lower <= 0.3 <= bar.upper for bar in group)


@pytest.mark.parametrize(
    "more",
    [{"base": "cylinder", "radius": 15.0, "facet": 1.5}, {"fillet": 0.1}, {"draft_deg": 8.0}],
    ids=["cylinder", "fillet", "draft"],
)
@pytest.mark.cases(2)
def test_so_they_may_on_other_bases(more: dict) -> None:
    found = found_on(shapes.lettered("ill", 0.4, 6.0, **more), seed=3)
    (group,) = found.bars
    assert len(group) == 4


@pytest.mark.parametrize(
    "outline",
    [
        shapes.font_text("I", 5.0),
        shapes.font_text("IIIIII", 5.0),
        C.square((2, 30)) + C.square((2, 30)).translate((8, 0)),
        C.square((1, 5)) + C.square((1, 5)).translate((9, 0)),
        C.square((1, 5)) + C.square((1, 5)).rotate(40.0).translate((4, 0)),
        C.circle(1, 32) + C.circle(1, 32).translate((3, 0)),
    ],
    ids=["alone", "six equal", "slender", "apart", "askew", "discs"],
)
def test_other_bars_and_discs_are_features_of_another_kind(outline: C) -> None:
    found = found_on(shapes.on_slab(shapes.centred(outline), 0.4, margin=4.0, thick=2.0), seed=1)
    assert not found.bars


def test_high_ribs_are_none() -> None:
    ribs = sound.plate() + sound.M.cube((1, 6, 6)) + sound.M.cube((1, 6, 6)).translate((3, 0, 0))
    assert not found_on(shapes.ReliefCase("ribs", *arrays(ribs), height=0.0), seed=2).bars
