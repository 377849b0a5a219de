"""What `lint3d start` writes must run at once, and say no to names that would not work."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner

from lint3d.cli import main
from lint3d.errors import ConfigurationError, Lint3dError
from lint3d.start import start


def _tests_of(folder: Path, *options: str) -> subprocess.CompletedProcess[str]:
    environment = {k: v for k, v in os.environ.items() if not k.startswith("PYTEST")}
    return subprocess.run(
        [sys.executable, "-m", "pytest", "-q", "-p", "no:cacheprovider", *options],
        cwd=folder,
        env=environment,
        capture_output=True,
        text=True,
        timeout=300,
        check=False,
    )


@pytest.mark.parametrize("kind", ["plugin", "sheet"])
@pytest.mark.cases(1)
def test_what_is_written_runs_green_at_once(kind: str, tmp_path: Path) -> None:
    written = start(kind, "our-oven", tmp_path)  # type: ignore[arg-type]
    assert all(path.is_file() for path in written)
    assert (tmp_path / "our-oven" / "tests" / "block.stl") in written
    text = "".join(p.read_text() for p in written if p.suffix != ".stl")
    assert "$" not in text.replace("${", "$")
    run = _tests_of(tmp_path / "our-oven")
    assert run.returncode == 0, run.stdout + run.stderr
    assert " passed" in run.stdout


@pytest.mark.further
def test_a_test_of_the_skeleton_fails_when_its_rule_is_wrong(tmp_path: Path) -> None:
    start("plugin", "our-oven", tmp_path)
    rules = tmp_path / "our-oven" / "our_oven" / "__init__.py"
    text = rules.read_text()
    assert "body.mesh.volume" in text
    rules.write_text(text.replace("body.mesh.volume", "body.mesh.area"))
    run = _tests_of(tmp_path / "our-oven", "-x")  # the others take seconds and change nothing
    assert run.returncode == 1, run.stdout + run.stderr


@pytest.mark.parametrize(
    "name", ["Our", "../x", "a b", "", "9oven", "a--b", "walls", "mjt-meltable"]
)
def test_a_name_that_would_not_work_is_refused(name: str, tmp_path: Path) -> None:
    with pytest.raises(ConfigurationError, match=r"name|taken"):
        start("plugin", name, tmp_path)
    assert list(tmp_path.iterdir()) == []


def test_nothing_is_overwritten(tmp_path: Path) -> None:
    (tmp_path / "our-oven").mkdir()
    with pytest.raises(ConfigurationError, match="already"):
        start("sheet", "our-oven", tmp_path)
    assert list((tmp_path / "our-oven").iterdir()) == []


def test_a_folder_that_cannot_be_written(tmp_path: Path) -> None:
    (tmp_path / "file").touch()
    with pytest.raises(Lint3dError, match="cannot be written"):
        start("sheet", "our-oven", tmp_path / "file")


def test_the_command_says_what_to_do_next(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    answer = CliRunner().invoke(main, ["start", "sheet", "our-machine"])
    assert answer.exit_code == 0
    assert "our-machine/our-machine.toml" in answer.output
    assert "cd our-machine && python -m pytest" in answer.output
    again = CliRunner().invoke(main, ["start", "sheet", "our-machine"])
    assert again.exit_code == 2
