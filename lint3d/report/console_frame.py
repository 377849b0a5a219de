"""What stands before and behind the table: which limits hold, what went wrong, what comes next?"""

from __future__ import annotations

from collections import Counter

from lint3d.inspection import Inspection, Notification, Override
from lint3d.report.console_lines import Lines
from lint3d.report.wording import (
    MEANINGS,
    count,
    file_text,
    override_key,
    requirement_text,
    sentence,
)

_LEVELS = {"error": "ERROR", "warning": "warning", "note": "note"}
#: Kinds as words of the table.
WORDS: dict[str, str] = {
    "fail": "FAIL",
    "open": "OPEN",
    "review": "REVIEW",
    "informational": "info",
    "pass": "pass",
    "notApplicable": "n/a",
}
_COUNTED = {
    "fail": "FAIL",
    "open": "OPEN",
    "review": "REVIEW",
    "conceded": "conceded",
    "informational": "for information",
    "pass": "pass",
    "notApplicable": "not applicable",
}


def header(out: Lines, inspection: Inspection, verbose: bool) -> None:
    """Which sheet holds, what differs from it, which rules are off."""
    sheet = inspection.sheet
    words = [f"'{sheet.title}' ({sheet.name})" if sheet.title else sheet.name]
    if len(sheet.chain) > 1:
        words.append("based on " + ", ".join(sheet.chain[1:]))
    if sheet.assumed:
        words.append("the default, because none was chosen")
    out.say(", ".join(words) + ".", lead="Process sheet: ")
    for number, item in enumerate(sorted(inspection.overrides, key=override_key)):
        out.say(_override(item), lead="Changed:       " if number == 0 else " " * 15)
    if inspection.concessions is not None:
        out.say(_file_name(inspection.concessions) + ".", lead="Concessions:   ")
    if inspection.baseline is not None:
        out.say(_file_name(inspection.baseline) + ".", lead="Compared with: ")
    off = [rule for rule in inspection.rules if rule.off]
    if off and not verbose:
        told = f"{count(len(off), 'rule')} (the verbose report lists them)."
        out.say(told, lead="Turned off:    ")
    elif verbose:
        for number, rule in enumerate(sorted(off, key=lambda rule: rule.id)):
            lead = "Turned off:    " if number == 0 else " " * 15
            out.say(f"{rule.id}: {sentence(rule.off or '')}", lead=lead)


def _file_name(used: str) -> str:
    """The name without the digest behind it."""
    return used.partition(" (sha-256 ")[0]


def _override(item: Override) -> str:
    asked = requirement_text(item.requirement) if item.requirement else "off"
    where = f" for {file_text(item.uri)}" if item.uri else ""
    return f"{item.rule} {asked}{where} ({item.origin})."


def trouble(out: Lines, notes: list[Notification]) -> None:
    """What went wrong in the run itself."""
    if not notes:
        return
    out.blank()
    out.rule("TROUBLE IN THIS RUN")
    for note in sorted(notes, key=lambda note: (list(_LEVELS).index(note.level), note.sort_key())):
        about = [file_text(note.uri)] if note.uri else []
        about += [f"rule {note.rule}"] if note.rule else []
        about += [f"plugin {note.plugin}"] if note.plugin else []
        subject = ", ".join(about) + ": " if about else ""
        style = "fail" if note.level == "error" else None
        # The file stands at the head of the line: no need to name it again.
        message = note.message.removeprefix(note.uri or "").lstrip()
        out.say(subject + sentence(message), lead=f"  {_LEVELS[note.level]:<8} ", style=style)


def summary(out: Lines, inspection: Inspection) -> None:
    """How many of each, what that means, and what to do next."""
    found = _counts(inspection)
    files = [item for item in inspection.artifacts if item.parent is None]
    bodies = sum(len(item.bodies) for item in files)
    out.blank()
    out.rule("SUMMARY")
    told = [f"{found[kind]} {word}" for kind, word in _COUNTED.items() if found.get(kind)]
    counts = ", ".join(told) or "no results"
    out.say(f"{count(len(files), 'file')}, {count(bodies, 'body', 'bodies')}: {counts}.", 2)
    if inspection.baseline is not None:
        out.say(_since(inspection), 2)
    for verdict, style in _outcome(inspection, found):
        out.say(verdict, 2, style=style)
    for advice in _advice(inspection, found):
        out.say(advice, 4, lead="- ")


def _counts(inspection: Inspection) -> dict[str, int]:
    """How many results of each kind; what is conceded counts by itself."""
    return Counter("conceded" if r.conceded else r.kind for r in inspection.results)


def _since(inspection: Inspection) -> str:
    """What became of the findings of the earlier report."""
    findings = [r for r in inspection.results if r.kind in ("fail", "open", "review")]
    new = sum(r.state == "new" for r in findings)
    worse = sum(r.is_worse and r.state != "new" for r in findings)
    cured = sum(r.kind == "fail" for r in inspection.absent)
    cured += sum(
        r.earlier is not None and r.earlier.kind == "fail" and r.kind == "pass"
        for r in inspection.results
    )
    as_before = len(findings) - new - worse
    earlier = _file_name(inspection.baseline or "")
    return f"Since {earlier}: {new} new, {worse} worse, {cured} cured, {as_before} as before."


def _outcome(inspection: Inspection, found: dict[str, int]) -> list[tuple[str, str]]:
    """The whole in a line; two if something is missing besides."""
    said = []
    if not inspection.complete:
        said.append(("INCOMPLETE: not everything could be inspected.", "fail"))
    if found.get("fail"):
        known = inspection.baseline is not None and not any(
            r.is_worse for r in inspection.results if r.kind == "fail" and r.conceded is None
        )
        but = ", but nothing is new or worse" if known else ""
        said.append((f"FAILED: at least one requirement is broken{but}.", "fail"))
    elif found.get("open"):
        said.append(("OPEN: nothing failed, but not everything could be measured.", "open"))
    elif found.get("review"):
        said.append(("TO REVIEW: nothing failed, but something is too near its limit.", "review"))
    elif found.get("conceded"):
        said.append(("PASSED WITH CONCESSIONS: what fails is accepted for now.", "review"))
    elif not said and found.get("pass"):
        said.append(("PASSED: every requirement that was looked at is met.", "pass"))
    elif not said:
        said.append(("NOTHING JUDGED: nothing was compared with a limit.", "review"))
    return said


def _advice(inspection: Inspection, found: dict[str, int]) -> list[str]:
    """What to do next, most pressing first."""
    advice = []
    if not inspection.complete:
        advice.append("Put right what stands under TROUBLE; until then the report has gaps.")
    if found.get("fail"):
        advice.append("FAIL: correct the model as each remedy says, then inspect again.")
    if found.get("open"):
        advice.append(
            f"OPEN: {MEANINGS['open']}. The reason stands below each; often another "
            "failure explains it: correct that one first."
        )
    if found.get("review"):
        advice.append(f"REVIEW: {MEANINGS['review']}. Move away from the limit, or agree to it.")
    return advice
