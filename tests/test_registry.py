"""Plugins: found, loaded, named; what fails is told and the others run."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from importlib.metadata import EntryPoint
from pathlib import Path
from types import SimpleNamespace

import pytest
from house import PLUGINS, write

from lint3d.errors import PluginError
from lint3d.registry import Found, PluginSettings, find_plugins, load_registry, reviewers

BUILT_IN = {"file", "size", "solid", "formats", "sheets", "reports"}


def given(*names: str, disabled: tuple[str, ...] = ()) -> PluginSettings:
    return PluginSettings(tuple(str(PLUGINS / f"{n}.py") for n in names), frozenset(disabled))


def test_built_ins_are_found_through_entry_points_sorted() -> None:
    found = find_plugins(PluginSettings())
    assert [plugin.name for plugin in found] == sorted(plugin.name for plugin in found)
    built_in = {plugin.name for plugin in found if plugin.built_in}
    assert built_in >= BUILT_IN
    assert all(p.target.startswith("lint3d_plugins.") for p in found if p.built_in)


def test_what_is_disabled_is_not_even_imported() -> None:
    """A process of its own: here everything may have been imported already."""
    code = (
        "import sys; from lint3d.registry import *\n"
        "r = load_registry(PluginSettings((), frozenset({'solid', 'size'})))\n"
        "assert r.disabled == ('size', 'solid'), r.disabled\n"
        "assert 'lint3d_plugins.solid' not in sys.modules\n"
        "assert 'lint3d_plugins.file' in sys.modules\n"
        "assert not any(k.startswith('solid/') for k in r.rules)"
    )
    subprocess.run([sys.executable, "-c", code], check=True)


def test_finding_imports_nothing(tmp_path: Path) -> None:
    path = write(tmp_path / "loud_plugin.py", "raise RuntimeError('imported')\n")
    assert Found("loud_plugin", str(path), given=True) in find_plugins(PluginSettings((str(path),)))


@pytest.mark.parametrize(
    ("settings", "message"),
    [
        (PluginSettings(("no/such.py",)), r"there is no plugin file 'no/such\.py'\. Check"),
        (PluginSettings((), frozenset({"sollid"})), "no plugin 'sollid' to disable .did you mean "
         "'solid'"),
    ],
)  # fmt: skip
def test_what_does_not_exist_is_refused(settings: PluginSettings, message: str) -> None:
    with pytest.raises(PluginError, match=message):
        find_plugins(settings)


def test_two_given_plugins_of_one_name_are_refused(tmp_path: Path) -> None:
    one, two = write(tmp_path / "a" / "same.py", ""), write(tmp_path / "b" / "same.py", "")
    with pytest.raises(PluginError, match=r"would be called 'same' like the plugin .*Rename"):
        find_plugins(PluginSettings((str(one), str(two))))


def test_a_plugin_named_like_a_built_in_is_refused(tmp_path: Path) -> None:
    path = write(tmp_path / "solid.py", "")
    with pytest.raises(PluginError, match=r"would be called 'solid' like the plugin lint3d_pl"):
        find_plugins(PluginSettings((str(path),)))


def test_the_same_plugin_given_twice_is_one(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = write(tmp_path / "twice.py", "")
    monkeypatch.chdir(tmp_path)
    found = find_plugins(PluginSettings(("twice.py", str(path), "./twice.py")))
    assert [plugin.name for plugin in found].count("twice") == 1


def test_what_is_installed_between_two_runs_is_found(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What is installed is remembered, for to ask for it takes long."""
    monkeypatch.syspath_prepend(tmp_path)
    assert "late" not in [plugin.name for plugin in find_plugins(PluginSettings())]
    os.utime(tmp_path, ns=(0, 0))  # a clock may be too coarse to tell two changes apart
    about = write(tmp_path / "late-1.2.dist-info" / "METADATA", "Name: late\nVersion: 1.2\n")
    write(about.with_name("entry_points.txt"), "[lint3d]\nlate = late_rules\n")
    (found,) = [one for one in find_plugins(PluginSettings()) if one.name == "late"]
    assert (found.target, found.version, found.built_in) == ("late_rules", "1.2", False)


def test_two_installed_plugins_of_one_name_are_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.syspath_prepend(tmp_path)
    points = [EntryPoint("house", "a_house", "lint3d"), EntryPoint("house", "b_house", "lint3d")]
    monkeypatch.setattr("importlib.metadata.entry_points", lambda group: points)
    with pytest.raises(PluginError, match="two installed plugins are called 'house': a_house and"):
        find_plugins(PluginSettings())


def test_a_file_is_loaded_with_all_that_it_brings() -> None:
    registry = load_registry(given("every_hook"))
    assert not registry.problems
    facts = registry.plugins["every_hook"]
    assert facts.summary == ("Every hook: a house plugin that takes part wherever it can.")
    for kind, name, table in (
        ("reader", "point-list", registry.readers),
        ("measure", "breadth", registry.measures),
        ("rule", "house/broad-part", registry.rules),
        ("sheet", "every-hook-tray", registry.sheets),
        ("writer", "counts", registry.writers),
    ):
        assert name in table
        assert registry.owner_of(kind, name) == "every_hook"
    assert [name for name, _ in reviewers(registry)] == ["every_hook"]


def test_a_module_is_loaded_by_name(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    write(tmp_path / "module_of_a_test.py", '"""A module."""\n')
    monkeypatch.syspath_prepend(tmp_path)
    registry = load_registry(PluginSettings(("module_of_a_test",)))
    assert registry.plugins["module_of_a_test"].summary == "A module."


@pytest.mark.parametrize(
    ("name", "message"),
    [
        ("fails_on_import", r"The plugin 'fails_on_import' could not be imported \(RuntimeError: "
         r"no licence for this machine\)\. What it brings is missing\. Mend or disable it\."),
        ("leaves_on_import", "The plugin 'leaves_on_import' could not be imported .SystemExit"),
    ],
)  # fmt: skip
def test_a_plugin_that_cannot_be_imported_is_named_and_the_others_run(
    name: str, message: str
) -> None:
    registry = load_registry(given("every_hook", name))
    (problem,) = registry.problems
    assert re.search(message, problem.message)
    assert (problem.level, problem.id, problem.plugin) == ("error", "plugin", name)
    assert name not in registry.plugins
    assert "house/broad-part" in registry.rules
    assert "file/unreadable" in registry.rules


def test_a_module_that_does_not_exist_is_named() -> None:
    for name in ("no_such_module", "no_such.module"):
        with pytest.raises(PluginError, match=f"there is no plugin '{name}'"):
            load_registry(PluginSettings((name,)))


def test_a_module_that_needs_another_that_does_not_exist_is_named_and_the_others_run(
    tmp_path: Path,
) -> None:
    path = write(tmp_path / "needy.py", "import no_such_module")
    registry = load_registry(PluginSettings((str(path),)))
    assert "'needy' could not be imported (ModuleNotFoundError" in registry.problems[0].message


def test_a_module_that_failed_leaves_nothing_behind() -> None:
    load_registry(given("fails_on_import"))
    assert "lint3d_house_fails_on_import" not in sys.modules


def test_each_hook_that_fails_is_named_and_the_others_run() -> None:
    registry = load_registry(given("every_hook", "fails_in_hooks"))
    told = [problem.message for problem in registry.problems]
    for hook, what in (
        ("readers", "OSError: readers are out"),
        ("measures", "TypeError: .*is no measure; decorate it with @measure"),
        ("rules", "TypeError: 'int' object is not iterable"),
        ("sheets", "TypeError"),
        ("writers", "AttributeError"),
    ):
        pattern = rf"'fails_in_hooks' failed in its hook lint3d_{hook} \({what}"
        assert any(re.search(pattern, text) for text in told), (hook, told)
    assert len(told) == 5
    assert "house/broad-part" in registry.rules


def test_a_name_offered_twice_names_both_plugins() -> None:
    with pytest.raises(
        PluginError,
        match=r"the measure 'height' is offered twice, by the plugins "
        "'clashing' and 'size'|by the plugins 'size' and 'clashing'",
    ):
        load_registry(given("clashing"))


def test_a_clash_can_be_ended_by_disabling_one() -> None:
    registry = load_registry(given("clashing", disabled=("size",)))
    assert registry.owner_of("measure", "height") == "clashing"


@pytest.mark.parametrize("name", ["misspelt_hook", "unmarked_hook"])
def test_a_hook_that_would_never_be_called_is_an_error(name: str) -> None:
    with pytest.raises(PluginError, match=rf"plugin '{name}': .*lint3d_rule"):
        load_registry(given(name))


def test_a_hook_with_unknown_arguments_is_an_error(tmp_path: Path) -> None:
    path = write(
        tmp_path / "asks_too_much.py",
        """
        from lint3d import hookimpl
        @hookimpl
        def lint3d_review(result, weather):
            pass
        """,
    )
    with pytest.raises(PluginError, match=r"plugin 'asks_too_much': .*weather"):
        load_registry(PluginSettings((str(path),)))


def test_hooks_are_called_in_the_order_of_plugin_names(tmp_path: Path) -> None:
    for name in ("zebra", "ape"):
        write(
            tmp_path / f"{name}.py",
            """
            from lint3d import hookimpl
            @hookimpl
            def lint3d_review(result, inspection):
                return [__name__]
            """,
        )
    paths = tuple(str(tmp_path / f"{name}.py") for name in ("zebra", "ape"))
    registry = load_registry(PluginSettings(paths))
    called = [f(result=None, inspection=SimpleNamespace()) for _, f in reviewers(registry)]
    assert called == [["lint3d_house_ape"], ["lint3d_house_zebra"]]


def test_two_registries_do_not_share_anything() -> None:
    load_registry(given("every_hook"))
    assert "house/broad-part" not in load_registry().rules


def test_two_writers_of_one_suffix_are_refused(tmp_path: Path) -> None:
    (tmp_path / "notes.py").write_text(
        '''"""Notes."""
from lint3d import hookimpl


class Notes:
    name, suffixes, needs = "notes", (".txt",), frozenset()

    def write(self, inspection):
        return b""


@hookimpl
def lint3d_writers():
    return [Notes()]
'''
    )
    with pytest.raises(PluginError, match=r"'\.txt'.*'notes' and 'reports'"):
        load_registry(PluginSettings((str(tmp_path / "notes.py"),)))


def test_a_plugin_that_exits_in_its_hook_is_named_and_the_others_run(tmp_path: Path) -> None:
    (tmp_path / "leaver.py").write_text(
        '''"""Leaves."""
from lint3d import hookimpl


@hookimpl
def lint3d_rules():
    raise SystemExit(0)
'''
    )
    registry = load_registry(PluginSettings((str(tmp_path / "leaver.py"),)))
    assert [problem.plugin for problem in registry.problems] == ["leaver"]
    assert "solid/open-edge" in registry.rules
