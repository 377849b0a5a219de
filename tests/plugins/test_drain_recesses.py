"""What is a recess out of reach, and what a round hole?"""

from __future__ import annotations

from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
import shapes_voids as parts
from parts import write_stl

import lint3d
from lint3d_plugins.drain_recesses import is_round_hole, told_once


def recess(widths: list[float], step: float = 0.5) -> Any:
    way = np.column_stack([np.arange(len(widths)) * step, np.zeros((len(widths), 2))])
    return SimpleNamespace(way=way, way_width=np.array(widths))


def bar(length: float, diameter: float, shift: float = 0.0, straight: bool = True) -> Any:
    return SimpleNamespace(
        start=np.array([0, shift, 0.0]),
        end=np.array([length, shift, 0.0]),
        diameter=diameter,
        is_straight=straight,
    )


def test_way_within_a_hole_is_that_hole() -> None:
    one = recess([1.0] * 20)
    assert is_round_hole(one, [bar(10, 1.0)])
    assert is_round_hole(one, [bar(10, 1.0, 5.0), bar(10, 1.0, 0.2)])
    assert not is_round_hole(one, [])
    assert not is_round_hole(one, [bar(10, 1.0, 2.0)])
    assert not is_round_hole(one, [bar(3, 1.0)])
    assert not is_round_hole(one, [bar(10, 1.0, straight=False)])
    assert not is_round_hole(one, [bar(0, 1.0)])


def test_what_a_ball_fills_is_left_to_a_larger_one() -> None:
    hollow: Any = object()
    near, far = np.zeros(3), np.array([9.0, 0, 0])

    def one(width: float, position: np.ndarray = near) -> Any:
        return SimpleNamespace(width=width, widest=width, position=position)

    filled, narrow, wider = one(1.5), one(1.2), one(1.6)
    assert told_once([(1.5, hollow, filled), (3.4, hollow, wider)]) == [(hollow, wider)]
    # A narrow bore at the end of a wider one is a place of its own.
    assert len(told_once([(1.5, hollow, narrow), (3.4, hollow, wider)])) == 2
    assert len(told_once([(1.5, hollow, filled), (3.4, hollow, one(1.6, far))])) == 2
    assert len(told_once([(1.5, hollow, filled), (3.4, object(), wider)])) == 2
    assert told_once([(1.5, hollow, filled)]) == [(hollow, filled)]


@pytest.mark.further
def test_very_many_slots_are_told_as_one(tmp_path: Path) -> None:
    """Twenty-one blind slots of 0.7 mm and 4.9 mm depth, and one of 6.3 mm."""
    solid = parts.block([36, 6, 8])
    for row in range(22):
        deep = 6.3 if row == 5 else 4.9
        solid -= parts.block([0.7, 4, deep * 2], [1.6 * row - 16.8, 0, 4])
    vertices, faces = parts.mesh(solid)
    file = write_stl(tmp_path / "a.stl", vertices[faces])
    only, limits = ["drain/blind-depth"], ["drain/blind-depth=8"]
    found = lint3d.inspect([file], only=only, limits=limits, workers=0)
    (result,) = [one for one in found.results if one.rule == only[0]]
    assert result.kind == "fail"
    assert result.measured == pytest.approx(9.0, rel=0.03)
    assert result.position[0] == pytest.approx(1.6 * 5 - 16.8, abs=0.7)
    assert result.properties["places"] == 22
    assert result.properties["distribution"]["median"] == pytest.approx(7.0, rel=0.03)
