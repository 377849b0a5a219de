"""The command line: exit codes, what goes to which stream, no traceback ever."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from house import PLUGINS, sheet_text, write
from parts import box, write_stl

import lint3d
from lint3d.cli import main

HOUSE = [
    "--plugin",
    str(PLUGINS / "every_hook.py"),
    "--process",
    "every-hook-tray",
    "--only",
    "house",
]


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A current folder with a cube that fits on the tray of the tests, and one that does not."""
    (tmp_path / ".git").mkdir()
    write_stl(tmp_path / "good.stl", box(20))
    write_stl(tmp_path / "bad.stl", box(30))
    monkeypatch.chdir(tmp_path)
    return tmp_path


def lint(*arguments: str) -> Result:
    """In this process; a traceback would be an exception here."""
    result = CliRunner().invoke(main, list(arguments), catch_exceptions=False)
    assert "Traceback" not in result.output
    return result


def inspect(*arguments: str) -> Result:
    return lint("inspect", "--workers", "0", *arguments)


def process(*arguments: str, **options: object) -> subprocess.CompletedProcess[str]:
    """In a process of its own, as from a shell, both streams piped."""
    found = subprocess.run(
        [sys.executable, "-m", "lint3d", *arguments], capture_output=True, text=True,
        encoding="utf-8", check=False, timeout=60, **options,  # type: ignore[call-overload]
    )  # fmt: skip
    assert "Traceback" not in found.stderr + found.stdout, found.stderr
    return found  # type: ignore[no-any-return]


# --- exit codes -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("arguments", "code"),
    [
        (["good.stl"], 0),
        (["bad.stl"], 1),
        (["good.stl", "bad.stl"], 1),
        (["no.stl"], 3),
        (["bad.stl", "no.stl"], 3),  # 3 before 1
        (["bad.stl", "no.stl", "--limit", "house/broad-part=x"], 2),  # 2 before 3
        (["bad.stl", "no.stl", "--report", "no/such/folder.sarif"], 2),
        (["bad.stl", "--plugin", str(PLUGINS / "fails_on_import.py")], 3),
        (["good.stl", "--fail-on", "review"], 0),
        (["good.stl", "--limit", "house/broad-part=10mm"], 1),
        (["good.stl", "--limit", "house/broad-part=0.5in"], 1),
        (["bad.stl", "--limit", "house/broad-part<=40"], 0),
        (["bad.stl", "--without", "house/broad-part", "--only", "file"], 0),
        (["good.stl", "--unit", "in"], 1),
    ],
)
def test_exit_codes(folder: Path, arguments: list[str], code: int) -> None:
    assert inspect(*HOUSE, *arguments).exit_code == code


def test_a_fault_in_a_review_fails_on_demand(folder: Path) -> None:
    path = write(
        folder / "unsure.py",
        """
        from lint3d import Body, Place, hookimpl, rule

        @rule("house/unsure", measures="mm")
        def unsure(body: Body):
            "Not sure."
            yield Place.measured(1.0, 0.5)

        @hookimpl
        def lint3d_rules():
            return [unsure]
        """,
    )
    write(folder / "own.toml", sheet_text({"house/unsure": 'at_least = 1.2\nunit = "mm"'}))
    base = ["good.stl", "--plugin", str(path), "--process", "own.toml"]
    assert inspect(*base).exit_code == 0
    assert inspect(*base, "--fail-on", "open").exit_code == 0
    assert inspect(*base, "--fail-on", "open", "--fail-on", "review").exit_code == 1
    write(folder / "lint3d.toml", 'fail-on = ["review"]\n')
    assert inspect(*base).exit_code == 1


def test_in_a_process_of_its_own(folder: Path) -> None:
    """Codes 1, 2, 3 (0 below); the table on stdout alone, messages on stderr alone."""
    bad = process("inspect", *HOUSE, "bad.stl", "--workers", "1")
    assert (bad.returncode, bad.stderr) == (1, "")
    assert "house/broad-part" in bad.stdout
    assert not any(c in bad.stdout for c in "\x1b\r\b")  # no colour, nothing written over
    assert max(map(len, bad.stdout.splitlines())) <= 80
    wrong = process("inspect", *HOUSE, "bad.stl", "--unit", "parsec")
    assert (wrong.returncode, wrong.stdout) == (2, "")
    assert (
        wrong.stderr == "lint3d: 'parsec' is no unit of length; use one of mm, um, cm, m, in, ft.\n"
    )
    lost = process("inspect", *HOUSE, "bad.stl", "no.stl", "--workers", "0")
    assert lost.returncode == 3
    assert "no.stl" in lost.stdout


# --- wrong use ------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (["inspect", "--limit", "walls/thin"], "write RULE=NUMBER[UNIT]"),
        (["inspect", "--only", "sollid"], "did you mean 'solid'"),
        (["inspect", "--process", "mjt-meltble"], "did you mean 'mjt-meltable'"),
        (["inspect", "--process", "no.toml"], "there is no sheet 'no.toml'"),
        (["inspect", "--config", "no.toml"], "no.toml: cannot be read"),
        (["inspect", "--config", "bad.stl"], "bad.stl: is not"),
        (["inspect", "--plugin", "no.py"], "there is no plugin file 'no.py'"),
        (["inspect", "--report", "x.csv"], "no report format has this suffix; known: "),
        (["inspect", "--report", "no/x.sarif"], "there is no folder 'no'"),
        (["inspect", "--today", "tomorrow"], "write a date as YYYY-MM-DD"),
        (["inspect", "--today", "2026-02-30"], "write a date as YYYY-MM-DD"),
        (["inspect", "--plugin", str(PLUGINS / "misspelt_hook.py")], "lint3d_rulez"),
        (["inspect", "--plugin", str(PLUGINS / "clashing.py")], "is offered twice"),
        (["explain", "solid/open-edg"], "did you mean 'solid/open-edge'"),
        (["inspect", "empty"], "holds no file to inspect"),
    ],
)
def test_wrong_use_is_one_plain_line_and_code_2(
    folder: Path, arguments: list[str], message: str
) -> None:
    (folder / "empty").mkdir()
    result = lint(*arguments)
    assert result.exit_code == 2
    assert result.stdout == ""
    assert result.stderr.startswith("lint3d: ")
    assert message in result.stderr
    assert result.stderr.count("\n") == 1


@pytest.mark.parametrize(
    "arguments",
    [["inspect", "--no-such-option"], ["no-such-command"], ["inspect", "--workers", "-1"],
     ["inspect", "--fail-on", "everything"], ["list", "colours"], ["explain"],
     ["inspect", "--config", "."]],
)  # fmt: skip
def test_wrong_arguments_are_code_2(folder: Path, arguments: list[str]) -> None:
    assert lint(*arguments).exit_code == 2


def test_wrong_settings_are_told_with_line(folder: Path) -> None:
    write(folder / "lint3d.toml", "\nplugin = ['x']\n")
    result = lint("inspect")
    assert result.exit_code == 2
    assert result.stderr == (
        "lint3d: lint3d.toml, line 2: 'plugin' is not a key of the file (did you mean 'plugins'?)\n"
    )


def test_a_fault_of_lint3d_itself_is_no_traceback(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def break_down(*_: object) -> None:
        raise ZeroDivisionError("deep\ninside")

    monkeypatch.setattr("lint3d.api.run", break_down)
    result = inspect("good.stl")
    assert result.exit_code == 3
    assert "please report it: ZeroDivisionError: deep inside" in result.stderr


# --- reports --------------------------------------------------------------------------------------


def test_reports_by_suffix_repeatable(folder: Path) -> None:
    result = inspect(*HOUSE, "--report", "a.sarif", "--report", "b.txt", "--report", "c.counts")
    assert result.exit_code == 1
    run = json.loads((folder / "a.sarif").read_text("utf-8"))["runs"][0]
    assert {r["kind"] for r in run["results"]} == {"pass", "fail"}
    assert "house/broad-part" in (folder / "b.txt").read_text("utf-8")
    assert (folder / "c.counts").read_text().splitlines() == [
        "fail 1", "pass 1", "bad.stl#part-1 ['field:breadth', 'mesh']",
        "good.stl#part-1 ['field:breadth', 'mesh']",
    ]  # fmt: skip


def test_a_report_that_cannot_be_written_keeps_no_other_from_it(folder: Path) -> None:
    (folder / "a.sarif").mkdir()
    result = inspect(*HOUSE, "--report", "a.sarif", "--report", "b.txt")
    assert result.exit_code == 2
    assert "--report a.sarif: cannot be written (Is a directory)." in result.stderr
    assert (folder / "b.txt").stat().st_size > 0


def test_a_writer_that_crashes_is_named(folder: Path) -> None:
    path = write(
        folder / "bad_writer.py",
        """
        from lint3d import hookimpl

        class BadWriter:
            name = "bad"
            suffixes = (".bad",)
            needs = frozenset()
            def write(self, inspection):
                raise KeyError("ink")

        @hookimpl
        def lint3d_writers():
            return [BadWriter()]
        """,
    )
    result = inspect(*HOUSE, "--plugin", str(path), "--report", "a.bad", "--report", "b.sarif")
    assert result.exit_code == 2
    assert "--report a.bad: the writer 'bad' crashed: KeyError: 'ink'." in result.stderr
    assert (folder / "b.sarif").exists()


# --- what is shown --------------------------------------------------------------------------------


def test_the_sheet_and_the_tightest_places_are_said(folder: Path) -> None:
    plain, verbose, quiet = (
        inspect(*HOUSE, *more).stdout for more in ([], ["--verbose"], ["--quiet"])
    )
    assert "every-hook-tray" in plain
    assert "at most 25 mm" in plain
    assert "turn the part." in plain
    assert "20 mm" not in plain  # passed
    assert "20 mm" in verbose
    assert len(quiet.splitlines()) < len(plain.splitlines()) < len(verbose.splitlines())


def test_a_terminal_without_the_letters_gets_stand_ins(folder: Path) -> None:
    write_stl(folder / "schön-浮.stl", box(30))
    environment = {**os.environ, "PYTHONIOENCODING": "ascii", "PYTHONUTF8": "0"}
    found = process("inspect", *HOUSE, "--workers", "0", "schön-浮.stl", env=environment)
    assert found.returncode == 1
    assert "house/broad-part" in found.stdout


@pytest.mark.further
def test_a_reader_that_closes_the_pipe_gets_no_traceback(folder: Path) -> None:
    command = f"{sys.executable} -m lint3d inspect --workers 0 | true"
    found = subprocess.run(command, shell=True, capture_output=True, text=True, check=False)
    assert "Traceback" not in found.stderr


def test_files_with_odd_names(folder: Path) -> None:
    for name in ("a b.stl", "100%.stl", "%41.stl", "-dash.stl", "浮.stl"):
        write_stl(folder / "odd" / name, box(30))
    (folder / os.fsdecode(b"odd/bad\xff.stl")).write_bytes((folder / "bad.stl").read_bytes())
    result = inspect(*HOUSE, "odd", "--report", "a.sarif")
    assert result.exit_code == 1
    run = json.loads((folder / "a.sarif").read_text("utf-8"))["runs"][0]
    uris = sorted(artifact["location"]["uri"] for artifact in run["artifacts"])
    assert uris == sorted(f"odd/{n}.stl" for n in
                          ("a%20b", "100%25", "%2541", "-dash", "%E6%B5%AE", "bad%FF"))  # fmt: skip


@pytest.mark.further
def test_nothing_beside_an_inspected_file_is_run(folder: Path) -> None:
    """`python -m` would look for modules in the current folder first."""
    for name in ("click", "numpy", "trimesh", "lint3d_plugins", "tomllib", "json"):
        write(folder / f"{name}.py", "open('was-run', 'w')\n")
    assert process("inspect", *HOUSE, "good.stl", "--workers", "1").returncode == 0
    assert not (folder / "was-run").exists()


# --- the other commands ---------------------------------------------------------------------------


def test_list(folder: Path) -> None:
    rules = lint("list", "rules")
    assert rules.exit_code == 0
    assert "size/units-doubt" in rules.stdout
    assert "2 to 1000 mm" in rules.stdout
    assert "height" in lint("list", "measures").stdout
    assert "mjt-meltable" in lint("list", "sheets").stdout
    assert "stl-binary" in lint("list", "readers").stdout
    plugins = lint("list", "plugins", "--plugin", str(PLUGINS / "fails_on_import.py"))
    assert "no licence for this machine" in " ".join(plugins.stdout.split())
    write(folder / "lint3d.toml", 'disable = ["solid"]\n')
    assert "disabled: not imported" in lint("list", "plugins").stdout


def test_list_tells_what_is_off_and_why(folder: Path) -> None:
    write(folder / "own.toml", '[sheet]\nextends = "mjt-meltable"\n'
          '[rules."size/units-doubt"]\noff = true\n')  # fmt: skip
    text = " ".join(lint("list", "rules", "--process", "own.toml").stdout.split())
    assert "size/units-doubt off (turned off by the sheet own)" in text


def test_explain(folder: Path) -> None:
    text = " ".join(lint("explain", "size/units-doubt").stdout.split())
    for piece in ("size/units-doubt", "makes the unit doubtful", "2 to 1000 mm", "Level: warning",
                  "Source: common practice", "Why: ", "Remedy: say the unit"):  # fmt: skip
        assert piece in text


def test_version_and_help(folder: Path) -> None:
    first, *plugins = lint("--version").stdout.splitlines()
    assert first == f"lint3d {lint3d.__version__}"
    assert all(line.startswith("plugin ") for line in plugins)
    for command in ([], *([name] for name in main.commands)):
        assert lint(*command, "--help").exit_code == 0
        assert lint(*command, "-h").exit_code == 0


@pytest.mark.parametrize("shell", ["bash", "zsh", "fish"])
def test_completion_is_printed(folder: Path, shell: str) -> None:
    assert "_LINT3D_COMPLETE" in lint("completion", shell).stdout


@pytest.mark.parametrize(
    ("words", "offered"),
    [
        ("lint3d explain solid/open", "solid/open-edge"),
        ("lint3d inspect --only soli", "solid"),
        ("lint3d inspect --process mjt", "mjt-meltable"),
        ("lint3d comp", "completion"),
    ],
)
def test_a_shell_completes(folder: Path, words: str, offered: str) -> None:
    environment = {
        "_LINT3D_COMPLETE": "bash_complete",
        "COMP_WORDS": words,
        "COMP_CWORD": str(len(words.split()) - 1),
    }
    answer = CliRunner().invoke(main, [], prog_name="lint3d", env=environment)
    assert f"plain,{offered}" in answer.output.splitlines()
