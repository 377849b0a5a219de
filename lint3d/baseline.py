"""What is new, unchanged, updated or gone since an earlier report, and what got worse?

Results are paired in `matching.py`. *Updated* means another verdict, another limit, or a value that
differs by more than both uncertainties. *Worse* is a failure that was none before, or one whose
value is surely worse than the earlier one (`requirement.worsened`); it is what `--fail-on new`
stops. The same holds for *review* and *open*, if those are counted.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

from lint3d.inspection import Earlier, Inspection, Result
from lint3d.matching import Matching, match
from lint3d.requirement import Requirement, worsened
from lint3d.snapshot import Snapshot, snapshot_of

#: Verdicts from good to bad; what is not judged is as good as passed.
_RANK = {"pass": 0, "informational": 0, "notApplicable": 0, "review": 1, "open": 2, "fail": 3}
_FINDINGS = ("fail", "open", "review")


@dataclass(frozen=True)
class Change:
    """One place in two reports; None where only one has it."""

    old: Result | None
    new: Result | None
    is_worse: bool = False

    @property
    def is_better(self) -> bool:
        """A failure that is none any more, or whose value is surely better."""
        if self.old is None or self.old.kind not in _FINDINGS:
            return False
        if self.new is None:
            return True
        if _RANK[self.new.kind] < _RANK[self.old.kind]:
            return True
        return self.new.kind == self.old.kind and _surely_worse(self.new, self.old)

    @property
    def is_cured(self) -> bool:
        """A failure that is none any more."""
        return (
            self.old is not None
            and self.old.kind == "fail"
            and (self.new is None or self.new.kind in ("pass", "informational", "notApplicable"))
        )

    @property
    def is_changed(self) -> bool:
        """Another verdict, limit, or a value that surely differs."""
        return self.old is None or self.new is None or _differs(self.old, self.new)


def changes(old: Snapshot, new: Snapshot) -> list[Change]:
    """Every place of two reports, by the new one's order, then what is gone."""
    matching: Matching = match(old, new)
    earlier = {id(after): before for before, after in matching.pairs}
    found = []
    for result in sorted(new.results, key=Result.sort_key):
        before = earlier.get(id(result))
        found.append(Change(before, result, _is_worse(before, result)))
    found += [Change(gone, None) for gone in sorted(matching.gone, key=Result.sort_key)]
    return found


def compare_with(inspection: Inspection, old: Snapshot) -> None:
    """Say of every result what it is against an earlier report, and list what is gone."""
    inspection.baseline = f"{old.name} (sha-256 {old.digest})"
    for change in changes(old, snapshot_of(inspection)):
        result = change.new
        if result is None:
            assert change.old is not None
            inspection.absent.append(replace(change.old, state="absent", conceded=None))
            continue
        # A failure that its concession does not cover any more is worse than it was.
        result.is_worse = change.is_worse or result.lapsed is not None
        if change.old is None:
            result.state = "new"
            continue
        result.state = "updated" if change.is_changed else "unchanged"
        before = change.old
        result.earlier = Earlier(before.kind, before.measured, before.lower, before.upper)


def any_worse(found: Iterable[Change]) -> bool:
    """Is there a failure that is new or worse, or something new that could not be measured?

    What is conceded does not count.
    """
    news = (change.new for change in found if change.is_worse)
    return any(
        new is not None and new.kind in ("fail", "open") and new.conceded is None for new in news
    )


def _is_worse(old: Result | None, new: Result) -> bool:
    if new.kind not in _FINDINGS:
        return False
    if old is None:
        return True
    if _surely_worse(old, new):
        return True
    if _RANK[new.kind] <= _RANK[old.kind]:
        return False
    # The verdict is worse. Where the values agree within their uncertainties and the limit is the
    # same, the part is as it was, and only the measurement came out on the other side.
    as_before = old.kind == "review" and new.kind == "fail"
    return not (as_before and _same_limit(old.requirement, new.requirement))


def _surely_worse(old: Result, new: Result) -> bool:
    """Are both measured, and the later one worse whatever the uncertainties?"""
    asked = new.requirement
    if asked is None or old.lower is None or new.lower is None:
        return False
    if old.requirement is not None and old.requirement.unit != asked.unit:
        return False
    return worsened((old.lower, old.upper), (new.lower, new.upper), asked)


def _differs(old: Result, new: Result) -> bool:
    if old.kind != new.kind or not _same_limit(old.requirement, new.requirement):
        return True
    if old.lower is None or new.lower is None:
        return (old.lower is None) != (new.lower is None)
    return _apart(old, new) or _apart(new, old)


def _apart(one: Result, other: Result) -> bool:
    """Does one value lie wholly below the other?"""
    if one.upper is None or other.lower is None:
        return False
    return one.upper < other.lower - (1e-6 * abs(other.lower) + 1e-9)


def _same_limit(old: Requirement | None, new: Requirement | None) -> bool:
    """The same kind, ends and unit; what else a sheet says of a limit is not in every report."""
    if old is None or new is None:
        return old is new
    return (old.kind, old.unit, _ends(old)) == (new.kind, new.unit, _ends(new))


def _ends(asked: Requirement) -> tuple[float | None, ...]:
    return tuple(None if x is None else float(f"{x:.11g}") for x in (asked.low, asked.high))
