"""How does one result become a SARIF result?

The keys under `properties` are those that scripts read; all of them always stand there, null where
there is nothing to say.
"""

from __future__ import annotations

import re
from typing import Any

from lint3d.inspection import Inspection, PathStep, Result
from lint3d.report.fingerprint import fingerprints, numbered
from lint3d.report.plain import outward, plain, rounded, writable
from lint3d.report.sarif_location import Locations
from lint3d.report.sarif_tool import RuleTable, limit
from lint3d.report.wording import full_text, position_text
from lint3d.requirement import number
from lint3d.units import shown

#: `[text](target)` is a link and `{0}` a gap to fill in messages of the format (SARIF
#: 2.1.0, 3.11.5 and 3.11.6, from memory).
_LINK = re.compile(r"\[(?=[^\[\]]*\]\()")
_GAP = re.compile(r"\{(\d+)\}")
#: Unit of the width at each step of a way.
_WIDTH = "mm"


def result_objects(
    inspection: Inspection, rules: RuleTable, places: Locations
) -> list[dict[str, Any]]:
    """All results, by file, body, rule and place; then what an earlier report had besides."""
    ordered = sorted(inspection.results, key=lambda result: result.sort_key())
    ordered += sorted(inspection.absent, key=lambda result: result.sort_key())
    keys = numbered([fingerprints(result) for result in ordered])
    found = []
    for result, key in zip(ordered, keys, strict=True):
        one = _result(result, key, rules, places)
        if inspection.baseline is not None:
            one["baselineState"] = result.state or "new"
        if inspection.concessions is not None:
            one["suppressions"] = suppressions(result)
        found.append(one)
    return found


def suppressions(result: Result) -> list[dict[str, Any]]:
    """The concession that covers a result; no suppression without one.

    Of one that has ended, or that the place is worse than, the result's message tells.
    """
    given = result.conceded
    if given is None:
        return []
    facts = {"by": given.by, "until": given.until.isoformat(), "upTo": given.up_to}
    return [
        {
            "kind": "external",
            "status": "accepted",
            "justification": writable(given.reason),
            "properties": {key: plain(value) for key, value in facts.items()},
        }
    ]


def properties(result: Result, unit: str) -> dict[str, Any]:
    """The facts of a result, for scripts: these keys exactly. What is special to a rule stands
    under the location's `properties.more`."""
    asked = result.requirement
    known = result.measured is not None and result.lower is not None
    facts: dict[str, Any] = {
        "measured": result.measured,
        "interval": [outward(result.lower, -1), outward(result.upper, 1)] if known else None,
        "uncertainty": result.uncertainty,
        "requirement": asked.kind if asked else None,
        "limit": limit(asked) if asked else None,
        "unit": asked.unit if asked else unit,
        "faceting": result.faceting,
        "position": result.position,
        "body": result.body,
        "other": result.other,
        "faces": result.faces,
        "extent": result.extent,
    }
    return {key: plain(value) for key, value in facts.items()}


def message_text(text: str) -> str:
    r"""The text with what a viewer would take for a link or a gap escaped.

    Examples
    --------
    >>> message_text("body '[a](b) {0} {x}'")
    "body '\\[a](b) {{0}} {x}'"
    """
    return _GAP.sub(r"{{\1}}", _LINK.sub(r"\\[", writable(text)))


def _result(
    result: Result, key: dict[str, str], rules: RuleTable, places: Locations
) -> dict[str, Any]:
    unit = rules.unit(result.rule)
    location = places.of_result(result)
    found: dict[str, Any] = {"ruleId": result.rule}
    if (reference := rules.reference(result.rule)) is not None:
        found["rule"] = {"id": result.rule, **reference}
    found["kind"] = result.kind
    found["level"] = result.level
    said = result.message if result.state == "absent" else full_text(result, unit)
    found["message"] = {"text": message_text(said)}
    if places.is_nested(result):
        found["analysisTarget"] = places.artifact_location(result.uri)
    found["locations"] = [location] if location else []
    if location and result.properties:
        location.setdefault("properties", {})["more"] = plain(result.properties)
    found["partialFingerprints"] = key
    if result.path:
        found.update(_path(result, places))
    other = places.of_other(result)
    related = [] if other is None else [other]
    # By number, so that a message may point at them; 1 is the other body.
    for number_, step in enumerate(result.related, start=2):
        related.append({"id": number_, **_step(step, unit, result, places)})
    if related:
        found["relatedLocations"] = related
    found["properties"] = properties(result, unit)
    return found


def _path(result: Result, places: Locations) -> dict[str, Any]:
    """The way from the place to the outside, as a code flow and as a graph with its traversal."""
    about = {"text": message_text(f"The way from the place to the outside, {result.rule}.")}
    # What is told at each step is a width, whatever the rule measures.
    steps = [_step(step, _WIDTH, result, places) for step in result.path]
    states = [_state(step) for step in result.path]
    links = [str(number) for number in range(1, len(steps))]
    nodes = [
        {"id": str(index), "label": step["message"], "location": step}
        for index, step in enumerate(steps)
    ]
    edges = [
        {"id": link, "sourceNodeId": str(int(link) - 1), "targetNodeId": link} for link in links
    ]
    traversal: dict[str, Any] = {"resultGraphIndex": 0, "description": about}
    traversal["initialState"] = states[0]
    traversal["edgeTraversals"] = [
        {"edgeId": link, "message": steps[int(link)]["message"], "finalState": states[int(link)]}
        for link in links
    ]
    flow = [{"location": step, "state": state} for step, state in zip(steps, states, strict=True)]
    return {
        "codeFlows": [{"message": about, "threadFlows": [{"locations": flow}]}],
        "graphs": [{"description": about, "nodes": nodes, "edges": edges}],
        "graphTraversals": [traversal],
    }


def _step(step: PathStep, unit: str, result: Result, places: Locations) -> dict[str, Any]:
    label = step.label or "A point of the way"
    value = rounded(step.value)
    width = "" if value is None else f": {number(value)}{shown(unit)}"
    text = f"{label}{width}, at {position_text(step.position)} mm."
    location = places.of_file(result.uri)
    name = result.part if result.body is None else result.body
    if name is not None:
        location["logicalLocations"] = [places.logical(result.uri, name)]
    return {
        **location,
        "message": {"text": message_text(text)},
        "properties": {"position": plain(step.position), "value": plain(step.value)},
    }


def _state(step: PathStep) -> dict[str, Any]:
    value = rounded(step.value)
    told = "not measured" if value is None else f"{number(value)}{shown(_WIDTH)}"
    return {"value": {"text": told}, "position": {"text": position_text(step.position)}}
