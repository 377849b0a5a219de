"""One plan over files that belong together: shared once, dropped, isolated, scopes mixed."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from house import registry_of
from parts import box, inverted, joined, source_of

from lint3d import (
    Assembly,
    Body,
    Fault,
    LeftOut,
    Measure,
    NotApplicable,
    Note,
    NotMeasurable,
    Part,
    Place,
    Places,
    Requirement,
    Result,
    Rule,
    Sheet,
    Source,
    measure,
    rule,
)
from lint3d.engine import Outcome, Run
from lint3d.plan import SheetRule, check_plugins, make_plan
from lint3d.sheet import Entry

AT_MOST = Requirement("at most", "mm", "doc", high=5.0)
INFORM = Requirement("inform", "mm", "doc")
SHEET = Sheet("own", "Own", ("own",))


def run(
    *items: Measure | Rule,
    sources: list[Source] | None = None,
    requirement: Requirement = AT_MOST,
    sheet_rules: Mapping[str, str] | None = None,
    **more: Any,
) -> Outcome:
    registry = registry_of(*items)
    rules: dict[str, Any] = dict(registry.rules)
    for rule_id, name in (sheet_rules or {}).items():
        rules[rule_id] = SheetRule(Entry(rule_id, requirement, name), registry.measures[name])
    keep = more.get("keep", frozenset())
    plan = make_plan(
        registry, rules, dict.fromkeys(rules, requirement), check_plugins(registry, rules),
        frozenset(k.removeprefix("field:") for k in keep if k.startswith("field:")),
    )  # fmt: skip
    found = Run(plan, registry, SHEET, **more)
    outcome = found.over(Assembly(sources if sources is not None else [source_of(box())]))
    assert not found.values, "a measure was not dropped"
    return outcome


def two_bodies(uri: str = "a.stl") -> Source:
    """One part with a cube of 10 mm and one of 3 mm."""
    return source_of(joined(box(10), box(3, (50, 0, 0))), uri=uri)


def told(outcome: Outcome) -> list[tuple[str, str, str | None, float | None]]:
    """What came out, by rule and body."""
    ordered = sorted(outcome.results, key=Result.sort_key)
    return sorted(((r.rule, r.kind, r.body, r.measured) for r in ordered), key=lambda r: r[0])


@measure(unit="mm")
def height(body: Body) -> Places:
    """How tall?"""
    z = body.vertices[:, 2]
    return Places([Place(float(z.max() - z.min()), faces=[0])])


def rule_of(function: Callable[..., Any], rule_id: str = "house/one") -> Rule:
    return rule(rule_id, measures="mm")(function)


# --- sharing and dropping -------------------------------------------------------------------------


def test_a_measure_is_computed_once_a_body_and_only_if_needed() -> None:
    calls: list[str] = []

    @measure(unit="mm")
    def counted(body: Body) -> float:
        """Counted."""
        calls.append(body.name)
        return 1.0

    @measure(unit="mm")
    def unwanted(body: Body) -> float:
        """Not needed by any rule."""
        raise AssertionError

    run(
        counted, unwanted, rule_of(lambda counted: counted, "a/a"),
        rule_of(lambda counted: counted, "b/b"), rule_of(lambda source, counted: None, "c/c"),
        sources=[two_bodies()],
    )  # fmt: skip
    assert calls == ["part-1", "part-1/2"]


def test_a_measure_is_let_go_after_its_last_user() -> None:
    import gc
    import weakref

    class Heavy:
        pass

    alive: list[weakref.ref[Heavy]] = []

    @measure(unit="mm")
    def heavy(body: Body) -> Any:
        """Heavy."""
        value = Heavy()
        alive.append(weakref.ref(value))
        return value

    def early(heavy: Any) -> float:
        return 1.0

    def late(body: Body) -> float:
        gc.collect()
        return float(sum(ref() is not None for ref in alive))

    outcome = run(heavy, rule_of(early, "a/early"), rule_of(late, "z/late"))
    assert [r.measured for r in outcome.results if r.rule == "z/late"] == [0.0]


def test_an_iterator_is_listed_so_that_two_rules_can_use_it() -> None:
    @measure(unit="mm")
    def pins(body: Body) -> Iterator[Place]:
        """Pins."""
        yield Place(9.0, faces=[0])

    outcome = run(pins, rule_of(lambda pins: pins, "a/a"), rule_of(lambda pins: pins, "b/b"))
    assert told(outcome) == [("a/a", "fail", "part-1", 9.0), ("b/b", "fail", "part-1", 9.0)]


# --- what a rule may yield ------------------------------------------------------------------------


@pytest.mark.parametrize(
    "value", [9, 9.0, np.float64(9), np.int32(9), np.float32(9), [9], (9.0, 3.0), np.array([9, 1])]
)
def test_a_rule_may_give_numbers(value: Any) -> None:
    outcome = run(rule_of(lambda body: value))
    assert ("house/one", "fail", "part-1", 9.0) in told(outcome)
    assert not outcome.notifications


def test_a_rule_may_give_nothing() -> None:
    assert told(run(rule_of(lambda body: None))) == [("house/one", "pass", "part-1", None)]


def test_a_rule_may_give_places_by_body() -> None:
    def by_body(source: Source, height: dict[Body, Places]) -> dict[Body, Places]:
        return height

    assert told(run(height, rule_of(by_body), sources=[two_bodies()])) == [
        ("house/one", "fail", "part-1", 10.0)
    ]


@pytest.mark.parametrize("value", ["text", {"a": "b"}, [None], object(), 1j, [[1, 2]]])
def test_anything_else_is_a_fault_of_the_plugin(value: Any) -> None:
    outcome = run(rule_of(lambda body: value))
    assert [result.kind for result in outcome.results] == ["open"]
    (note,) = outcome.notifications
    assert "The rule 'house/one' of the plugin 'house' crashed on part-1: TypeError" in note.message


def test_a_rule_may_yield_places_gaps_and_notes_of_its_own_kinds() -> None:
    class OwnPlace(Place):
        pass

    def one(body: Body) -> Iterator[Place | LeftOut | Note]:
        yield OwnPlace(9.0, faces=[0])
        yield LeftOut("too dark")
        yield Note("by the way")

    assert [r.kind for r in run(rule_of(one)).results] == ["fail", "open", "informational"]


# --- scopes ---------------------------------------------------------------------------------------


def test_every_scope_is_called_once_for_each_of_its_subjects() -> None:
    seen: list[tuple[str, str]] = []

    def note(scope: str, name: str) -> None:
        seen.append((scope, name))

    run(
        rule_of(lambda body: note("body", f"{body.source.uri}:{body.name}"), "a/body"),
        rule_of(lambda part: note("part", f"{part.source.uri}:{part.name}"), "a/part"),
        rule_of(lambda source: note("source", source.uri), "a/source"),
        rule_of(lambda assembly: note("assembly", str(len(assembly.bodies))), "a/assembly"),
        sources=[two_bodies("a.stl"), source_of(box(), box(at=(90, 0, 0)), uri="b.stl")],
    )
    assert sorted(seen) == [
        ("assembly", "4"),
        ("body", "a.stl:part-1"), ("body", "a.stl:part-1/2"),
        ("body", "b.stl:part-1"), ("body", "b.stl:part-2"),
        ("part", "a.stl:part-1"), ("part", "b.stl:part-1"), ("part", "b.stl:part-2"),
        ("source", "a.stl"), ("source", "b.stl"),
    ]  # fmt: skip


def test_narrower_measures_arrive_by_subject() -> None:
    @measure(unit="mm")
    def sides(part: Part) -> int:
        """Sides."""
        return len(part.faces)

    def one(
        assembly: Assembly, height: dict[Body, Places], sides: dict[Part, int]
    ) -> Iterator[float]:
        assert [body.name for body in height] == ["part-1", "part-1/2"]
        assert {part.name: n for part, n in sides.items()} == {"part-1": 24}
        yield sum(places[0].value for places in height.values())

    assert told(run(height, sides, rule_of(one), sources=[two_bodies()])) == [
        ("house/one", "fail", None, 13.0)
    ]


def test_a_place_of_a_narrower_measure_keeps_its_body() -> None:
    """Also when a rule over the whole file hands it on by itself."""

    def one(source: Source, height: dict[Body, Places]) -> Iterator[Place]:
        for places in height.values():
            yield from places

    (result,) = run(height, rule_of(one), sources=[two_bodies()]).results
    assert (result.body, result.faces, result.measured) == ("part-1", 1, 10.0)
    assert result.position is not None


def test_what_a_narrower_measure_left_out_is_open_on_its_body() -> None:
    @measure(unit="mm")
    def spans(body: Body) -> Places:
        """Spans."""
        return Places([Place(1.0)], [LeftOut("too dense", faces=[0, 1])])

    def one(source: Source, spans: dict[Body, Places]) -> None: ...

    assert [(r.kind, r.body, r.faces) for r in run(spans, rule_of(one)).results] == [
        ("open", "part-1", 2)
    ]
    (passed_on,) = run(spans, rule_of(lambda spans: spans)).results
    assert (passed_on.kind, passed_on.faces) == ("open", 2)  # handed on by the rule: told once


def test_some_bodies_that_cannot_be_measured_are_open_beside_the_rest() -> None:
    @measure(unit="mm")
    def picky(body: Body) -> float:
        """Picky."""
        if body.name == "part-1":
            raise NotMeasurable("it is too large")
        return 7.0

    def one(source: Source, picky: dict[Body, float]) -> dict[Body, float]:
        assert [body.name for body in picky] == ["part-1/2"]
        return picky

    found = told(run(picky, rule_of(one), sources=[two_bodies()]))
    assert sorted(found) == [
        ("house/one", "fail", "part-1/2", 7.0), ("house/one", "open", "part-1", None),
    ]  # fmt: skip


def test_all_bodies_that_cannot_be_measured_make_the_rule_open() -> None:
    @measure(unit="mm")
    def never(body: Body) -> float:
        """Never."""
        raise NotMeasurable("it has no inside; solid/open-edge tells more")

    (result,) = run(never, rule_of(lambda source, never: 1.0)).results
    assert (result.kind, result.message) == ("open", "it has no inside; solid/open-edge tells more")


# --- what is missing ------------------------------------------------------------------------------


def test_an_optional_input_is_none_where_it_cannot_be_measured() -> None:
    @measure(unit="mm")
    def never(body: Body) -> float:
        """Never."""
        raise NotMeasurable("no")

    def one(body: Body, never: float | None = None, nobody: float | None = None) -> float:
        assert never is None
        assert nobody is None
        return 1.0

    assert told(run(never, rule_of(one))) == [("house/one", "pass", "part-1", 1.0)]


def test_a_default_is_used_where_there_is_no_such_measure() -> None:
    def one(body: Body, *, factor: float = 3.0) -> float:
        return 3 * factor

    assert told(run(rule_of(one))) == [("house/one", "fail", "part-1", 9.0)]


def test_not_applicable_of_a_measure_and_of_a_rule() -> None:
    @measure(unit="mm")
    def liquid(body: Body) -> float:
        """Liquid."""
        raise NotApplicable("there is no liquid")

    def dry(body: Body) -> None:
        raise NotApplicable("it is dry")

    outcome = run(liquid, rule_of(lambda liquid: 1.0, "a/a"), rule_of(dry, "b/b"))
    assert sorted((r.rule, r.kind, r.message) for r in outcome.results) == [
        ("a/a", "notApplicable", "there is no liquid"), ("b/b", "notApplicable", "it is dry"),
    ]  # fmt: skip


def test_missing_runs_through_measures() -> None:
    @measure(unit="mm")
    def first(body: Body) -> float:
        """First."""
        raise NotMeasurable("the first cannot be taken")

    second = measure(unit="mm", name="second")(lambda first: first)
    (result,) = run(first, second, rule_of(lambda second: second)).results
    assert (result.kind, result.message) == ("open", "the first cannot be taken")


def test_a_file_without_a_body_does_not_pass_what_is_measured_on_bodies() -> None:
    lost = Source(uri="lost.stl", path="lost.stl", faults=[Fault("is gone.", "Look.", fatal=True)])

    def one(source: Source, height: dict[Body, Places]) -> None: ...

    (result,) = run(height, rule_of(one), sources=[lost]).results
    assert (result.kind, result.uri) == ("notApplicable", "lost.stl")


def test_files_without_a_body_do_not_pass_what_is_measured_on_the_assembly() -> None:
    lost = Source(uri="lost.stl", path="lost.stl", faults=[Fault("is gone.", "Look.", fatal=True)])

    @measure(unit="mm")
    def hollows(assembly: Assembly) -> Places:
        return Places([])

    (result,) = run(hollows, rule_of(lambda hollows: hollows), sources=[lost]).results
    assert (result.kind, result.message) == ("notApplicable", "There is no body to look at.")


# --- rules with no code ---------------------------------------------------------------------------


def test_a_rule_with_no_code_over_places_and_over_one_number() -> None:
    size = measure(unit="mm", name="size")(lambda body: 7.5)
    outcome = run(height, size, sheet_rules={"own/tall": "height", "own/size": "size"})
    assert told(outcome) == [
        ("own/size", "fail", "part-1", 7.5), ("own/tall", "fail", "part-1", 10.0),
    ]  # fmt: skip


def test_a_rule_with_no_code_over_a_measure_that_gives_nothing_is_open() -> None:
    empty = measure(unit="mm", name="empty")(lambda body: None)
    (result,) = run(empty, sheet_rules={"own/empty": "empty"}).results
    assert (result.kind, result.message) == ("open", "The measure 'empty' gave nothing.")


def test_a_rule_with_no_code_over_no_places_passes() -> None:
    none = measure(unit="mm", name="none")(lambda body: Places())
    assert told(run(none, sheet_rules={"own/none": "none"})) == [
        ("own/none", "pass", "part-1", None)
    ]


# --- what fails -----------------------------------------------------------------------------------


def test_a_measure_that_crashes_is_named_and_the_others_go_on() -> None:
    @measure(unit="mm")
    def bad(body: Body) -> float:
        """Bad."""
        raise ZeroDivisionError("by\n zero")

    outcome = run(height, bad, rule_of(lambda bad: bad, "a/bad"), rule_of(lambda height: height))
    assert told(outcome) == [
        ("a/bad", "open", "part-1", None), ("house/one", "fail", "part-1", 10.0),
    ]  # fmt: skip
    (note,) = outcome.notifications
    assert (note.level, note.id, note.uri, note.plugin) == ("error", "measure", "a.stl", "house")
    assert (
        "The measure 'bad' of the plugin 'house' crashed on part-1: ZeroDivisionError: by zero "
        in (note.message)
    )
    assert "test_engine.py, line" in note.message
    assert str(Path(__file__).parent) not in note.message  # no folders of this machine
    assert "crashed: ZeroDivisionError: by zero" in outcome.results[0].message


@pytest.mark.parametrize("error", [ValueError("x"), MemoryError(), RecursionError("deep")])
def test_a_rule_that_crashes_half_way_gives_no_half_result(error: Exception) -> None:
    def one(body: Body) -> Iterator[Place]:
        yield Place(9.0, faces=[0])
        raise error

    outcome = run(rule_of(one), rule_of(lambda body: 1.0, "other/fine"))
    assert told(outcome) == [
        ("house/one", "open", "part-1", None), ("other/fine", "pass", "part-1", 1.0),
    ]  # fmt: skip
    (note,) = outcome.notifications
    assert (note.id, note.rule) == ("rule", "house/one")


@pytest.mark.parametrize(
    "place",
    [Place(float("nan")), Place(9.0, faces=[99999]), Place(9.0, properties={"f": lambda: None})],
)
def test_a_place_that_cannot_be_used_is_a_crash_of_its_rule(place: Place) -> None:
    outcome = run(rule_of(lambda body: [place]))
    assert told(outcome) == [("house/one", "open", "part-1", None)]
    assert "house/one" in outcome.notifications[0].message


def test_a_lost_step_is_not_tried_again() -> None:
    def never(body: Body) -> float:
        raise AssertionError

    outcome = run(
        measure(unit="mm", name="height")(never), rule_of(lambda height: height),
        rule_of(never, "a/lost"), lost={"height": "it hung", "a/lost": "it crashed"},
    )  # fmt: skip
    assert [(r.rule, r.kind) for r in outcome.results] == [
        ("a/lost", "open"),
        ("house/one", "open"),
    ]
    assert "it crashed" in outcome.results[0].message
    assert "it hung" in outcome.results[1].message
    assert not outcome.notifications  # the pool has told it


# --- progress, inputs, what is kept ---------------------------------------------------------------


def test_progress_names_file_step_and_body_before_each_step() -> None:
    steps: list[tuple[str, str, str]] = []
    run(height, rule_of(lambda height: None), progress=lambda *step: steps.append(step))
    assert steps == [("a.stl", "height", "part-1"), ("a.stl", "house/one", "part-1")]


def test_sheet_and_interest_arrive() -> None:
    seen: list[Any] = []

    @measure(unit="mm")
    def asks(body: Body, sheet: Sheet, interest: Any) -> float:
        """Asks."""
        seen.extend([sheet, interest])
        return 1.0

    run(asks, rule_of(lambda asks: asks))
    assert seen[0] is SHEET
    assert (seen[1].low, seen[1].high, seen[1].unit) == (5.0, 6.25, "mm")


def test_what_writers_need_is_kept_by_body() -> None:
    outcome = run(height, rule_of(lambda body: None), sources=[two_bodies()],
                  keep=frozenset({"mesh", "field:height"}))  # fmt: skip
    assert sorted(outcome.kept) == ["a.stl#part-1", "a.stl#part-1/2"]
    kept = outcome.kept["a.stl#part-1"]
    assert len(kept["mesh"][1]) == 12
    assert kept["field:height"][0].value == 10.0
    assert run(height, rule_of(lambda height: None)).kept == {}


def test_results_do_not_depend_on_how_shells_are_turned() -> None:
    source = source_of(joined(inverted(box(10)), box(4, (3, 3, 3))))
    (body,) = source.parts[0].bodies
    assert body.mesh.volume == pytest.approx(10**3 - 4**3)
