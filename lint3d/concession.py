"""Which failures are accepted on purpose, by whom, until when and up to which value?

A *concession* (ISO 9000) is the permission to use or release what does not conform. Concessions
stand in `concessions.toml`, beside `lint3d.toml` or where `--concessions` says; never is one picked
up from the folder of an inspected file. A concession covers one place of one rule on one body,
until a date and up to a value. It hides nothing: the result stays in every report, with the
concession beside it. What concerns the reading of files cannot be conceded, nor can a crash.
"""

from __future__ import annotations

import hashlib
import os
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from pathlib import Path
from typing import Any

from lint3d.geometry.likeness import Likeness
from lint3d.inspection import Conceded, Inspection, Notification, Result
from lint3d.likeness_text import KEYS as LIKENESS_KEYS
from lint3d.likeness_text import likeness_from
from lint3d.matching import match
from lint3d.report.wording import file_text
from lint3d.requirement import decide, number, relaxed
from lint3d.snapshot import Snapshot, snapshot_of
from lint3d.tomlfile import TomlFile
from lint3d.units import shown

FILE_NAME = "concessions.toml"
#: Rules of this family say that a file could not be inspected as it is.
NEVER = "file/"
_KEYS = (
    "rule", "file", "body", "other", "place", "middle", "extent", "up_to", "unit", "reason", "by",
    "until", "likeness",
)  # fmt: skip
_NEEDED = ("rule", "file", "up_to", "unit", "reason", "by", "until")
#: The file is not in the run, or no longer there: only what the body is known by can find it.
_ELSEWHERE = "\0"


@dataclass(frozen=True)
class Concession:
    """One accepted deviation."""

    rule: str
    file: str
    """As a path from the folder of the concessions"""
    body: str | None
    up_to: float
    unit: str
    reason: str
    by: str
    until: date
    place: tuple[float, float, float] | None = None
    middle: tuple[float, float, float] | None = None
    extent: float | None = None
    other: str | None = None
    likeness: Likeness | None = field(default=None, compare=False)
    line: int | None = None
    """Where it stands in the file"""

    def text(self) -> str:
        """For people: rule, body and file."""
        body = f" on '{self.body}'" if self.body is not None else ""
        return f"{self.rule}{body} of {self.file}"


@dataclass(frozen=True)
class Concessions:
    """A file of concessions."""

    path: Path
    each: tuple[Concession, ...]
    digest: str
    """SHA-256 of the file"""

    @property
    def name(self) -> str:
        """For reports: without folders of this machine."""
        relative = os.path.relpath(self.path)
        outside = relative.startswith("..") or os.path.isabs(relative)
        return self.path.name if outside else Path(relative).as_posix()


def read_concessions(path: Path) -> Concessions:
    """Read a file of concessions.

    Raises
    ------
    ConfigurationError : with file, line and the nearest right key
    """
    file = TomlFile(path)
    file.check_keys(file.data, ("concession",))
    tables = file.data.get("concession", [])
    if not isinstance(tables, list):
        raise file.error("write [[concession]] with two brackets.", "concession")
    each = tuple(_concession(file, row, table) for row, table in enumerate(tables))
    return Concessions(path, each, hashlib.sha256(path.read_bytes()).hexdigest())


def _concession(file: TomlFile, row: int, table: Any) -> Concession:
    at = ("concession", str(row))
    file.check_keys(table, _KEYS, *at)
    for key in _NEEDED:
        if key not in table:
            raise file.error(f"a concession needs '{key}'.", *at)
    texts = {
        key: file.take(table, key, str, *at)
        for key in ("rule", "file", "body", "other", "unit", "reason", "by")
    }
    for key in ("rule", "file", "reason", "by"):
        if not texts[key].strip():
            raise file.error(f"'{key}' is empty.", *at, key)
    if texts["rule"].startswith(NEVER):
        raise file.error(
            f"'{texts['rule']}' cannot be conceded: a file that is not read as it is was not "
            "inspected. Remove this concession.", *at, "rule",
        )  # fmt: skip
    until = table["until"]
    if isinstance(until, datetime) or not isinstance(until, date):
        raise file.error("'until' must be a date such as 2027-01-31, without quotes.", *at, "until")
    up_to = file.take(table, "up_to", (int, float), *at)
    extent = file.take(table, "extent", (int, float), *at)
    return Concession(
        **texts,
        up_to=float(up_to),
        until=until,
        place=_point(file, table, "place", at),
        middle=_point(file, table, "middle", at),
        extent=None if extent is None else float(extent),
        likeness=_likeness(file, table, at),
        line=file.line(*at),
    )


def _point(
    file: TomlFile, table: Mapping[str, Any], key: str, at: tuple[str, ...]
) -> tuple[float, float, float] | None:
    value = table.get(key)
    if value is None:
        return None
    fits = isinstance(value, list) and len(value) == 3
    if not fits or not all(
        isinstance(x, int | float) and not isinstance(x, bool) and abs(x) < 1e9 for x in value
    ):
        raise file.error(f"'{key}' must be a list of three numbers in mm.", *at, key)
    x, y, z = (float(v) for v in value)
    return (x, y, z)


def _likeness(file: TomlFile, table: Mapping[str, Any], at: tuple[str, ...]) -> Likeness | None:
    if "likeness" not in table:
        return None
    file.check_keys(table["likeness"], LIKENESS_KEYS, *at, "likeness")
    try:
        return likeness_from(table["likeness"])
    except ValueError as error:
        raise file.error(
            f"likeness: {error}. Concede the place anew with `lint3d concede`.", *at, "likeness"
        ) from None


# --- what they cover ------------------------------------------------------------------------------


def concede(
    inspection: Inspection, concessions: Concessions, today: date, paths: Mapping[str, str]
) -> None:
    """Mark what is conceded, say what is not covered any more, and tell unused concessions.

    Parameters
    ----------
    paths : where each file of the inspection (by its name in the report) lies
    """
    inspection.concessions = f"{concessions.name} (sha-256 {concessions.digest})"
    files = {os.path.abspath(path): uri for uri, path in paths.items()}
    bodies = snapshot_of(inspection)
    used: set[int] = set()
    # What holds goes first: a place with an old and a new concession belongs to the new one.
    order = sorted(enumerate(concessions.each), key=lambda pair: pair[1].until < today)
    for row, concession in order:
        uri = _uri(concession, concessions.path.parent, files, paths)
        result = None if uri is None else _covered_place(concession, uri, bodies)
        if result is None:
            continue
        used.add(row)
        _settle(result, concession, today)
    _tell_unused(inspection, concessions, used, files)


def _uri(
    concession: Concession, folder: Path, files: Mapping[str, str], paths: Mapping[str, str]
) -> str | None:
    """What the run calls the file; None if it is there but was not inspected."""
    named = os.path.abspath(folder / concession.file)
    if named in files:
        return files[named]
    return None if os.path.exists(named) else _ELSEWHERE


def _covered_place(concession: Concession, uri: str, new: Snapshot) -> Result | None:
    """The failing place that a concession is about."""
    asked = [
        result
        for result in new.results
        if result.rule == concession.rule
        and result.kind in ("fail", "review")
        and result.conceded is None
    ]
    if concession.rule.startswith(NEVER):
        return None
    if not asked or (uri == _ELSEWHERE and concession.likeness is None):
        return None
    meant = Result(
        concession.rule,
        "fail",
        "",
        uri,
        concession.body,
        position=concession.place,
        centre=concession.middle,
        extent=concession.extent,
        other=concession.other,
    )
    shapes = {} if concession.body is None else {(uri, concession.body): concession.likeness}
    old = Snapshot([meant], shapes)
    bodies = {k: v for k, v in new.shapes.items() if uri in (k[0], _ELSEWHERE)}
    pairs = match(old, Snapshot(asked, bodies, new.digests)).pairs
    return pairs[0][1] if pairs else None


def _settle(result: Result, concession: Concession, today: date) -> None:
    """Accept the result, or say why the concession does not cover it."""
    asked = result.requirement
    whose = f"The concession by {concession.by}"
    upto = f"{number(concession.up_to)}{shown(concession.unit)}"
    if asked is None or result.lower is None or asked.unit != concession.unit:
        result.lapsed = f"{whose} is in another unit ({concession.unit or 'none'}): write it anew."
    elif today > concession.until:
        result.lapsed = f"{whose} ended on {concession.until.isoformat()}."
    elif decide(result.lower, result.upper, relaxed(asked, concession.up_to)) == "fail":
        result.lapsed = f"{whose} covers {upto} and no worse; this is worse."
    else:
        result.lapsed = None
        result.conceded = Conceded(
            concession.reason, concession.by, concession.until, concession.up_to
        )
        result.remarks = tuple(r for r in result.remarks if not r.startswith("The concession by "))
        result.remarks += (
            f"Conceded until {concession.until.isoformat()} by {concession.by}, up to {upto}: "
            f"{concession.reason}",
        )
        return
    result.remarks += (result.lapsed,)


def _tell_unused(
    inspection: Inspection, concessions: Concessions, used: set[int], files: Mapping[str, str]
) -> None:
    folder = concessions.path.parent
    off = {rule.id for rule in inspection.rules if rule.off}
    known = {rule.id for rule in inspection.rules}
    for row, one in enumerate(concessions.each):
        if row in used:
            continue
        named = os.path.abspath(folder / one.file)
        if one.rule in off or (named not in files and os.path.exists(named)):
            continue  # not looked at in this run
        if one.rule not in known:
            why = "there is no such rule"
        elif named not in files:
            why = "there is no such file, and no body like it fails there"
        else:
            why = "nothing fails there any more"
        line = f", line {one.line}" if one.line else ""
        inspection.notifications.append(
            Notification(
                f"{concessions.name}{line}: the concession for {one.text()} is not used: {why}. "
                "Remove it.",
                "warning",
                "concession",
                files.get(named),
                one.rule if one.rule in known else None,
            )
        )


def shown_file(uri: str, folder: Path) -> str:
    """How a concession names a file of a report: as a path from the folder it stands in."""
    path = Path(file_text(uri))
    if not path.exists():
        return path.as_posix()
    try:
        return Path(os.path.relpath(path, folder)).as_posix()
    except ValueError:  # another drive
        return path.absolute().as_posix()
