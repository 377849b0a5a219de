"""Which bars meet, and which are pieces of one?"""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation
from shapes_bars import bar

from lint3d.geometry.rods_meeting import in_line, joined_in_line, meeting

PLACES = {
    "side by side": ([0, 0, 0], [10, 0, 0], [0, 1.01, 0], [10, 1.01, 0], False),
    "an L": ([0, 0, 0], [10, 0, 0], [0, 0.5, 0], [0, 9, 0], True),
    "a T": ([0, 0, 0], [10, 0, 0], [5, 0.5, 0], [5, 9, 0], True),
    "a cross": ([0, 0, 0], [10, 0, 0], [5, -5, 0], [5, 5, 0], True),
    "over each other": ([0, 0, 0], [10, 0, 0], [5, -5, 1.1], [5, 5, 1.1], False),
    "cut back at a node": ([0.8, 0, 0], [10, 0, 0], [0, 0.8, 0], [0, 9, 0], True),
    "end to end": ([0, 0, 0], [10, 0, 0], [10.3, 0, 0], [20, 0, 0], True),
    "far end to end": ([0, 0, 0], [10, 0, 0], [12.5, 0, 0], [20, 0, 0], False),
    "one in the other": ([0, 0, 0], [10, 0, 0], [2, 0.1, 0], [5, 0.1, 0], True),
}


@pytest.mark.parametrize("name", PLACES)
@settings(max_examples=15, deadline=None)
@given(seed=st.integers(0, 10_000), scale=st.floats(0.1, 50))
@pytest.mark.cases(7)
def test_bars_meet_where_they_have_material_in_common(name: str, seed: int, scale: float) -> None:
    *ends, expected = PLACES[name]
    turn = Rotation.random(random_state=seed)
    a, b, c, d = scale * turn.apply(np.array(ends, float)) + np.array([30, -7, 4])
    for pair in ((a, b, c, d), (c, d, a, b), (b, a, c, d), (a, b, d, c)):
        one, two = bar(*pair[:2], scale), bar(*pair[2:], scale)
        assert (len(set(meeting([one, two]).tolist())) == 1) is expected


def test_many_bars_meet_as_they_do_two_by_two() -> None:
    rng = np.random.default_rng(5)
    start = rng.uniform(0, 23, (30, 3))
    many = [
        bar(begin, begin + rng.normal(size=3) * 6, thick)
        for begin, thick in zip(start, rng.uniform(0.3, 1.5, 30), strict=True)
    ]
    linked = np.eye(30, dtype=int)
    for i in range(30):
        for j in range(i):
            linked[i, j] = linked[j, i] = len(set(meeting([many[i], many[j]]).tolist())) == 1
    for _ in range(6):
        linked = (linked @ linked > 0).astype(int)
    first = [int(np.flatnonzero(row)[0]) for row in linked]
    number = {one: i for i, one in enumerate(dict.fromkeys(first))}
    assert 5 < len(number) < 28
    assert meeting(many).tolist() == [number[one] for one in first]


def test_none_and_one() -> None:
    assert meeting([]).tolist() == in_line([]).tolist() == []
    assert meeting([bar([0, 0, 0], [1, 0, 0], 1)]).tolist() == [0]
    assert joined_in_line([]) == []


@settings(max_examples=20, deadline=None)
@given(seed=st.integers(0, 10_000))
def test_a_hole_in_three_pieces_is_one(seed: int) -> None:
    rng = np.random.default_rng(seed)
    turn = Rotation.random(random_state=seed)
    cuts = np.cumsum([0, *rng.uniform(2, 9, 3)])
    pieces = [
        bar(*turn.apply([[0, 0, a], [0, 0, b]]), rng.uniform(1.0, 1.1))
        for a, b in zip(cuts[:-1], cuts[1:], strict=True)
    ]
    pieces[0] = type(pieces[0])(**{**vars(pieces[0]), "has_end": (True, False)})
    beside = bar(*turn.apply([[1.3, 0, 0], [1.3, 0, cuts[-1]]]), 1.0)
    wide = bar(*turn.apply([[0, 0, cuts[-1]], [0, 0, cuts[-1] + 9]]), 2.0)
    mixed = [pieces[1], beside, pieces[2], wide, pieces[0]]
    assert in_line(mixed).tolist() == [0, 1, 0, 2, 0]
    whole, other, last = joined_in_line(mixed)
    assert (other, last) == (beside, wide)
    assert whole.length == pytest.approx(cuts[-1])
    assert np.linalg.norm(whole.end - whole.start) == pytest.approx(cuts[-1])
    assert whole.diameter == min(piece.diameter for piece in pieces)
    assert sorted(whole.has_end) == [False, True]
    blind = whole.start if whole.has_end[0] else whole.end
    assert np.abs(blind).max() < 1e-9
    assert (whole.end - whole.start) @ whole.axis > 0
