"""What did an earlier report say?

`Snapshot` holds what two reports are compared by: results with their places, and by what each body
is known again. It is taken from an `Inspection`, or read from a SARIF file that lint3d wrote. One
that is no such report, is broken or far too large is refused with one plain message; nothing of it
is trusted beyond numbers and texts.
"""

from __future__ import annotations

import hashlib
import json
import math
import os
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path
from typing import Any, get_args

from lint3d.errors import ConfigurationError
from lint3d.geometry.likeness import Likeness
from lint3d.inspection import Conceded, Inspection, Result
from lint3d.jsontable import JsonTable, Malformed
from lint3d.likeness_text import likeness_from
from lint3d.report.fingerprint import BODY_KEY, PLACE_KEY
from lint3d.requirement import Kind, Level, Requirement, Verdict

#: bytes; a report of a hundred thousand results is about half of it. common practice, no source
LARGEST = 200_000_000


@dataclass
class Snapshot:
    """Results and bodies of one report."""

    results: list[Result]
    shapes: dict[tuple[str, str], Likeness | None]
    """Of every body, by file and name; None if the report does not carry it"""
    digests: dict[str, str | None] = field(default_factory=dict)
    """SHA-256 of each file"""
    sheet: str = ""
    """Digest of the process sheet with which it was made"""
    complete: bool = True
    name: str = ""
    """The file's own name, without folders"""
    digest: str = ""
    """SHA-256 of the report"""


def snapshot_of(inspection: Inspection) -> Snapshot:
    """The inspection as reports are compared."""
    files = [item for item in inspection.artifacts if item.parent is None]
    shapes: dict[tuple[str, str], Likeness | None] = {}
    for item in files:
        known = (*item.shapes, *[None] * len(item.bodies))
        shapes |= {(item.uri, b): s for b, s in zip(item.bodies, known, strict=False)}
    return Snapshot(
        results=list(inspection.results),
        shapes=shapes,
        digests={item.uri: item.digest for item in files},
        sheet=inspection.sheet.digest,
        complete=inspection.complete,
    )


def read_report(path: str | os.PathLike[str]) -> Snapshot:
    """Read a SARIF report that lint3d wrote.

    Raises
    ------
    ConfigurationError : what is wrong with it, where, and what to do
    """
    path = Path(path)
    data = _bytes(path)
    log = _parsed(path, data)
    try:
        snapshot = _snapshot(JsonTable(log, ""))
    except Malformed as error:
        raise ConfigurationError(
            f"{path}: is not a report that can be compared: {error}. Make it anew with "
            "`lint3d inspect … --report NAME.sarif`."
        ) from None
    snapshot.name = path.name
    snapshot.digest = hashlib.sha256(data).hexdigest()
    return snapshot


def _bytes(path: Path) -> bytes:
    try:
        with path.open("rb") as file:
            data = file.read(LARGEST + 1)
    except OSError as error:
        raise ConfigurationError(
            f"{path}: cannot be read ({error.strerror}). Name a .sarif report that "
            "`lint3d inspect … --report NAME.sarif` wrote."
        ) from None
    except ValueError:  # a null character in the name
        raise ConfigurationError(f"{str(path)!r}: is no file name.") from None
    if len(data) > LARGEST:
        raise ConfigurationError(
            f"{path}: is larger than {LARGEST // 1_000_000} MB, so it is not read. Inspect fewer "
            "files at once."
        )
    return data


def _parsed(path: Path, data: bytes) -> dict[str, Any]:
    try:
        log = json.loads(data.decode("utf-8-sig"))
    except UnicodeDecodeError as error:
        raise ConfigurationError(
            f"{path}: is no SARIF report: not UTF-8 text (byte {error.start})."
        ) from None
    except json.JSONDecodeError as error:
        raise ConfigurationError(
            f"{path}: is no SARIF report: line {error.lineno} is not JSON ({error.msg})."
        ) from None
    except (RecursionError, ValueError):  # ValueError: a whole number of thousands of digits
        raise ConfigurationError(f"{path}: is no SARIF report: its JSON is absurd.") from None
    if not isinstance(log, dict) or not isinstance(log.get("runs"), list):
        raise ConfigurationError(f"{path}: is no SARIF report: it has no 'runs'.")
    return log


def _snapshot(log: JsonTable) -> Snapshot:
    if log.text("version") not in (None, "2.1.0"):
        raise Malformed(f"it is SARIF {log.text('version')}, not 2.1.0")
    runs = [
        run
        for run in log.tables("runs")
        if run.table("tool").table("driver").text("name") == "lint3d"
    ]
    if not runs:
        raise Malformed("no run in it was made by lint3d")
    if len(runs) > 1:
        raise Malformed("it holds several runs; take the report of one")
    run = runs[0]
    shapes, names = _bodies(run)
    results = [
        _result(one, names)
        for one in run.tables("results")
        if one.text("baselineState") != "absent"
    ]
    for result in results:
        if result.body is not None and result.uri:
            shapes.setdefault((result.uri, result.body), None)
    digests = {
        item.table("location").text("uri") or "": item.table("hashes").text("sha-256")
        for item in run.tables("artifacts")
        if item.raw("parentIndex") is None
    }
    invocations = run.tables("invocations")
    return Snapshot(
        results=results,
        shapes=shapes,
        digests=digests,
        sheet=run.table("properties").table("sheet").text("digest") or "",
        complete=all(one.raw("executionSuccessful") is not False for one in invocations),
    )


def _bodies(run: JsonTable) -> tuple[dict[tuple[str, str], Likeness | None], list[tuple[str, str]]]:
    """Likeness of each body; file and name of each logical location, by its index."""
    shapes: dict[tuple[str, str], Likeness | None] = {}
    names: list[tuple[str, str]] = []
    for row, one in enumerate(run.tables("logicalLocations")):
        name, whole = one.text("name") or "", one.text("fullyQualifiedName") or ""
        uri = whole.removesuffix(f"#{name}")
        names.append((uri, name))
        if one.text("kind") != "body":
            continue
        facts = one.table("properties").raw("likeness")
        try:
            if facts is not None and not isinstance(facts, dict):
                raise ValueError("it must be an object")
            shapes[uri, name] = None if facts is None else likeness_from(facts)
        except ValueError as error:
            raise Malformed(f"logicalLocations[{row}].properties.likeness: {error}") from None
    return shapes, names


def _result(one: JsonTable, names: list[tuple[str, str]]) -> Result:
    facts = one.table("properties")
    locations = one.tables("locations")
    where = locations[0] if locations else one.table("no location")
    uri = one.table("analysisTarget").text("uri")
    if uri is None:
        uri = where.table("physicalLocation").table("artifactLocation").text("uri") or ""
    interval = _interval(facts)
    body, other = facts.text("body"), facts.text("other")
    logical = where.tables("logicalLocations")
    owner, name = _named(logical[0], names) if logical else (uri, None)
    keys = one.table("partialFingerprints")
    known = {key: keys.text(key) or "" for key in (BODY_KEY, PLACE_KEY)}
    result = Result(
        rule=one.text("ruleId") or "",
        kind=one.one_of("kind", get_args(Verdict), "fail"),
        message=one.table("message").text("text") or "",
        uri=owner or uri,
        body=body,
        part=name if body is None else None,
        requirement=_requirement(facts, one),
        measured=facts.number("measured"),
        lower=interval[0],
        upper=interval[1],
        faceting=facts.number("faceting"),
        position=facts.point("position"),
        other=other,
        other_uri=_other_uri(one, names) if other is not None else None,
        faces=facts.count("faces"),
        extent=facts.number("extent"),
        centre=where.table("properties").point("centre"),
        known_as={key: text for key, text in known.items() if text},
        conceded=_conceded(one),
    )
    if not result.rule:
        raise Malformed("a result has no ruleId")
    if len(result.known_as) < len(known):
        result.known_as = {}
    return result


def _conceded(one: JsonTable) -> Conceded | None:
    """The concession that covers the result, as far as the report tells it."""
    for given in one.tables("suppressions"):
        if (
            given.one_of("status", ("accepted", "underReview", "rejected"), "accepted")
            != "accepted"
        ):
            continue
        facts = given.table("properties")
        try:
            until = date.fromisoformat(facts.text("until") or "")
        except ValueError:
            until = date.max
        up_to = facts.number("upTo")
        return Conceded(
            given.text("justification") or "",
            facts.text("by") or "",
            until,
            math.nan if up_to is None else up_to,
        )
    return None


def _interval(facts: JsonTable) -> list[float | None]:
    """The interval, without the last digit by which reports round it outward."""
    interval = facts.numbers("interval", 2) or [None, None]
    measured, around = facts.number("measured"), facts.number("uncertainty")
    if measured is None or around is None:
        return interval
    exact = (measured - around, measured + around)
    return [
        there
        if end is not None and math.isclose(end, there, rel_tol=1e-11, abs_tol=1e-300)
        else end
        for end, there in zip(interval, exact, strict=True)
    ]


def _named(one: JsonTable, names: list[tuple[str, str]]) -> tuple[str, str]:
    """File and name of what a reference to a logical location means."""
    index = one.count("index")
    if index is not None and 0 <= index < len(names):
        return names[index]
    uri, _, name = (one.text("fullyQualifiedName") or "").partition("#")
    return uri, name


def _other_uri(one: JsonTable, names: list[tuple[str, str]]) -> str | None:
    for related in one.tables("relatedLocations"):
        if related.count("id") not in (None, 1):
            continue  # one of the worst places
        for logical in related.tables("logicalLocations"):
            return _named(logical, names)[0] or None
    return None


def _requirement(facts: JsonTable, one: JsonTable) -> Requirement | None:
    kind: Kind = facts.one_of("requirement", (*get_args(Kind), "-"), "-")
    if facts.text("requirement") is None:
        return None
    unit = facts.text("unit") or "1"
    level: Level = "error"
    if one.text("kind") in (None, "fail"):
        level = one.one_of("level", (*get_args(Level), "none"), "error")
    low = high = None
    if kind == "within":
        low, high = facts.numbers("limit", 2) or [None, None]
        if low is None or high is None:
            raise Malformed("a result 'within' has no two limits")
    elif kind == "at least":
        low = facts.number("limit")
    elif kind == "at most":
        high = facts.number("limit")
    return Requirement(kind, unit, "", low, high, level=level)
