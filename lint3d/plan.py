"""Which measure runs when, and which rules are on?

The plan says for each measure and rule which measures it needs. From that come the order of steps,
the scope of each, and the last user of each measure, after which it is dropped. All of a plan's
errors are raised before any file is opened.
"""

from __future__ import annotations

import inspect
import typing
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

from lint3d.claims import refuse_circles
from lint3d.declare import INPUTS, RULE_ID, Measure, Need, Rule, without_none
from lint3d.errors import ConfigurationError, NotMeasurable, PluginError
from lint3d.interest import Interest, interest_of
from lint3d.model import SCOPES, Assembly, Body, Part, Scope, Source
from lint3d.needs import circle_in, in_order, users_of
from lint3d.registry import Registry
from lint3d.requirement import Requirement
from lint3d.sheet import Entry, Sheet
from lint3d.tomlfile import nearest


class SheetRule:
    """A rule with no code: a sheet names a measure that returns places or one number."""

    def __init__(self, entry: Entry, measure: Measure) -> None:
        self.id = entry.rule
        self.unit = measure.unit
        self.title = entry.title or f"{measure.title} (a rule of the sheet)"
        self.remedy = entry.remedy
        self.explanation = measure.title
        self.where = entry.where
        self.needs = (Need(measure.name, False, inspect.Parameter.empty),)

    def __call__(self, *values: Any) -> Any:
        """What the measure gave, if it gave anything: nothing at all must not pass for sound."""
        if values[0] is None:
            raise NotMeasurable(f"The measure '{self.needs[0].name}' gave nothing.")
        return values[0]


AnyRule = Rule | SheetRule


@dataclass(frozen=True)
class Step:
    """One measure or rule, with the scope that its inputs give it."""

    item: Measure | AnyRule
    scope: Scope

    @property
    def is_rule(self) -> bool:
        return not isinstance(self.item, Measure)

    @property
    def key(self) -> str:
        """Name in the graph: a measure's name or a rule's id (which holds a slash)."""
        return self.item.name if isinstance(self.item, Measure) else self.item.id


@dataclass
class Plan:
    """The steps of an inspection under one set of requirements."""

    steps: tuple[Step, ...]
    """In an order in which each finds its inputs ready"""
    requirements: Mapping[str, Requirement]
    """Of the rules that are on"""
    needs: Mapping[str, frozenset[str]]
    """The measures that each step needs, by the keys of steps"""
    interests: Mapping[str, Interest | None]
    """Of each measure or rule that asks for its interest"""
    scope_of: Mapping[str, Scope] = field(default_factory=dict)

    @cached_property
    def claimed(self) -> frozenset[str]:
        """Rules from which an enabled rule may claim places."""
        rules = (step.item for step in self.steps if step.is_rule)
        return frozenset(other for rule in rules for other in getattr(rule, "claims", ()))

    def last_users(self) -> dict[str, str]:
        """For each measure, the key of the last step that needs it."""
        found = {step.key: step.key for step in self.steps if not step.is_rule}
        for step in self.steps:
            found |= dict.fromkeys(self.needs[step.key], step.key)
        return found


def all_rules(registry: Registry, sheet: Sheet) -> dict[str, AnyRule]:
    """Rules of plugins and rules of the sheet, by id.

    Raises
    ------
    ConfigurationError : the sheet has an entry for a rule or a measure that nobody brings
    """
    rules: dict[str, AnyRule] = dict(registry.rules)
    incomplete = bool(registry.problems or registry.disabled)
    for entry in sheet.entries.values():
        if not RULE_ID.fullmatch(entry.rule):
            raise ConfigurationError(
                f"{entry.where}: '{entry.rule}' is no rule id; write family/slug in small letters, "
                "digits and hyphens, such as house/tall-part."
            )
        if entry.measure is not None:
            measure = registry.measures.get(entry.measure)
            if entry.rule in registry.rules:
                raise ConfigurationError(
                    f"{entry.where}: '{entry.rule}' is a rule of the plugin "
                    f"'{registry.owner_of('rule', entry.rule)}'; a rule over the measure "
                    f"'{entry.measure}' needs an id of its own."
                )
            if measure is None and not incomplete:
                raise ConfigurationError(
                    f"{entry.where}: there is no measure '{entry.measure}'"
                    f"{nearest(entry.measure, registry.measures)}. "
                    "`lint3d list measures` shows all."
                )
            if measure is not None:
                rules[entry.rule] = SheetRule(entry, measure)
        elif entry.rule not in registry.rules and not incomplete:
            raise ConfigurationError(
                f"{entry.where}: there is no rule '{entry.rule}'{nearest(entry.rule, rules)}. "
                "`lint3d list rules` shows all; a rule with no code names its measure."
            )
    return rules


def check_registered(registry: Registry, sheets: Mapping[str, Sheet]) -> None:
    """Refuse a rule for which no known sheet has an entry."""
    for rule in registry.rules:
        if not any(rule in sheet.entries for sheet in sheets.values()):
            plugin = registry.owner_of("rule", rule)
            raise PluginError(
                f"the plugin '{plugin}' brings the rule '{rule}', but no sheet says what it "
                f'requires. Add [rules."{rule}"] to a sheet and name it with --process.'
            )


def check_plugins(registry: Registry, rules: Mapping[str, AnyRule]) -> dict[str, Scope]:
    """The scope of every measure and rule, with every wiring fault refused.

    Raises
    ------
    PluginError : an unknown parameter, a cycle, an annotation that differs from what the measure
        returns; each names the plugin
    """
    items: dict[str, Measure | AnyRule] = {**registry.measures, **rules}
    for key in sorted(items):
        for need in items[key].needs:
            if not (need.name in INPUTS or need.name in registry.measures or need.optional):
                raise PluginError(_unknown(registry, items[key], need))
    needs = {key: _measures_for(item, registry) for key, item in items.items()}
    _refuse_circle(needs, registry)
    refuse_circles({key: getattr(rule, "claims", ()) for key, rule in rules.items()})
    scopes: dict[str, Scope] = {}
    for key in in_order(needs):
        scopes[key] = _scope(items[key], scopes, registry)
        _check_inputs(items[key], scopes[key], registry)
        _check_annotations(items[key], scopes[key], scopes, registry)
    return scopes


def make_plan(
    registry: Registry,
    rules: Mapping[str, AnyRule],
    requirements: Mapping[str, Requirement],
    scopes: Mapping[str, Scope],
    kept: frozenset[str] = frozenset(),
) -> Plan:
    """The steps that the enabled rules need, and no others.

    Parameters
    ----------
    requirements : of the rules that are on
    scopes : what `check_plugins` found
    kept : measures that a writer wants whether or not a rule needs them
    """
    items: dict[str, Measure | AnyRule] = {**registry.measures, **rules}
    needs: dict[str, frozenset[str]] = {}
    waiting = [*requirements, *(kept & registry.measures.keys())]
    while waiting:
        key = waiting.pop()
        needs[key] = _measures_for(items[key], registry)
        waiting += needs[key] - needs.keys()
    check_units(rules, requirements)
    order = sorted(in_order(needs), key=lambda key: SCOPES.index(scopes[key]))
    steps = tuple(Step(items[key], scopes[key]) for key in order)
    # Measures of another quantity end the way: limits on a depth are no limits on a thickness.
    others = {key for key, measure in registry.measures.items() if measure.other_quantity}
    way = [key for key in order if key not in others]
    interests = {
        step.key: interest_of(
            step.item.unit,
            [
                requirements[user]
                for user in sorted(users_of(step.key, needs, way))
                if user in requirements
            ],
        )
        for step in steps
        if any(need.name == "interest" for need in step.item.needs)
    }
    return Plan(steps, requirements, needs, interests, scopes)


def _measures_for(item: Measure | AnyRule, registry: Registry) -> frozenset[str]:
    """The measures that it asks for and that somebody brings."""
    return frozenset(need.name for need in item.needs if need.name in registry.measures)


def check_units(rules: Mapping[str, AnyRule], requirements: Mapping[str, Requirement]) -> None:
    """Refuse a requirement in another unit than the rule's."""
    for rule, requirement in requirements.items():
        if requirement.unit != rules[rule].unit:
            raise ConfigurationError(
                f"the sheet gives '{rule}' in '{requirement.unit}', but it measures "
                f"'{rules[rule].unit}'. Change the unit in the sheet."
            )


def _scope(item: Measure | AnyRule, scopes: Mapping[str, Scope], registry: Registry) -> Scope:
    """The widest scope of what is asked for."""
    asked = [
        scope
        for need in item.needs
        if (scope := INPUTS.get(need.name) or scopes.get(need.name)) is not None
    ]
    if not asked:
        raise PluginError(
            f"{_named(registry, item)} asks for nothing that can be inspected; give it a parameter "
            f"'body', 'part', 'assembly' or 'source', or the name of a measure."
        )
    return typing.cast(Scope, max(asked, key=lambda scope: SCOPES.index(typing.cast(Scope, scope))))


def _unknown(registry: Registry, item: Measure | AnyRule, need: Need) -> str:
    known = [*INPUTS, *registry.measures]
    hint = nearest(need.name, known) or f"; known: {', '.join(known)}"
    return (
        f"{_named(registry, item)} asks for '{need.name}', which nobody measures{hint}"
        + "".join(f" {problem.message}" for problem in registry.problems)
    )


def _refuse_circle(needs: Mapping[str, frozenset[str]], registry: Registry) -> None:
    names = circle_in(needs)
    if not names:
        return
    plugins = sorted({registry.owner_of("measure", name) for name in names})
    raise PluginError(
        f"measures need each other in a circle: {' -> '.join(names)} "
        f"(plugin {', '.join(repr(p) for p in plugins)}). Break it in one of them."
    )


def _check_inputs(item: Measure | AnyRule, scope: Scope, registry: Registry) -> None:
    """Refuse 'body' where a wider input or measure makes it one call for a whole file."""
    for need in item.needs:
        own = INPUTS.get(need.name)
        if own is not None and own != scope:
            raise PluginError(
                f"{_named(registry, item)} asks for '{need.name}', but what else it asks for makes "
                f"it one call for each {scope}. Ask for '{scope}' instead, and for its measures, "
                f"which arrive as {{{own}: value}}."
            )
        expected = {"body": Body, "part": Part, "source": Source, "assembly": Assembly}
        expected |= {"sheet": Sheet, "interest": Interest}
        if need.name in INPUTS and need.annotation not in (
            inspect.Parameter.empty,
            Any,
            expected[need.name],
        ):
            raise PluginError(
                f"{_named(registry, item)} takes '{need.name}' as {_shown(need.annotation)}, but "
                f"it arrives as {expected[need.name].__name__}. Correct the annotation."
            )


def _check_annotations(
    item: Measure | AnyRule, scope: Scope, scopes: Mapping[str, Scope], registry: Registry
) -> None:
    for need in item.needs:
        measure = registry.measures.get(need.name)
        if measure is None or need.annotation in (inspect.Parameter.empty, Any):
            continue
        returns, _ = without_none(measure.returns)
        if returns in (inspect.Parameter.empty, Any):
            continue
        narrower = SCOPES.index(scopes[need.name]) < SCOPES.index(scope)
        if narrower:
            fits = _is_mapping(need.annotation, scopes[need.name], returns)
            wanted = f"dict[{scopes[need.name].capitalize()}, {_shown(returns)}]"
        else:
            fits, wanted = need.annotation == returns, _shown(returns)
        if not fits:
            raise PluginError(
                f"{_named(registry, item)} takes '{need.name}' as {_shown(need.annotation)}, but "
                f"it arrives as {wanted} (measure of the plugin "
                f"'{registry.owner_of('measure', need.name)}'). Correct the annotation."
            )


def _is_mapping(annotation: Any, scope: Scope, returns: Any) -> bool:
    """Is it a mapping from what the scope says to what the measure returns?"""
    mappings = (dict, Mapping)
    arguments = typing.get_args(annotation)
    if not arguments:
        return annotation in (*mappings, typing.Dict, typing.Mapping)  # noqa: UP006
    subjects = {"body": Body, "part": Part, "source": Source}
    return (
        typing.get_origin(annotation) in mappings
        and arguments[0] in (subjects[scope], Any)
        and without_none(arguments[1])[0] in (returns, Any)
    )


def _shown(annotation: Any) -> str:
    """An annotation as people write it."""
    if isinstance(annotation, type) and not typing.get_args(annotation):
        return annotation.__name__
    return str(annotation).replace("typing.", "")


def _named(registry: Registry, item: Measure | AnyRule) -> str:
    if isinstance(item, SheetRule):
        return f"the rule '{item.id}' ({item.where})"
    kind, name = ("measure", item.name) if isinstance(item, Measure) else ("rule", item.id)
    return f"the {kind} '{name}' of the plugin '{registry.owner_of(kind, name)}'"
