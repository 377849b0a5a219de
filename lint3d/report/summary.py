"""What does a reviewer of a pull request have to know?

A summary in Markdown: what got worse or is new, what was cured, what is conceded; without an
earlier report, what failed. With pictures, where they were written. Names from files are shown,
never understood as markup.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from urllib.parse import quote

from lint3d.inspection import Inspection, Result
from lint3d.report.fingerprint import short_keys
from lint3d.report.plain import writable
from lint3d.report.wording import (
    RANK,
    count,
    file_text,
    measured_text,
    position_text,
    requirement_text,
)

#: Rows of one table; a pull request is no place for more.
MOST_ROWS = 50
#: What Markdown, or the dashboards that show it, could take for a sign, a link or a mention.
_MARKUP = re.compile(r"([\\`*_{}\[\]#|~<>@&$]|:(?=\S)|(?<=www)\.)", re.IGNORECASE)
_FINDINGS = ("fail", "open", "review")
_HEAD = ("", "characteristic", "body", "required", "measured", "at x, y, z (mm)", "result")


class SummaryWriter:
    """The summary for a pull request."""

    name = "summary"
    suffixes = (".md",)
    needs: frozenset[str] = frozenset()

    def write(self, inspection: Inspection) -> bytes:
        """Markdown with tables, in UTF-8."""
        return writable(summary(inspection)).encode("utf-8")


def summary(inspection: Inspection) -> str:
    """The summary as text."""
    table = _Tables(inspection)
    lines = [f"# {_headline(inspection)}", "", *_facts(inspection), ""]
    lines += _trouble(inspection)
    findings = [r for r in inspection.results if r.kind in _FINDINGS]
    free = [r for r in findings if not r.conceded]
    if inspection.baseline is None:
        lines += table.of("What failed or is not known", [r for r in free if r.kind != "review"])
        lines += table.of("To review", [r for r in free if r.kind == "review"])
    else:
        lines += table.of("Got worse", [r for r in free if r.is_worse and r.state != "new"])
        lines += table.of("New", [r for r in free if r.state == "new"])
        lines += table.of("Cured", _cured(inspection), cured=True)
        lines += table.of("As before", [r for r in free if not r.is_worse and r.state != "new"])
    lines += table.of("Conceded", [r for r in findings if r.conceded])
    return "\n".join(lines).rstrip() + "\n"


def escaped(text: str) -> str:
    r"""The text as Markdown shows it letter by letter, on one line.

    Examples
    --------
    >>> escaped("a|b <img src=x> @all [x](y)")
    'a\\|b \\<img src=x\\> \\@all \\[x\\](y)'
    """
    line = " ".join("".join(c if c.isprintable() else " " for c in text).split())
    return _MARKUP.sub(r"\\\1", line)


def _headline(inspection: Inspection) -> str:
    counted = [r for r in inspection.results if r.conceded is None]
    failed = [r for r in counted if r.kind == "fail"]
    worse = [r for r in counted if r.is_worse and r.kind in ("fail", "open")]
    if not inspection.complete:
        return "Inspection incomplete"
    if inspection.baseline is not None:
        if worse:
            return f"{count(len(worse), 'place')} new or worse"
        return "Nothing got worse"
    if failed:
        return f"{count(len(failed), 'place')} failed"
    if any(r.kind == "open" for r in counted):
        return "Not everything could be measured"
    return "Nothing failed"


def _facts(inspection: Inspection) -> list[str]:
    """Sheet, files, and what it was compared with."""
    sheet = inspection.sheet
    files = [item for item in inspection.artifacts if item.parent is None]
    bodies = sum(len(item.bodies) for item in files)
    said = [
        f"{count(len(files), 'file')}, {count(bodies, 'body', 'bodies')}; process sheet "
        f"{escaped(sheet.title or sheet.name)} ({escaped(sheet.name)})."
    ]
    for used, words in (
        (inspection.baseline, "Compared with"),
        (inspection.concessions, "Concessions:"),
    ):
        if used is not None:
            said.append(f"{words} {escaped(used.partition(' (sha-256 ')[0])}.")
    return [" ".join(said)]


def _trouble(inspection: Inspection) -> list[str]:
    notes = [note for note in inspection.notifications if note.level != "note"]
    if not notes:
        return []
    lines = ["## Trouble in this run", ""]
    lines += [f"- {note.level}: {escaped(note.message)}" for note in notes[:MOST_ROWS]]
    return [*lines, ""]


def _cured(inspection: Inspection) -> list[Result]:
    """Failures of the earlier report that are none any more."""
    healed = [
        r for r in inspection.results
        if r.earlier is not None and r.earlier.kind == "fail" and r.kind not in _FINDINGS
    ]  # fmt: skip
    return healed + [r for r in inspection.absent if r.kind == "fail"]


class _Tables:
    """Tables of results."""

    def __init__(self, inspection: Inspection) -> None:
        self._keys = short_keys(inspection.results)
        self._units = {rule.id: rule.unit for rule in inspection.rules}
        self._pictures = _pictures(inspection)

    def of(self, title: str, results: Iterable[Result], cured: bool = False) -> list[str]:
        """A table with its title, and the pictures below it; nothing without results."""
        rows = sorted(results, key=lambda r: (RANK[r.kind], r.sort_key()))
        if not rows:
            return []
        lines = [f"## {title}", "", _row(_HEAD), _row(["---"] * len(_HEAD))]
        lines += [_row(self._cells(r, cured)) for r in rows[:MOST_ROWS]]
        if len(rows) > MOST_ROWS:
            lines += ["", f"And {len(rows) - MOST_ROWS} more: see the whole report."]
        shown = [r for r in rows[:MOST_ROWS] if id(r) in self._pictures] if not cured else []
        for result in shown:
            name = f"{result.rule} {self._keys[id(result)]}"
            lines += ["", f"![{escaped(name)}]({self._pictures[id(result)]})"]
        return [*lines, ""]

    def _cells(self, result: Result, cured: bool) -> list[str]:
        unit = self._units.get(result.rule, "1")
        verdict = "cured" if cured else "conceded" if result.conceded else result.kind
        body = f"{result.body} of " if result.body is not None else ""
        measured = "not found any more" if result.state == "absent" else _then_and_now(result, unit)
        return [
            f"**{verdict}**" if verdict == "fail" else verdict,
            escaped(result.rule),
            escaped(f"{body}{file_text(result.uri)}"),
            escaped(requirement_text(result.requirement)),
            escaped(measured),
            "" if result.position is None else escaped(position_text(result.position)),
            self._keys.get(id(result), ""),
        ]


def _then_and_now(result: Result, unit: str) -> str:
    """What was measured, and before it what the earlier report says, if that is another value."""
    now = measured_text(result, unit)
    if result.conceded is not None:
        now += f"; until {result.conceded.until.isoformat()}: {result.conceded.reason}"
    elif result.lapsed is not None:
        now += f"; {result.lapsed}"
    before = result.earlier
    if before is None or before.measured is None or result.state != "updated":
        return now
    then = Result(
        result.rule, before.kind, "", result.uri, requirement=result.requirement,
        measured=before.measured, lower=before.lower, upper=before.upper,
    )  # fmt: skip
    return f"{measured_text(then, unit)} → {now}"


def _row(cells: Iterable[str]) -> str:
    return f"| {' | '.join(cells)} |"


def _pictures(inspection: Inspection) -> dict[int, str]:
    """Where the picture of each result lies, as seen from the summary; by `id(result)`."""
    folder = inspection.picture_folder
    if folder is None:
        return {}
    from lint3d.report.picture import result_names

    names = result_names(inspection.results)
    return {
        id(result): quote(f"{folder}/{name}.png")
        for result, name in zip(inspection.results, names, strict=True)
        if f"{name}.png" in inspection.picture_names
    }
