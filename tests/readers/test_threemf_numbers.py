"""Numbers, indices and matrices as 3MF writes them."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from lint3d.readers.threemf_numbers import NO_INTEGER, integer, is_flat, number, transform


@given(st.floats(allow_nan=False, allow_infinity=False, allow_subnormal=False))
def test_every_number_is_exact(value: float) -> None:
    assert number(repr(value)) == value
    assert number(f" {value:.17e}\n") == value


@pytest.mark.parametrize(
    "text", [None, "", " ", "nan", "inf", "-inf", "1_0", "0x1", "1,5", "1e", "e5", "--1", "1 2",
             "١", "1e400", "-1e999", "1e-400", "0.0001e-400"],
)  # fmt: skip
def test_no_number(text: str | None) -> None:
    assert math.isnan(number(text))


@pytest.mark.parametrize("text", ["0", "-0", "0.000", "0e5", ".0", "0e-999"])
def test_zero(text: str) -> None:
    assert number(text) == 0.0


@given(st.integers(-(10**17), 10**17))
def test_every_index_is_exact(value: int) -> None:
    assert integer(str(value)) == value
    assert integer(f" {value:+d} ") == value


@pytest.mark.parametrize("text", [None, "", "1.0", "a", "1e0", "0x1", "1 2", "9" * 30, "١"])
def test_no_index(text: str | None) -> None:
    assert integer(text) == NO_INTEGER


def test_matrix() -> None:
    matrix = transform("1 2 3 4 5 6 7 8 9 10 11 12")
    assert matrix is not None
    np.testing.assert_array_equal(matrix, np.arange(1, 13).reshape(4, 3))
    assert transform("1 2 3") is None
    assert transform("1 " * 12 + "1") is None
    assert transform("1 " * 11 + "x") is None


@given(st.floats(1e-100, 1e100))
def test_flatness_does_not_depend_on_size(size: float) -> None:
    assert not is_flat(np.eye(4, 3) * size)
    assert is_flat(np.array([[1, 2, 3], [4, 5, 6], [5, 7, 9], [0, 0, 0]]) * size)
