"""What is said of a result."""

from dataclasses import replace

import inspections
import pytest

from lint3d.inspection import Result
from lint3d.report.wording import (
    MEANINGS,
    full_text,
    measured_text,
    position_text,
    requirement_text,
    where_text,
)
from lint3d.requirement import Requirement

WALL = next(r for r in inspections.varied().results if r.rule == "walls/thin-wall")


def test_a_failure_says_what_how_much_against_what_and_where() -> None:
    said = full_text(WALL)
    assert said == (
        "A wall too thin for the process to build or to survive cleaning. "
        "Measured 0.212 ± 0.003 mm; required: at least 0.6 mm (common practice, no source). "
        "The smooth shape may differ from its facets by up to 0.02 mm. "
        "At 12.3, -4.5, 101.2 mm in body 'bracket' of 'bracket.stl'."
    )


def test_open_says_why_and_claims_no_number() -> None:
    opened = next(r for r in inspections.varied().results if r.kind == "open")
    said = full_text(opened)
    assert said.startswith("An open surface has no inside: see solid/open-edge.")
    assert "Not measured; required: at least 0.6 mm" in said


@pytest.mark.parametrize(
    ("kind", "text"),
    [
        ("open", "not measured"),
        ("fail", "not measured"),
        ("pass", "none found"),
        ("notApplicable", "–"),
        ("informational", "–"),
    ],
)
def test_without_a_value(kind: str, text: str) -> None:
    assert measured_text(replace(WALL, kind=kind, measured=None, lower=None, upper=None)) == text


def test_values_that_are_no_numbers_are_never_shown() -> None:
    nan, endless = float("nan"), float("inf")
    assert measured_text(replace(WALL, measured=nan)) == "not measured"
    assert measured_text(replace(WALL, measured=endless)) == "not measured"
    assert measured_text(replace(WALL, measured=1.0, lower=1.0, upper=endless)) == "≥ 1 mm"
    assert measured_text(replace(WALL, measured=1.0, lower=-endless)) == "about 1 mm"


def test_counts_have_no_uncertainty_and_units_are_readable() -> None:
    count = Result("solid/open-edge", "fail", "", "a.stl", measured=12, lower=12, upper=12)
    assert measured_text(count, "1") == "12"
    assert measured_text(count, "mm3") == "12 mm³"
    assert measured_text(count, "deg") == "12°"


def test_an_informational_requirement_asks_nothing() -> None:
    assert requirement_text(Requirement("inform", "1", "test")) == "–"
    assert requirement_text(None) == "–"
    assert requirement_text(inspections.VENT) == "at least 6.8 ± 3.4 mm"


def test_places() -> None:
    assert position_text((-0.01, 1e6, 2.25)) == "0.0, 1000000.0, 2.2"
    assert where_text(Result("a/b", "pass", "", "tide%20gauge.stl")) == "In 'tide gauge.stl'."
    part = Result("a/b", "pass", "", "a.3mf", part="lid")
    assert where_text(part) == "In part 'lid' of 'a.3mf'."


def test_the_other_body_of_another_file_is_named_with_its_file() -> None:
    pair = replace(WALL, other="pin", other_uri="hinge%20pin.stl")
    assert "The other body: 'pin' of 'hinge pin.stl'." in full_text(pair)


def test_remarks_come_last() -> None:
    said = full_text(replace(WALL, remarks=("Ask the bench for the template",)))
    assert said.endswith("Ask the bench for the template.")


def test_every_kind_has_a_meaning() -> None:
    assert set(MEANINGS) == {"fail", "open", "review", "informational", "pass", "notApplicable"}
