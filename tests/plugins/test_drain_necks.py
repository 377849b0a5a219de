"""Is a neck that runs on through bends told once, with its whole length?"""

from __future__ import annotations

import math
from pathlib import Path

import pytest
import shapes_voids as parts
from parts import write_stl

import lint3d

WIDTH = 1.8


def serpentine(file: Path, seed: int) -> str:
    """Three straight ducts of 18 mm, 4 mm between them twice, and 8 mm from a ball to the outside.

    Balls of 1.4 times the width at its bends are chambers on the grid.
    """
    sides = 12
    corners = [[0, 0, 0], [0, 18, 0], [4, 18, 0], [4, 0, 0], [8, 0, 0], [8, 18, 0], [20, 18, 0]]
    solid = parts.block([28, 34, 12], [2, 9, 0]) - parts.ball(4, [-4, 0, 0], 32)
    for one, two in zip(corners[:-1], corners[1:], strict=True):
        solid -= parts.rod(one, two, WIDTH / math.cos(math.pi / sides), sides)
        solid -= parts.ball(0.7 * WIDTH, one, 24) + parts.ball(0.7 * WIDTH, two, 24)
    vertices, faces = parts.mesh(solid, parts.random_frame(seed))
    return str(write_stl(file, vertices[faces]))


@pytest.mark.parametrize("seed", [1, 0, 3])
@pytest.mark.cases(2)
def test_a_serpentine_is_one_neck_through_its_bends(seed: int, tmp_path: Path) -> None:
    """By closed form; at each of the five bends the line may cut the corner by half a width.

    In one frame (1) the way ran forth and back in a bend: 41.96 at least, for at most 38.9.
    """
    file = serpentine(tmp_path / "a.stl", seed)
    found = lint3d.inspect(
        [file], only=["drain/long-neck"], limits=["drain/long-neck=15"], workers=0
    )
    (result,) = [one for one in found.results if one.rule == "drain/long-neck"]
    assert result.kind == "fail"
    whole = 3 * 18 + 2 * 4 + 8
    assert result.lower is not None
    assert result.upper is not None
    assert result.lower <= whole / WIDTH
    assert result.upper >= (whole - 5 * WIDTH / 2) / WIDTH
    assert result.properties["neck_length_mm"] == pytest.approx(whole, rel=0.1)


@pytest.mark.parametrize("seed", [1, 5])
def test_the_bends_of_a_serpentine_are_no_pockets_behind_necks_of_their_own(
    seed: int, tmp_path: Path
) -> None:
    """Narrow-neck and no-vent told one neck twice, as 1.764 and 1.8 mm."""
    rules = ["drain/narrow-neck", "drain/no-vent", "drain/unreachable"]
    found = lint3d.inspect(
        [serpentine(tmp_path / "a.stl", seed)],
        only=rules,
        limits=["drain/narrow-neck=2", "drain/unreachable=40"],
        workers=0,
    )
    assert sorted(one.rule for one in found.results if one.kind == "fail") == rules
