"""Solid: what the rules say of bodies that are not closed, and that a turn changes nothing."""

from __future__ import annotations

import numpy as np
import pytest
from parts import box, joined, part_of, turned

from lint3d import LeftOut, Place
from lint3d_plugins.solid import inside_out, stray_shell


@pytest.mark.parametrize("seed", [None, 1, 2, 3])
def test_a_loose_sheet_encloses_nothing_in_any_frame(seed: int | None) -> None:
    sheet = box(10)[:2]
    if seed is not None:
        sheet = np.float32(turned(sheet, seed))
    (place,) = stray_shell(part_of(sheet).bodies[0])
    assert isinstance(place, Place)
    assert place.value == 0


@pytest.mark.parametrize("seed", [1, 2])
def test_an_open_box_has_no_volume(seed: int) -> None:
    (left,) = stray_shell(part_of(turned(box(10)[:-1], seed)).bodies[0])
    assert isinstance(left, LeftOut)
    assert "solid/open-edge" in left.reason


def test_a_shell_with_a_face_too_many_is_not_called_open() -> None:
    body = part_of(joined(box(10), box(10)[:1])).bodies[0]
    (left,) = inside_out(body)
    assert isinstance(left, LeftOut)
    assert "solid/non-manifold-edge" in left.reason
    assert "solid/open-edge" not in left.reason


def test_volume_of_a_crumb_is_exact_to_its_uncertainty() -> None:
    for seed in range(5):
        body = part_of(np.float32(turned(box((0.5, 0.5, 0.5)), seed))).bodies[0]
        (place,) = stray_shell(body)
        assert place.lower <= 0.125 <= place.upper
        assert place.upper - place.lower < 1e-5
