"""Interest: the range of limits, in the measure's own unit, of the rules that use the measure."""

from __future__ import annotations

import pytest

from lint3d.interest import HEAD_ROOM, Interest, interest_of
from lint3d.requirement import Requirement

WALL = Requirement("at least", "mm", "doc", low=0.6)
VENT = Requirement("at least", "mm", "doc", low=6.8, uncertainty=3.4)
SIZE = Requirement("within", "mm", "doc", low=2, high=51)
RATIO = Requirement("at most", "1", "doc", high=20)
NONE = Requirement("none", "mm", "doc")


@pytest.mark.parametrize(
    ("requirements", "expected"),
    [
        ([WALL], (0.6, 0.6 * HEAD_ROOM)),
        ([WALL, SIZE], (0.6, 51 * HEAD_ROOM)),
        ([VENT], (3.4, 10.2 * HEAD_ROOM)),  # the limit's own band counts
        ([WALL, RATIO], (0.6, 0.6 * HEAD_ROOM)),  # ratios never enter a range in mm
        ([WALL, NONE], (0.6, 0.6 * HEAD_ROOM)),
    ],
)
def test_range(requirements: list[Requirement], expected: tuple[float, float]) -> None:
    found = interest_of("mm", requirements)
    assert found is not None
    assert (found.low, found.high) == pytest.approx(expected)
    assert found.unit == "mm"


def test_without_a_limit_there_is_no_range() -> None:
    assert interest_of("mm", [RATIO, NONE]) is None
    assert interest_of("mm", []) is None


def test_a_band_wider_than_its_limit_ends_at_zero() -> None:
    wide = Requirement("at least", "mm", "doc", low=1, uncertainty=3)
    assert interest_of("mm", [wide]) == Interest(0.0, 5.0, "mm")
