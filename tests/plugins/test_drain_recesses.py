"""What is a recess out of reach, and what a round hole?"""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np

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
