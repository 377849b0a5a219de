"""What was cured since an earlier report, what came, and what moved by how much?

The text of `lint3d compare`: places by file and body, what got worse first.
"""

from __future__ import annotations

from collections.abc import Iterable

from lint3d.baseline import Change
from lint3d.inspection import Result
from lint3d.report.cells import safe
from lint3d.report.console_lines import Lines
from lint3d.report.wording import count, file_text, measured_text, position_text, requirement_text
from lint3d.requirement import number
from lint3d.snapshot import Snapshot
from lint3d.units import shown

_FINDINGS = ("fail", "open", "review")
#: Sections in the order of what a person wants to know first.
SECTIONS = {
    "worse": "GOT WORSE",
    "new": "NEW",
    "cured": "CURED",
    "better": "GOT BETTER, BUT NOT CURED",
    "changed": "CHANGED",
}


def section(change: Change) -> str | None:
    """Where a change is told; None for what is as it was, and for what does not matter."""
    old, new = change.old, change.new
    if change.is_worse:
        was_finding = old is not None and old.kind in _FINDINGS
        return "worse" if was_finding else "new"
    if change.is_cured:
        return "cured"
    if change.is_better:
        return "better"
    if old is None or new is None:
        return None
    asked = {old.kind, new.kind} & set(_FINDINGS)
    return "changed" if asked and change.is_changed else None


def moved_by(old: Result, new: Result) -> str:
    """The value then and now: "0.350 ± 0.001 mm -> 0.300 ± 0.001 mm (-0.05 mm)"."""
    before, after = measured_text(old), measured_text(new)
    if old.measured is None or new.measured is None:
        return f"{before} -> {after}"
    if before == after:
        return after
    unit = new.requirement.unit if new.requirement else "1"
    step = new.measured - old.measured
    return f"{before} -> {after} ({'+' if step > 0 else '-'}{number(abs(step))}{shown(unit)})"


def render_comparison(
    old: Snapshot, new: Snapshot, changes: Iterable[Change], width: int = 80, verbose: bool = False
) -> str:
    """The comparison as text, for people.

    Parameters
    ----------
    verbose : also tell what failed then and fails now, unchanged
    """
    out = Lines(width, colour=False)
    changes = list(changes)
    by_section: dict[str, list[Change]] = {key: [] for key in SECTIONS}
    for change in changes:
        if (key := section(change)) is not None:
            by_section[key].append(change)
    if old.sheet != new.sheet:
        out.say("The two reports were made with different process sheets.", lead="Note: ")
    if not new.complete:
        out.say("The new report is incomplete: see its notifications.", lead="Note: ")
    for key, found in by_section.items():
        if found:
            _section(out, SECTIONS[key], found)
    still = [
        c for c in changes
        if c.old and c.new and c.new.kind in _FINDINGS and section(c) is None
    ]  # fmt: skip
    if verbose and still:
        _section(out, "UNCHANGED", still)
    out.blank()
    told = [f"{len(found)} {key}" for key, found in by_section.items() if found]
    told.append(f"{count(len(still), 'finding')} unchanged")
    out.say(f"Against {old.name}: {', '.join(told)}.")
    return out.text()


def _section(out: Lines, title: str, changes: list[Change]) -> None:
    out.blank()
    out.rule(title)
    for change in changes:
        known = change.new or change.old
        assert known is not None
        where = f" at {position_text(known.position)} mm" if known.position else ""
        body = f" '{known.body}'" if known.body is not None else ""
        out.say(safe(f"{known.rule}{body} of {file_text(known.uri)}{where}"), 1)
        for line in change_lines(change):
            out.say(safe(line), 5)


def change_lines(change: Change) -> list[str]:
    """What happened, in a line or two."""
    lines = _told(change)
    if change.new is not None and change.new.conceded is not None:
        lines.append(f"conceded: {change.new.conceded.reason}")
    return lines


def _told(change: Change) -> list[str]:
    old, new = change.old, change.new
    if new is None:
        assert old is not None
        return [f"Was {old.kind}, {measured_text(old)}; nothing is found there now."]
    if old is None:
        asked = requirement_text(new.requirement)
        required = f"; required: {asked}" if asked != "–" else ""
        return [f"{new.kind}: {measured_text(new)}{required}."]
    kinds = new.kind if old.kind == new.kind else f"{old.kind} -> {new.kind}"
    lines = [f"{kinds}: {moved_by(old, new)}"]
    before, after = requirement_text(old.requirement), requirement_text(new.requirement)
    lines.append(f"required: {after}" if before == after else f"required: {before} -> {after}")
    return lines
