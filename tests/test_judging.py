"""Which results follow from the places of one rule?"""

from __future__ import annotations

import math
from typing import Any

import pytest
from parts import box, joined, part_of, source_of

from lint3d import Assembly, Body, LeftOut, Note, Part, Place, Requirement, Result, Rule, rule
from lint3d.judging import MOST_PLACES, Case, Subject, judge, not_applicable, open_result
from lint3d.place import Step

AT_LEAST = Requirement("at least", "mm", "doc", low=0.6)
WITHIN = Requirement("within", "mm", "doc", low=2, high=4)
NONE = Requirement("none", "1", "doc")
INFORM = Requirement("inform", "1", "doc")


@rule("house/one", measures="mm")
def one(body: Body) -> None:
    """One thing.

    Remedy: mend it.
    """


def body_of(*args: Any) -> Body:
    return part_of(box(), *args).bodies[0]


def results(
    *places: Place,
    requirement: Requirement = AT_LEAST,
    subject: Subject | None = None,
    left_out: tuple[LeftOut, ...] = (),
    notes: tuple[Note, ...] = (),
    of: Rule = one,
) -> list[Result]:
    case = Case(of, requirement, subject if subject is not None else body_of())
    return judge(case, places, left_out, notes)


def kinds(found: list[Result]) -> list[str]:
    return [result.kind for result in found]


def test_a_failing_place() -> None:
    body = body_of()
    place = Place.measured(0.5, 0.01, faces=[3, 4], faceting_mm=0.02, remark="Here.",
                           properties={"ways": 3})  # fmt: skip
    (result,) = results(place, subject=body)
    assert (result.rule, result.kind, result.level) == ("house/one", "fail", "error")
    assert (result.uri, result.part, result.body) == ("a.stl", "part-1", "part-1")
    assert (result.measured, result.lower, result.upper) == (0.5, 0.49, 0.51)
    assert result.uncertainty == pytest.approx(0.01)
    assert (result.faces, result.faceting) == (2, 0.02)
    assert result.position == pytest.approx(tuple(body.vertices[body.faces[3]].mean(axis=0)))
    assert result.extent == 10.0
    assert result.region is not None
    assert result.region.facet == 3
    assert (result.message, result.remedy, result.properties) == ("Here.", "mend it.", {"ways": 3})
    assert result.requirement is AT_LEAST


def test_a_rule_without_a_remark_tells_its_title() -> None:
    assert results(Place(0.5))[0].message == "One thing."


def test_a_place_may_say_more_than_its_faces() -> None:
    way = (Step((1, 2, 3), 0.4, "throat"), Step((4, 5, 6)))
    place = Place(0.5, faces=[0], position=[7, 8, 9], extent_mm=3, remedy="Drill it.", path=way)
    (result,) = results(place)
    assert result.position == (7.0, 8.0, 9.0)
    assert (result.extent, result.remedy) == (3.0, "Drill it.")
    assert [(s.position, s.value, s.label) for s in result.path] == [
        ((1.0, 2.0, 3.0), 0.4, "throat"), ((4.0, 5.0, 6.0), None, ""),
    ]  # fmt: skip


def test_a_passing_rule_reports_its_tightest_place() -> None:
    (result,) = results(Place(0.9), Place(0.7, faces=[0]), Place(0.8))
    assert (result.kind, result.measured, result.level) == ("pass", 0.7, "none")
    assert result.remedy == ""


def test_the_tightest_place_within_is_the_one_nearest_to_an_end() -> None:
    (result,) = results(Place(3.0), Place(3.9), Place(2.2), requirement=WITHIN)
    assert result.measured == 3.9


def test_what_passes_is_not_told_beside_what_fails() -> None:
    assert kinds(results(Place(0.9), Place(0.5))) == ["fail"]


def test_no_place_passes() -> None:
    (result,) = results()
    assert (result.kind, result.measured) == ("pass", None)
    (result,) = results(requirement=NONE)
    assert (result.kind, result.measured, result.uncertainty) == ("pass", 0.0, 0.0)


def test_a_level_other_than_none_only_where_it_fails() -> None:
    warn = Requirement("at least", "mm", "doc", low=0.6, level="warning")
    assert results(Place(0.5), requirement=warn)[0].level == "warning"
    assert results(Place.measured(0.6, 0.1), requirement=warn)[0].level == "none"


def test_review_and_fail_stand_beside_each_other() -> None:
    far = part_of(joined(box(), box(at=(50, 0, 0))))
    found = results(Place.measured(0.3, 0.4, faces=[0]), Place(0.5, faces=[12]), subject=far)
    assert kinds(found) == ["fail", "review"]


def test_touching_places_are_one_result() -> None:
    found = results(*(Place(0.5 + i / 1000, faces=[i]) for i in range(12)))
    assert [(r.measured, r.faces, r.extent) for r in found] == [(0.5, 12, 10.0)]


def test_places_with_another_second_body_are_not_merged() -> None:
    body, second, third = body_of(), body_of("b"), body_of("c")
    found = results(
        Place(0.5, faces=[0], other=second), Place(0.4, faces=[1], other=third),
        Place(0.45, faces=[4], other=third), subject=body,
    )  # fmt: skip
    assert sorted((r.other or "", r.measured) for r in found) == [("b", 0.5), ("c", 0.4)]


def test_too_many_places_are_summed_up_and_none_of_the_rest_is_worse() -> None:
    count = MOST_PLACES + 30
    shapes = joined(*(box(1, (3 * i, 0, 0)) for i in range(count)))
    part = part_of(shapes)
    places = [Place(0.5 - i / 1e4, faces=[12 * i]) for i in range(count)]
    found = results(*places, subject=part)
    assert len(found) == MOST_PLACES + 1
    summed = found[-1]
    assert summed.faces == 30
    assert summed.properties["places"] == 30
    assert "29 more places" in summed.message
    assert summed.measured == max(r.measured or 0 for r in found)
    counted = results(*(Place(2, faces=[12 * i]) for i in range(count)), subject=part,
                      requirement=NONE)  # fmt: skip
    assert sum(r.measured or 0 for r in counted) == 2 * count


def test_what_is_left_out_of_the_subject_is_one_place_whether_or_not_it_is_named() -> None:
    body = body_of()
    twice = (LeftOut("x", faces=[0]), LeftOut("x", faces=[1], of=body))
    (result,) = results(subject=body, left_out=twice)
    assert (result.kind, result.faces) == ("open", 2)


def test_left_out_is_open_and_keeps_the_rule_from_passing() -> None:
    body = body_of()
    found = results(
        Place(0.9), subject=body,
        left_out=(LeftOut("too dense", faces=[0]), LeftOut("too dense", faces=[1]), LeftOut("x")),
    )  # fmt: skip
    assert [(r.kind, r.message, r.faces) for r in found] == [
        ("open", "too dense", 2), ("open", "x", None),
    ]  # fmt: skip
    assert kinds(results(Place(0.5), left_out=(LeftOut("x"),))) == ["fail", "open"]


def test_notes_are_informational_and_the_rule_still_passes() -> None:
    found = results(notes=(Note("welded", faces=[0], properties={"welded": 3}),))
    assert kinds(found) == ["informational", "pass"]
    assert (found[0].message, found[0].properties, found[0].faces) == ("welded", {"welded": 3}, 1)
    assert found[0].measured is None


def test_inform_tells_values_and_never_fails() -> None:
    found = results(Place(3), Place(9), requirement=INFORM)
    assert [(r.kind, r.measured, r.level) for r in found] == [
        ("informational", 3, "none"), ("informational", 9, "none"),
    ]  # fmt: skip
    assert kinds(results(requirement=INFORM)) == ["pass"]


def test_who_a_place_belongs_to() -> None:
    source = source_of(box(), joined(box(), box(5, (50, 0, 0))))
    single, double = source.parts
    bodies = double.bodies

    def owner(subject: Subject, of: Body | Part | None = None) -> tuple[str | None, str | None]:
        (result,) = results(Place(0.5, of=of), subject=subject)
        assert result.uri == "a.stl"
        return result.part, result.body

    assert owner(bodies[1]) == ("part-2", "part-2/2")
    assert owner(single) == ("part-1", "part-1")  # a part of one body: the body is meant
    assert owner(double) == ("part-2", None)
    assert owner(source) == (None, None)
    assert owner(Assembly([source])) == (None, None)
    assert owner(Assembly([source]), bodies[1]) == ("part-2", "part-2/2")


def test_a_second_body_of_another_file_is_told() -> None:
    other = part_of(box(), "lid", "b.stl").bodies[0]
    (result,) = results(Place(0.5, other=other))
    assert (result.other, result.other_uri) == ("lid", "b.stl")


@pytest.mark.parametrize(
    "place",
    [
        Place(math.nan), Place(math.inf), Place(1, lower=math.nan), Place(1, upper=math.nan),
        Place(1, lower=2, upper=3), Place(1, lower=0, upper=0.5), Place.measured(1, -0.1),
    ],
)  # fmt: skip
def test_what_is_no_measurement_is_refused(place: Place) -> None:
    with pytest.raises(ValueError, match="a place has the value"):
        results(place)


def test_faces_that_do_not_exist_are_refused() -> None:
    with pytest.raises(ValueError, match="does not have"):
        results(Place(0.5, faces=[99]))


def test_open_and_not_applicable_tell_why() -> None:
    case = Case(one, AT_LEAST, body_of())
    assert (open_result(case, "why").kind, open_result(case, "why").message) == ("open", "why")
    assert not_applicable(case, "why").kind == "notApplicable"
    assert not_applicable(case, "why").requirement is AT_LEAST
