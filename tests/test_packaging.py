"""What goes into the wheel, and that every built-in says what it must."""

from __future__ import annotations

import importlib
import tomllib
from pathlib import Path

import pytest

import lint3d
from lint3d.declare import RULE_ID, Rule
from lint3d.plan import AnyRule
from lint3d.registry import PluginSettings, Registry, load_registry
from lint3d.sheet import NO_SOURCE, Sheet, read_sheet
from lint3d.units import LIMIT_UNITS

ROOT = Path(__file__).parent.parent
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))
SETUPTOOLS = PROJECT["tool"]["setuptools"]
UCUM = {code for code, _ in LIMIT_UNITS.values()}


@pytest.fixture(scope="module")
def registry() -> Registry:
    """Built-ins alone; none of them may fail."""
    found = load_registry(PluginSettings())
    assert not found.problems, [problem.message for problem in found.problems]
    return found


@pytest.fixture(scope="module")
def sheet(registry: Registry) -> Sheet:
    return read_sheet("mjt-meltable", registry.sheets)


def folders(package: str, folder: str) -> set[str]:
    """Packages of a folder: each one that holds an __init__.py."""
    found = set()
    for init in (ROOT / folder).rglob("__init__.py"):
        relative = init.parent.relative_to(ROOT / folder)
        found.add(".".join([package, *relative.parts]))
    return found


def test_every_folder_is_in_the_wheel() -> None:
    """A sub-package that is missing from the list silently leaves the wheel."""
    expected = folders("lint3d", "lint3d")
    for package, folder in SETUPTOOLS["package-dir"].items():
        expected |= folders(package, folder)
    assert set(SETUPTOOLS["packages"]) == expected


def test_no_module_lies_outside_of_a_package() -> None:
    for folder in ("lint3d", "plugins", "rules"):
        for module in (ROOT / folder).rglob("*.py"):
            assert (module.parent / "__init__.py").exists(), module


def test_data_is_in_the_wheel() -> None:
    data = SETUPTOOLS["package-data"]
    for package, folder in (("lint3d", "lint3d"), *SETUPTOOLS["package-dir"].items()):
        assert "py.typed" in data[package]
        assert (ROOT / folder / "py.typed").exists()
    assert "*.toml" in data["lint3d_rules"]
    folders = {
        package: ROOT / SETUPTOOLS["package-dir"].get(package, package.replace(".", "/"))
        for package in SETUPTOOLS["packages"]
    }
    packed = {
        path
        for package, folder in folders.items()
        for pattern in data.get(package, ())
        for path in folder.glob(pattern)
    }
    there = {
        path
        for folder in folders.values()
        for path in folder.rglob("*")
        if path.is_file() and path.suffix != ".py" and "__pycache__" not in path.parts
    }
    assert there == packed


def test_entry_points_name_every_built_in_plugin() -> None:
    points = PROJECT["project"]["entry-points"]["lint3d"]
    # A module without hooks is a part of another plugin's.
    files = (ROOT / "plugins").glob("*.py")
    modules = {p.stem for p in files if "@hookimpl" in p.read_text("utf-8")}
    assert points == {name: f"lint3d_plugins.{name}" for name in modules}
    for target in points.values():
        assert importlib.import_module(target).__doc__


def test_versions_agree() -> None:
    assert PROJECT["project"]["version"] == lint3d.__version__


def test_the_licence_is_mit_as_spdx() -> None:
    assert PROJECT["project"]["license"] == "MIT"
    assert (ROOT / "LICENSE").read_text("utf-8").startswith("MIT")


def test_public_names_resolve() -> None:
    for name in lint3d.__all__:
        assert getattr(lint3d, name) is not None
    assert set(dir(lint3d)) == set(lint3d.__all__)
    with pytest.raises(AttributeError, match="has no attribute 'nonsense'"):
        lint3d.nonsense  # noqa: B018


def test_every_rule_says_what_it_looks_for_and_what_to_do(registry: Registry) -> None:
    for rule in registry.rules.values():
        first = rule.doc.split("\n")[0]
        assert first, rule.id
        assert rule.title.endswith("."), rule.id
        assert len(rule.title) <= 120, rule.id
        assert rule.remedy, f"{rule.id} has no remedy"
        assert rule.explanation, f"{rule.id} explains nothing"
        assert rule.unit in UCUM, rule.id


def test_every_measure_asks_a_question_in_a_unit(registry: Registry) -> None:
    for measure in registry.measures.values():
        assert measure.unit in UCUM, measure.name
        assert measure.title.endswith("?"), f"{measure.name}: {measure.title}"


def test_every_plugin_says_what_it_is_about(registry: Registry) -> None:
    for facts in registry.plugins.values():
        assert facts.summary, facts.name
        assert facts.version == lint3d.__version__


def test_every_rule_is_on_the_default_sheet_with_unit_and_source(
    registry: Registry, sheet: Sheet
) -> None:
    assert sheet.entries.keys() >= registry.rules.keys()
    rules: dict[str, AnyRule] = dict(registry.rules)
    for rule_id in registry.rules:
        requirement = sheet.requirement(rule_id)
        if requirement is None:  # off by default: with its reason
            assert sheet.entries[rule_id].reason, rule_id
            continue
        assert requirement.unit == rules[rule_id].unit, rule_id
        assert requirement.source, rule_id
        assert requirement.source != NO_SOURCE, rule_id
        assert isinstance(rules[rule_id], Rule)


def test_every_sheet_is_sound_and_says_why_where_nobody_is_cited(registry: Registry) -> None:
    for name in registry.sheets:
        read = read_sheet(name, registry.sheets)
        assert read.title != read.name, f"{name} has no title"
        for rule_id, entry in read.entries.items():
            assert RULE_ID.fullmatch(rule_id)
            if entry.requirement is not None:
                assert entry.requirement.source != NO_SOURCE, (name, rule_id)
        for constant in (read.liquid or {}).values():
            assert constant.source != NO_SOURCE
            assert constant.unit
