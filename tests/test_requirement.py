"""Is what is required met? The only comparison of the program, by table and by property."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lint3d.requirement import Requirement, decide, number, relaxed, tightness, worsened

AT_LEAST = Requirement("at least", "mm", "doc", low=0.6)
AT_MOST = Requirement("at most", "mm", "doc", high=0.6)
WITHIN = Requirement("within", "mm", "doc", low=2.0, high=4.0)
NONE = Requirement("none", "1", "doc")
INFORM = Requirement("inform", "1", "doc")
#: Twice the capillary limit for wax: 6.8 ± 3.4 mm (Bretherton 1961, molten wax at 0.026 N/m)
VENT = Requirement("at least", "mm", "doc", low=6.8, uncertainty=3.4)

finite = st.floats(-1e6, 1e6)
positive = st.floats(0, 1e6)


@pytest.mark.parametrize(
    ("lower", "upper", "requirement", "verdict"),
    [
        (0.5, 0.59, AT_LEAST, "fail"),
        (0.5, 0.6, AT_LEAST, "review"),  # the truth may be the limit itself, and the limit is good
        (0.6, 0.6, AT_LEAST, "pass"),
        (0.6, 0.7, AT_LEAST, "pass"),
        (0.599, None, AT_LEAST, "review"),  # a lower bound below the limit tells nothing
        (0.6, None, AT_LEAST, "pass"),
        (0.6, 0.6, AT_MOST, "pass"),
        (0.6, 0.61, AT_MOST, "review"),
        (0.61, 0.7, AT_MOST, "fail"),
        (0.61, None, AT_MOST, "fail"),  # even the least it can be is too much
        (0.0, None, AT_MOST, "review"),
        (2.0, 4.0, WITHIN, "pass"),
        (1.9, 2.1, WITHIN, "review"),
        (3.9, 4.1, WITHIN, "review"),
        (1.0, 1.9, WITHIN, "fail"),
        (4.1, 5.0, WITHIN, "fail"),
        (1.0, 5.0, WITHIN, "review"),
        (0, 0, NONE, "pass"),
        (1, 1, NONE, "fail"),
        (0, 3, NONE, "review"),
        (7, 7, INFORM, "informational"),
        (3.3, 3.39, VENT, "fail"),
        (3.4, 3.4, VENT, "review"),
        (10.1, 10.1, VENT, "review"),
        (10.2, 10.2, VENT, "pass"),
    ],
)
def test_decide(lower: float, upper: float | None, requirement: Requirement, verdict: str) -> None:
    assert decide(lower, upper, requirement) == verdict


@given(value=finite, band=positive, limit=finite, width=positive)
def test_a_verdict_holds_for_every_value_in_the_interval(
    value: float, band: float, limit: float, width: float
) -> None:
    """Pass and fail promise something of each value that may be the true one; review does not."""
    for requirement in (
        Requirement("at least", "mm", "doc", low=limit),
        Requirement("at most", "mm", "doc", high=limit),
        Requirement("within", "mm", "doc", low=limit, high=limit + width),
    ):
        verdict = decide(value - band, value + band, requirement)
        for true in (value - band, value, value + band):
            exact = decide(true, true, requirement)
            assert verdict == "review" or exact == verdict


@given(value=finite, limit=finite)
def test_without_uncertainty_nothing_is_left_to_review(value: float, limit: float) -> None:
    for requirement in (
        Requirement("at least", "mm", "doc", low=limit),
        Requirement("at most", "mm", "doc", high=limit),
    ):
        assert decide(value, value, requirement) in ("pass", "fail")


@given(value=finite, band=positive, limit=finite, more=positive)
def test_more_uncertainty_never_turns_review_into_a_verdict(
    value: float, band: float, limit: float, more: float
) -> None:
    requirement = Requirement("at least", "mm", "doc", low=limit, uncertainty=1.0)
    if decide(value - band, value + band, requirement) == "review":
        assert decide(value - band - more, value + band + more, requirement) == "review"


def test_limits_and_limit() -> None:
    assert AT_LEAST.limit == 0.6
    assert AT_MOST.limit == 0.6
    assert WITHIN.limit == (2.0, 4.0)
    assert (NONE.limit, INFORM.limit) == (0.0, 0.0)
    assert (WITHIN.limits, NONE.limits) == ((2.0, 4.0), ())


@pytest.mark.parametrize(
    ("requirement", "text"),
    [
        (AT_LEAST, "at least 0.6 mm"),
        (AT_MOST, "at most 0.6 mm"),
        (WITHIN, "2 to 4 mm"),
        (NONE, "none"),
        (INFORM, "inform"),
        (VENT, "at least 6.8 ± 3.4 mm"),
        (Requirement("at most", "1", "doc", high=0.15), "at most 0.15"),
        (Requirement("at most", "mm2", "doc", high=30), "at most 30 mm²"),
        (Requirement("at most", "deg", "doc", high=30), "at most 30°"),
    ],
)
def test_text(requirement: Requirement, text: str) -> None:
    assert requirement.text() == text


@pytest.mark.parametrize(
    ("requirement", "worst_first"),
    [
        (AT_LEAST, [0.1, 0.5, 0.9]),
        (AT_MOST, [0.9, 0.5, 0.1]),
        (WITHIN, [0.5, 5.0, 2.5, 3.0]),
        (NONE, [7, 2, 1]),
    ],
)
def test_tightness_sorts_the_worst_first(
    requirement: Requirement, worst_first: list[float]
) -> None:
    mixed = worst_first[::-1]
    assert sorted(mixed, key=lambda v: tightness(v, requirement)) == worst_first


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (0, "0"), (-0.0, "0"), (0.6, "0.6"), (12.0, "12"), (100, "100"), (1000, "1000"),
        (999.96, "1000"), (9.9999, "10"), (0.01234, "0.01234"), (0.00049996, "0.0005"),
        (123456.7, "123457"), (-0.25, "-0.25"), (1e-12, "1e-12"), (math.inf, "inf"),
    ],
)  # fmt: skip
def test_number(value: float, text: str) -> None:
    assert number(value) == text


@given(st.floats(1e-6, 1e9))
def test_number_keeps_four_digits(value: float) -> None:
    assert float(number(value)) == pytest.approx(value, rel=5.001e-4)


# --- what is allowed beyond a limit, and what is surely worse -------------------------------------


@pytest.mark.parametrize(
    ("requirement", "up_to", "limit"),
    [
        (AT_LEAST, 0.4, 0.4),
        (AT_LEAST, 0.8, 0.6),
        (AT_MOST, 0.8, 0.8),
        (AT_MOST, 0.4, 0.6),
        (WITHIN, 1.0, (1.0, 4.0)),
        (WITHIN, 5.0, (2.0, 5.0)),
        (WITHIN, 3.0, (2.0, 4.0)),
        (NONE, 3.0, 3.0),
        (NONE, 0.0, 0.0),
        (VENT, 2.0, 2.0),
        (INFORM, 2.0, 0.0),
    ],
)
def test_relaxed(requirement: Requirement, up_to: float, limit: object) -> None:
    assert relaxed(requirement, up_to).limit == limit


@given(finite, finite, positive, positive)
def test_nothing_is_worse_than_itself_and_only_one_way(
    value: float, other: float, around: float, about: float
) -> None:
    one, two = (value - around, value + around), (other - about, other + about)
    for requirement in (AT_LEAST, AT_MOST, WITHIN, NONE, VENT):
        assert not worsened(one, one, requirement)
        if requirement is not WITHIN:  # below one end or above the other: both are worse
            assert not (worsened(one, two, requirement) and worsened(two, one, requirement))


@given(finite, positive)
def test_what_is_relaxed_up_to_a_value_allows_it(value: float, around: float) -> None:
    for requirement in (AT_LEAST, AT_MOST, WITHIN, NONE):
        assert decide(value - around, value + around, relaxed(requirement, value)) != "fail"


def test_an_end_that_is_not_known_makes_nothing_worse() -> None:
    assert not worsened((0.4, None), (0.5, None), AT_LEAST)
    assert worsened((0.5, None), (0.3, 0.4), AT_LEAST)
    assert not worsened((5.0, None), (4.0, 4.1), WITHIN)
