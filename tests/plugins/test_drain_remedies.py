"""Does what a remedy of drain says cure the part?"""

from __future__ import annotations

import doctest
import math
import re
from pathlib import Path

import pytest
import shapes_voids as parts
from manifold3d import Manifold
from parts import write_stl

import lint3d
from lint3d import Result
from lint3d.requirement import Requirement
from lint3d.sheet import Entry, Sheet
from lint3d_plugins import drain_remedies
from lint3d_plugins.drain_remedies import wide_enough

RULES = ["drain/sealed-pocket", "drain/narrow-neck", "drain/no-vent"]
BLOCK = parts.block([26, 26, 26]) - parts.ball(8)
SIDES = 64


def inspected(folder: Path, solid: Manifold, *limits: str) -> dict[str, Result]:
    vertices, faces = parts.mesh(solid, parts.random_frame(1))
    file = write_stl(folder / "a.stl", vertices[faces])
    found = lint3d.inspect([file], only=RULES, limits=limits, workers=0)
    return {result.rule: result for result in found.results}


def hole(width: float, way: tuple[float, float, float]) -> Manifold:
    """A circle of that width, and a hundredth more, passes it."""
    return parts.rod((0, 0, 0), way, 1.01 * width / math.cos(math.pi / SIDES), SIDES)


def sizes(remedy: str) -> list[float]:
    return [float(size) for size in re.findall(r"at least ([\d.]+) mm", remedy)]


@pytest.mark.parametrize("limits", [(), ("drain/narrow-neck=2mm",)])
@pytest.mark.cases(1)
def test_holes_of_the_size_that_is_told_open_a_sealed_pocket(
    tmp_path: Path, limits: tuple[str, ...]
) -> None:
    sealed = inspected(tmp_path, BLOCK, *limits)["drain/sealed-pocket"]
    assert sealed.kind == "fail"
    (wide,) = sizes(sealed.remedy)
    assert wide == (2.0 if limits else 1.5)
    opened = BLOCK - hole(wide, (20, 0, 0)) - hole(wide, (-20, 0, 0))
    assert {result.kind for result in inspected(tmp_path, opened, *limits).values()} == {"pass"}


@pytest.mark.further
def test_a_neck_and_a_single_opening_are_widened_as_told(tmp_path: Path) -> None:
    narrow = inspected(tmp_path, BLOCK - hole(1.0, (20, 0, 0)))
    (neck,) = sizes(narrow["drain/narrow-neck"].remedy)
    second, alone = sizes(narrow["drain/no-vent"].remedy)
    assert neck == second == 1.5
    assert alone == 6.8 + 3.4  # what is for review is no cure
    wider = inspected(tmp_path, BLOCK - hole(neck, (20, 0, 0)))
    assert wider["drain/narrow-neck"].kind == "pass"
    assert wider["drain/no-vent"].kind == "fail"
    for cured in (
        BLOCK - hole(neck, (20, 0, 0)) - hole(second, (-20, 0, 0)),
        BLOCK - hole(alone, (20, 0, 0)),
    ):
        assert {result.kind for result in inspected(tmp_path, cured).values()} == {"pass"}


def test_no_size_is_told_where_the_sheet_has_none() -> None:
    assert doctest.testmod(drain_remedies).failed == 0
    none = Entry("drain/narrow-neck", Requirement("inform", "mm", "doc"))
    assert wide_enough(Sheet("a", "A", ("a",), {}), "drain/narrow-neck") is None
    assert wide_enough(Sheet("a", "A", ("a",), {none.rule: none}), "drain/narrow-neck") is None
