"""Is a neck that runs on through bends told once, with its whole length?"""

from __future__ import annotations

import math
from pathlib import Path

import pytest
import shapes_voids as parts
from parts import write_stl

import lint3d


@pytest.mark.parametrize("seed", [0, 3])
def test_a_serpentine_is_one_neck_through_its_bends(seed: int, tmp_path: Path) -> None:
    """Balls of 1.4 times the width at its bends are chambers on the grid, and end no neck.

    By closed form: three straight ducts of 18 mm, 4 mm between them twice, and 8 mm to the outside;
    at each of the five bends the line may cut the corner by up to half a width.
    """
    width, sides = 1.8, 12
    corners = [[0, 0, 0], [0, 18, 0], [4, 18, 0], [4, 0, 0], [8, 0, 0], [8, 18, 0], [20, 18, 0]]
    solid = parts.block([28, 34, 12], [2, 9, 0]) - parts.ball(4, [-4, 0, 0], 32)
    for one, two in zip(corners[:-1], corners[1:], strict=True):
        solid -= parts.rod(one, two, width / math.cos(math.pi / sides), sides)
        solid -= parts.ball(0.7 * width, one, 24) + parts.ball(0.7 * width, two, 24)
    vertices, faces = parts.mesh(solid, parts.random_frame(seed))
    file = write_stl(tmp_path / "a.stl", vertices[faces])
    found = lint3d.inspect(
        [str(file)], only=["drain/long-neck"], limits=["drain/long-neck=15"], workers=0
    )
    (result,) = [one for one in found.results if one.rule == "drain/long-neck"]
    assert result.kind == "fail"
    whole = 3 * 18 + 2 * 4 + 8
    assert result.lower is not None
    assert result.upper is not None
    assert result.lower <= whole / width
    assert result.upper >= (whole - 5 * width / 2) / width
    assert result.properties["neck_length_mm"] == pytest.approx(whole, rel=0.1)
