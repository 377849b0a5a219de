"""What `lint3d compare` prints."""

from __future__ import annotations

from two_reports import snapshot, wall

from lint3d.baseline import changes
from lint3d.inspection import Result
from lint3d.report.comparison import moved_by, render_comparison


def compared(old: list[Result], new: list[Result], verbose: bool = False) -> str:
    before, after = snapshot(*old), snapshot(*new)
    return render_comparison(before, after, changes(before, after), verbose=verbose)


OLD = [wall((10, 5, 5)), wall((30, 20, 5)), wall((55, 38, 2), 0.3), wall((3, 3, 16), 0.5)]
NEW = [wall((10, 5, 5), 0.3), wall((30, 20, 5)), wall((55, 38, 2), 0.9), wall((20, 30, 5)),
       wall((3, 3, 16), 0.55)]  # fmt: skip


def test_every_change_stands_in_its_section() -> None:
    text = compared(OLD, NEW)
    parts = [part.split("\n", 1) for part in text.split("\n== ")]
    sections = {title.partition(" =")[0].removeprefix("== "): body for title, body in parts}
    assert list(sections) == ["GOT WORSE", "NEW", "CURED", "GOT BETTER, BUT NOT CURED"]
    assert "10.0, 5.0, 5.0" in sections["GOT WORSE"]
    assert "0.40 ± 0.01 mm -> 0.30 ± 0.01 mm (-0.1 mm)" in sections["GOT WORSE"]
    assert "20.0, 30.0, 5.0" in sections["NEW"]
    assert "fail -> pass" in sections["CURED"]
    assert "(+0.05 mm)" in sections["GOT BETTER, BUT NOT CURED"]
    assert text.endswith(
        "Against old.sarif: 1 worse, 1 new, 1 cured, 1 better, 1 finding unchanged.\n"
    )


def test_what_is_gone_is_cured() -> None:
    text = compared([wall()], [])
    assert "CURED" in text
    assert "nothing is found there now" in text


def test_nothing_changed() -> None:
    assert compared(OLD, OLD).strip() == "Against old.sarif: 4 findings unchanged."
    assert "UNCHANGED" in compared(OLD, OLD, verbose=True)


def test_another_sheet_and_an_incomplete_report_are_told() -> None:
    before, after = snapshot(wall()), snapshot(wall())
    after.sheet, after.complete = "another", False
    text = render_comparison(before, after, changes(before, after))
    assert "different process sheets" in text
    assert "incomplete" in text


def test_how_far_a_value_moved() -> None:
    assert moved_by(wall(value=0.4), wall(value=0.4)) == "0.40 ± 0.01 mm"
    assert moved_by(wall(value=0.4), wall(value=0.3)).endswith("(-0.1 mm)")
