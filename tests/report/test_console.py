"""The table in a terminal: what a person must be able to read from it."""

import re
from dataclasses import replace
from datetime import date

import inspections
import pytest
import two_reports
from hypothesis import given, settings
from hypothesis import strategies as st

from lint3d.baseline import compare_with
from lint3d.inspection import Artifact, Conceded, Inspection, Notification, PathStep, Result
from lint3d.report.cells import columns
from lint3d.report.console import render

ESCAPE = re.compile(r"\x1b\[[0-9;]*m")


def lines_with(text: str, word: str) -> list[str]:
    return [line for line in text.splitlines() if word in line]


def test_a_failing_place_is_one_line_of_the_table() -> None:
    text = render(inspections.varied())
    line = next(line for line in text.splitlines() if "0.212" in line)
    *cells, key = re.split(r" {2,}|(?<=m) (?=\d)|(?<=\d) (?=[0-9a-f]{8})", line.strip())
    assert cells == [
        "FAIL",
        "walls/thin-wall",
        "≥ 0.6 mm",
        "0.212 ± 0.003 mm",
        "12.3, -4.5, 101.2",
    ]
    assert re.fullmatch("[0-9a-f]{8}", key)


def test_places_of_one_rule_share_one_explanation_and_one_remedy() -> None:
    text = render(inspections.varied())
    bracket = text.split("== bracket.stl")[1].split("\n==")[0]
    assert len(lines_with(bracket, "walls/thin-wall")) == 3
    assert bracket.count("A wall too thin") == 1
    assert bracket.count("Remedy: thicken the wall, or rib it.") == 1
    assert bracket.index("60.0, -4.5") < bracket.index("A wall too thin") < bracket.index("thicken")


def test_what_differs_between_places_stands_below_each() -> None:
    whole = inspections.varied()
    said = [replace(r, message=f"Beside hole {n}.") for n, r in enumerate(whole.results[:2])]
    text = render(replace(whole, results=said))
    assert re.search(r"0\.212 .*\n +Beside hole 0\.\n.*0\.457 .*\n +Beside hole 1\.\n", text)


def test_failures_come_first_among_files_bodies_and_rules() -> None:
    whole = inspections.varied()
    kinds = ("pass", "informational", "review", "open", "fail")
    results = [
        Result("walls/thin-wall", kind, kind, f"{kind}.stl", kind, measured=1, lower=1, upper=1)  # type: ignore[arg-type]
        for kind in kinds
    ]
    results += [replace(r, uri="fail.stl") for r in results]
    files = [Artifact(f"{kind}.stl", bodies=(kind,)) for kind in kinds]
    text = render(replace(whole, results=results, artifacts=files), verbose=True)
    assert re.findall(r"^== (\w+)\.stl", text, re.M) == list(reversed(kinds))
    first = text.split("\n== ")[1]
    assert re.findall(r"^Body '(\w+)'", first, re.M) == list(reversed(kinds))


@pytest.mark.parametrize("verbose", [False, True])
@pytest.mark.parametrize("width", [40, 60, 80, 100, 200])
def test_no_line_is_wider_than_asked(width: int, verbose: bool) -> None:
    text = render(inspections.varied(), width=width, verbose=verbose)
    assert all(columns(line) <= width for line in text.splitlines())


@given(st.text(max_size=90), st.text(max_size=90), st.text(max_size=200), st.integers(40, 120))
@settings(max_examples=60)
def test_any_name_fits_and_controls_nothing(name: str, file: str, said: str, width: int) -> None:
    whole = inspections.varied()
    result = replace(whole.results[0], body=name, uri=file, message=said, other=name, remedy=said)
    note = Notification(said, uri=file, plugin=name)
    text = render(
        replace(
            whole,
            results=[result],
            artifacts=[Artifact(file, bodies=(name,))],
            notifications=[note],
        ),
        width=width,
    )
    assert all(columns(line) <= width for line in text.split("\n"))
    assert not set(text.replace("\n", "")) & {
        chr(c) for c in (*range(32), *range(127, 160), 0x202E)
    }


def test_default_leaves_out_what_is_fine_but_counts_it() -> None:
    text = render(inspections.varied())
    assert not lines_with(text, " pass  ")
    assert "Also: 2 passed, 1 not applicable." in text
    for word in ("FAIL", "REVIEW", "OPEN", "info"):
        assert lines_with(text, f" {word} ")


def test_verbose_lists_every_result_and_the_rules_that_are_off() -> None:
    whole = inspections.varied()
    text = render(whole, verbose=True, width=200)
    rows = re.findall(r"^ (?:FAIL|REVIEW|OPEN|info|pass|n/a) ", text, re.M)
    assert len(rows) == len(whole.results)
    assert "relief/stroke: the sheet has no entry for it." in text
    assert "There is one body only." in text
    assert "The way out: the chamber 9.5, the throat 5.123, outside." in text


def test_a_way_out_is_told_by_its_named_steps_and_where_its_width_changes() -> None:
    widths = [9.5, 9.4, 8.0, 4.0, 3.9, 1.25, 1.2, 1.25, 1.3, 2.6]
    labels = {0: "the chamber", 6: "the throat", 9: "outside"}
    steps = tuple(
        PathStep((float(place), 0.0, 0.0), width, labels.get(place, ""))
        for place, width in enumerate(widths)
    )
    whole = inspections.varied()
    long = replace(next(one for one in whole.results if one.path), path=steps)
    text = render(replace(whole, results=(long,)), verbose=True, width=200)
    assert "The way out: the chamber 9.5, 4, 1.25, the throat 1.2, outside 2.6." in text


def test_quiet_shows_only_what_failed_or_is_open_and_the_summary() -> None:
    text = render(inspections.varied(), quiet=True)
    verdicts = set(re.findall(r"^ (FAIL|REVIEW|OPEN|info|pass|n/a) ", text, re.M))
    assert verdicts == {"FAIL", "OPEN"}
    assert "Process sheet" not in text
    assert "== SUMMARY" in text
    assert "there is no such file" in text  # an error of the run is never hidden
    assert render(inspections.sound(), quiet=True).startswith("== SUMMARY")


def test_sheet_limits_and_units_are_stated() -> None:
    text = render(inspections.varied())
    assert "'Our jetting machine' (our-machine), based on mjt-meltable." in text
    assert "walls/thin-wall at least 0.6 mm (--limit)." in text
    assert "solid/coarse-facets off for schön/plate#.stl (labels/**)." in text
    assert "unit inch (as the file says)" in text
    assert "unit mm (as given)" in text
    assert "unit mm (assumed)" in text
    assert "the default, because none was chosen" in render(inspections.sound())


def test_without_colour_there_is_no_escape_and_with_it_only_colour_differs() -> None:
    plain = render(inspections.varied())
    coloured = render(inspections.varied(), colour=True)
    assert "\x1b" not in plain
    assert "\x1b[1;31mFAIL" in coloured
    assert ESCAPE.sub("", coloured) == plain
    assert all(columns(ESCAPE.sub("", line)) <= 80 for line in coloured.splitlines())


@pytest.mark.parametrize(
    ("kinds", "complete", "words"),
    [
        (("pass", "fail"), True, "FAILED"),
        (("pass", "open", "review"), True, "OPEN"),
        (("pass", "review"), True, "TO REVIEW"),
        (("pass", "notApplicable"), True, "PASSED"),
        (("notApplicable",), True, "NOTHING JUDGED"),
        ((), True, "NOTHING JUDGED"),
        (("pass",), False, "INCOMPLETE"),
        (("pass", "fail"), False, "FAILED"),
    ],
)
def test_the_summary_claims_no_more_than_was_found(
    kinds: tuple[str, ...], complete: bool, words: str
) -> None:
    whole = inspections.sound()
    results = [replace(whole.results[0], kind=kind) for kind in kinds]
    notes = [] if complete else [Notification("a worker was lost", id="worker")]
    text = render(replace(whole, results=results, notifications=notes))
    end = text.split("== SUMMARY")[1]
    assert f"\n  {words}: " in end
    assert ("PASSED" in end) == (words == "PASSED")
    assert ("INCOMPLETE" in end) == (not complete)


def test_counts_of_the_summary() -> None:
    whole = inspections.varied()
    end = " ".join(render(whole).split("== SUMMARY")[1].split())
    assert "4 files, 5 bodies: 8 FAIL, 1 OPEN, 2 REVIEW, 2 for information, 4 pass" in end
    assert "1 file, 1 body: 1 pass, 1 not applicable." in render(inspections.sound())


def test_a_file_that_no_rule_looked_at_is_not_silently_fine() -> None:
    text = render(replace(inspections.sound(), results=[]))
    assert "No rule looked at this file." in text


def test_the_order_of_results_and_files_does_not_matter() -> None:
    whole = inspections.varied()
    turned: Inspection = replace(
        whole,
        results=whole.results[::-1],
        artifacts=whole.artifacts[::-1],
        notifications=whole.notifications[::-1],
        rules=whole.rules[::-1],
        overrides=whole.overrides[::-1],
    )
    assert render(turned, verbose=True) == render(whole, verbose=True)


def test_a_rule_that_nobody_declared_is_still_shown() -> None:
    whole = inspections.varied()
    text = render(replace(whole, rules=[]))
    assert "Facet 17 of object 4 names vertex -1." in text


def test_what_is_conceded_says_until_when_and_does_not_fail() -> None:
    given_ = Conceded("a spare", "the bench", date(2027, 1, 31), 0.35)
    said = "Conceded until 2027-01-31 by the bench, up to 0.35 mm: a spare"
    result = replace(two_reports.wall(), conceded=given_, remarks=(said,))
    text = render(two_reports.inspection(result))
    (line,) = lines_with(text, "walls/thin-wall")
    assert line.split()[0] == "conceded"
    assert said in " ".join(text.split())
    assert "1 file, 1 body: 1 conceded." in text
    assert "PASSED WITH CONCESSIONS" in text
    assert "Remedy" not in text
    assert "FAIL" not in text
    assert not lines_with(render(two_reports.inspection(result), quiet=True), "walls/thin-wall")


def test_what_changed_since_an_earlier_report_stands_below_the_place() -> None:
    wall = two_reports.wall
    old = two_reports.snapshot(wall((10, 5, 5)), wall(), wall((55, 38, 2)))
    found = two_reports.inspection(wall((10, 5, 5), 0.3), wall(), wall((3, 3, 16)))
    compare_with(found, old)
    text = render(found, width=100)
    assert "Compared with: old.sarif." in text
    assert "In the earlier report it failed, 0.40 ± 0.01 mm; now it is worse." in text
    assert text.count("New since the earlier report.") == 1
    assert "Since old.sarif: 1 new, 1 worse, 1 cured, 1 as before." in text
    same = two_reports.inspection(wall())
    compare_with(same, two_reports.snapshot(wall()))
    assert "is broken, but nothing is new or worse." in render(same)
