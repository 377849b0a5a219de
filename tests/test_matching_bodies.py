"""Which body of an earlier report a body is."""

from __future__ import annotations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from parts import box, joined
from two_reports import known_by, rotation

from lint3d.matching_bodies import NEVER, assigned, pair_bodies


@given(st.integers(0, 10**6))
@settings(max_examples=15, deadline=None)
def test_a_tray_of_different_bodies_under_new_names(seed: int) -> None:
    rng = np.random.default_rng(seed)
    turn, shift = rotation(seed)
    old, new = {}, {}
    names = rng.permutation(12)
    for row in range(12):
        shape = joined(box(rng.uniform(3, 30, 3)), box((2, 1, 3), (50 + 3 * row, 0, 0)))
        old["a.stl", f"old-{row}"] = known_by(shape)
        new["b.stl", f"new-{names[row]}"] = known_by(shape @ turn.T + shift)
    assert pair_bodies(old, new) == {
        ("b.stl", f"new-{names[row]}"): ("a.stl", f"old-{row}") for row in range(12)
    }


def test_twins_keep_their_names() -> None:
    one = known_by(box((3, 4, 5)))
    keys = [("a.stl", f"pin/{n}") for n in range(5)]
    assert pair_bodies(dict.fromkeys(keys, one), dict.fromkeys(keys, one)) == {k: k for k in keys}


def test_the_only_body_of_a_file_may_have_another_name() -> None:
    old = {("a.stl", "lid"): known_by(box((3, 4, 5)))}
    new = {("a.stl", "cover"): known_by(box((9, 14, 5)))}
    assert pair_bodies(old, new) == {("a.stl", "cover"): ("a.stl", "lid")}


def test_no_bodies() -> None:
    assert pair_bodies({}, {}) == {}
    assert pair_bodies({("a.stl", "x"): None}, {}) == {}
    assert pair_bodies({("a.stl", "x"): None}, {("b.stl", "y"): None}) == {}


def test_as_many_as_may_at_the_lowest_cost() -> None:
    cost = np.array([[1.0, 2.0, NEVER], [1.5, NEVER, NEVER]])
    assert assigned(cost) == [(0, 1), (1, 0)]
