"""What does a process ask of a part? Process sheets: read, extended, validated.

A sheet is a TOML file. It alone says kind, limit, unit and source of each rule's requirement. It
may extend another sheet (a registered one, or a path relative to its own file), change limits, turn
rules off, and add rules over existing measures with no code. Of a list of sheets the first is
extended, and of the others what they state themselves is added: what a tactile sign asks for, on
top of any process.
"""

from __future__ import annotations

import hashlib
import json
import math
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field, is_dataclass, replace
from pathlib import Path
from typing import Any, Literal

from lint3d.errors import ConfigurationError
from lint3d.requirement import Kind, Requirement
from lint3d.tomlfile import TomlFile, nearest
from lint3d.units import LIMIT_UNITS

NO_SOURCE = "not stated"
_TABLES = ("sheet", "liquid", "cleaning", "support", "relief", "rules")
_KIND_KEYS = ("at_least", "at_most", "none", "inform", "off")
_ENTRY_KEYS = (
    *_KIND_KEYS,
    "unit",
    "source",
    "uncertainty",
    "level",
    "measure",
    "title",
    "remedy",
    "reason",
)
_QUANTITY_KEYS = ("value", "unit", "source", "at")


@dataclass(frozen=True)
class Quantity:
    """A constant of the process, with unit and source."""

    value: float
    unit: str
    source: str
    at: str | None = None


@dataclass(frozen=True)
class Entry:
    """What a sheet says of one rule."""

    rule: str
    requirement: Requirement | None
    """None: turned off"""
    measure: str | None = None
    """Name of the measure, for a rule with no code"""
    title: str = ""
    remedy: str = ""
    reason: str = ""
    """Why the limit is what it is: shown by `lint3d explain`"""
    where: str = ""
    """File and line, for messages"""


@dataclass(frozen=True)
class Sheet:
    """A process sheet with everything that it inherits."""

    name: str
    title: str
    chain: tuple[str, ...]
    """Its own name, then its parents'"""
    entries: Mapping[str, Entry] = field(default_factory=dict)
    liquid: Mapping[str, Quantity] | None = None
    """Constants of the molten support; None: powder, or no support"""
    support: Mapping[str, Any] = field(default_factory=dict)
    cleaning_up: tuple[float, float, float] | None = None
    """Which way is up while parts drain, in the frame of their files; None: the best position"""
    lone_marks: Literal["inform", "judge"] = "inform"
    """Is a raised or sunk place that may be no lettering judged like lettering?"""
    unselected: frozenset[str] = frozenset()
    """Rules left out of the run, in the sheet that measures and rules are given"""

    def requirement(self, rule: str) -> Requirement | None:
        """None if the rule has no entry, or is turned off."""
        entry = self.entries.get(rule)
        return entry.requirement if entry else None

    def is_on(self, rule: str) -> bool:
        """Is there a requirement, and is the rule among those of the run?"""
        return self.requirement(rule) is not None and rule not in self.unselected

    def in_force(self, limits: Mapping[str, Requirement], unselected: Iterable[str]) -> Sheet:
        """The same sheet with the limits of a run, which win over its own."""
        changed = {
            rule: replace(self.entries[rule], requirement=limit)
            for rule, limit in limits.items()
            if rule in self.entries
        }
        return replace(self, entries={**self.entries, **changed}, unselected=frozenset(unselected))

    @property
    def digest(self) -> str:
        """SHA-256 of everything in it that can change a verdict."""
        content = {key: value for key, value in vars(self).items() if key != "unselected"}
        text = json.dumps(content, sort_keys=True, default=_plain)
        return hashlib.sha256(text.encode()).hexdigest()


def _plain(item: Any) -> Any:
    """What JSON cannot hold, for the digest: where an entry stands does not change a verdict."""
    if not is_dataclass(item):
        return str(item)
    return {key: value for key, value in vars(item).items() if key != "where"}


def read_sheet(
    name_or_path: str, registered: Mapping[str, Path], base: Path | None = None
) -> Sheet:
    """Read a sheet and what it extends.

    Parameters
    ----------
    name_or_path : name of a registered sheet, or a path (it ends in .toml or holds a separator)
    registered : paths of the sheets that plugins bring, by name
    base : folder that a relative path starts from; the current folder if None

    Raises
    ------
    ConfigurationError : with file, line and the nearest right key
    """
    return _read(name_or_path, registered, base or Path(), ())


def _read(
    name: str, registered: Mapping[str, Path], base: Path, children: tuple[Path, ...]
) -> Sheet:
    path = _find(name, registered, base)
    if path.resolve() in children:
        loop = " -> ".join(p.stem for p in (*children, path))
        raise ConfigurationError(f"{path.name}: sheets extend each other in a circle: {loop}.")
    file = TomlFile(path)
    file.check_keys(file.data, _TABLES)
    head = file.data.get("sheet", {})
    file.check_keys(head, ("title", "extends"), "sheet")
    parent = None
    first, *added = _extended(file, head) or (None,)
    if first is not None:
        with _told_by(file):
            parent = _read(first, registered, path.parent, (*children, path.resolve()))
            for other in added:
                parent = _added(TomlFile(_find(other, registered, path.parent)), parent)
    return _merge(file, head, parent)


def _extended(file: TomlFile, head: dict[str, Any]) -> list[str]:
    """The sheet that is extended, and those whose own statements are added to it."""
    extends = file.take(head, "extends", (str, list), "sheet")
    names = [extends] if isinstance(extends, str) else extends or []
    if any(not isinstance(name, str) for name in names):
        raise file.error("'extends' must be the name of a sheet, or a list of names.", "sheet")
    return names


@contextmanager
def _told_by(file: TomlFile) -> Iterator[None]:
    """Say which sheet asked for one that is not there."""
    try:
        yield
    except ConfigurationError as error:
        if "there is no sheet" in str(error):
            raise file.error(str(error), "sheet", "extends") from error
        raise


def _added(file: TomlFile, sheet: Sheet) -> Sheet:
    """A sheet with what another one states itself, and not with what that one extends."""
    file.check_keys(file.data, _TABLES)
    return _merge(file, file.data.get("sheet", {}), sheet)


def is_path(name: str) -> bool:
    """Does it name a file rather than a registered sheet?"""
    return name.endswith(".toml") or "/" in name or "\\" in name


def _find(name: str, registered: Mapping[str, Path], base: Path) -> Path:
    if name in registered:
        return registered[name]
    if is_path(name):
        path = base / name
        if path.is_file():
            return path
    known = ", ".join(sorted(registered)) or "none"
    hint = nearest(name, registered) or f"; registered sheets: {known}"
    raise ConfigurationError(f"there is no sheet '{name}'{hint}")


def _merge(file: TomlFile, head: dict[str, Any], parent: Sheet | None) -> Sheet:
    entries = dict(parent.entries) if parent else {}
    rules = file.data.get("rules", {})
    if not isinstance(rules, dict):
        raise file.error("'rules' must be a table of rules.", "rules")
    for rule, table in rules.items():
        entries[rule] = _entry(file, rule, table, entries.get(rule))
    liquid = parent.liquid if parent else None
    if "liquid" in file.data:
        liquid = {**(liquid or {}), **_quantities(file, "liquid")}
    support = dict(parent.support) if parent else {}
    support |= _support(file)
    cleaning_up = parent.cleaning_up if parent else None
    if "cleaning" in file.data:
        cleaning_up = _cleaning_up(file, cleaning_up)
    stem = file.path.stem
    return Sheet(
        name=stem,
        title=file.take(head, "title", str, "sheet") or stem,
        chain=(stem, *(parent.chain if parent else ())),
        entries=entries,
        liquid=liquid,
        support=support,
        cleaning_up=cleaning_up,
        lone_marks=_lone_marks(file) or (parent.lone_marks if parent else "inform"),
    )


def _quantities(file: TomlFile, table: str) -> dict[str, Quantity]:
    found = {}
    file.check_keys(file.data[table], file.data[table], table)
    for key, value in file.data[table].items():
        file.check_keys(value, _QUANTITY_KEYS, table, key)
        number = file.take(value, "value", (int, float), table, key)
        unit = file.take(value, "unit", str, table, key)
        if number is None or unit is None:
            raise file.error(f"'{key}' needs a value and a unit.", table, key)
        source = file.take(value, "source", str, table, key) or NO_SOURCE
        found[key] = Quantity(float(number), unit, source, file.take(value, "at", str, table, key))
    return found


def _support(file: TomlFile) -> dict[str, Any]:
    table = file.data.get("support", {})
    file.check_keys(table, ("kind", "angle"), "support")
    kind = file.take(table, "kind", str, "support")
    if kind not in (None, "shadow", "angle", "none"):
        raise file.error('kind must be "shadow", "angle" or "none".', "support", "kind")
    if kind == "angle" and "angle" not in table:
        raise file.error('kind = "angle" needs an angle in degrees.', "support")
    return dict(table)


def _lone_marks(file: TomlFile) -> Literal["inform", "judge"] | None:
    """`[relief] lone_marks`, None if it is not stated."""
    table = file.data.get("relief", {})
    file.check_keys(table, ("lone_marks",), "relief")
    marks = file.take(table, "lone_marks", str, "relief")
    if marks not in (None, "inform", "judge"):
        raise file.error('lone_marks must be "inform" or "judge".', "relief", "lone_marks")
    return marks


def _cleaning_up(
    file: TomlFile, parent: tuple[float, float, float] | None
) -> tuple[float, float, float] | None:
    """`[cleaning] up`: three numbers, or "best"."""
    table = file.data["cleaning"]
    file.check_keys(table, ("up",), "cleaning")
    up = file.take(table, "up", (list, str), "cleaning")
    if up is None:
        return parent
    if up == "best":
        return None
    are_numbers = isinstance(up, list) and all(
        isinstance(x, (int, float)) and not isinstance(x, bool) and math.isfinite(x) for x in up
    )
    if not are_numbers or len(up) != 3 or not any(up):
        raise file.error(
            'up must be "best", or three numbers that are not all 0, such as [0, 0, 1].',
            "cleaning",
            "up",
        )
    return (float(up[0]), float(up[1]), float(up[2]))


def _entry(file: TomlFile, rule: str, table: Any, parent: Entry | None) -> Entry:
    """One `[rules."id"]` table: a kind that it states replaces the parent's, the rest is kept."""
    path = ("rules", rule)
    file.check_keys(table, _ENTRY_KEYS, *path)
    text = {
        key: file.take(table, key, str, *path) for key in ("measure", "title", "remedy", "reason")
    }
    if parent:
        text = {key: value or getattr(parent, key) for key, value in text.items()}
    return Entry(
        rule=rule,
        requirement=_requirement(file, table, parent.requirement if parent else None, path),
        measure=text["measure"],
        title=text["title"] or "",
        remedy=text["remedy"] or "",
        reason=text["reason"] or "",
        where=f"{file.shown}, line {file.line(*path)}",
    )


def _requirement(
    file: TomlFile, table: dict[str, Any], parent: Requirement | None, path: tuple[str, ...]
) -> Requirement | None:
    flags = {key: file.take(table, key, bool, *path) for key in ("none", "inform", "off")}
    low = file.take(table, "at_least", (int, float), *path)
    high = file.take(table, "at_most", (int, float), *path)
    stated = [key for key, value in flags.items() if value] + (
        ["at_least/at_most"] if low is not None or high is not None else []
    )
    if len(stated) > 1:
        raise file.error(f"says {' and '.join(stated)} at once; a rule has one requirement.", *path)
    if flags["off"]:
        return None
    if not stated and parent is None:
        raise file.error(
            "says nothing to require; give at_least, at_most, none = true, inform = true "
            "or off = true.",
            *path,
        )
    unit = file.take(table, "unit", str, *path) or (parent.unit if parent else None)
    if unit is None:
        raise file.error('has no unit; give unit = "mm" (counts and ratios are "1").', *path)
    if unit not in {code for code, _ in LIMIT_UNITS.values()}:
        raise file.error(
            f"'{unit}' is no unit of a limit; use mm, mm2, mm3, deg, min, MPa or 1.", *path, "unit"
        )
    level = file.take(table, "level", str, *path) or (parent.level if parent else "error")
    if level not in ("error", "warning", "note"):
        raise file.error("level must be error, warning or note.", *path, "level")
    source = file.take(table, "source", str, *path)
    band = file.take(table, "uncertainty", (int, float), *path)
    if not stated:
        assert parent is not None
        return replace(
            parent,
            unit=unit,
            level=level,
            source=source or parent.source,
            uncertainty=parent.uncertainty if band is None else _band(file, band, path),
        )
    kind: Kind = "none" if flags["none"] else "inform" if flags["inform"] else _kind(low, high)
    if low is not None and high is not None and low > high:
        raise file.error("at_least is larger than at_most.", *path, "at_least")
    return Requirement(
        kind=kind,
        unit=unit,
        source=source or NO_SOURCE,
        level=level,
        low=None if low is None else _finite(file, low, path),
        high=None if high is None else _finite(file, high, path),
        uncertainty=0.0 if band is None else _band(file, band, path),
    )


def _finite(file: TomlFile, value: float, path: tuple[str, ...]) -> float:
    if not math.isfinite(value):
        raise file.error("a limit must be a finite number.", *path)
    return float(value)


def _band(file: TomlFile, value: float, path: tuple[str, ...]) -> float:
    if value < 0:
        raise file.error("an uncertainty cannot be below 0.", *path, "uncertainty")
    return _finite(file, value, path)


def _kind(low: float | None, high: float | None) -> Kind:
    return "at most" if low is None else "at least" if high is None else "within"
