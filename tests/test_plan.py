"""The plan: scopes, order, last users, and every wiring fault refused before a file is opened."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from typing import Any

import pytest
from house import registry_of

from lint3d import (
    Assembly,
    Body,
    Interest,
    Measure,
    Part,
    Place,
    Places,
    PluginError,
    Requirement,
    Rule,
    Sheet,
    Source,
    measure,
    rule,
)
from lint3d.interest import HEAD_ROOM
from lint3d.plan import Plan, check_plugins, make_plan
from lint3d.registry import Registry

MM = Requirement("at least", "mm", "doc", low=0.6)
MM_WIDE = Requirement("at most", "mm", "doc", high=200.0)


@measure(unit="mm")
def spans(body: Body, interest: Interest) -> Places:
    """Spans."""
    return Places()


@measure(unit="mm")
def claims(spans: Places) -> Places:
    """Claims."""
    return spans


@measure(unit="mm")
def layout(part: Part, sheet: Sheet) -> float:
    """Layout."""
    return 0.0


@measure(unit="mm")
def extent(source: Source) -> float:
    """Extent."""
    return 0.0


@measure(unit="mm")
def gaps(assembly: Assembly) -> float:
    """Gaps."""
    return 0.0


def rule_of(function: Callable[..., Any], rule_id: str = "house/one", unit: str = "mm") -> Rule:
    return rule(rule_id, measures=unit)(function)


def scope(*items: Measure | Rule, of: str = "house/one") -> str:
    registry = registry_of(spans, claims, layout, extent, gaps, *items)
    return check_plugins(registry, dict(registry.rules))[of]


def plan(
    registry: Registry, on: Mapping[str, Requirement], kept: frozenset[str] = frozenset()
) -> Plan:
    rules = dict(registry.rules)
    return make_plan(registry, rules, on, check_plugins(registry, rules), kept)


@pytest.mark.parametrize(
    ("function", "expected"),
    [
        (lambda body: None, "body"),
        (lambda spans: None, "body"),
        (lambda claims, sheet, interest: None, "body"),
        (lambda layout: None, "part"),
        (lambda part, spans: None, "part"),
        (lambda spans, layout: None, "part"),
        (lambda source, spans: None, "source"),
        (lambda layout, extent: None, "source"),
        (lambda assembly: None, "assembly"),
        (lambda gaps, extent, layout, spans: None, "assembly"),
    ],
)
def test_the_widest_scope_wins(function: Callable[..., Any], expected: str) -> None:
    assert scope(rule_of(function)) == expected


@pytest.mark.parametrize(
    ("function", "message"),
    [
        (lambda sheet: None, "the rule 'house/one' of the plugin 'house' asks for nothing"),
        (lambda: None, "asks for nothing that can be inspected"),
        (lambda span: None, "the rule 'house/one' of the plugin 'house' asks for 'span', which "
         "nobody measures .did you mean 'spans'"),
        (lambda body, zzzzz: None, "asks for 'zzzzz', which nobody measures; known: body, part"),
        (lambda body, extent: None, "asks for 'body', but what else it asks for makes it one call "
         "for each source"),
        (lambda body, assembly: None, "asks for 'body', but what else .* Ask for 'assembly'"),
    ],
)  # fmt: skip
def test_wrong_parameters_are_refused(function: Callable[..., Any], message: str) -> None:
    with pytest.raises(PluginError, match=message):
        scope(rule_of(function))


def test_optional_inputs_need_not_exist() -> None:
    def one(body: Body, reliefs: Places | None = None) -> None: ...

    def two(body: Body, reliefs: Places | None) -> None: ...

    assert scope(rule_of(one)) == "body"
    assert scope(rule_of(two)) == "body"


def test_an_optional_input_that_exists_counts_for_the_scope() -> None:
    def one(spans: dict[Body, Places], gaps: float | None = None) -> None: ...

    assert scope(rule_of(one)) == "assembly"


def test_a_cycle_names_measures_and_plugin() -> None:
    @measure(unit="1")
    def first(second: float) -> float:
        """First."""
        return second

    @measure(unit="1")
    def second(third: float) -> float:
        """Second."""
        return third

    @measure(unit="1")
    def third(first: float) -> float:
        """Third."""
        return first

    with pytest.raises(
        PluginError,
        match=r"need each other in a circle: \w+ -> \w+ -> \w+ -> \w+ "
        r"\(plugin 'house'\)",
    ) as error:
        scope(first, second, third)
    assert all(name in str(error.value) for name in ("first", "second", "third"))


def test_a_measure_that_needs_itself_is_a_cycle() -> None:
    own = measure(unit="1", name="own")(lambda own: own)
    with pytest.raises(PluginError, match="own -> own"):
        scope(own)


def wrong_type(spans: float) -> None: ...
def wrong_for_source(source: Source, spans: Places) -> None: ...
def wrong_key(source: Source, spans: dict[Part, Places]) -> None: ...
def wrong_value(source: Source, spans: dict[Body, float]) -> None: ...
def no_mapping(source: Source, spans: tuple[Body, Places]) -> None: ...
def mapping_without_need(spans: dict[Body, Places]) -> None: ...
def wrong_input(body: Part) -> None: ...
def wrong_interest(body: Body, interest: float) -> None: ...


@pytest.mark.parametrize(
    ("function", "message"),
    [
        (wrong_type, "takes 'spans' as float, but it arrives as Places .measure of the plugin 'ho"),
        (wrong_for_source, r"takes 'spans' as Places, but it arrives as dict\[Body, Places\]"),
        (wrong_key, r"but it arrives as dict\[Body, Places\]"),
        (wrong_value, r"but it arrives as dict\[Body, Places\]"),
        (no_mapping, r"but it arrives as dict\[Body, Places\]"),
        (mapping_without_need, r"as dict\[.*, but it arrives as Places"),
        (wrong_input, "takes 'body' as Part, but it arrives as Body"),
        (wrong_interest, "takes 'interest' as float, but it arrives as Interest"),
    ],
)
def test_wrong_annotations_are_refused(function: Callable[..., Any], message: str) -> None:
    with pytest.raises(PluginError, match=message):
        scope(rule_of(function))


def right(spans: Places) -> None: ...
def right_or_none(spans: Places | None) -> None: ...
def right_for_source(source: Source, spans: dict[Body, Places]) -> None: ...
def right_mapping(source: Source, spans: Mapping[Body, Places]) -> None: ...
def right_bare(source: Source, spans: dict) -> None: ...  # type: ignore[type-arg]
def right_any(spans: Any) -> None: ...
def right_optional(source: Source, spans: dict[Body, Places] | None = None) -> None: ...


@pytest.mark.parametrize(
    "function",
    [right, right_or_none, right_for_source, right_mapping, right_bare, right_any, right_optional],
)
def test_right_annotations_pass(function: Callable[..., Any]) -> None:
    scope(rule_of(function))


def test_a_measure_that_may_return_none_fits_an_optional_input() -> None:
    @measure(unit="mm")
    def pin(body: Body) -> Places | None:
        """Pin."""
        return None

    def one(pin: Places | None) -> None: ...

    assert scope(pin, rule_of(one)) == "body"


def test_an_annotation_of_an_iterator_is_compared_as_written() -> None:
    @measure(unit="mm")
    def pins(body: Body) -> Iterator[Place]:
        """Pins."""
        yield Place(1.0)

    def one(pins: Iterator[Place]) -> None: ...

    assert scope(pins, rule_of(one)) == "body"


# --- steps ----------------------------------------------------------------------------------------


def test_only_what_enabled_rules_need_is_planned() -> None:
    registry = registry_of(
        spans, claims, layout, extent, gaps,
        rule_of(lambda claims: None, "house/one"), rule_of(lambda extent: None, "house/two"),
    )  # fmt: skip
    assert [s.key for s in plan(registry, {"house/one": MM}).steps] == [
        "spans", "claims", "house/one",
    ]  # fmt: skip
    assert [s.key for s in plan(registry, {}).steps] == []


def test_what_a_writer_keeps_is_planned_without_a_rule() -> None:
    registry = registry_of(spans, claims, rule_of(lambda body: None))
    found = plan(registry, {"house/one": MM}, frozenset({"claims", "no_such_measure"}))
    assert {s.key for s in found.steps} == {"house/one", "spans", "claims"}


def test_steps_find_their_inputs_ready_whatever_the_order_of_plugins() -> None:
    items = [
        spans, claims, layout, extent, gaps,
        rule_of(lambda gaps, spans: None, "a/first"), rule_of(lambda claims: None, "z/last"),
        rule_of(lambda layout, claims: None, "b/part"),
    ]  # fmt: skip
    on = {"a/first": MM, "z/last": MM, "b/part": MM}
    orders = set()
    for turn in range(len(items)):
        found = plan(registry_of(*items[turn:], *items[:turn]), on)
        keys = [step.key for step in found.steps]
        orders.add(tuple(keys))
        for user, needed in found.needs.items():
            assert all(keys.index(one) < keys.index(user) for one in needed)
        assert {*found.needs} == {*keys}
    assert len(orders) == 1


def test_last_users() -> None:
    registry = registry_of(
        spans, claims, gaps,
        rule_of(lambda spans: None, "a/early"), rule_of(lambda gaps, spans: None, "b/late"),
    )  # fmt: skip
    found = plan(registry, {"a/early": MM, "b/late": MM}, frozenset({"claims"}))
    assert found.last_users() == {"spans": "b/late", "gaps": "b/late", "claims": "claims"}


def test_interest_is_of_the_rules_that_use_the_measure() -> None:
    """Directly or through another measure; a rule over something else does not stretch it."""
    registry = registry_of(
        spans, claims, extent,
        rule_of(lambda spans: None, "a/wall"), rule_of(lambda claims: None, "a/claimed"),
        rule_of(lambda extent: None, "b/size"),
        rule_of(lambda spans: None, "a/ratio", unit="1"),
    )  # fmt: skip
    ratio = Requirement("at most", "1", "doc", high=1000)
    claimed = Requirement("at least", "mm", "doc", low=3.0)
    on = {"a/wall": MM, "a/claimed": claimed, "b/size": MM_WIDE, "a/ratio": ratio}
    assert plan(registry, on).interests == {"spans": Interest(0.6, HEAD_ROOM * 3.0, "mm")}
    del on["a/claimed"]
    assert plan(registry, on).interests == {"spans": Interest(0.6, HEAD_ROOM * 0.6, "mm")}


def test_limits_on_another_quantity_are_none_on_what_it_is_made_of() -> None:
    @measure(unit="mm", other_quantity=True)
    def depth(spans: Places, interest: Interest) -> Places:
        """How deep is what is thin?"""
        return spans

    registry = registry_of(
        spans, depth, rule_of(lambda spans: None, "a/wall"), rule_of(lambda depth: None, "a/knife")
    )
    on = {"a/wall": MM, "a/knife": MM_WIDE}
    assert plan(registry, on).interests == {
        "spans": Interest(0.6, HEAD_ROOM * 0.6, "mm"),
        "depth": Interest(200.0, HEAD_ROOM * 200.0, "mm"),
    }


def test_a_rule_may_ask_for_its_own_interest() -> None:
    registry = registry_of(rule_of(lambda body, interest: None))
    assert plan(registry, {"house/one": MM}).interests == {
        "house/one": Interest(0.6, HEAD_ROOM * 0.6, "mm")
    }
