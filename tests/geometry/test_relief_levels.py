"""Letters whose feet are rounded wide, on bent bases of few facets, are told by their level."""

from __future__ import annotations

import numpy as np
import pytest
import shapes_relief as shapes

from lint3d.geometry.relief_islands import BY_LEVEL
from lint3d.geometry.relief_levels import islands_by_level
from lint3d.geometry.reliefs import Found, find_reliefs
from lint3d.geometry.topology import edge_table


def found_on(case: shapes.ReliefCase, seed: int = 0) -> Found:
    case = shapes.stored(shapes.moved(case, np.random.default_rng(seed)))
    step = 2.0**-23 * float(np.abs(case.vertices).max())
    table = edge_table(case.faces, len(case.vertices))
    return find_reliefs(case.vertices, case.faces, table, step)


@pytest.mark.parametrize(
    ("text", "base", "height", "fillet", "facet"),
    [("FLNNF", "cylinder", 1.2, 0.72, 3.0), ("HETKF", "sphere", -1.2, 0.96, 1.8)],
    ids=["some feet run out", "all feet run out"],
)
@pytest.mark.further
def test_a_rounded_foot_that_runs_out_loses_no_letter(
    text: str, base: str, height: float, fillet: float, facet: float
) -> None:
    """Walls of 30 degrees draft, and a fillet of more than half the height at the foot."""
    more = {"base": base, "radius": 45.0, "facet": facet, "thick": 5.0}
    case = shapes.barred(text, height, 15.0, 2.1, draft_deg=30.0, fillet=fillet, **more)
    (line,) = found_on(case).inscriptions
    assert line.characters == 5
    for shape in line.shapes:
        assert shape.lower - case.slack <= 1.2 <= shape.upper + case.slack


def test_where_creases_find_all_letters_levels_add_none() -> None:
    found = found_on(shapes.barred("FLN", 0.8, 8.0, 1.0, base="cylinder"))
    (line,) = found.inscriptions
    assert all(BY_LEVEL not in shape.measured.island.cuts for shape in line.shapes)
    assert found.searched is not None
    folds, tolerance = found.searched.folds, found.searched.tolerance_mm
    assert not islands_by_level(line.shapes, folds, tolerance)
    # ... and where one is not told, they find it, with its counter and all.
    assert len(islands_by_level(line.shapes[1:], folds, tolerance)) == 3


def test_a_counter_belongs_to_its_letter_whatever_finds_it() -> None:
    """The dot of a zero, too."""
    case = shapes.lettered("0A", 0.8, 8.0, font="DejaVu Sans Mono", base="cylinder", radius=20.0)
    found = found_on(case)
    (line,) = found.inscriptions
    assert found.searched is not None
    folds, tolerance = found.searched.folds, found.searched.tolerance_mm
    letters = [shape for shape in line.shapes if len(shape.counters)]
    assert len(letters) == 2
    (letter,) = (shape for shape in letters if shape is not letters[0])
    islands = islands_by_level([letter], folds, tolerance)
    for shape in letters:
        faces = set(shape.measured.island.faces.tolist())
        best = max(islands, key=lambda one: len(faces & set(one.faces.tolist())))
        assert len(faces & set(best.faces.tolist())) > 0.95 * max(len(faces), len(best.faces))


def test_noise_that_hides_the_feet_of_letters_hides_no_level() -> None:
    """Letters of 40 mm on a flat face were lost without a word, by noise of 0.02 mm."""
    rng = np.random.default_rng(0)
    case = shapes.remeshed(shapes.barred("TLE", 6.0, 40.0, 5.0, fillet=1.0), 6.0, 0.02, rng)
    table = edge_table(case.faces, len(case.vertices))
    (line,) = find_reliefs(case.vertices, case.faces, table, 1e-5).inscriptions
    assert line.characters == 3
    for shape in line.shapes:
        assert shape.lower - case.slack <= 6.0 <= shape.upper + case.slack
        assert shape.upper - shape.lower < 0.04 * 6.0
