"""What did the user ask for? Settings from `lint3d.toml`, and the requirements for each file.

`lint3d.toml` is looked for from the current directory upward (up to the folder that holds `.git`),
or given with `--config`; never in the folder of an inspected file, because it can name plugins.
Command-line options win over it.
"""

from __future__ import annotations

import math
import os
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, fields, replace
from fnmatch import translate
from pathlib import Path
from typing import Any

from lint3d.errors import ConfigurationError
from lint3d.readers import ReadLimits
from lint3d.requirement import Requirement
from lint3d.sheet import is_path
from lint3d.tomlfile import TomlFile, nearest
from lint3d.units import length_factor, quantity

FILE_NAME = "lint3d.toml"
DEFAULT_SHEET = "mjt-meltable"
FAIL_ON = ("review", "open", "new")
_KEYS = (
    "process",
    "plugins",
    "disable",
    "unit",
    "together",
    "only",
    "without",
    "fail-on",
    "workers",
    "limits",
    "read",
    "bounds",
    "model",
    "for",
)
_FOR_KEYS = ("match", "process", "limits", "only", "without")


@dataclass(frozen=True)
class Bounds:
    """What a worker process may use. Settings `[bounds]`."""

    seconds: float = 900.0
    """For one file, from opening it to its last rule"""
    memory_mb: int = 12_000
    """Address space of one worker"""


@dataclass(frozen=True)
class ForFiles:
    """A `[[for]]` table: another sheet or other limits for some files."""

    match: str
    process: str | None = None
    limits: tuple[str, ...] = ()
    only: tuple[str, ...] = ()
    without: tuple[str, ...] = ()
    base: Path = Path()

    def holds_for(self, path: Path) -> bool:
        """Is the file one of those that the pattern names? (`**` is any number of folders.)"""
        try:
            # The file's own name, not what a link points to; folders are resolved.
            found = Path(path).parent.resolve() / Path(path).name
            relative = found.relative_to(self.base.resolve()).as_posix()
        except (ValueError, OSError, RuntimeError):  # RuntimeError: a link loop
            return False
        return bool(_pattern(self.match).fullmatch(relative))


@dataclass(frozen=True)
class Config:
    """All settings of a run."""

    process: str | None = None
    plugins: tuple[str, ...] = ()
    disable: tuple[str, ...] = ()
    unit: str | None = None
    together: bool = False
    only: tuple[str, ...] = ()
    without: tuple[str, ...] = ()
    fail_on: tuple[str, ...] = ()
    workers: int | None = None
    limits: tuple[str, ...] = ()
    """Of the configuration, written as for --limit; later ones win, and a `[[for]]` table's"""
    given_limits: tuple[str, ...] = ()
    """From --limit: they win over everything"""
    read: ReadLimits = field(default_factory=ReadLimits)
    bounds: Bounds = field(default_factory=Bounds)
    weld_mm: float = 1e-4
    for_files: tuple[ForFiles, ...] = ()
    base: Path = Path()
    """Folder that sheet paths and plugin paths are relative to"""
    folder: Path | None = field(default=None, compare=False)
    """Folder of the `lint3d.toml`, where concessions stand; None without one"""


def _pattern(glob: str) -> re.Pattern[str]:
    """A glob over a whole relative path: `*` stays within a folder, `**/` is any folders."""
    out = ""
    for piece in re.split(r"(\*\*/|\*\*|\*|\?)", glob):
        out += {"**/": "(?:.*/)?", "**": ".*", "*": "[^/]*", "?": "[^/]"}.get(piece) or (
            translate(piece)[4:-3] if "[" in piece else re.escape(piece)
        )
    return re.compile(out)


def find_config(start: Path) -> Path | None:
    """The nearest `lint3d.toml`, from a folder upward, not beyond one that holds `.git`."""
    for folder in (start, *start.parents):
        if (folder / FILE_NAME).is_file():
            return folder / FILE_NAME
        if (folder / ".git").exists():
            return None
    return None


def read_config(path: Path) -> Config:
    """Read a `lint3d.toml`.

    Raises
    ------
    ConfigurationError : with file, line and the nearest right key
    """
    file = TomlFile(path)
    data = file.data
    file.check_keys(data, _KEYS)
    base = path.parent
    model = data.get("model", {})
    file.check_keys(model, ("weld_mm",), "model")
    weld = file.take(model, "weld_mm", (int, float), "model")
    if weld is not None and not 0 <= weld < math.inf:
        raise file.error("'weld_mm' must be 0 or more.", "model", "weld_mm")
    unit = file.take(data, "unit", str)
    if unit is not None:
        length_factor(unit)
    return Config(
        process=file.take(data, "process", str),
        plugins=tuple(_plugin(name, base) for name in _texts(file, data, "plugins")),
        disable=_texts(file, data, "disable"),
        unit=unit,
        together=bool(file.take(data, "together", bool)),
        only=_texts(file, data, "only"),
        without=_texts(file, data, "without"),
        fail_on=_fail_on(file, data),
        workers=file.take(data, "workers", int),
        limits=_limits(file, data),
        read=_dataclass(file, "read", ReadLimits),
        bounds=_dataclass(file, "bounds", Bounds),
        weld_mm=Config.weld_mm if weld is None else float(weld),
        for_files=tuple(_for_files(file, base)),
        base=base,
        folder=base,
    )


def _plugin(name: str, base: Path) -> str:
    return str(base / name) if name.endswith(".py") else name


def _beside(sheet: str, base: Path) -> str:
    """A sheet's path from the folder of the configuration, wherever other sheets are taken from."""
    return os.path.abspath(base / sheet) if is_path(sheet) else sheet


def _texts(file: TomlFile, table: dict[str, Any], key: str, *path: str) -> tuple[str, ...]:
    value = table.get(key, [])
    if isinstance(value, str):
        value = [value]
    if not isinstance(value, list) or not all(isinstance(one, str) for one in value):
        raise file.error(f"'{key}' must be a list of texts.", *path, key)
    return tuple(value)


def _fail_on(file: TomlFile, data: dict[str, Any]) -> tuple[str, ...]:
    found = _texts(file, data, "fail-on")
    for kind in found:
        if kind not in FAIL_ON:
            raise file.error(
                f"'{kind}' is none of {', '.join(FAIL_ON)}{nearest(kind, FAIL_ON)}", "fail-on"
            )
    return found


def _limits(file: TomlFile, table: dict[str, Any], *path: str) -> tuple[str, ...]:
    limits = table.get("limits", {})
    if not isinstance(limits, dict):
        raise file.error("'limits' must be a table of rule = limit.", *path, "limits")
    return tuple(
        f"{rule}{value}" if str(value).lstrip()[:1] in _COMPARES else f"{rule}={value}"
        for rule, value in limits.items()
    )


def _dataclass(file: TomlFile, key: str, kind: type[Any]) -> Any:
    table = file.data.get(key, {})
    known = {f.name: f for f in fields(kind)}
    file.check_keys(table, known, key)
    for name in table:
        value = file.take(table, name, (int, float), key)
        if not 0 < value < math.inf or type(getattr(kind(), name))(value) == 0:
            raise file.error(f"'{name}' must be a number above 0.", key, name)
    defaults = kind()
    return replace(defaults, **{n: type(getattr(defaults, n))(v) for n, v in table.items()})


def _for_files(file: TomlFile, base: Path) -> list[ForFiles]:
    tables = file.data.get("for", [])
    if not isinstance(tables, list):
        raise file.error("write [[for]] with two brackets.", "for")
    found = []
    for number, table in enumerate(tables):
        path = ("for", str(number))
        file.check_keys(table, _FOR_KEYS, *path)
        match = file.take(table, "match", str, *path)
        if not match:
            raise file.error('a [[for]] table needs match = "pattern".', *path)
        process = file.take(table, "process", str, *path)
        found.append(
            ForFiles(
                match,
                process and _beside(process, base),
                _limits(file, table, *path),
                _texts(file, table, "only", *path),
                _texts(file, table, "without", *path),
                base,
            )
        )
    return found


_COMPARES = ("<", ">", "≤", "≥")
_LIMIT = re.compile(r"(?P<rule>[^=<>]+?)\s*(?P<how>>=|<=|=|≥|≤)\s*(?P<value>.+)")


def apply_limit(
    text: str, requirements: Mapping[str, Requirement], origin: str = "--limit"
) -> tuple[str, Requirement]:
    """The requirement that `ID=NUMBER[UNIT]`, `ID>=…` or `ID<=…` turns a rule's into.

    Parameters
    ----------
    text : the limit as written
    requirements : of the rules that are on
    origin : where it was written, for messages and as the new requirement's source

    Raises
    ------
    ConfigurationError : unknown rule, no limit to replace, both ends set and none named
    """
    found = _LIMIT.fullmatch(text.strip())
    if not found:
        raise ConfigurationError(
            f"{origin} {text}: write RULE=NUMBER[UNIT], such as walls/thin-wall=0.8mm."
        )
    rule, how = found["rule"].strip(), found["how"]
    if rule not in requirements:
        raise ConfigurationError(
            f"{origin} {text}: no rule '{rule}' is on{nearest(rule, requirements)}. "
            "`lint3d list rules` shows all."
        )
    old = requirements[rule]
    try:
        value = quantity(found["value"], old.unit)
    except ConfigurationError as error:
        raise ConfigurationError(f"{origin} {text}: {error}") from error
    low, high = how in (">=", "≥"), how in ("<=", "≤")
    if how == "=":
        if old.kind in ("none", "inform"):
            raise ConfigurationError(
                f"{origin} {text}: the sheet sets no limit for '{rule}' ({old.kind}); "
                f"write {rule}>=… or {rule}<=… to set one."
            )
        if old.kind == "within":
            raise ConfigurationError(
                f"{origin} {text}: the sheet sets both ends for '{rule}'; "
                f"write {rule}>=… or {rule}<=…"
            )
        low, high = old.kind == "at least", old.kind == "at most"
    new = replace(
        old,
        low=value if low else old.low,
        high=value if high else old.high,
        uncertainty=0.0,
        source=origin,
    )
    if new.low is not None and new.high is not None and new.low > new.high:
        raise ConfigurationError(f"{origin} {text}: the lower end would be above the upper end.")
    kind = (
        "within"
        if new.low is not None and new.high is not None
        else ("at least" if new.low is not None else "at most")
    )
    return rule, replace(new, kind=kind)  # type: ignore[arg-type]


def selected(rule: str, names: Sequence[str]) -> bool:
    """Is the rule one of the named ones, or of one of the named families?

    Examples
    --------
    >>> selected("solid/open-edge", ["solid"]), selected("solid/open-edge", ["walls/thin-wall"])
    (True, False)
    """
    return any(rule == name or rule.startswith(name.rstrip("/") + "/") for name in names)


def is_selected(rule: str, only: Sequence[str], without: Sequence[str]) -> bool:
    """Is the rule on? The longer name wins where both say something; a tie turns it off.

    Examples
    --------
    >>> is_selected("solid/open-edge", [], ["solid"]), is_selected("a/b", ["a/b"], ["a"])
    (False, True)
    """
    wanted = max((len(name) for name in only if selected(rule, [name])), default=-1)
    unwanted = max((len(name) for name in without if selected(rule, [name])), default=-1)
    if wanted < 0 and unwanted < 0:
        return not only
    return wanted > unwanted


def check_selection(
    names: Sequence[str], rules: Sequence[str] | Mapping[str, Any], option: str
) -> None:
    """Refuse a rule or family that does not exist."""
    families = {rule.split("/")[0] for rule in rules}
    for name in names:
        if not any(selected(rule, [name]) for rule in rules):
            hint = nearest(name, [*rules, *families])
            raise ConfigurationError(
                f"{option} {name}: there is no such rule or family{hint}. "
                "`lint3d list rules` shows all."
            )
