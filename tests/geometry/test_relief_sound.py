"""Sound engineering parts carry no lettering, whatever frame and file they come in.

The named list: `SOUND` in shapes_sound.py and `MACHINED` in shapes_machined.py.
"""

from __future__ import annotations

import numpy as np
import pytest
import shapes_machined as machined
import shapes_relief as shapes
import shapes_sound as sound

from lint3d.geometry.reliefs import Found, find_reliefs
from lint3d.geometry.topology import edge_table

NAMED = {**sound.SOUND, **machined.MACHINED}
#: A ring in a face is what a lone mark looks like: information, no verdict.
RINGS = {"o-ring grooves"}


def found_in_a_file(name: str, seed: int) -> Found:
    part = machined.machined_part if name in machined.MACHINED else sound.sound_part
    case = shapes.ReliefCase(name, *part(name), height=0.0)
    case = shapes.stored(shapes.moved(case, np.random.default_rng(seed)))
    step = 2.0**-23 * float(np.abs(case.vertices).max())
    table = edge_table(case.faces, len(case.vertices))
    return find_reliefs(case.vertices, case.faces, table, step)


def test_the_list_is_long() -> None:
    assert len(NAMED) >= 100


@pytest.mark.parametrize("name", NAMED)
@pytest.mark.cases(3)
def test_it_carries_no_lettering(name: str) -> None:
    found = found_in_a_file(name, len(name))
    assert not found.trouble
    assert not found.inscriptions
    assert not found.dots
    assert not (found.marks or found.bars) or name in RINGS
