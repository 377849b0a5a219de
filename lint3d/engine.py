"""How is one plan run over the files that belong together?

Bodies first, then parts, files and the assembly. Each measure is computed once for each subject,
shared by all that need it, and dropped when its last user is done. A measure or rule that raises is
named in a notification and the others go on; what depended on it is *open*.
"""

from __future__ import annotations

import pickle
import traceback
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path
from typing import Any

from lint3d.claims import Claims
from lint3d.declare import INPUTS, Measure, Need
from lint3d.errors import NotApplicable, NotMeasurable
from lint3d.inspection import Notification, Result
from lint3d.interest import Interest
from lint3d.joined import Joined
from lint3d.judging import Case, Subject, judge, not_applicable, open_result
from lint3d.model import Assembly, Body, Part, Source
from lint3d.place import Claim, LeftOut, Note, Place, Places
from lint3d.plan import AnyRule, Plan, Step
from lint3d.registry import Registry
from lint3d.sheet import Sheet

Progress = Callable[[str, str, str], None]
#: Told which share of the steps of a run is done, 0 to 1.
Advance = Callable[[float], None]
"""Called before each step with uri, step (measure or rule) and name of the body."""


@dataclass(frozen=True)
class Missing:
    """Stands in for a value that there is not."""

    reason: str
    applicable: bool = True


@dataclass(frozen=True, eq=False)
class _Found:
    """What a rule found on a subject, before it is judged."""

    case: Case
    places: list[Place]
    left_out: list[LeftOut]
    notes: list[Note]


@dataclass
class Outcome:
    """What one run over files that belong together gave."""

    results: list[Result] = field(default_factory=list)
    notifications: list[Notification] = field(default_factory=list)
    kept: dict[str, dict[str, Any]] = field(default_factory=dict)


@dataclass
class Run:
    """One plan over one assembly.

    Parameters
    ----------
    lost : steps that ended a worker before, with what happened; they are not tried again
    keep : what writers need: "mesh", "places", "field:spans". Of a measure's value its
        `for_reports()` is kept if it has that method: plain arrays, which a worker can send.
    """

    plan: Plan
    registry: Registry
    sheet: Sheet
    progress: Progress = lambda uri, step, body: None
    advance: Advance = lambda share: None
    lost: dict[str, str] = field(default_factory=dict)
    keep: frozenset[str] = frozenset()

    def __post_init__(self) -> None:
        self.values: dict[tuple[str, int], Any] = {}
        self.outcome = Outcome()
        self.last_users = self.plan.last_users()
        self.claims = Claims()
        self.waiting: list[_Found] = []

    def over(self, assembly: Assembly) -> Outcome:
        """Run every step over every subject of its scope."""
        self._count(assembly)
        for source in assembly.sources:
            for part in source.parts:
                for body in part.bodies:
                    self._steps("body", body)
                    self._keep_mesh(body)
                self._steps("part", part)
            self._steps("source", source)
        self._steps("assembly", assembly)
        self._judge_claimed()
        return self.outcome

    def _count(self, assembly: Assembly) -> None:
        """How many steps there will be, over all subjects."""
        subjects = {
            "body": len(assembly.bodies),
            "part": len(assembly.parts),
            "source": len(assembly.sources),
            "assembly": 1,
        }
        self.begun = 0
        self.total = sum(subjects[step.scope] for step in self.plan.steps)

    def _steps(self, scope: str, subject: Subject) -> None:
        for step in self.plan.steps:
            if step.scope != scope:
                continue
            self.progress(_uri(subject), step.key, _name(subject))
            self.advance(self.begun / self.total)
            self.begun += 1
            if isinstance(step.item, Measure):
                # No name of this frame may hold the value: it would outlive its last user.
                self.values[step.key, id(subject)] = self._measure(step, step.item, subject)
                self._keep_field(step.key, subject)
            else:
                self.outcome.results += self._rule(step, step.item, subject)
            self._drop(step.key, subject)

    def _measure(self, step: Step, measure: Measure, subject: Subject) -> Any:
        if step.key in self.lost:
            return Missing(f"the measure '{measure.name}' was lost: {self.lost[step.key]}")
        if isinstance(subject, Assembly) and not subject.bodies:
            # Else a rule that finds no hollow in files that could not be read would pass them.
            return Missing("There is no body to look at.", applicable=False)
        inputs, _ = self._inputs(step, subject)
        if isinstance(inputs, Missing):
            return inputs
        try:
            value = _called(measure, inputs)
            value = list(value) if isinstance(value, Iterator) else value
            return _owned(value, _piece(inputs) or subject)
        except NotMeasurable as error:
            return Missing(str(error))
        except NotApplicable as error:
            return Missing(str(error), applicable=False)
        except MemoryError:
            return self._crash("measure", step.key, subject, "it needs more memory than is allowed")
        except (Exception, SystemExit) as error:
            return self._crash("measure", step.key, subject, _described(error))

    def _rule(self, step: Step, rule: AnyRule, subject: Subject) -> list[Result]:
        case = Case(rule, self.plan.requirements[rule.id], subject)
        if step.key in self.lost:
            return [open_result(case, f"The rule was lost: {self.lost[step.key]}")]
        inputs, gaps = self._inputs(step, subject)
        if isinstance(inputs, Missing):
            if inputs.applicable:
                return [open_result(case, inputs.reason)]
            return [not_applicable(case, inputs.reason)]
        return self._guarded(case, partial(self._found, case, rule, inputs, gaps))

    def _found(
        self, case: Case, rule: AnyRule, inputs: list[Any], gaps: list[LeftOut]
    ) -> list[Result]:
        """Call a rule; judge at once what no other rule can claim."""
        places, left_out, notes, claims = _sorted_out(_called(rule, inputs))
        left_out += [one for value in inputs for one in _left_out(value)]
        piece = _piece(inputs)
        told: list[Place | LeftOut | Note | Claim] = [*places, *left_out, *notes, *claims]
        for item in told:
            item.of = item.of if item.of is not None else piece
        once = {id(one): one for one in [*gaps, *left_out]}
        others = getattr(rule, "claims", ())
        for claim in claims:
            owner = claim.of if claim.of is not None else case.subject
            self.claims.add(claim, owner, rule.id, others)
        found = _Found(case, places, list(once.values()), notes)
        if rule.id not in self.plan.claimed:
            return self._judged(found)
        self.waiting.append(found)
        return []

    def _judge_claimed(self) -> None:
        """Judge what had to wait until every rule had said what it claims."""
        for found in self.waiting:
            self.outcome.results += self._guarded(found.case, partial(self._judged, found))

    def _judged(self, found: _Found) -> list[Result]:
        case = found.case
        places, told_by = self.claims.sift(case.rule.id, found.places, case.subject)
        results = judge(case, places, found.left_out, found.notes, told_by)
        results = self._lightened(results)
        pickle.dumps([one.properties for one in results])  # fails here, by its rule's name
        return results

    def _guarded(self, case: Case, work: Callable[[], list[Result]]) -> list[Result]:
        """What a rule gives, or why it gives nothing."""
        rule = case.rule
        try:
            return work()
        except NotMeasurable as error:
            return [open_result(case, str(error))]
        except NotApplicable as error:
            return [not_applicable(case, str(error))]
        except MemoryError:
            what = "it needs more memory than is allowed"
        except (Exception, SystemExit) as error:
            what = _described(error)
        missing = self._crash("rule", rule.id, case.subject, what)
        return [open_result(case, missing.reason)]

    def _lightened(self, results: list[Result]) -> list[Result]:
        """The results without what no writer needs."""
        if "places" not in self.keep:
            for result in results:
                result.triangles = result.other_triangles = None
        return results

    def _inputs(self, step: Step, subject: Subject) -> tuple[list[Any] | Missing, list[LeftOut]]:
        """The arguments of a step; narrower measures arrive as {subject: value}."""
        arguments: list[Any] = []
        gaps: list[LeftOut] = []
        for need in step.item.needs:
            if need.name in INPUTS:
                arguments.append(self._input(step, need, subject))
                continue
            if need.name not in self.plan.scope_of or need.name not in self.registry.measures:
                arguments.append(need.default)
                continue
            value = self._value(step, need, subject, gaps)
            if isinstance(value, Missing) and not need.optional:
                return value, gaps
            arguments.append(need.default if isinstance(value, Missing) else value)
        return arguments, gaps

    def _input(self, step: Step, need: Need, subject: Subject) -> Any:
        if need.name == "sheet":
            return self.sheet
        if need.name == "interest":
            unit = getattr(step.item, "unit", "mm")
            return self.plan.interests.get(step.key) or Interest(0.0, 0.0, unit)
        return subject

    def _value(self, step: Step, need: Need, subject: Subject, gaps: list[LeftOut]) -> Any:
        scope = self.plan.scope_of[need.name]
        if scope == step.scope:
            return self.values[need.name, id(subject)]
        found: dict[Any, Any] = {}
        missing: list[Missing] = []
        subjects = _within(subject, scope)
        if not subjects:
            return Missing(f"There is no {scope} to look at.", applicable=False)
        for narrow in subjects:
            value = self.values[need.name, id(narrow)]
            if not isinstance(value, Missing):
                found[narrow] = value
                continue
            missing.append(value)
            if value.applicable and not need.optional:
                gaps.append(LeftOut(value.reason, of=narrow))
        if missing and not found:
            gaps.clear()
            return missing[0]
        return found

    def _crash(self, kind: str, name: str, subject: Subject, what: str) -> Missing:
        plugin = self.registry.owner.get((kind, name))
        by = f" of the plugin '{plugin}'" if plugin else " of the sheet"
        self.outcome.notifications.append(
            Notification(
                f"The {kind} '{name}'{by} crashed on {_name(subject) or 'the file'}: {what}. What "
                f"depends on it is open. Report this to whoever maintains the plugin.",
                "error",
                kind,
                _uri(subject),
                name if kind == "rule" else None,
                plugin,
            )
        )
        return Missing(f"The {kind} '{name}' crashed: {what}")

    def _drop(self, key: str, subject: Subject) -> None:
        """Forget every measure whose last user this was."""
        for measure, last in self.last_users.items():
            if last == key:
                for narrow in _within(subject, self.plan.scope_of[measure]):
                    self.values.pop((measure, id(narrow)), None)

    def _keep_field(self, measure: str, subject: Subject) -> None:
        value = self.values[measure, id(subject)]
        if f"field:{measure}" in self.keep and not isinstance(value, Missing):
            shown = getattr(value, "for_reports", None)
            kept = shown() if shown else value
            joined = getattr(value, "lies_on", None)
            for owner, own in joined.by_body(kept) if joined and shown else [(subject, kept)]:
                self._shelf(owner)[f"field:{measure}"] = own

    def _keep_mesh(self, body: Body) -> None:
        if "mesh" in self.keep:
            self._shelf(body)["mesh"] = (body.vertices, body.faces)

    def _shelf(self, subject: Subject) -> dict[str, Any]:
        return self.outcome.kept.setdefault(f"{_uri(subject)}#{_name(subject)}", {})


def _called(item: Measure | AnyRule, inputs: list[Any]) -> Any:
    """Call a measure or a rule with the values of its parameters."""
    pairs = list(zip(item.needs, inputs, strict=True))
    by_name = {need.name: value for need, value in pairs if need.keyword}
    return item(*(value for need, value in pairs if not need.keyword), **by_name)


def _owned(value: Any, subject: Subject | Joined) -> Any:
    """The value of a measure; its places say what they lie on, for rules of a wider scope."""
    if isinstance(value, (Places, list)):
        for one in (*value, *getattr(value, "left_out", ())):
            if isinstance(one, (Place, LeftOut, Note)) and one.of is None:
                one.of = None if isinstance(subject, Assembly) else subject
    return value


def _sorted_out(
    yielded: Any,
) -> tuple[list[Place], list[LeftOut], list[Note], list[Claim]]:
    """What a rule yielded, by kind. A bare number is a place."""
    kinds: dict[type, list[Any]] = {Place: [], LeftOut: list(_left_out(yielded)), Note: []}
    kinds[Claim] = []
    for owner, item in _items(yielded):
        if hasattr(item, "__float__"):
            item = Place(float(item))
        kind = next((kind for kind in kinds if isinstance(item, kind)), None)
        if kind is None:
            raise TypeError(f"a rule yields places or numbers, not {type(item).__name__}")
        item.of = item.of if item.of is not None else owner
        kinds[kind].append(item)
    return kinds[Place], kinds[LeftOut], kinds[Note], kinds[Claim]


def _piece(inputs: list[Any]) -> Joined | None:
    """The joined piece that the measures among the inputs looked at, if they did."""
    found = (getattr(value, "lies_on", None) for value in inputs)
    return next((one for one in found if one is not None), None)


def _items(yielded: Any) -> Iterator[tuple[Any, Any]]:
    """Each thing yielded, with the body it stands under if a mapping said so."""
    if yielded is None:
        return
    if isinstance(yielded, dict):
        for owner, value in yielded.items():
            yield from ((owner, item) for _, item in _items(value))
    elif isinstance(yielded, Iterable):
        yield from ((None, item) for item in yielded)
    else:
        yield None, yielded


def _left_out(value: Any) -> Iterable[LeftOut]:
    values = value.values() if isinstance(value, dict) else [value]
    return [one for item in values for one in getattr(item, "left_out", ())]


def _within(subject: Subject, scope: str) -> list[Any]:
    """The subjects of a scope that lie within a subject (itself included)."""
    if isinstance(subject, Body):
        return [subject]
    if isinstance(subject, Part):
        return [subject] if scope == "part" else list(subject.bodies)
    if isinstance(subject, Source):
        if scope == "source":
            return [subject]
        return [one for part in subject.parts for one in _within(part, scope)]
    if scope == "assembly":
        return [subject]
    return [one for source in subject.sources for one in _within(source, scope)]


def _uri(subject: Subject) -> str:
    if isinstance(subject, Assembly):
        return subject.sources[0].uri
    return subject.uri if isinstance(subject, Source) else subject.source.uri


def _name(subject: Subject) -> str:
    return subject.name if isinstance(subject, (Body, Part)) else ""


def _described(error: BaseException) -> str:
    """Type, message and place of an error, in one line and without folders."""
    frame = traceback.extract_tb(error.__traceback__)[-1]
    text = " ".join(str(error).split())
    return f"{type(error).__name__}: {text} ({Path(frame.filename).name}, line {frame.lineno})"
