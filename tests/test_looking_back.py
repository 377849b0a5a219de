"""Baseline and concessions from the command line: where they are looked for, bytes, wrong use."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result
from parts import box, turned, write_stl

import lint3d
from lint3d.cli import main

TODAY = ("--today", "2026-11-25")
WISH = ("--reason", "a gauge block", "--by", "the bench", "--until", "2027-01-31", *TODAY)


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A cube with a face missing (4 open edges) and a sound one, with settings beside them."""
    (tmp_path / ".git").mkdir()
    (tmp_path / "lint3d.toml").write_text('only = ["solid/open-edge"]\nworkers = 0\n')
    write_stl(tmp_path / "open.stl", box(20)[2:])
    write_stl(tmp_path / "sound.stl", box(30))
    monkeypatch.chdir(tmp_path)
    return tmp_path


def lint(*arguments: str) -> Result:
    result = CliRunner().invoke(main, list(arguments), catch_exceptions=False)
    assert "Traceback" not in result.output
    return result


def results(path: Path) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = json.loads(path.read_bytes())["runs"][0]["results"]
    return found


def key_of(path: Path) -> str:
    (failed,) = [r for r in results(path) if r["kind"] == "fail"]
    key: str = failed["partialFingerprints"]["place/v1"]
    return key[:8]


def concede(folder: Path, *more: str) -> Result:
    lint("inspect", "--report", "old.sarif")
    return lint("concede", "old.sarif", key_of(folder / "old.sarif"), *WISH, "--up-to", "4", *more)


def test_conceded_from_the_table_to_the_report(folder: Path) -> None:
    shown = lint("inspect", "--report", "old.sarif")
    assert shown.exit_code == 1
    assert key_of(folder / "old.sarif") in shown.stdout
    made = concede(folder)
    assert made.exit_code == 0, made.stderr
    assert "Conceded in concessions.toml: solid/open-edge on 'part-1' of open.stl" in made.stdout
    now = lint("inspect", "--report", "now.sarif", *TODAY)
    assert now.exit_code == 0
    words = " ".join(now.stdout.split())
    assert "Concessions: concessions.toml." in words
    assert "conceded solid/open-edge" in words
    assert "Conceded until 2027-01-31 by the bench, up to 4: a gauge block." in words
    assert "1 conceded" in words
    assert "PASSED WITH CONCESSIONS" in words
    run = json.loads((folder / "now.sarif").read_bytes())["runs"][0]
    assert run["properties"]["concessions"].startswith("concessions.toml (sha-256 ")
    assert lint("inspect", "--quiet", *TODAY).stdout.count("solid/open-edge") == 0
    assert lint("inspect", "--today", "2027-02-01").exit_code == 1


def test_concessions_beside_a_customers_file_are_never_used(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    concede(folder)
    home = folder / "home"
    home.mkdir()
    (home / ".git").mkdir()
    monkeypatch.chdir(home)
    only = ("--only", "solid/open-edge", "--workers", "0")
    assert lint("inspect", "../open.stl", *only, *TODAY).exit_code == 1
    given = ("--concessions", "../concessions.toml")
    assert lint("inspect", "../open.stl", *only, *TODAY, *given).exit_code == 0
    # Without settings there is no place for concessions, not even here.
    (home / "concessions.toml").write_bytes((folder / "concessions.toml").read_bytes())
    write_stl(home / "open.stl", box(20)[2:])
    assert lint("inspect", "open.stl", *only, *TODAY).exit_code == 1
    refused = lint("concede", "../old.sarif", "ffff", *WISH, "--up-to", "4")
    assert refused.exit_code == 2
    assert "no lint3d.toml here or above" in refused.stderr


def test_a_subfolder_uses_the_concessions_beside_the_settings(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (folder / "parts").mkdir()
    (folder / "open.stl").rename(folder / "parts" / "open.stl")
    concede(folder)
    assert 'file   = "parts/open.stl"' in (folder / "concessions.toml").read_text()
    monkeypatch.chdir(folder / "parts")
    assert lint("inspect", *TODAY).exit_code == 0


def test_wrong_concessions_stop_before_anything_is_inspected(folder: Path) -> None:
    (folder / "concessions.toml").write_text("[[concession]]\nrule = 3\n")
    found = lint("inspect", "--report", "now.sarif")
    assert found.exit_code == 2
    assert "concessions.toml, line 1: a concession needs 'file'." in found.stderr
    assert not (folder / "now.sarif").exists()
    missing = lint("inspect", "--concessions", "no.toml")
    assert missing.exit_code == 2
    assert "no.toml: cannot be read" in missing.stderr


def test_unused_concessions_are_told_and_do_not_fail(folder: Path) -> None:
    concede(folder)
    write_stl(folder / "open.stl", box(20))
    found = lint("inspect", *TODAY)
    assert found.exit_code == 0
    assert "is not used: nothing fails there any more" in " ".join(found.stdout.split())
    assert "is not used" not in lint("inspect", "sound.stl", *TODAY).stdout


def test_a_crash_or_an_unread_file_is_not_hidden(folder: Path) -> None:
    concede(folder)
    (folder / "empty.stl").touch()
    (folder / "lint3d.toml").write_text("workers = 0\n")
    assert lint("inspect", "--only", "solid", "--only", "file", *TODAY).exit_code == 3
    unread = lint("inspect", "--only", "file", "--report", "old.sarif", *TODAY)
    assert unread.exit_code == 3
    refused = lint("concede", "old.sarif", key_of(folder / "old.sarif"), *WISH, "--up-to", "9")
    assert refused.exit_code == 2
    assert "cannot be conceded" in refused.stderr


def test_fail_on_new_needs_a_baseline(folder: Path) -> None:
    found = lint("inspect", "--fail-on", "new")
    assert found.exit_code == 2
    assert "--baseline FILE.sarif" in found.stderr
    # In the settings it means: where there is an earlier report.
    (folder / "lint3d.toml").write_text(
        'only = ["solid/open-edge"]\nworkers = 0\nfail-on = ["new"]\n'
    )
    assert lint("inspect", "--report", "old.sarif").exit_code == 1
    known = lint("inspect", "--baseline", "old.sarif")
    assert known.exit_code == 0
    assert "Since old.sarif: 0 new, 0 worse, 0 cured, 1 as before." in known.stdout


def test_states_of_every_result(folder: Path) -> None:
    lint("inspect", "--report", "old.sarif")
    write_stl(folder / "open.stl", turned(box(20), 2))
    write_stl(folder / "new.stl", box(20)[4:])
    found = lint("inspect", "--baseline", "old.sarif", "--fail-on", "new", "--report", "now.sarif")
    assert found.exit_code == 1
    assert "New since the earlier report." in found.stdout
    states = {
        (r["locations"][0]["physicalLocation"]["artifactLocation"]["uri"], r["baselineState"])
        for r in results(folder / "now.sarif")
    }
    assert states == {
        ("open.stl", "absent"),  # the hole
        ("open.stl", "new"),  # the pass: said of the whole body, at no place
        ("sound.stl", "unchanged"),
        ("new.stl", "new"),
    }
    compared = lint("compare", "old.sarif", "now.sarif")
    assert compared.exit_code == 1
    assert "new.stl" in compared.stdout
    assert "CURED" in compared.stdout


@pytest.mark.parametrize("content", [b"", b"{}", b"solid\n", b'{"runs": [{"results": 3}]}'])
def test_what_is_no_baseline_is_refused_before_anything_is_inspected(
    folder: Path, content: bytes
) -> None:
    (folder / "old.sarif").write_bytes(content)
    for command in (
        ("inspect", "--baseline", "old.sarif", "--report", "now.sarif"),
        ("compare", "old.sarif", "old.sarif"),
        ("concede", "old.sarif", "abcd", *WISH, "--up-to", "4"),
    ):
        found = lint(*command)
        assert found.exit_code == 2, command
        assert found.stderr.startswith("lint3d: old.sarif: ")
    assert not (folder / "now.sarif").exists()


def test_dates_are_checked(folder: Path) -> None:
    lint("inspect", "--report", "old.sarif")
    wish = ("--reason", "x", "--by", "y", "--until", "soon", "--up-to", "4")
    found = lint("concede", "old.sarif", key_of(folder / "old.sarif"), *wish)
    assert found.exit_code == 2
    assert "--until soon: write a date as YYYY-MM-DD." in found.stderr


@pytest.mark.further
def test_any_number_of_workers_gives_the_same_bytes(folder: Path) -> None:
    concede(folder)
    write_stl(folder / "open.stl", turned(box(20)[2:], 4))
    write_stl(folder / "more.stl", turned(box(9), 5))
    reports = set()
    for workers, name in (("0", "a.sarif"), ("1", "b.sarif"), ("2", "c.sarif")):
        found = lint(
            "inspect", "--workers", workers, "--report", name, "--baseline", "old.sarif",
            "--report", f"{name}.md", *TODAY,
        )  # fmt: skip
        assert found.exit_code == 0, found.stderr
        reports.add((folder / name).read_bytes() + (folder / f"{name}.md").read_bytes())
    assert len(reports) == 1
    (report,) = reports
    assert b'"baselineState": "unchanged"' in report
    assert str(folder).encode() not in report


def test_from_python(folder: Path) -> None:
    from datetime import date

    concede(folder)
    found = lint3d.inspect(baseline="old.sarif", today=date(2026, 11, 25))
    assert found.exit_code(frozenset({"new"})) == 0
    assert [r.state for r in found.results] == ["unchanged", "unchanged"]
    assert sum(r.conceded is not None for r in found.results) == 1
