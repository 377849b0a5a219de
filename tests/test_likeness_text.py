"""A likeness comes back from its text; nothing else is taken for one."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from parts import box, joined, turned
from two_reports import LUGGED, known_by

from lint3d.geometry.rigid_fit import fit
from lint3d.likeness_text import KEYS, likeness_facts, likeness_from


@pytest.mark.parametrize("seed", range(4))
def test_there_and_back(seed: int) -> None:
    rng = np.random.default_rng(seed)
    one = known_by(turned(joined(LUGGED, box(rng.uniform(1, 20, 3), (70, 0, 0))), seed) * 3)
    facts = likeness_facts(one)
    again = likeness_from(facts)
    assert tuple(facts) == KEYS
    assert again.area == pytest.approx(one.area, rel=1e-7)
    assert again.volume == pytest.approx(one.volume, rel=1e-7)
    assert again.second == pytest.approx(one.second, rel=1e-7, abs=1e-6)
    assert again.third == pytest.approx(one.third, rel=1e-7, abs=1e-3)
    assert again.corners == pytest.approx(one.corners, abs=6e-5)
    assert likeness_facts(again) == facts
    (frame,) = fit(again, one)
    assert frame.turn == pytest.approx(np.eye(3))


def test_it_is_short_and_each_value_is_one_line() -> None:
    facts = likeness_facts(known_by(LUGGED))
    assert all(
        isinstance(value, float | str) and "\n" not in str(value) for value in facts.values()
    )
    assert sum(len(str(value)) for value in facts.values()) < 1500


@given(st.dictionaries(st.sampled_from(KEYS), st.text() | st.floats() | st.none() | st.integers()))
def test_anything_else_is_refused(facts: dict[str, object]) -> None:
    known = likeness_facts(known_by(box(3)))
    try:
        found = likeness_from({**known, **facts})
    except ValueError:
        return
    for array in (found.low, found.high, found.centre, found.second, found.third, found.corners):
        assert np.isfinite(array).all()
    assert found.area > 0
