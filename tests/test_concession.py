"""What concessions cover, when they end, and what they can never hide."""

from __future__ import annotations

import os
from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from parts import box
from two_reports import EDGES, LUGGED, inspection, known_by, moved, rotation, wall

from lint3d.concession import Concession, Concessions, concede, read_concessions
from lint3d.errors import ConfigurationError
from lint3d.inspection import Inspection, Notification, Result

TODAY = date(2026, 11, 25)


def accepted(**more: object) -> Concession:
    """The wall of 0.4 mm, down to 0.35 mm until the end of the year."""
    made = Concession(
        "walls/thin-wall", "a.stl", "part-1", 0.35, "mm", "a spare", "the bench",
        date(2026, 12, 31), (30.0, 20.0, 5.0), (30.0, 20.0, 5.0), 8.0,
        likeness=known_by(LUGGED), line=4,
    )  # fmt: skip
    return replace(made, **more)  # type: ignore[arg-type]


def judged(
    found: Inspection, *each: Concession, today: date = TODAY, folder: Path | None = None
) -> Inspection:
    """With these concessions; the files lie beside them."""
    path = (folder or Path()) / "concessions.toml"
    paths = {item.uri: str(path.parent / item.uri) for item in found.artifacts}
    concede(found, Concessions(path, each, "0" * 64), today, paths)
    return found


def test_a_covered_place_is_conceded_and_does_not_count() -> None:
    found = judged(inspection(wall(value=0.4)), accepted())
    (result,) = found.results
    assert result.kind == "fail"
    assert result.conceded is not None
    assert found.exit_code() == 0
    assert result.remarks == ("Conceded until 2026-12-31 by the bench, up to 0.35 mm: a spare",)
    assert found.concessions == f"concessions.toml (sha-256 {'0' * 64})"
    assert found.notifications == []


@pytest.mark.parametrize(
    ("value", "covered"), [(0.5, True), (0.36, True), (0.345, True), (0.335, False), (0.1, False)]
)
def test_what_is_surely_worse_than_the_covered_value_fails_again(
    value: float, covered: bool
) -> None:
    found = judged(inspection(wall(value=value)), accepted())
    (result,) = found.results
    assert (result.conceded is not None) is covered
    assert found.exit_code() == (0 if covered else 1)
    if not covered:
        assert "covers 0.35 mm and no worse; this is worse." in result.remarks[0]
    assert found.notifications == []  # used, if only to say that it does not cover


@pytest.mark.parametrize(
    ("today", "covered"), [(date(2026, 12, 31), True), (date(2027, 1, 1), False)]
)
def test_the_last_day(today: date, covered: bool) -> None:
    found = judged(inspection(wall(value=0.4)), accepted(), today=today)
    assert found.exit_code() == (0 if covered else 1)
    if not covered:
        assert found.results[0].remarks == ("The concession by the bench ended on 2026-12-31.",)


def test_other_places_rules_and_bodies_are_not_covered() -> None:
    others = [
        wall((10, 5, 5)),
        replace(wall(), rule="walls/free-wall"),
        replace(wall(), body="part-1/2"),
        replace(wall(), requirement=None),
    ]
    for other in others:
        found = judged(inspection(other), accepted())
        assert found.results[0].conceded is None
        assert found.exit_code() == 1


def test_one_concession_covers_one_place() -> None:
    found = judged(inspection(wall((30, 20, 5)), wall((30.4, 20, 5))), accepted())
    assert [r.conceded is not None for r in found.results] == [True, False]


@given(st.integers(0, 10**6))
@settings(max_examples=15, deadline=None)
def test_a_part_that_was_moved_keeps_its_concession(seed: int) -> None:
    turn, shift = rotation(seed)
    there = inspection(moved(wall(), turn, shift), shape=LUGGED @ turn.T + shift)
    assert judged(there, accepted()).exit_code() == 0


def test_a_new_concession_wins_over_one_that_ended() -> None:
    ended = accepted(until=date(2026, 1, 1), by="the office")
    for each in ([ended, accepted()], [accepted(), ended]):
        found = judged(inspection(wall()), *each)
        assert found.exit_code() == 0
        (note,) = found.notifications
        assert "is not used" in note.message


def test_a_renamed_file_keeps_its_concession_and_a_copy_gets_none(tmp_path: Path) -> None:
    renamed = judged(inspection(wall(), uri="b.stl"), accepted(), folder=tmp_path)
    assert renamed.exit_code() == 0
    (tmp_path / "a.stl").touch()  # the file that was meant is still there
    copied = judged(inspection(wall(), uri="b.stl"), accepted(), folder=tmp_path)
    assert copied.exit_code() == 1
    assert copied.notifications == []  # it was not looked at in this run
    blind = judged(inspection(wall(), uri="c.stl"), accepted(file="x.stl", likeness=None))
    assert blind.exit_code() == 1


def test_unused_ones_are_told(tmp_path: Path) -> None:
    sound = judged(inspection(wall(value=0.9)), accepted())
    (note,) = sound.notifications
    assert note.level == "warning"
    assert note.message.startswith("concessions.toml, line 4: the concession for walls/thin-wall")
    assert "nothing fails there any more. Remove it." in note.message
    assert sound.complete
    assert sound.exit_code() == 0
    gone = judged(inspection(wall()), accepted(), accepted(file="lost.stl"), folder=tmp_path)
    assert "there is no such file" in gone.notifications[0].message
    typo = judged(inspection(wall()), accepted(rule="walls/thin-wal"))
    assert "there is no such rule" in typo.notifications[0].message
    off = inspection(wall())
    off.rules[0] = replace(off.rules[0], off="--without walls")
    assert judged(replace(off, results=[]), accepted()).notifications == []


def test_no_concession_hides_what_was_not_inspected() -> None:
    found = inspection(wall())
    found.notifications.append(Notification("the rule crashed", "error", "rule"))
    assert judged(found, accepted()).exit_code() == 3
    unread = Result("file/unreadable", "fail", "Empty.", "a.stl", requirement=EDGES, measured=1.0,
                    lower=1.0, upper=1.0)  # fmt: skip
    forged = accepted(rule="file/unreadable", body=None, place=None, unit="1", up_to=5.0)
    assert judged(inspection(unread), forged).exit_code() == 1
    unknown = replace(wall(kind="open"), measured=None, lower=None, upper=None)
    assert judged(inspection(unknown), accepted()).exit_code() == 1


def test_another_unit_is_no_match() -> None:
    found = judged(inspection(wall()), accepted(unit="1"))
    assert found.exit_code() == 1
    assert "another unit" in found.results[0].remarks[0]


def test_bodies_that_are_alike_do_not_share_one() -> None:
    found = inspection(wall(), replace(wall(), body="part-1/2"))
    one = found.artifacts[0]
    shapes = (known_by(LUGGED), known_by(LUGGED + [100, 0, 0]))
    found.artifacts[0] = replace(one, bodies=("part-1", "part-1/2"), shapes=shapes)
    judged(found, accepted())
    assert [r.conceded is not None for r in found.results] == [True, False]


GOOD = """
[[concession]]
rule = "walls/thin-wall"
file = "a.stl"
body = "part-1"
up_to = 0.35
unit = "mm"
reason = "a spare"
by = "the bench"
until = 2026-12-31
place = [30, 20, 5]
"""


def test_a_file_by_hand_is_read(tmp_path: Path) -> None:
    path = tmp_path / "concessions.toml"
    path.write_text(GOOD)
    (one,) = read_concessions(path).each
    assert one == accepted(middle=None, extent=None, line=2)
    found = judged(inspection(wall()), one)
    assert found.exit_code() == 0


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("[[concession]]", "[concession]", "two brackets"),
        ("[[concession]]", "[[concessions]]", "did you mean 'concession'?"),
        ("until = 2026-12-31", 'until = "2026-12-31"', "line 10: 'until' must be a date"),
        ("until = 2026-12-31", "until = 2026-12-31T10:00:00", "must be a date"),
        ("until = 2026-12-31", "", "line 2: a concession needs 'until'"),
        ("up_to = 0.35", 'up_to = "0.35"', "line 6: 'up_to' must be a number"),
        ("up_to", "upto", "did you mean 'up_to'?"),
        ('"walls/thin-wall"', '"file/unreadable"', "line 3: 'file/unreadable' cannot be conceded"),
        ('"a spare"', '"  "', "'reason' is empty"),
        ("[30, 20, 5]", "[30, 20]", "line 11: 'place' must be a list of three numbers"),
        ("[30, 20, 5]", "[30, 20, nan]", "'place' must be"),
        ("place =", "likeness = {area = 1}\nplace =", "likeness: 'volume' is missing"),
    ],
)
def test_a_wrong_file_is_told_with_line(tmp_path: Path, old: str, new: str, said: str) -> None:
    path = tmp_path / "concessions.toml"
    path.write_text(GOOD.replace(old, new))
    with pytest.raises(ConfigurationError) as caught:
        read_concessions(path)
    assert said in str(caught.value)
    assert caught.value.exit_code == 2


def test_the_name_in_reports_has_no_folders_of_this_machine(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    inside = Concessions(tmp_path / "bench" / "c.toml", (), "0")
    assert inside.name == "bench/c.toml"
    assert Concessions(Path(os.sep) / "elsewhere" / "c.toml", (), "0").name == "c.toml"
    assert known_by(box(3)).area == pytest.approx(54)
