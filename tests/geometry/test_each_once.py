"""The same as NumPy's own set functions."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from lint3d.geometry.each_once import distinct, distinct_but

numbers = st.lists(st.integers(-5, 5) | st.integers(-(2**62), 2**62), max_size=30)


@given(numbers, numbers)
def test_each_once(some: list[int], known: list[int]) -> None:
    key, before = np.array(some, np.int64), np.array(known, np.int64)
    assert distinct(key).tolist() == np.unique(key).tolist()
    assert distinct_but(key, before).tolist() == np.setdiff1d(key, before).tolist()
