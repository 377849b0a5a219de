"""The result model: uncertainty, level, order, completeness."""

from __future__ import annotations

import random

import pytest

from lint3d import Notification, Requirement, Result


def result(**facts: object) -> Result:
    return Result(**{"rule": "a/b", "kind": "fail", "message": "", "uri": "a.stl", **facts})  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("measured", "lower", "upper", "uncertainty"),
    [
        (1.0, 1.0, 1.0, 0.0),
        (1.0, 0.75, 1.125, 0.25),  # the larger of the two sides
        (1.0, 0.875, 1.25, 0.25),
        (1.0, 0.75, None, 0.25),  # a lower bound
        (None, None, None, None),
    ],
)
def test_uncertainty(
    measured: float | None, lower: float | None, upper: float | None, uncertainty: float | None
) -> None:
    assert result(measured=measured, lower=lower, upper=upper).uncertainty == uncertainty


def test_a_level_only_with_a_failure() -> None:
    warn = Requirement("at least", "mm", "doc", low=1, level="warning")
    assert result(requirement=warn).level == "warning"
    assert result().level == "error"
    for kind in ("pass", "review", "open", "notApplicable", "informational"):
        assert result(kind=kind, requirement=warn).level == "none"


def test_results_sort_by_file_body_rule_and_place() -> None:
    ordered = [
        result(uri="a.stl"),
        result(uri="a.stl", rule="z/z"),
        result(uri="a.stl", body="part-1", position=(0.0, 0.0, 0.0)),
        result(uri="a.stl", body="part-1", position=(0.0, 1.0, 0.0)),
        result(uri="a.stl", body="part-1", position=(1.0, 0.0, 0.0)),
        result(uri="a.stl", body="part-1", position=(1.0, 0.0, 0.0), measured=1.0, other="x"),
        result(uri="a.stl", body="part-1", rule="b/b"),
        result(uri="a.stl", body="part-1/2"),
        result(uri="b.stl"),
    ]
    # A result that was measured stands before one in the same place that was not.
    ordered[4], ordered[5] = ordered[5], ordered[4]
    for seed in range(5):
        mixed = ordered.copy()
        random.Random(seed).shuffle(mixed)
        assert sorted(mixed, key=Result.sort_key) == ordered


def test_notifications_sort_by_file() -> None:
    notes = [Notification("b", uri="b.stl"), Notification("z"), Notification("a", uri="a.stl")]
    assert [n.message for n in sorted(notes, key=Notification.sort_key)] == ["z", "a", "b"]
