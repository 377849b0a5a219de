"""The frozen interface: what users script against.

A change here breaks their scripts; adding to it does not.
"""

from __future__ import annotations

import json
from pathlib import Path

import click
import pytest
from parts import box, write_stl

import lint3d
from lint3d.cli import main
from lint3d.inspection import Inspection
from lint3d.registry import PluginSettings, load_registry
from lint3d.sheet import read_sheet

COMMON = {"--process", "--config", "--plugin", "--help"}
OPTIONS = {
    "inspect": COMMON | {
        "--report", "--limit", "--only", "--without", "--together", "--unit", "--workers",
        "--fail-on", "--today", "--verbose", "-v", "--quiet", "-q", "--baseline", "--concessions",
    },
    "explain": COMMON,
    "list": COMMON,
    "compare": {"--help", "--verbose", "-v"},
    "concede": {"--help", "--reason", "--by", "--until", "--up-to", "--concessions", "--today"},
}  # fmt: skip
REPEATABLE = {"--report", "--limit", "--only", "--without", "--fail-on", "--plugin"}
LISTS = ("rules", "measures", "sheets", "plugins", "readers")
FAIL_ON = ("review", "open", "new")

#: Rule, unit of the value that is compared, kind of requirement and limit on the default sheet.
RULES = {
    "file/unreadable": ("1", "none"),
    "file/malformed": ("1", "none"),
    "size/units-doubt": ("mm", "2 to 1000 mm"),
    "solid/open-edge": ("1", "none"),
    "solid/non-manifold-edge": ("1", "none"),
    "solid/non-manifold-vertex": ("1", "none"),
    "solid/flipped-face": ("1", "none"),
    "solid/inside-out": ("1", "none"),
    "solid/self-intersection": ("1", "none"),
    "solid/degenerate-face": ("1", "none"),
    "solid/duplicate-face": ("1", "none"),
    "solid/stray-shell": ("mm3", "at least"),
    "solid/coarse-facets": ("mm", "at most"),
}
PROPERTIES = {
    "measured", "interval", "uncertainty", "requirement", "limit", "unit", "faceting", "position",
    "body", "other", "faces", "extent",
}  # fmt: skip
KINDS = {"fail", "pass", "review", "open", "notApplicable", "informational"}
NAMES = {
    "__version__", "inspect", "Inspection", "Notification", "Result", "Requirement", "Sheet",
    "decide", "measure", "rule", "Measure", "Rule", "hookimpl", "Interest", "Body", "Part",
    "Source", "Assembly", "Shell", "Region", "Place", "Places", "LeftOut", "Note", "Step",
    "NotMeasurable", "NotApplicable", "UnreadableFile", "Lint3dError", "ConfigurationError",
    "PluginError", "Reader", "Reading", "ReadPart", "ReadLimits", "Provenance", "Fault", "Writer",
}  # fmt: skip
ARGUMENTS = {
    "files", "sheet", "limits", "only", "without", "plugins", "together", "unit", "workers",
    "config", "today", "keep", "progress", "baseline", "concessions",
}  # fmt: skip


def test_the_frozen_interface(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Command line, rule table, property keys, kinds, exit codes and public names."""
    _command_line()
    _rule_table()
    _property_keys(tmp_path, monkeypatch)
    _exit_codes()
    assert set(lint3d.__all__) >= NAMES
    import inspect

    assert set(inspect.signature(lint3d.inspect).parameters) >= ARGUMENTS


def _command_line() -> None:
    assert set(main.commands) >= OPTIONS.keys()
    for name, expected in OPTIONS.items():
        command = main.commands[name]
        context = click.Context(command, parent=click.Context(main))
        found = {
            option: parameter
            for parameter in command.get_params(context)
            for option in parameter.opts
            if isinstance(parameter, click.Option)
        }
        found |= {"--help": command.get_help_option(context)}  # type: ignore[dict-item]
        assert found.keys() >= expected, (name, expected - found.keys())
        repeatable = {o for o, p in found.items() if isinstance(p, click.Option) and p.multiple}
        assert repeatable == REPEATABLE & found.keys()
    inspect_options = {p.name: p for p in main.commands["inspect"].params}
    assert inspect_options["files"].nargs == -1
    assert tuple(inspect_options["fail_on"].type.choices) == FAIL_ON  # type: ignore[attr-defined]
    (what,) = [p for p in main.commands["list"].params if p.name == "what"]
    assert tuple(what.type.choices) == LISTS  # type: ignore[attr-defined]
    (rule,) = [p for p in main.commands["explain"].params if p.name == "rule"]
    assert rule.required


def _rule_table() -> None:
    registry = load_registry(PluginSettings())
    sheet = read_sheet("mjt-meltable", registry.sheets)
    for rule_id, (unit, kind) in RULES.items():
        assert registry.rules[rule_id].unit == unit, rule_id
        requirement = sheet.requirement(rule_id)
        assert requirement is not None
        assert requirement.text().startswith(kind), rule_id


def _property_keys(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The keys of every result of every kind that a broken and a sound file have."""
    monkeypatch.chdir(folder)
    write_stl(folder / "sound.stl", box(20))
    write_stl(folder / "open.stl", box(20)[1:])
    (folder / "empty.stl").touch()
    report = folder / "report.sarif"
    with pytest.raises(SystemExit) as ended:
        main(["inspect", "--workers", "0", "--quiet", "--report", str(report)])
    assert ended.value.code == 3
    results = json.loads(report.read_text("utf-8"))["runs"][0]["results"]
    assert {result["kind"] for result in results} <= KINDS
    assert {result["kind"] for result in results} >= {"fail", "pass", "informational"}
    for result in results:
        assert result["properties"].keys() >= PROPERTIES
        assert result["level"] == "none" or result["kind"] == "fail"
        properties = result["properties"]
        if properties["interval"] is not None:
            assert len(properties["interval"]) == 2
        if properties["position"] is not None:
            assert len(properties["position"]) == 3
        assert properties["requirement"] in ("at least", "at most", "within", "none", "inform")


def _exit_codes() -> None:
    sheet = lint3d.inspection.SheetFacts("s", "S", ("s",), "0", False)
    fail = lint3d.Result("a/b", "fail", "", "a.stl")
    lost = lint3d.Notification("lost")
    assert [
        Inspection(results, [], notes, [], [], sheet).exit_code()
        for results, notes in (([], []), ([fail], []), ([fail], [lost]), ([], [lost]))
    ] == [0, 1, 3, 3]
    for error in (lint3d.Lint3dError, lint3d.ConfigurationError, lint3d.PluginError):
        assert error.exit_code == 2
