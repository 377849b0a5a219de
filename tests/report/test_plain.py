"""What may be written into a JSON report."""

import json
import math

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from lint3d.report.plain import plain, rounded, writable

JSONISH = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(),
    lambda inner: st.lists(inner) | st.dictionaries(st.text() | st.integers(), inner),
    max_leaves=20,
)


@given(JSONISH)
def test_anything_becomes_strict_json(value: object) -> None:
    text = json.dumps(plain(value), allow_nan=False, ensure_ascii=False)
    text.encode("utf-8")  # a lone surrogate would raise
    assert json.loads(text) == plain(value)


@given(st.floats(allow_nan=False, allow_infinity=False, min_value=-1e300, max_value=1e300))
def test_rounding_keeps_twelve_digits(value: float) -> None:
    near = rounded(value)
    assert near is not None
    assert math.isclose(near, value, rel_tol=5e-12, abs_tol=1e-300)
    assert rounded(near) == near


def test_last_bits_of_a_sum_do_not_show() -> None:
    assert rounded(0.1 + 0.2) == rounded(0.3)
    assert rounded(sum([0.1] * 10)) == 1.0


def test_no_negative_zero() -> None:
    assert math.copysign(1, rounded(-0.0) or 0.0) == 1


def test_what_is_no_finite_number_is_null() -> None:
    assert plain([math.nan, math.inf, -math.inf]) == [None, None, None]


def test_keys_are_sorted_and_sets_ordered() -> None:
    assert list(plain({"b": 1, "a": 2})) == ["a", "b"]
    assert plain({3, 1, 2}) == [1, 2, 3]


def test_numpy_values() -> None:
    assert plain(np.float64(0.5)) == 0.5
    assert plain(np.int64(3)) == 3
    assert plain(np.array([[1.0, np.nan]])) == [[1.0, None]]
    assert plain(np.bool_(True)) is True


def test_other_objects_become_text() -> None:
    assert plain(1 + 2j) == "(1+2j)"


def test_undecodable_bytes_of_a_file_name_stay_visible() -> None:
    assert writable(b"a\xe9.stl".decode("utf-8", "surrogateescape")) == "a\\udce9.stl"
    assert writable("é±²") == "é±²"
