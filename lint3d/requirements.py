"""What is required of this file? Sheet, `[[for]]` tables, limits and selection, put together."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

from lint3d.config import (
    DEFAULT_SHEET,
    FILE_NAME,
    Config,
    ForFiles,
    apply_limit,
    check_selection,
    is_selected,
)
from lint3d.inspection import Override
from lint3d.model import Scope
from lint3d.plan import AnyRule, all_rules, check_plugins, check_registered, check_units
from lint3d.registry import Registry
from lint3d.requirement import Requirement
from lint3d.sheet import Sheet, read_sheet

NOT_SELECTED = "not selected"


@dataclass(frozen=True)
class Required:
    """What is required of one file."""

    sheet: Sheet
    requirements: Mapping[str, Requirement]
    """Of the rules that are on"""
    off: Mapping[str, str]
    """Why each other rule is off"""
    overrides: tuple[Override, ...] = ()
    in_force: Sheet | None = None
    """What measures and rules are given for `sheet`: it holds the limits of the run"""
    scopes: Mapping[str, Scope] | None = None
    """Of every measure and rule, as checked before the run"""


@dataclass
class Requirements:
    """Sheets and rules of a run, checked before any file is opened."""

    registry: Registry
    config: Config
    sheets: dict[str, Sheet] = field(default_factory=dict)
    rules: dict[str, AnyRule] = field(default_factory=dict)

    def __post_init__(self) -> None:
        """Read every sheet that can be chosen and refuse what is wrong with it.

        Raises
        ------
        ConfigurationError, PluginError
        """
        config = self.config
        chosen = [config.process or DEFAULT_SHEET]
        chosen += [one.process for one in config.for_files if one.process]
        for name in chosen:
            self.sheets.setdefault(name, read_sheet(name, self.registry.sheets, config.base))
        known = self.registry.sheets
        registered = {n: self.sheets.get(n) or read_sheet(n, known) for n in known}
        check_registered(self.registry, {**registered, **self.sheets})
        for sheet in (*registered.values(), *self.sheets.values()):
            self.rules |= all_rules(self.registry, sheet)
        self.scopes = check_plugins(self.registry, self.rules)
        check_selection(config.only, self.rules, "--only")
        check_selection(config.without, self.rules, "--without")
        for one in config.for_files:
            check_selection(one.only, self.rules, f"[[for]] match = '{one.match}': only")
            check_selection(one.without, self.rules, f"[[for]] match = '{one.match}': without")
        self.general = self._resolve(self.sheet, [])
        for one in config.for_files:
            self._resolve(self.sheets[one.process] if one.process else self.sheet, [one])

    @property
    def sheet(self) -> Sheet:
        """The sheet of the run (a `[[for]]` table may name another for some files)."""
        return self.sheets[self.config.process or DEFAULT_SHEET]

    def for_file(self, path: Path) -> Required:
        """What holds for one file; later `[[for]]` tables win over earlier ones."""
        holding = [one for one in self.config.for_files if one.holds_for(path)]
        if not holding:
            return self.general
        named = [one.process for one in holding if one.process]
        return self._resolve(self.sheets[named[-1]] if named else self.sheet, holding)

    def _resolve(self, sheet: Sheet, holding: list[ForFiles]) -> Required:
        config = self.config
        only = config.only or tuple(name for one in holding for name in one.only)
        without = (*config.without, *(name for one in holding for name in one.without))
        known = all_rules(self.registry, sheet)
        requirements: dict[str, Requirement] = {}
        unselected: dict[str, Requirement] = {}
        off: dict[str, str] = {}
        for rule in sorted(known):
            requirement = sheet.requirement(rule)
            if rule not in sheet.entries:
                off[rule] = f"the sheet {sheet.name} has no entry for it"
            elif requirement is None:
                off[rule] = f"turned off by the sheet {sheet.name}"
            elif not is_selected(rule, only, without):
                off[rule] = NOT_SELECTED
                unselected[rule] = requirement
            else:
                requirements[rule] = requirement
        check_units(known, requirements)
        overrides = []
        limits = [(FILE_NAME, text) for text in config.limits]
        limits += [(f"[[for]] match = '{one.match}'", t) for one in holding for t in one.limits]
        limits += [("--limit", text) for text in config.given_limits]
        for origin, text in limits:
            rule = _limited_rule(text)
            if rule in unselected:
                # It is not judged, but other rules may look at its limit.
                unselected[rule] = apply_limit(text, unselected, origin)[1]
                continue
            if rule in off and origin != "--limit":
                continue
            rule, requirement = apply_limit(text, requirements, origin)
            requirements[rule] = requirement
            overrides.append(Override(rule, requirement, origin))
        in_force = sheet.in_force({**unselected, **requirements}, unselected)
        return Required(sheet, requirements, off, tuple(overrides), in_force, self.scopes)


def _limited_rule(text: str) -> str:
    return text.split("=")[0].rstrip("<> ≤≥").split("≤")[0].split("≥")[0].strip()
