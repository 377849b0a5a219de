"""What stands beside lettering like a character of it, and was not told."""

from __future__ import annotations

import manifold3d as m3
import numpy as np
import pytest
import shapes_relief as shapes
from shapes_relief import ReliefCase

from lint3d.geometry.relief_untold import untold_beside
from lint3d.geometry.reliefs import Found, find_reliefs
from lint3d.geometry.topology import edge_table


def found_on(case: ReliefCase) -> Found:
    step = 2.0**-23 * float(np.abs(case.vertices).max())
    table = edge_table(case.faces, len(case.vertices))
    return find_reliefs(case.vertices, case.faces, table, step)


@pytest.mark.parametrize("height", [0.6, -0.6])
@pytest.mark.parametrize("base", ["flat", "cylinder", "sphere"])
@pytest.mark.cases(3)
def test_a_letter_that_was_not_told_is_seen_beside_the_others(base: str, height: float) -> None:
    case = shapes.barred("FAKE", height, 7.0, 0.9, base=base)
    case = shapes.stored(shapes.moved(case, np.random.default_rng(5)))
    found = found_on(case)
    (line,) = found.inscriptions
    assert not found.untold[height > 0]
    assert found.searched is not None
    folds = found.searched.folds
    for missing in line.shapes:
        others = [shape for shape in line.shapes if shape is not missing]
        (middle,) = untold_beside([line], others, folds)
        assert np.linalg.norm(middle - missing.standing.centre) < 3.0
    assert not untold_beside([line], line.shapes, folds)


def test_other_things_as_high_as_letters_are_none() -> None:
    """A rim round the plate, a rib along the line, and pins: flush with the lettering."""
    text = shapes.centred(shapes.bar_text("FAKE", 7.0, 0.9))
    low_x, low_y, high_x, high_y = text.bounds()
    wide, deep = high_x - low_x + 8.0, high_y - low_y + 8.0
    rim = m3.CrossSection.square((wide + 4.0, deep + 4.0), True)
    rim = rim - m3.CrossSection.square((wide, deep), True)
    rib = m3.CrossSection.square((wide, 1.0), True).translate((0.0, low_y - 2.5))
    pin = m3.CrossSection.circle(0.6, 24).translate((high_x + 2.0, 0.0))
    for more, margin in ((rim, 0.0), (rib, 3.0), (rim + rib, 0.0), (pin, 3.0)):
        found = found_on(shapes.on_slab(text + more, 0.6, margin=margin, name="plate"))
        assert [line.characters >= 4 for line in found.inscriptions] == [True]
        assert not found.untold[True]
