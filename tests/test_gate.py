"""A gate in a design repository: stopped by what gets worse, and by nothing else.

A repository is made on the fly and used with the commands that the README gives: each once in a
process of its own, then in this one, for a process takes longer to start than the part to inspect.
"""

from __future__ import annotations

import json
import re
import shlex
import subprocess
import sys
from collections.abc import Sequence
from contextlib import chdir
from pathlib import Path
from typing import Any, ClassVar

import manifold3d
import numpy as np
import pytest
from click.testing import CliRunner
from parts import Facets, turned, write_stl

from lint3d.cli import main

README = Path(__file__).parent.parent / "README.md"
#: mm: the wall stands on the base plate between these x, y, z.
WALL = ((10.0, 18.0, 4.0), (50.0, 22.0, 24.0))


def bracket(wall: float, lug: float = 4.0) -> Facets:
    """A base plate with a thin wall across it, and a lug that breaks every symmetry."""
    cube = manifold3d.Manifold.cube
    whole = cube((60, 40, 4.1)) + cube((40, wall, 20)).translate((10, 20 - wall / 2, 4))
    whole += cube((6, lug, 12)).translate((2, 2, 4))
    mesh = whole.to_mesh()
    points = np.asarray(mesh.vert_properties, np.float64)[:, :3]
    return points[np.asarray(mesh.tri_verts)]


class Repository:
    """A design repository with lint3d as its gate."""

    begun: ClassVar[set[str]] = set()
    """Commands that were run in a process of their own, in this or another repository"""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        folder.mkdir()
        self.git("init", "--quiet")
        (folder / "lint3d.toml").write_text(
            'only = ["walls"]\nworkers = 0\n[limits]\n"walls/free-wall" = "0.8 mm"\n'
            '"walls/thin-wall" = "0.6 mm"\n'
        )
        block = re.search(r"<!-- gate -->\n```sh\n(.*?)```", README.read_text("utf-8"), re.S)
        assert block is not None
        lines = [line.partition("  #")[0] for line in block[1].splitlines()]
        self.accept, self.gate = (shlex.split(line)[1:] for line in lines)
        assert self.gate[-2] == "--pictures"

    def git(self, *arguments: str) -> None:
        name = ["-c", "user.name=t", "-c", "user.email=t@example.org"]
        subprocess.run(["git", *name, *arguments], cwd=self.folder, check=True, capture_output=True)

    def lint3d(self, *arguments: str) -> subprocess.CompletedProcess[str]:
        if arguments[0] in self.begun:
            found = self.here(*arguments)
        else:
            self.begun.add(arguments[0])
            found = subprocess.run(
                [sys.executable, "-m", "lint3d", *arguments], cwd=self.folder, capture_output=True,
                text=True, encoding="utf-8", check=False, timeout=120,
            )  # fmt: skip
        assert "Traceback" not in found.stderr, found.stderr
        return found

    def here(self, *arguments: str) -> subprocess.CompletedProcess[str]:
        """The same in this process."""
        with chdir(self.folder):
            ran = CliRunner().invoke(main, arguments, prog_name="lint3d", catch_exceptions=False)
        return subprocess.CompletedProcess(arguments, ran.exit_code, ran.stdout, ran.stderr)

    def commit(self, facets: Facets, message: str) -> None:
        write_stl(self.folder / "bracket.stl", facets)
        self.git("add", "--all")
        self.git("commit", "--quiet", "-m", message)

    def passes(self, *more: str) -> subprocess.CompletedProcess[str]:
        """The gate lets it pass; pictures, of which nothing is asked then, are left out."""
        found = self.lint3d(*self.gate[:-2], *more)
        assert found.returncode == 0, found.stdout + found.stderr
        return found

    def stops(self, *more: str) -> subprocess.CompletedProcess[str]:
        found = self.lint3d(*self.gate, *more)
        assert found.returncode == 1, found.stdout + found.stderr
        return found

    def results(self, kind: str = "fail") -> list[dict[str, Any]]:
        log = json.loads((self.folder / "now.sarif").read_bytes())
        return [r for r in log["runs"][0]["results"] if r["kind"] == kind]


@pytest.fixture
def repository(tmp_path: Path) -> Repository:
    """With a sound part, accepted."""
    made = Repository(tmp_path / "tide gauge")
    write_stl(made.folder / "bracket.stl", bracket(1.2))
    assert made.lint3d(*made.accept).returncode == 0
    made.commit(bracket(1.2), "A sound bracket")
    return made


def inside_wall(position: Sequence[float]) -> bool:
    low, high = np.array(WALL[0]) - 0.5, np.array(WALL[1]) + 0.5
    return bool((low <= position).all() and (position <= high).all())


def test_the_gate_stops_what_gets_worse_and_nothing_else(repository: Repository) -> None:
    repository.passes()

    # A commit that makes the wall thinner is stopped, and the place named.
    repository.commit(bracket(0.5), "Save material")
    stopped = repository.stops()
    (failure,) = repository.results()
    assert failure["baselineState"] in ("new", "updated")
    assert inside_wall(failure["properties"]["position"])
    assert failure["properties"]["measured"] == pytest.approx(0.5, abs=2e-3)
    key = failure["partialFingerprints"]["place/v1"][:8]
    assert key in stopped.stdout
    assert "FAIL" in stopped.stdout
    summary = (repository.folder / "summary.md").read_text("utf-8")
    assert "1 place new or worse" in summary
    assert key in summary
    for picture in re.findall(r"!\[.*?\]\((.*?)\)", summary):
        assert (repository.folder / picture).read_bytes().startswith(b"\x89PNG")
    assert "![" in summary

    # The same with a concession passes.
    made = repository.lint3d(
        "concede", "now.sarif", key, "--reason", "a spare, not for sale", "--by", "the bench",
        "--until", "2099-12-31", "--up-to", "0.48mm",
    )  # fmt: skip
    assert made.returncode == 0, made.stderr
    repository.commit(bracket(0.5), "Accept the thin wall")
    conceded = repository.passes()
    assert "conceded" in conceded.stdout
    assert "Conceded until 2099-12-31 by the bench" in " ".join(conceded.stdout.split())
    (failure,) = repository.results()
    assert failure["suppressions"][0]["justification"] == "a spare, not for sale"
    assert all("suppressions" in result for result in repository.results("pass"))

    # A commit that only moves the part passes, its facets in another order.
    moved = turned(bracket(0.5), 1) + [20.0, -35.5, 12.25]
    repository.commit(moved[np.random.default_rng(1).permutation(len(moved))], "Lay it down")
    repository.passes()
    (failure,) = repository.results()
    assert failure["suppressions"]

    # A later commit that makes it thinner still is stopped again, even though it is moved as well.
    repository.commit(turned(bracket(0.4), 3), "Save more material")
    stopped = repository.stops()
    assert "covers 0.48 mm and no worse" in " ".join(stopped.stdout.split())
    (failure,) = repository.results()
    assert failure["suppressions"] == []

    # When the day is past, it is stopped, too.
    repository.commit(bracket(0.5), "Back to what was accepted")
    repository.passes("--today", "2099-12-31")
    stopped = repository.stops("--today", "2100-01-01")
    assert "ended on 2099-12-31" in " ".join(stopped.stdout.split())


@pytest.mark.further
def test_a_failure_that_is_known_does_not_stop_and_a_cure_is_told(repository: Repository) -> None:
    repository.commit(bracket(0.5), "A thin wall, accepted as it is")
    assert repository.lint3d(*repository.accept).returncode == 1
    repository.git("add", "--all")

    # Moved, and renamed: nothing got worse.
    repository.git("mv", "bracket.stl", "tide bracket.stl")
    write_stl(repository.folder / "tide bracket.stl", turned(bracket(0.5), 7) + [5, 6, 7])
    repository.passes()
    (failure,) = repository.results()
    assert failure["baselineState"] == "unchanged"
    same = repository.lint3d("compare", "accepted.sarif", "now.sarif")
    assert same.returncode == 0
    assert "1 finding unchanged" in same.stdout

    # Thicker, but not thick enough: better, and no new failure.
    write_stl(repository.folder / "tide bracket.stl", turned(bracket(0.55), 8))
    repository.passes()
    assert "GOT BETTER" in repository.lint3d("compare", "accepted.sarif", "now.sarif").stdout

    # Thinner: worse.
    write_stl(repository.folder / "tide bracket.stl", turned(bracket(0.45), 9))
    repository.stops()
    worse = repository.lint3d("compare", "accepted.sarif", "now.sarif")
    assert worse.returncode == 1
    assert "0.5" in worse.stdout
    assert "-0.05 mm" in worse.stdout

    # Cured.
    write_stl(repository.folder / "tide bracket.stl", turned(bracket(1.2), 10))
    repository.passes()
    cured = repository.lint3d("compare", "accepted.sarif", "now.sarif")
    assert cured.returncode == 0
    assert "CURED" in cured.stdout
    assert "Cured" in (repository.folder / "summary.md").read_text("utf-8")
