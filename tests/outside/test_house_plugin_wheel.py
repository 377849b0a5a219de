"""A house plugin as an outside package: its own wheel, in a fresh environment, beside lint3d's.

The plugin is the one that stands in DEVELOPERS.md. The environment is made without a network: what
lint3d depends on is taken from the environment that runs the tests.
"""

from __future__ import annotations

import json
import os
import re
import shutil
import subprocess
import sys
import sysconfig
import venv
from importlib.metadata import version
from pathlib import Path
from typing import Any

import pytest
from parts import box, write_stl

ROOT = Path(__file__).parents[2]
DOCUMENT = ROOT / "DEVELOPERS.md"
BLOCK = re.compile(r"<!-- house-plugin -->\s*```python\n(.*?)```\s*<!-- /house-plugin -->", re.S)

pytestmark = pytest.mark.skipif(not DOCUMENT.exists(), reason="DEVELOPERS.md is not in this copy")

PROJECT = """\
[build-system]
requires = ["setuptools>=77"]
build-backend = "setuptools.build_meta"
[project]
name = "harbour-house-rules"
version = "2.5.0"
[project.entry-points.lint3d]
house = "house_rules"
[tool.setuptools]
py-modules = ["house_rules"]
"""
SHEET = """\
[sheet]
title = "Our jetting machine"
extends = "mjt-meltable"
[rules."house/heavy-part"]
at_most = 5000.0
unit = "mm3"
source = "our tray's spring"
"""


def plugin_text() -> str:
    """The plugin of the documentation, word for word."""
    found = BLOCK.search(DOCUMENT.read_text("utf-8"))
    assert found, "DEVELOPERS.md holds no python block between the house-plugin markers"
    return found[1]


def run(*command: str | Path, cwd: Path, code: int = 0) -> str:
    """Run without anything that would lead back to the source tree."""
    environment = {k: v for k, v in os.environ.items() if not k.startswith(("PYTHON", "PIP_"))}
    found = subprocess.run(
        [str(part) for part in command], cwd=cwd, env=environment, capture_output=True, text=True,
        check=False,
    )  # fmt: skip
    assert found.returncode == code, found.stdout + found.stderr
    return found.stdout


def wheel(source: Path, out: Path) -> Path:
    """Build a wheel with the build tools of this environment if they are new enough."""
    new_enough = int(version("setuptools").split(".")[0]) >= 77
    isolation = ["--no-build-isolation"] if new_enough else []
    run(sys.executable, "-m", "pip", "wheel", "--quiet", "--no-deps", *isolation, "-w", out, source,
        cwd=source)  # fmt: skip
    (built,) = out.glob("*.whl")
    return built


@pytest.fixture(scope="module")
def environment(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A fresh environment with both wheels; the folder that its programs are in."""
    folder = tmp_path_factory.mktemp("house")
    # A copy, so that nothing is built in the tree and nothing left from an earlier build is used.
    copy = folder / "lint3d"
    for name in ("lint3d", "plugins", "rules"):
        shutil.copytree(ROOT / name, copy / name, ignore=shutil.ignore_patterns("__pycache__"))
    for name in ("pyproject.toml", "README.md", "LICENSE"):
        shutil.copy(ROOT / name, copy)
    house = folder / "house"
    house.mkdir()
    (house / "pyproject.toml").write_text(PROJECT, "utf-8")
    (house / "house_rules.py").write_text(plugin_text(), "utf-8")
    wheels = [wheel(copy, folder / "wheel-lint3d"), wheel(house, folder / "wheel-house")]
    fresh = folder / "venv"
    venv.create(fresh, with_pip=False, symlinks=os.name != "nt")
    programs = fresh / ("Scripts" if os.name == "nt" else "bin")
    python = programs / "python"
    run(sys.executable, "-m", "pip", "--python", python, "install", "--quiet", "--no-deps",
        "--no-index", *wheels, cwd=folder)  # fmt: skip
    packages = run(
        python, "-c", "import sysconfig; print(sysconfig.get_path('purelib'))", cwd=folder
    )
    # Behind the fresh packages, so that what both have is taken from these.
    (Path(packages.strip()) / "dependencies.pth").write_text(
        "\n".join(dict.fromkeys(sysconfig.get_path(kind) for kind in ("purelib", "platlib"))),
        "utf-8",
    )
    return programs


@pytest.fixture(scope="module")
def report(environment: Path, tmp_path_factory: pytest.TempPathFactory) -> dict[str, Any]:
    """The SARIF run of an inspection of a light and a heavy cube."""
    folder = tmp_path_factory.mktemp("parts")
    write_stl(folder / "light.stl", box(10))
    write_stl(folder / "heavy.stl", box(20))
    write_stl(folder / "open.stl", box(20)[1:])
    (folder / "our-machine.toml").write_text(SHEET, "utf-8")
    run(environment / "lint3d", "inspect", "--process", "our-machine.toml", "--workers", "1",
        "--report", "parts.sarif", cwd=folder, code=1)  # fmt: skip
    found: dict[str, Any] = json.loads((folder / "parts.sarif").read_text("utf-8"))["runs"][0]
    return found


def test_it_is_about_fifteen_lines() -> None:
    lines = [line for line in plugin_text().splitlines() if line.strip()]
    assert len(lines) <= 20


def test_both_come_from_their_wheels(environment: Path) -> None:
    code = "import lint3d, lint3d_plugins.size, lint3d_rules, house_rules\n" + "".join(
        f"print({name}.__file__)\n"
        for name in ("lint3d", "lint3d_plugins.size", "lint3d_rules", "house_rules")
    )
    for path in run(environment / "python", "-c", code, cwd=environment).splitlines():
        assert environment.parent in Path(path).parents


def test_lint3d_knows_it(environment: Path) -> None:
    listed = " ".join(run(environment / "lint3d", "list", "plugins", "--process",
                          _sheet(environment), cwd=environment).split())  # fmt: skip
    assert "house 2.5.0 House rules: what our own bench asks of a part." in listed


def test_without_an_entry_on_a_sheet_it_is_refused_by_name(environment: Path) -> None:
    run(environment / "lint3d", "list", "rules", cwd=environment, code=2)


def _sheet(folder: Path) -> Path:
    path = folder / "our-machine.toml"
    path.write_text(SHEET, "utf-8")
    return path


def test_its_rule_runs_and_shows_as_an_extension(report: dict[str, Any]) -> None:
    extensions = report["tool"]["extensions"]
    (index,) = [i for i, one in enumerate(extensions) if one["name"] == "house"]
    extension = extensions[index]
    assert extension["version"] == "2.5.0"
    (rule,) = extension["rules"]
    assert rule["id"] == "house/heavy-part"
    assert "hollow the part" in json.dumps(rule)
    results = [r for r in report["results"] if r["ruleId"] == "house/heavy-part"]
    assert all(r["rule"]["toolComponent"]["index"] == index for r in results)
    found = {
        r["locations"][0]["physicalLocation"]["artifactLocation"]["uri"]:
        (r["kind"], r["properties"]["measured"]) for r in results
    }  # fmt: skip
    assert found == {
        "heavy.stl": ("fail", 8000.0), "light.stl": ("pass", 1000.0), "open.stl": ("open", None),
    }  # fmt: skip


def test_the_same_text_works_as_a_file_given_with_plugin(tmp_path: Path) -> None:
    import lint3d

    plugin = tmp_path / "house_rules.py"
    plugin.write_text(plugin_text(), "utf-8")
    found = lint3d.inspect(
        write_stl(tmp_path / "heavy.stl", box(20)), sheet=_sheet(tmp_path), plugins=[str(plugin)],
        only=["house"], workers=0, config=lint3d.config.Config(),
    )  # fmt: skip
    assert [(r.kind, r.measured, r.faces) for r in found.results] == [("fail", 8000.0, 12)]
