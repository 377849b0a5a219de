"""Shown figures never claim more than was measured, and lead to the verdict beside them."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lint3d.report.figures import figures
from lint3d.requirement import Requirement, decide

EIGHTH_DIGIT = 2e-8
VALUES = st.integers(-10_000_000, 10_000_000).map(lambda n: n / 10_000)
WIDTHS = st.integers(0, 1_000_000).map(lambda n: n / 100_000)


def interval_of(text: str) -> tuple[float, float | None]:
    """What a reader takes from the figures."""
    if text.startswith("≥ "):
        return float(text[2:]), None
    if " ± " in text:
        middle, around = map(float, text.split(" ± "))
        return middle - around, middle + around
    if " to " in text:
        low, high = map(float, text.split(" to "))
        return low, high
    return float(text), float(text)


@given(VALUES, WIDTHS, WIDTHS, st.sampled_from(["mm", "mm2", "mm3", "deg", "1"]))
def test_the_shown_interval_holds_the_measured_one(
    value: float, below: float, above: float, unit: str
) -> None:
    lower, upper = value - below, value + above
    low, high = interval_of(figures(value, lower, upper, unit))
    room = EIGHTH_DIGIT * max(1.0, abs(value))
    if lower != upper:  # exact numbers are shown to four digits, with no claim beside them
        assert high is not None
        assert low <= lower + room
        assert high >= upper - room


@given(
    VALUES,
    WIDTHS,
    WIDTHS,
    st.sampled_from(["at least", "at most"]),
    st.integers(-1000, 1000).map(lambda n: n / 10),
    st.sampled_from([0.0, 0.05]),
)
def test_the_shown_interval_leads_to_the_same_verdict(
    value: float, below: float, above: float, kind: str, limit: float, band: float
) -> None:
    low, high = (limit, None) if kind == "at least" else (None, limit)
    asked = Requirement(kind, "mm", "test", low, high, band)  # type: ignore[arg-type]
    # Nine digits are shown at most, so an end within the ninth digit of a border proves nothing.
    lower, upper = round(value - below, 5), round(value + above, 5)
    borders = [limit - band, limit + band]
    if any(0 < abs(end - border) < 1e-5 for end in (lower, upper) for border in borders):
        return
    text = figures(value, lower, upper, "mm", asked)
    shown_low, shown_high = interval_of(text)
    near = [round(end, 7) for end in (shown_low, shown_high or 0.0)]
    assert decide(near[0], near[1], asked) == decide(lower, upper, asked), text


@pytest.mark.parametrize(
    ("measured", "lower", "upper", "text"),
    [
        (0.212, 0.209, 0.215, "0.212 ± 0.003"),
        (0.45678, 0.44448, 0.46908, "0.457 ± 0.013"),
        (0.2123456, 0.2123451, 0.2123461, "0.212 ± 0.001"),
        (12, 12, 12, "12"),
        (12.0, 12.0, 12.0, "12"),
        (0, 0, 0, "0"),
        (1234.4, 1211.0, 1260.0, "1234 ± 26"),
        (12_345.0, 11_345.0, 13_345.0, "12300 ± 1100"),
        (5.1, 5.1, None, "≥ 5.1"),
        (5.1999, 5.1999, None, "≥ 5.19"),
        (-3.0, -3.5, -2.5, "-3.0 ± 0.5"),
    ],
)
def test_worked_examples(measured: float, lower: float, upper: float | None, text: str) -> None:
    assert figures(measured, lower, upper, "mm") == text


def test_more_digits_where_the_verdict_hangs_on_them() -> None:
    asked = Requirement("at least", "mm", "test", low=0.6)
    assert figures(0.59997, 0.59996, 0.59998, "mm", asked) == "0.59997 ± 0.00001"
    assert figures(0.59996, 0.59996, 0.59996, "mm", asked) == "0.59996"
    assert figures(0.60004, 0.60004, None, "mm", asked) == "≥ 0.6"


def test_a_lopsided_interval_is_told_by_its_ends() -> None:
    asked = Requirement("at least", "mm", "test", low=0.6)
    text = figures(0.59, 0.5, 0.599, "mm", asked)
    assert text == "0.5 to 0.599"
    assert figures(0.59, 0.5, 0.599, "mm") == "0.59 ± 0.09"  # nothing to compare with


def test_huge_and_tiny_numbers_are_no_trouble() -> None:
    for value in (1e-30, 1e30, 1e300):
        assert figures(value, value / 2, value * 2, "mm")
        assert figures(value, value, None, "mm").startswith("≥ ")
        assert figures(value, value, value, "mm")
