"""How does a result of a report become a concession?

`lint3d concede` finds the result by the digits that tables show, checks that what is accepted makes
sense, and writes it behind the others (or in the place of the one for the same place).
"""

from __future__ import annotations

import json
import os
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from lint3d.concession import NEVER, Concession, read_concessions, shown_file
from lint3d.errors import ConfigurationError, Lint3dError
from lint3d.geometry.likeness import Likeness
from lint3d.inspection import Result
from lint3d.likeness_text import likeness_facts
from lint3d.matching import match
from lint3d.report.fingerprint import PLACE_KEY, SHORT, short_keys
from lint3d.report.plain import writable
from lint3d.report.wording import measured_text, position_text
from lint3d.requirement import Requirement, decide, number, relaxed
from lint3d.snapshot import Snapshot, read_report
from lint3d.units import quantity, shown

HEAD = """\
# Concessions (ISO 9000): what does not conform and is used all the same, until a day and up to a
# value. `lint3d concede` writes them; reason, by, until and up_to may be changed by hand.
"""


@dataclass(frozen=True)
class Wish:
    """What somebody wants to accept."""

    reason: str
    by: str
    until: date
    up_to: str
    """With or without a unit"""


def add_concession(
    report: str | os.PathLike[str], result: str, wish: Wish, path: Path, today: date
) -> Concession:
    """Write a concession for a result of a report.

    Parameters
    ----------
    result : the first digits of its key, as tables show them
    path : the file of concessions; made if it does not exist

    Raises
    ------
    Lint3dError : no or more than one such result, or one that cannot be conceded so
    """
    snapshot = read_report(report)
    found = find_result(snapshot, result)
    unit = _check(found, wish, today)
    likeness = None if found.body is None else snapshot.shapes.get((found.uri, found.body))
    concession = Concession(
        rule=found.rule,
        file=shown_file(found.uri, path.parent),
        body=found.body,
        up_to=quantity(wish.up_to, unit),
        unit=unit,
        reason=wish.reason.strip(),
        by=wish.by.strip(),
        until=wish.until,
        place=found.position,
        middle=found.centre,
        extent=found.extent,
        other=found.other,
        likeness=likeness,
    )
    _write(path, concession, _block(concession, found))
    return concession


def find_result(snapshot: Snapshot, digits: str) -> Result:
    """The result whose key begins so.

    Raises
    ------
    Lint3dError : none, or several, which are listed
    """
    wanted = digits.strip().lower()
    keys = short_keys(snapshot.results)
    whole = {id(one): one.known_as.get(PLACE_KEY, keys[id(one)]) for one in snapshot.results}
    fitting = [
        one
        for one in sorted(snapshot.results, key=Result.sort_key)
        if wanted and whole[id(one)].startswith(wanted)
    ]
    if len(fitting) == 1:
        return fitting[0]
    if fitting:
        listed = "".join(f"\n  {_line(one, whole[id(one)])}" for one in fitting[:20])
        raise Lint3dError(f"'{digits}' is the begin of {len(fitting)} results:{listed}")
    asking = [one for one in snapshot.results if one.kind in ("fail", "review")]
    listed = "".join(f"\n  {_line(one, whole[id(one)][:SHORT])}" for one in asking[:20])
    hint = f" What failed there:{listed}" if asking else " Nothing failed there."
    raise Lint3dError(f"{snapshot.name} has no result '{digits}'.{hint}")


def _line(one: Result, key: str) -> str:
    where = f" at {position_text(one.position)}" if one.position else ""
    body = f" '{one.body}'" if one.body is not None else ""
    return f"{key}  {one.kind}  {one.rule}{body} of {one.uri}{where}, {measured_text(one)}"


def _check(found: Result, wish: Wish, today: date) -> str:
    """Refuse what cannot be conceded, or not so; returns the unit."""
    asked = found.requirement
    if found.rule.startswith(NEVER):
        raise Lint3dError(
            f"{found.rule} cannot be conceded: a file that is not read as it is was not inspected."
        )
    if found.kind not in ("fail", "review"):
        raise Lint3dError(f"{found.rule} is '{found.kind}' there: there is nothing to concede.")
    if asked is None or found.measured is None or found.lower is None:
        raise Lint3dError(f"{found.rule} has no measured value there that could be conceded.")
    if not wish.reason.strip() or not wish.by.strip():
        raise Lint3dError("--reason and --by must say something.")
    if wish.until < today:
        raise Lint3dError(f"--until {wish.until.isoformat()}: the day is past.")
    try:
        up_to = quantity(wish.up_to, asked.unit)
    except ConfigurationError as error:
        raise Lint3dError(f"--up-to {wish.up_to}: {error}") from None
    wider = relaxed(asked, up_to)
    measured = measured_text(found)
    if wider == asked:
        raise Lint3dError(
            f"--up-to {wish.up_to}: {asked.text()} is required anyway. Measured is {measured}."
        )
    if decide(found.lower, found.upper, wider) == "fail":
        raise Lint3dError(
            f"--up-to {wish.up_to}: the place is worse than that already ({measured})."
        )
    return asked.unit


# --- the file -------------------------------------------------------------------------------------


def _write(path: Path, concession: Concession, block: str) -> None:
    try:
        old = path.read_bytes().decode("utf-8-sig") if path.exists() else HEAD
        text = old
        if path.exists():
            same = [c for c in read_concessions(path).each if _same_place(c, concession)]
            if same and same[0].line:
                text = _without(old, same[0].line)
        path.write_bytes(f"{text.rstrip()}\n\n{block}".lstrip().encode())
    except OSError as error:
        raise Lint3dError(f"{path}: cannot be written ({error.strerror}).") from None


def _same_place(one: Concession, other: Concession) -> bool:
    """Are two concessions about one place, even if the part was moved between them?"""
    if (one.rule, one.file, one.body) != (other.rule, other.file, other.body):
        return False
    old, new = (_as_report(c.likeness, c) for c in (one, other))
    return bool(match(old, new).pairs)


def _as_report(likeness: Likeness | None, one: Concession) -> Snapshot:
    meant = Result(
        one.rule, "fail", "", one.file, one.body, position=one.place, centre=one.middle,
        extent=one.extent, other=one.other,
    )  # fmt: skip
    return Snapshot([meant], {} if one.body is None else {(one.file, one.body): likeness})


def _without(text: str, line: int) -> str:
    """The text without the table that begins on a line (from 1)."""
    lines = text.split("\n")
    after = line
    while after < len(lines) and not lines[after].lstrip().startswith(("[[", "#")):
        after += 1
    return "\n".join(lines[: line - 1] + lines[after:])


def _block(one: Concession, found: Result) -> str:
    """The concession as TOML."""
    assert found.requirement is not None
    asked = _asked(found.requirement)
    lines = [
        "[[concession]]",
        f"rule   = {_text(one.rule)}",
        f"file   = {_text(one.file)}",
    ]
    if one.body is not None:
        lines.append(f"body   = {_text(one.body)}")
    if one.other is not None:
        lines.append(f"other  = {_text(one.other)}")
    lines += [
        f"up_to  = {one.up_to!r}  # {_comment(measured_text(found))} measured, {asked} required",
        f"unit   = {_text(one.unit)}",
        f"reason = {_text(one.reason)}",
        f"by     = {_text(one.by)}",
        f"until  = {one.until.isoformat()}",
    ]
    if one.place is not None:
        lines.append(f"place  = {_point(one.place)}  # mm")
    if one.middle is not None:
        lines.append(f"middle = {_point(one.middle)}")
    if one.extent is not None:
        lines.append(f"extent = {round(one.extent, 3)!r}")
    if one.likeness is not None:
        lines += ["[concession.likeness]  # by which the body is known again after it was moved"]
        lines += [
            f"{key} = {_text(value) if isinstance(value, str) else repr(value)}"
            for key, value in likeness_facts(one.likeness).items()
        ]
    return "\n".join(lines) + "\n"


def _asked(requirement: Requirement) -> str:
    if requirement.kind == "none":
        return "none"
    limit = requirement.limit
    ends = limit if isinstance(limit, tuple) else (limit,)
    return f"{requirement.kind} {' to '.join(map(number, ends))}{shown(requirement.unit)}"


def _comment(text: str) -> str:
    return " ".join(text.split())


def _point(point: tuple[float, float, float]) -> str:
    return "[" + ", ".join(repr(round(x, 3) + 0.0) for x in point) + "]"


def _text(text: str) -> str:
    """A TOML basic string: as JSON, which escapes what TOML forbids but for one character."""
    return json.dumps(writable(text), ensure_ascii=False).replace("\x7f", "\\u007f")
