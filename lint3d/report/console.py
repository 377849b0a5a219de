"""What does an inspection look like in a terminal, or in a log?

A table by file and body, what fails first, one line a place, with what to do below. Every meaning
is carried by words; colour, if asked for, only repeats it. No line is wider than asked, and nothing
that a file calls itself can control the terminal.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable

from lint3d.inspection import Artifact, Inspection, Result, RuleFacts
from lint3d.report.cells import columns, safe, shortened
from lint3d.report.console_frame import WORDS, header, summary, trouble
from lint3d.report.console_lines import Lines
from lint3d.report.fingerprint import short_keys
from lint3d.report.table import Column, Layout, layout
from lint3d.report.wording import (
    RANK,
    count,
    file_text,
    measured_text,
    other_text,
    position_text,
    requirement_text,
    sentence,
    since_text,
    with_signs,
)
from lint3d.requirement import number

#: Columns of a terminal; narrower than this nothing can be read.
NARROWEST = 40
_QUIET = frozenset({"fail", "open"})
_USUAL = _QUIET | {"review", "informational"}
_TABLE = (
    Column("verdict", 8, 7),
    Column("characteristic", 18, 7, 2, is_whole=True),
    Column("required", 8, 7, 3),
    Column("measured", 16, 7, 1),
    Column("at x, y, z (mm)", 17, 7, 0),
    Column("result", 8, 8),
)
#: A way out is told where it became this many times as wide or as narrow; reports have it whole.
TURN = 1.5
#: In a narrower table there is no room for the key of a result.
_KEYS_FROM = 60


def render(
    inspection: Inspection,
    *,
    width: int = 80,
    colour: bool = False,
    verbose: bool = False,
    quiet: bool = False,
) -> str:
    """The inspection as text, for people.

    Parameters
    ----------
    width : columns of the terminal that no line exceeds; 40 if less is given
    colour : also colour the verdicts (ECMA-48 escapes)
    verbose : list what passed and what was not applicable, too, and which rules are off
    quiet : list only what failed or is open, and the summary; errors of the run always show
    """
    out = Lines(max(width, NARROWEST), colour)
    kinds = _QUIET if quiet else frozenset(RANK) if verbose else _USUAL
    table = _Table(out, inspection, kinds, verbose)
    if not quiet:
        header(out, inspection, verbose)
    for uri in table.files(every=not quiet):
        table.file(uri, count_hidden=not quiet)
    notes = inspection.notifications
    trouble(out, [note for note in notes if note.level == "error"] if quiet else notes)
    summary(out, inspection)
    return out.text()


class _Table:
    """The table of one inspection."""

    def __init__(
        self, out: Lines, inspection: Inspection, kinds: frozenset[str], verbose: bool
    ) -> None:
        self._out = out
        self._verbose = verbose
        self._kinds = kinds
        self._rules = {rule.id: rule for rule in inspection.rules}
        self._artifacts = {item.uri: item for item in inspection.artifacts if item.parent is None}
        self._of_file: dict[str, list[Result]] = {uri: [] for uri in self._artifacts}
        for result in inspection.results:
            self._of_file.setdefault(result.uri, []).append(result)
        self._keys = short_keys(inspection.results)
        self._columns = _TABLE if out.width >= _KEYS_FROM else _TABLE[:-1]
        self._signs = False
        shown = self._shown(inspection.results)
        rows = [self._cells(result) for result in shown]
        self._layout: Layout = layout(self._columns, rows, out.width, indent=1)
        if any(columns(row[2]) > self._layout.widths[2] for row in rows):
            self._signs = True  # limits in words do not fit: signs are shorter
            rows = [self._cells(result) for result in shown]
            self._layout = layout(self._columns, rows, out.width, indent=1)

    def files(self, every: bool) -> list[str]:
        """The files, worst first; with `every` also those that have nothing to show."""
        shown = [uri for uri, found in self._of_file.items() if every or self._shown(found)]
        return sorted(shown, key=lambda uri: (_worst(self._of_file[uri]), uri))

    def file(self, uri: str, count_hidden: bool) -> None:
        """One file: what it is, its bodies, and how much more was found than is shown."""
        out, found = self._out, self._of_file[uri]
        out.blank()
        out.rule(file_text(uri) or "(no file)")
        if uri in self._artifacts:
            out.say(_facts(self._artifacts[uri]))
        shown = self._shown(found)
        if any(result.kind != "informational" for result in shown):
            heading = [column.heading for column in self._columns]
            out.add(self._layout.row(heading, lambda _, text: out.paint(text, "quiet")))
        for subject, results in _grouped(shown, _subject):
            self._body(subject, results)
        if count_hidden:
            self._count_hidden(found)

    def _shown(self, results: Iterable[Result]) -> list[Result]:
        quiet = self._kinds == _QUIET
        shown = (result for result in results if result.kind in self._kinds)
        return [result for result in shown if not (quiet and result.conceded)]

    def _body(self, subject: str, results: list[Result]) -> None:
        self._out.blank()
        self._out.say(shortened(safe(subject), self._out.width), style="heading")
        for rule, places in _grouped(results, lambda result: result.rule):
            self._rule(self._rules.get(rule), places)

    def _rule(self, rule: RuleFacts | None, results: list[Result]) -> None:
        """The places of one rule on one body, with what holds for all of them said once."""
        title = sentence(rule.title) if rule else ""
        notes = [_own_words(result, title) for result in results]
        common = notes[0] if len(set(notes)) == 1 else ""
        if title and not all(notes):
            common = f"{title} {common}".strip()
        if all(result.kind == "pass" for result in results):
            common, notes = "", [""] * len(results)
        single = len(results) == 1
        for result, note in zip(results, notes, strict=True):
            self._place(result, "" if note in common else note, common if single else "")
        if common and not single:
            self._out.say(common, self._layout.second)
        asking = (
            result
            for result in results
            if result.kind in ("fail", "open", "review") and not result.conceded
        )
        for remedy in dict.fromkeys(sentence(result.remedy) for result in asking):
            if remedy:
                self._out.say(remedy, self._layout.second, lead="Remedy: ")

    def _place(self, result: Result, *notes: str) -> None:
        """One line, and below it what is special to this place."""

        def paint(column: int, text: str) -> str:
            style = "review" if result.conceded else result.kind
            return self._out.paint(text, style if column == 0 else None)

        self._out.add(self._layout.row(self._cells(result), paint))
        details = [*notes, other_text(result), *map(sentence, result.remarks)]
        if result.kind in _QUIET or result.kind == "review":
            details.append(since_text(result))
        if self._verbose:
            details += [_faceting(result), _way(result)]
        for detail in filter(None, details):
            self._out.say(detail, self._layout.second)

    def _cells(self, result: Result) -> tuple[str, ...]:
        unit = self._rules[result.rule].unit if result.rule in self._rules else "1"
        asked = requirement_text(result.requirement)
        cells = (
            "conceded" if result.conceded else WORDS[result.kind],
            result.rule,
            with_signs(asked) if self._signs else asked,
            measured_text(result, unit),
            _where(result),
            self._keys[id(result)] if result.kind in ("fail", "review") else "",
        )
        return tuple(safe(cell) for cell in cells[: len(self._columns)])

    def _count_hidden(self, results: list[Result]) -> None:
        hidden = [result.kind for result in results if result.kind not in self._kinds]
        passed, absent = hidden.count("pass"), hidden.count("notApplicable")
        if not results:
            self._out.say("No rule looked at this file.")
        elif hidden:
            also = len(hidden) < len(results)
            what = [f"{passed} passed"] if passed else []
            what += [f"{absent} not applicable"] if absent else []
            if also:
                self._out.blank()
            self._out.say(f"{'Also: ' if also else ''}{', '.join(what)}.")


def _worst(results: Iterable[Result]) -> int:
    return min((_rank(result) for result in results), default=len(RANK))


def _rank(result: Result) -> int:
    """What is accepted for now stands with what a person has to decide."""
    return RANK["review" if result.conceded else result.kind]


def _grouped(
    results: Iterable[Result], key: Callable[[Result], str]
) -> Iterable[tuple[str, list[Result]]]:
    """Groups with what is worst first, within them and among them."""
    groups: dict[str, list[Result]] = {}
    for result in sorted(results, key=lambda result: (_rank(result), result.sort_key())):
        groups.setdefault(key(result), []).append(result)
    return groups.items()


def _subject(result: Result) -> str:
    if result.body is not None:
        return f"Body '{result.body}'"
    return "The file as a whole" if result.part is None else f"Part '{result.part}'"


def _facts(file: Artifact) -> str:
    """What the file is, and where its unit came from."""
    if file.format is None:
        return "Could not be read."
    origin = {"found": "as the file says", "given": "as given", "assumed": "assumed"}
    unit = f"unit {file.unit} ({origin.get(file.unit_origin or '', 'of unknown origin')})"
    sizes = f"{count(len(file.bodies), 'body', 'bodies')}, {count(file.faces, 'face')}"
    return f"{file.format}, {unit if file.unit else 'no unit'}, {sizes}."


def _own_words(result: Result, title: str) -> str:
    """What the message says beyond the title of its rule."""
    message = sentence(result.message)
    rest = message.removeprefix(title).strip() if title else message
    return rest


def _where(result: Result) -> str:
    """The position; else the place in the file."""
    if result.position is not None:
        return position_text(result.position)
    region = result.region
    if region is None:
        return ""
    if region.start_line is not None:
        last = region.end_line or region.start_line
        single = last == region.start_line
        return f"line {last}" if single else f"lines {region.start_line} to {last}"
    return "" if region.byte_offset is None else f"byte {region.byte_offset}"


def _faceting(result: Result) -> str:
    if not result.faceting:
        return ""
    return f"The smooth shape may differ from its facets by up to {number(result.faceting)} mm."


def _way(result: Result) -> str:
    """The path to the outside, in one sentence: its named steps, and where its width changes."""
    steps: list[str] = []
    last: float | None = None
    for step in result.path:
        if not step.label and last and step.value and last / TURN < step.value < last * TURN:
            continue
        last = step.value
        steps.append(f"{step.label} {'' if step.value is None else number(step.value)}".strip())
    return f"The way out: {', '.join(steps)}." if steps else ""
