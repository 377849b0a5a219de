"""A result of a report becomes a concession that people can read and change."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from two_reports import EDGES, LUGGED, inspection, moved, rotation, wall

from lint3d.conceding import Wish, add_concession, find_result
from lint3d.concession import concede, read_concessions
from lint3d.errors import Lint3dError
from lint3d.inspection import Inspection, Result
from lint3d.report.console import render
from lint3d.report.fingerprint import short_keys
from lint3d.report.sarif import SarifWriter
from lint3d.snapshot import read_report

TODAY = date(2026, 11, 25)
WISH = Wish("hidden behind the lid", "the bench", date(2027, 6, 30), "0.35mm")


def report(folder: Path, found: Inspection) -> tuple[Path, str]:
    """The report, and the key of its first result."""
    path = folder / "now.sarif"
    path.write_bytes(SarifWriter().write(found))
    return path, short_keys(found.results)[id(found.results[0])]


def conceded(folder: Path, found: Inspection, wish: Wish = WISH) -> Path:
    """The file of concessions with one for the first result."""
    path, key = report(folder, found)
    made = folder / "concessions.toml"
    add_concession(path, key, wish, made, TODAY)
    return made


def refused(folder: Path, result: Result, wish: Wish = WISH) -> str:
    with pytest.raises(Lint3dError) as caught:
        conceded(folder, inspection(result), wish)
    assert caught.value.exit_code == 2
    assert not (folder / "concessions.toml").exists()
    return str(caught.value)


def covers(path: Path, found: Inspection) -> bool:
    paths = {item.uri: str(path.parent / item.uri) for item in found.artifacts}
    concede(found, read_concessions(path), TODAY, paths)
    return all(result.conceded for result in found.results)


def test_what_is_written_can_be_read_by_people_and_by_lint3d(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    path = conceded(tmp_path, inspection(wall()))
    text = path.read_text("utf-8")
    for line in (
        "# Concessions (ISO 9000)",
        'rule   = "walls/thin-wall"',
        'file   = "a.stl"',
        'body   = "part-1"',
        "up_to  = 0.35  # 0.40 ± 0.01 mm measured, at least 0.6 mm required",
        'reason = "hidden behind the lid"',
        'by     = "the bench"',
        "until  = 2027-06-30",
        "place  = [30.0, 20.0, 5.0]  # mm",
    ):
        assert line in text
    assert max(map(len, text.splitlines())) < 1500
    assert covers(path, inspection(wall()))
    turn, shift = rotation(3)
    there = moved(wall(), turn, shift)
    assert covers(path, inspection(there, shape=LUGGED @ turn.T + shift))


def test_the_key_is_the_one_that_the_table_shows(tmp_path: Path) -> None:
    found = inspection(wall((10, 5, 5)), wall(), wall((55, 38, 2), 0.9))
    path, key = report(tmp_path, found)
    assert key in render(found)
    assert find_result(read_report(path), key).position == (10, 5, 5)
    assert find_result(read_report(path), key.upper()).position == (10, 5, 5)


def test_ambiguous_and_unknown_keys_are_listed(tmp_path: Path) -> None:
    snapshot = read_report(report(tmp_path, inspection(wall((10, 5, 5)), wall()))[0])
    for row, one in enumerate(snapshot.results):
        one.known_as = dict.fromkeys(one.known_as, f"abcd123{row}" + "0" * 24)
    with pytest.raises(Lint3dError, match="2 results") as several:
        find_result(snapshot, "abcd")
    assert "10.0, 5.0, 5.0" in str(several.value)
    assert find_result(snapshot, "abcd1231").position == (30, 20, 5)
    with pytest.raises(Lint3dError, match="has no result 'ffff'") as none:
        find_result(snapshot, "ffff")
    assert "abcd1230  fail  walls/thin-wall" in str(none.value)
    with pytest.raises(Lint3dError, match="has no result"):
        find_result(snapshot, "")


def test_copies_of_a_file_have_keys_of_their_own(tmp_path: Path) -> None:
    one, other = inspection(wall()), inspection(wall(), uri="b.stl")
    both = replace(one, results=one.results + other.results, artifacts=one.artifacts * 1)
    both.artifacts += other.artifacts
    path, _ = report(tmp_path, both)
    keys = short_keys(both.results)
    found = {find_result(read_report(path), key).uri for key in keys.values()}
    assert found == {"a.stl", "b.stl"}


@pytest.mark.parametrize(
    ("up_to", "said"),
    [
        ("0.7", "at least 0.6 mm is required anyway"),
        ("0.45", "worse than that already (0.40 ± 0.01 mm)"),
        ("thin", "not a number"),
        ("0.35kg", "is no unit"),
        ("0.35mm2", "does not measure"),
    ],
)
def test_a_value_that_makes_no_sense_is_refused(tmp_path: Path, up_to: str, said: str) -> None:
    assert said in refused(tmp_path, wall(), replace(WISH, up_to=up_to))


def test_what_cannot_be_conceded(tmp_path: Path) -> None:
    assert "nothing to concede" in refused(tmp_path, wall(value=0.9))
    unknown = replace(wall(kind="open"), measured=None, lower=None, upper=None)
    assert "nothing to concede" in refused(tmp_path, unknown)
    unread = Result("file/unreadable", "fail", "Empty.", "a.stl", requirement=EDGES, measured=1.0,
                    lower=1.0, upper=1.0)  # fmt: skip
    assert "cannot be conceded" in refused(tmp_path, unread, replace(WISH, up_to="2"))
    assert "day is past" in refused(tmp_path, wall(), replace(WISH, until=date(2026, 11, 24)))
    assert "must say something" in refused(tmp_path, wall(), replace(WISH, reason=" "))


def test_counts_are_conceded_up_to_a_number(tmp_path: Path) -> None:
    edges = Result("solid/open-edge", "fail", "A hole.", "a.stl", "part-1", "part-1", EDGES, 12.0,
                   12.0, 12.0, position=(30.0, 20.0, 5.0), extent=3.0)  # fmt: skip
    path = conceded(tmp_path, inspection(edges), replace(WISH, up_to="12"))
    assert covers(path, inspection(replace(edges, measured=8.0, lower=8.0, upper=8.0)))
    assert not covers(path, inspection(replace(edges, measured=13.0, lower=13.0, upper=13.0)))


def test_the_same_place_again_replaces_and_keeps_the_rest(tmp_path: Path) -> None:
    path = conceded(tmp_path, inspection(wall((10, 5, 5))))
    path.write_text(path.read_text("utf-8") + "\n# Asked again in spring.\n", "utf-8")
    conceded(tmp_path, inspection(wall()))
    turn, shift = rotation(8)
    renewed = inspection(moved(wall(value=0.3), turn, shift), shape=LUGGED @ turn.T + shift)
    conceded(tmp_path, renewed, replace(WISH, up_to="0.25mm", by="the office"))
    text = path.read_text("utf-8")
    assert text.count("[[concession]]") == 2
    assert text.count("the bench") == 1
    assert text.count("the office") == 1
    assert "# Asked again in spring." in text
    assert covers(path, inspection(wall((10, 5, 5)), wall(value=0.3)))


@given(st.text(min_size=1).filter(str.strip), st.text(min_size=1).filter(str.strip))
@settings(max_examples=40, deadline=None)
@pytest.mark.further
def test_any_words_come_back(reason: str, by: str) -> None:
    import tempfile

    with tempfile.TemporaryDirectory() as name:
        path = conceded(Path(name), inspection(wall()), replace(WISH, reason=reason, by=by))
        (one,) = read_concessions(path).each
    assert one.reason == reason.strip().encode("utf-8", "backslashreplace").decode()
    assert one.by == by.strip().encode("utf-8", "backslashreplace").decode()


def test_a_file_that_cannot_be_written(tmp_path: Path) -> None:
    path, key = report(tmp_path, inspection(wall()))
    with pytest.raises(Lint3dError, match="cannot be written"):
        add_concession(path, key, WISH, tmp_path / "no folder" / "c.toml", TODAY)
