"""The summary for a pull request: what got worse, in Markdown that no name can break."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from typing import Any

import inspections
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from two_reports import inspection, snapshot, wall

from lint3d.baseline import compare_with
from lint3d.inspection import Conceded, Inspection, Result
from lint3d.report.fingerprint import short_keys
from lint3d.report.picture import result_names
from lint3d.report.summary import MOST_ROWS, SummaryWriter, escaped, summary


def compared(old: list[Result], new: list[Result]) -> Inspection:
    found = inspection(*new)
    compare_with(found, snapshot(*old))
    return found


def section(text: str, title: str) -> str:
    return text.partition(f"## {title}\n")[2].partition("\n## ")[0]


def test_without_an_earlier_report_it_says_what_failed() -> None:
    text = summary(inspection(wall(), wall((10, 5, 5), 0.6), wall((55, 38, 2), 0.9)))
    assert text.startswith("# 1 place failed\n")
    row = section(text, "What failed or is not known").splitlines()[3]
    assert row.startswith("| **fail** | walls/thin-wall | part-1 of a.stl | at least 0.6 mm |")
    assert "0.40 ± 0.01 mm | 30.0, 20.0, 5.0 |" in row
    assert "0.60 ± 0.01 mm" in section(text, "To review")
    assert summary(inspection(wall(value=0.9))).startswith("# Nothing failed\n")


def test_with_one_it_says_what_became_of_it() -> None:
    old = [wall((10, 5, 5)), wall((30, 20, 5)), wall((55, 38, 2), 0.3), wall((3, 3, 16), 0.5)]
    new = [wall((10, 5, 5), 0.3), wall((30, 20, 5)), wall((55, 38, 2), 0.9), wall((20, 30, 5))]
    text = summary(compared(old, new))
    assert text.startswith("# 2 places new or worse\n")
    assert "0.40 ± 0.01 mm → 0.30 ± 0.01 mm" in section(text, "Got worse")
    assert "20.0, 30.0, 5.0" in section(text, "New")
    cured = section(text, "Cured")
    assert "0.30 ± 0.01 mm → 0.90 ± 0.01 mm" in cured
    assert "not found any more" in cured
    assert "30.0, 20.0, 5.0" in section(text, "As before")
    assert summary(compared(old, old)).startswith("# Nothing got worse\n")


def test_what_is_conceded_stands_by_itself() -> None:
    given_ = Conceded("a spare", "the bench", date(2027, 1, 31), 0.35)
    text = summary(inspection(replace(wall(), conceded=given_)))
    assert text.startswith("# Nothing failed\n")
    assert "until 2027-01-31: a spare" in section(text, "Conceded")


def test_pictures_are_linked_where_there_are_any() -> None:
    found = inspection(wall(), wall((10, 5, 5)))
    name = f"{result_names(found.results)[0]}.png"
    found.picture_folder, found.picture_names = "../all pictures", frozenset({name})
    text = summary(found)
    assert text.count("![") == 1
    key = short_keys(found.results)[id(found.results[0])]
    assert f"![walls/thin-wall {key}](../all%20pictures/{name})" in text


def test_trouble_stands_above_everything() -> None:
    text = summary(inspections.varied())
    assert text.startswith("# Inspection incomplete\n")
    assert text.index("Trouble in this run") < text.index("What failed")
    assert "there is no such file" in text


def test_long_tables_are_cut_and_say_so() -> None:
    many = [wall((x, y, 5)) for x in range(10) for y in range(8)]
    text = summary(inspection(*many))
    assert text.count("**fail**") == MOST_ROWS
    assert f"And {80 - MOST_ROWS} more" in text


@given(st.text(), st.text())
@settings(max_examples=60, deadline=None)
def test_no_name_can_break_the_table(name: str, said: str) -> None:
    hostile = replace(wall(), body=name, uri=said, other=name)
    lines = summary(inspection(hostile)).splitlines()
    (row,) = [line for line in lines if line.startswith("| **fail**")]
    assert len(row.replace("\\\\", "").replace("\\|", "").split("|")) == 9


@pytest.mark.parametrize(
    "hostile", ["<img src=x onerror=alert(1)>", "[a](javascript:x)", "a|b", "`x`", "# h", "@all"]
)
def test_nothing_in_a_name_is_markup(hostile: Any) -> None:
    text = escaped(hostile)
    for sign in "<>[]|`#@":
        assert text.count(sign) == text.count(f"\\{sign}")


def test_the_same_run_gives_the_same_bytes() -> None:
    assert SummaryWriter().write(inspections.varied()) == SummaryWriter().write(
        inspections.varied()
    )
