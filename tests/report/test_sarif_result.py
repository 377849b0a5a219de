"""Results in the SARIF report: the facts that scripts read."""

import math
from dataclasses import replace
from itertools import pairwise
from typing import Any

import inspections
import pytest
from sarif_reading import one_result, run_of

from lint3d.requirement import Requirement


@pytest.fixture(scope="module")
def run() -> dict[str, Any]:
    return run_of(inspections.varied())


KEYS = [
    "measured", "interval", "uncertainty", "requirement", "limit", "unit", "faceting", "position",
    "body", "other", "faces", "extent",
]  # fmt: skip


def test_every_result_has_exactly_the_promised_properties(run: dict[str, Any]) -> None:
    for result in run["results"]:
        keys = list(result["properties"])
        assert keys == KEYS


def test_a_measured_failure(run: dict[str, Any]) -> None:
    result = one_result(run, "walls/thin-wall", measured=0.212)
    assert (result["kind"], result["level"]) == ("fail", "error")
    assert result["properties"] == {
        "measured": 0.212,
        "interval": [0.209, 0.215],
        "uncertainty": 0.003,
        "requirement": "at least",
        "limit": 0.6,
        "unit": "mm",
        "faceting": 0.02,
        "position": [12.34, -4.5, 101.25],
        "body": "bracket",
        "other": None,
        "faces": 7,
        "extent": 12.5,
    }
    assert result["locations"][0]["properties"]["more"] == {"aligned": True, "ball": [1.0, None]}
    assert "Measured 0.212 ± 0.003 mm; required: at least 0.6 mm" in result["message"]["text"]
    assert result["locations"][0]["physicalLocation"]["region"] == {
        "byteOffset": 84 + 50 * 7,
        "byteLength": 50,
    }


def test_what_there_is_nothing_to_say_of_is_null(run: dict[str, Any]) -> None:
    opened = next(result for result in run["results"] if result["kind"] == "open")
    facts = opened["properties"]
    for key in ("measured", "interval", "uncertainty", "faceting", "position", "faces", "extent"):
        assert facts[key] is None
    assert facts["limit"] == 0.6
    bound = one_result(run, "walls/thin-wall", measured=5.1)["properties"]
    assert bound["interval"] == [5.1, None]
    assert bound["uncertainty"] == 0.0


@pytest.mark.parametrize(
    ("requirement", "limit"),
    [
        (inspections.EXTENT, [2.0, 1000.0]),
        (inspections.THIN, 0.6),
        (inspections.OPEN_EDGE, 0.0),
        (inspections.SWATHS, None),
    ],
)
def test_limits(requirement: Requirement, limit: Any) -> None:
    whole = inspections.sound()
    result = replace(whole.results[0], requirement=requirement)
    facts = run_of(replace(whole, results=[result]))["results"][0]["properties"]
    assert facts["limit"] == limit
    assert facts["requirement"] == requirement.kind


def test_level_other_than_none_only_on_failures(run: dict[str, Any]) -> None:
    assert {result["kind"] for result in run["results"]} == {
        "fail", "pass", "open", "review", "informational", "notApplicable",
    }  # fmt: skip
    for result in run["results"]:
        assert (result["level"] == "none") == (result["kind"] != "fail")
    assert one_result(run, "solid/coarse-facets")["level"] == "warning"
    assert one_result(run, "house/tall-part")["level"] == "note"


def test_messages_hold_no_link_or_gap_of_a_files_making(run: dict[str, Any]) -> None:
    text = one_result(run, "assembly/clearance", body="lid")["message"]["text"]
    assert "\\[here](x)" in text
    assert "{{0}}" in text


def test_a_path_is_a_graph_with_its_traversal_and_a_code_flow(run: dict[str, Any]) -> None:
    result = one_result(run, "drain/no-vent")
    graph = result["graphs"][0]
    assert [node["label"]["text"].split(":")[0] for node in graph["nodes"][:2]] == [
        "the chamber",
        "the throat",
    ]
    ids = {node["id"] for node in graph["nodes"]}
    by_id = {edge["id"]: edge for edge in graph["edges"]}
    assert all({edge["sourceNodeId"], edge["targetNodeId"]} <= ids for edge in graph["edges"])
    traversal = result["graphTraversals"][0]
    assert traversal["resultGraphIndex"] == 0
    assert traversal["initialState"]["value"]["text"] == "9.5 mm"
    walked = [by_id[step["edgeId"]] for step in traversal["edgeTraversals"]]
    assert [edge["targetNodeId"] for edge in walked] == ["1", "2"]
    assert all(
        before["targetNodeId"] == after["sourceNodeId"] for before, after in pairwise(walked)
    )
    flow = result["codeFlows"][0]["threadFlows"][0]["locations"]
    assert [step["location"]["properties"]["position"] for step in flow] == [
        [0.0, 0.0, 25.4],
        [0.0, 5.0, 25.4],
        [0.0, 30.0, 25.4],
    ]
    assert flow[2]["state"]["value"]["text"] == "not measured"


def test_steps_of_a_path_are_widths_whatever_the_rule_measures() -> None:
    whole = inspections.varied()
    vent = next(result for result in whole.results if result.path)
    assert vent.requirement is not None
    held = replace(vent, rule="drain/held", requirement=replace(vent.requirement, unit="mm3"))
    (told,) = run_of(replace(whole, results=[held]))["results"]
    assert told["graphTraversals"][0]["initialState"]["value"]["text"] == "9.5 mm"
    assert ": 9.5 mm, at" in told["graphs"][0]["nodes"][0]["label"]["text"]


def test_a_path_of_one_step_has_no_edge() -> None:
    whole = inspections.varied()
    vent = next(result for result in whole.results if result.path)
    short = run_of(replace(whole, results=[replace(vent, path=vent.path[:1])]))["results"][0]
    assert short["graphs"][0]["edges"] == []
    assert len(short["codeFlows"][0]["threadFlows"][0]["locations"]) == 1


def test_fingerprints_are_there_and_differ_from_place_to_place(run: dict[str, Any]) -> None:
    keys = [result["partialFingerprints"]["place/v1"] for result in run["results"]]
    assert len(set(keys)) == len(keys)


def test_suppressions_and_baseline_on_none(run: dict[str, Any]) -> None:
    for result in run["results"]:
        assert "suppressions" not in result
        assert "baselineState" not in result


def test_no_number_that_json_has_no_word_for() -> None:
    whole = inspections.sound()
    odd = replace(
        whole.results[0],
        measured=math.inf,
        lower=math.nan,
        upper=math.inf,
        faceting=math.nan,
        position=(math.nan, 1.0, -math.inf),
        extent=math.inf,
        properties={"ratio": math.nan},
    )
    (result,) = run_of(replace(whole, results=[odd]))["results"]
    facts = result["properties"]
    assert facts["measured"] is None
    assert facts["interval"] == [None, None]
    assert facts["position"] == [None, 1.0, None]
    assert result["locations"][0]["properties"]["more"] == {"ratio": None}
