"""A whole run from Python: settings, together, overrides, plugins, review; no file raises."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import Any

import pytest
from house import PLUGINS, sheet_text, write
from parts import box, write_stl

import lint3d
from lint3d import ConfigurationError, Inspection, Lint3dError, PluginError
from lint3d.config import Config

HOOKS = str(PLUGINS / "every_hook.py")


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A current folder with three cubes, and a .git that ends the search for settings."""
    (tmp_path / ".git").mkdir()
    write_stl(tmp_path / "b.stl", box(20))
    write_stl(tmp_path / "labels" / "a.stl", box(30))
    monkeypatch.chdir(tmp_path)
    return tmp_path


def inspect(*files: Any, **options: Any) -> Inspection:
    """In this process."""
    usual = {"only": ["house"], "plugins": [HOOKS], "sheet": "every-hook-tray", "workers": 0}
    return lint3d.inspect(files, **{**usual, **options})


def kinds(found: Inspection) -> list[tuple[str, str]]:
    return [(result.uri, result.kind) for result in found.results]


def test_a_run(folder: Path) -> None:
    found = inspect()
    assert kinds(found) == [("b.stl", "pass"), ("labels/a.stl", "fail")]
    assert found.exit_code() == 1
    assert found.complete
    assert found.counts() == {"pass": 1, "fail": 1}
    assert (found.sheet.name, found.sheet.chain, found.sheet.assumed) == (
        "every-hook-tray", ("every-hook-tray", "mjt-meltable"), False,
    )  # fmt: skip
    assert found.version == lint3d.__version__
    assert "every_hook" in [plugin.name for plugin in found.plugins]


def test_one_file_may_be_given_by_itself(folder: Path) -> None:
    for one in ("b.stl", folder / "b.stl"):
        assert len(lint3d.inspect(one, workers=0, only=["size"]).artifacts) == 1


def test_the_default_sheet_is_said_to_be_assumed(folder: Path) -> None:
    found = lint3d.inspect("b.stl", workers=0, only=["size"])
    assert (found.sheet.name, found.sheet.assumed) == ("mjt-meltable", True)


def test_a_sheet_by_path(folder: Path) -> None:
    write(folder / "tray.toml", '[sheet]\nextends = "every-hook-tray"\n[rules."house/broad-part"]\n'
          "at_most = 100\n")  # fmt: skip
    for sheet in ("tray.toml", folder / "tray.toml"):
        assert inspect(sheet=sheet).exit_code() == 0


def test_limits_are_told_as_overrides(folder: Path) -> None:
    found = inspect(limits=["house/broad-part=15mm"])
    assert found.exit_code() == 1
    assert kinds(found) == [("b.stl", "fail"), ("labels/a.stl", "fail")]
    (override,) = found.overrides
    assert (override.rule, override.origin, override.uri) == ("house/broad-part", "--limit", None)
    (facts,) = [rule for rule in found.rules if rule.id == "house/broad-part"]
    assert facts.default is not None
    assert facts.default.limit == 25  # what the sheet says is still told


def test_limits_for_some_files_are_told_with_the_file(folder: Path) -> None:
    write(folder / "lint3d.toml", """
        [[for]]
        match = "labels/**"
        [for.limits]
        "house/broad-part" = "40 mm"
        """)  # fmt: skip
    found = inspect()
    assert kinds(found) == [("b.stl", "pass"), ("labels/a.stl", "pass")]
    assert [(o.rule, o.uri) for o in found.overrides] == [("house/broad-part", "labels/a.stl")]


def test_settings_come_from_the_current_folder_upward(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    write(
        folder / "lint3d.toml", 'process = "own.toml"\nplugins = ["house.py"]\nonly = ["house"]\n'
    )
    write(folder / "own.toml", sheet_text(["house/always"]))
    write(folder / "house.py", HOUSE)
    monkeypatch.chdir(folder / "labels")
    found = lint3d.inspect(workers=0)
    assert kinds(found) == [("a.stl", "fail")]
    assert found.sheet.name == "own"


HOUSE = """
    from lint3d import Body, hookimpl, rule

    @rule("house/always", measures="1")
    def always(body: Body):
        "Always found."
        return 1

    @hookimpl
    def lint3d_rules():
        return [always]
"""


def test_settings_beside_a_file_are_never_read(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """They can name plugins, and the folder may be a customer's."""
    marker = folder / "was-run"
    write(folder / "labels" / "lint3d.toml", 'plugins = ["evil.py"]\nnonsense = 1\n')
    write(folder / "labels" / "evil.py", f"open({str(marker)!r}, 'w')\n")
    for name in ("numpy", "trimesh", "lint3d_plugins", "sitecustomize", "stl"):
        write(folder / "labels" / f"{name}.py", f"open({str(marker)!r}, 'w')\n")
    lint3d.inspect("labels", workers=1, only=["size"])
    assert not marker.exists()


def test_options_win_over_settings(folder: Path) -> None:
    config = Config(process="mjt-meltable", only=("size",), unit="in")
    found = inspect(config=config)
    assert found.sheet.name == "every-hook-tray"
    assert {result.rule for result in found.results} == {"house/broad-part"}
    assert found.settings["unit"] == "in"
    assert inspect(config=config, unit="mm").exit_code() == 1


def test_together_is_one_assembly(folder: Path) -> None:
    path = write(
        folder / "pairs.py",
        """
        from lint3d import Assembly, hookimpl, rule

        @rule("house/pairs", measures="1")
        def pairs(assembly: Assembly):
            "How many bodies stand in one frame?"
            return len(assembly.bodies)

        @hookimpl
        def lint3d_rules():
            return [pairs]
        """,
    )
    sheet = write(folder / "own.toml", sheet_text({"house/pairs": 'inform = true\nunit = "1"'}))
    options: dict[str, Any] = {"plugins": [str(path)], "sheet": sheet}
    assert [r.measured for r in inspect(**options).results] == [1, 1]
    assert [r.measured for r in inspect(**options, together=True).results] == [2]
    assert inspect(**options, together=True).settings["together"] is True


def test_what_is_wrong_with_a_file_never_raises(folder: Path) -> None:
    found = lint3d.inspect(["b.stl", "no.stl"], workers=0, only=["file", "size"])
    lost = [r for r in found.results if r.uri == "no.stl"]
    assert ("file/unreadable", "fail") in [(r.rule, r.kind) for r in lost]
    assert not [r for r in lost if r.kind == "pass" and r.rule != "file/malformed"]
    assert {r.kind for r in found.results if r.uri == "b.stl"} == {"pass", "informational"}
    assert found.exit_code() == 3


@pytest.mark.parametrize(
    ("options", "error", "message"),
    [
        ({"sheet": "no-such"}, ConfigurationError, "there is no sheet 'no-such'"),
        ({"limits": ["house/broad=3"]}, ConfigurationError, "no rule 'house/broad' is on"),
        ({"only": ["hous"]}, ConfigurationError, "did you mean 'house'"),
        ({"unit": "parsec"}, ConfigurationError, "'parsec' is no unit of length"),
        ({"config": "no.toml"}, ConfigurationError, "cannot be read"),
        ({"plugins": ["no.py"]}, PluginError, "there is no plugin file"),
        ({"sheet": "mjt-meltable"}, ConfigurationError, "no rule is on"),
        ({"workers": -1}, ConfigurationError, r"workers must be 0"),
        ({"only": ["house"], "without": ["house"]}, Lint3dError, "no rule is on"),
    ],
)
def test_wrong_use_is_refused_before_any_file_is_opened(
    folder: Path, options: dict[str, Any], error: type[Exception], message: str
) -> None:
    with pytest.raises(error, match=message):
        inspect("no-such.stl", **options)


def test_a_folder_without_a_mesh_is_refused(folder: Path) -> None:
    (folder / "empty").mkdir()
    with pytest.raises(Lint3dError, match="holds no file to inspect"):
        inspect("empty")


def test_a_reader_of_a_plugin_reads_and_locates(folder: Path) -> None:
    rows = "\n".join(" ".join(map(str, facet.ravel())) for facet in box(3.0))
    (folder / "c.triangles").write_text(f"triangles\n{rows}\n")
    found = inspect("c.triangles")
    (result,) = found.results
    assert (result.kind, result.measured, result.body) == ("fail", 30.0, "listed")  # 3 cm
    assert result.region is not None
    assert result.region.start_line == 2
    assert (found.artifacts[0].unit, found.artifacts[0].unit_origin) == ("cm", "found")


def test_review_adds_remarks(folder: Path) -> None:
    assert [r.remarks for r in inspect().results] == [(), ("Ask for the wide tray.",)]


def test_a_review_that_crashes_is_told_once_and_changes_nothing(folder: Path) -> None:
    path = write(
        folder / "bad_review.py",
        """
        from lint3d import hookimpl

        @hookimpl
        def lint3d_review(result, inspection):
            result.kind = "pass"
            inspection.results.clear()
            raise KeyError("review")
        """,
    )
    found = inspect(plugins=[HOOKS, str(path)])
    assert kinds(found) == [("b.stl", "pass"), ("labels/a.stl", "fail")]
    (note,) = found.notifications
    assert (note.plugin, note.level) == ("bad_review", "error")
    assert "lint3d_review of the plugin 'bad_review' crashed" in note.message
    assert found.results[1].remarks == ("Ask for the wide tray.",)
    assert found.exit_code() == 3


def test_a_remark_may_be_one_text(folder: Path) -> None:
    path = write(
        folder / "one_text.py",
        """
        from lint3d import hookimpl

        @hookimpl
        def lint3d_review(result):
            return "Just this."
        """,
    )
    assert [r.remarks for r in inspect(plugins=[str(path)], sheet="mjt-meltable",
                                       only=["size"]).results] == [("Just this.",)] * 4  # fmt: skip


def test_a_plugin_that_fails_makes_the_run_incomplete(folder: Path) -> None:
    found = inspect(plugins=[HOOKS, str(PLUGINS / "fails_on_import.py")])
    assert kinds(found) == [("b.stl", "pass"), ("labels/a.stl", "fail")]
    assert found.exit_code() == 3
    assert "fails_on_import" in found.notifications[0].message


def test_rules_that_did_not_run_are_listed_with_the_reason(folder: Path) -> None:
    found = inspect()
    off = {rule.id: rule.off for rule in found.rules}
    assert off["house/broad-part"] is None
    assert off["file/unreadable"] == "not selected"
    assert found.exit_code() == 1


def test_what_is_asked_for_is_kept(folder: Path) -> None:
    found = inspect("b.stl", keep=["mesh", "field:breadth"])
    (kept,) = found.kept.values()
    assert len(kept["mesh"][1]) == 12
    assert kept["field:breadth"][0].value == 20.0
    assert inspect("b.stl").kept == {}


def test_progress_is_told(folder: Path) -> None:
    steps: list[tuple[str, str, str]] = []
    inspect("b.stl", progress=lambda *step: steps.append(step))
    assert ("b.stl", "reading", "") in steps
    assert ("b.stl", "breadth", "part-1") in steps


def test_today_is_an_argument(folder: Path) -> None:
    assert inspect(today=date(2026, 1, 2)).settings["today"] == "2026-01-02"
    assert "today" not in inspect().settings


@pytest.mark.parametrize(
    ("kinds_found", "fail_on", "code"),
    [
        (["pass"], [], 0),
        (["pass", "review"], [], 0),
        (["pass", "review"], ["review"], 1),
        (["pass", "fail"], [], 1),
        (["pass", "open"], [], 1),
        (["fail", "open"], [], 1),
        (["informational", "notApplicable"], ["review", "open"], 0),
    ],
)
def test_exit_codes_of_results(kinds_found: list[str], fail_on: list[str], code: int) -> None:
    sheet = lint3d.inspection.SheetFacts("s", "S", ("s",), "0", False)
    found = Inspection(
        [lint3d.Result("a/b", kind, "", "a.stl", body="part-1") for kind in kinds_found],  # type: ignore[arg-type]
        [], [], [], [], sheet,
    )  # fmt: skip
    assert found.exit_code(frozenset(fail_on)) == code
    found.notifications.append(lint3d.Notification("lost", "error"))
    assert found.exit_code(frozenset(fail_on)) == 3
    found.notifications[:] = [lint3d.Notification("by the way", "warning")]
    assert found.exit_code(frozenset(fail_on)) == code
