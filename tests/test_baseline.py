"""New, unchanged, updated, absent; and what counts as worse."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from two_reports import EDGES, LUGGED, THIN, inspection, moved, rotation, snapshot, wall

from lint3d.baseline import any_worse, changes, compare_with
from lint3d.inspection import Inspection, Result
from lint3d.requirement import Requirement

NEW = frozenset({"new"})


def compared(old: list[Result], new: list[Result]) -> Inspection:
    found = inspection(*new)
    compare_with(found, snapshot(*old))
    return found


@pytest.mark.parametrize(
    ("before", "after", "state", "worse"),
    [
        (0.4, 0.4, "unchanged", False),
        (0.4, 0.41, "unchanged", False),  # within the uncertainties
        (0.4, 0.385, "unchanged", False),
        (0.4, 0.37, "updated", True),
        (0.4, 0.45, "updated", False),
        (0.4, 0.9, "updated", False),  # cured
        (0.9, 0.4, "updated", True),
        (0.9, 0.6, "updated", True),  # review: counted only if asked for
        (0.6, 0.585, "updated", False),  # review to fail, but the same within the uncertainties
        (0.6, 0.55, "updated", True),
        (0.9, 0.8, "updated", False),
    ],
)
def test_states(before: float, after: float, state: str, worse: bool) -> None:
    found = compared([wall(value=before)], [wall(value=after)])
    (result,) = found.results
    assert (result.state, result.is_worse) == (state, worse)
    assert found.absent == []
    assert found.exit_code(NEW) == (1 if worse and result.kind == "fail" else 0)
    assert result.earlier is not None
    assert result.earlier.measured == before


def test_a_review_that_is_new_counts_only_if_asked_for() -> None:
    found = compared([wall(value=0.9)], [wall(value=0.6)])
    assert found.exit_code(NEW) == 0
    assert found.exit_code(NEW | {"review"}) == 1
    known = compared([wall(value=0.6)], [wall(value=0.6)])
    assert known.exit_code(NEW | {"review"}) == 0
    assert known.exit_code(frozenset({"review"})) == 1


def test_new_and_absent() -> None:
    found = compared([wall((10, 5, 5))], [wall((50, 30, 5))])
    assert [r.state for r in found.results] == ["new"]
    assert [(r.state, r.position) for r in found.absent] == [("absent", (10, 5, 5))]
    assert found.exit_code(NEW) == 1
    assert found.exit_code() == 1


def test_what_was_open_and_is_new_or_known() -> None:
    unknown = replace(wall(kind="open"), measured=None, lower=None, upper=None)
    assert compared([wall(value=0.9)], [unknown]).exit_code(NEW) == 1
    assert compared([unknown], [unknown]).exit_code(NEW) == 0
    assert compared([unknown], [wall(value=0.4)]).exit_code(NEW) == 1
    assert compared([unknown], [wall(value=0.9)]).exit_code(NEW) == 0


def test_another_limit_is_an_update_and_what_fails_by_it_is_worse() -> None:
    strict = Requirement("at least", "mm", "another sheet", low=1.0)
    found = compared([wall(value=0.9)], [replace(wall(value=0.9, kind="fail"), requirement=strict)])
    assert (found.results[0].state, found.results[0].is_worse) == ("updated", True)
    lenient = [replace(wall(value=0.4), requirement=strict)], [wall(value=0.4)]
    assert compared(*lenient).results[0].is_worse is False


@pytest.mark.parametrize(
    ("asked", "before", "after", "worse"),
    [
        (Requirement("at most", "mm", "s", high=5.0), 7.0, 7.1, True),
        (Requirement("at most", "mm", "s", high=5.0), 7.0, 6.0, False),
        (Requirement("within", "mm", "s", low=2.0, high=9.0), 1.0, 0.5, True),
        (Requirement("within", "mm", "s", low=2.0, high=9.0), 1.0, 1.5, False),
        (Requirement("within", "mm", "s", low=2.0, high=9.0), 12.0, 13.0, True),
        (Requirement("within", "mm", "s", low=2.0, high=9.0), 1.0, 10.0, True),  # the other end
        (EDGES, 3.0, 4.0, True),
        (EDGES, 4.0, 3.0, False),
    ],
)
def test_worse_by_kind_of_requirement(
    asked: Requirement, before: float, after: float, worse: bool
) -> None:
    old, new = (
        replace(wall(value=v, kind="fail"), requirement=asked, lower=v, upper=v)
        for v in (before, after)
    )
    assert compared([old], [new]).results[0].is_worse is worse


def test_a_lower_bound_may_have_been_anything_above() -> None:
    old = replace(wall(value=2.0, kind="pass"), upper=None)
    assert compared([old], [wall(value=3.0)]).results[0].state == "unchanged"
    assert compared([old], [wall(value=1.5)]).results[0].state == "updated"
    assert compared([wall(value=1.5)], [old]).results[0].state == "updated"


@given(st.integers(0, 10**6), st.floats(-0.2, 0.1))
@settings(max_examples=15, deadline=None)
@pytest.mark.further
def test_a_moved_part_is_judged_by_its_value_alone(seed: int, step: float) -> None:
    turn, shift = rotation(seed)
    new = moved(wall(value=0.4 + step), turn, shift)
    found = inspection(new, shape=LUGGED @ turn.T + shift)
    compare_with(found, snapshot(wall(value=0.4)))
    assert found.results[0].is_worse is (step < -0.02 - 2e-6)
    assert found.absent == []


def test_an_incomplete_run_is_incomplete_whatever_is_new() -> None:
    from lint3d.inspection import Notification

    found = compared([wall()], [wall()])
    found.notifications.append(Notification("lost", "error"))
    assert found.exit_code(NEW) == 3


def test_changes_of_two_reports() -> None:
    old = snapshot(wall((10, 5, 5)), wall((30, 20, 5)), wall((55, 38, 2), 0.3))
    new = snapshot(wall((10, 5, 5)), wall((30, 20, 5), 0.9), wall((3, 3, 16)))
    found = changes(old, new)
    assert any_worse(found)
    assert sum(one.is_cured for one in found) == 2
    assert sum(one.old is None for one in found) == 1
    assert not any_worse(changes(new, new))
    assert THIN.low == 0.6
