"""The SARIF report: what scripts and dashboards rely on."""

import json
import math
import re
from collections.abc import Iterator
from dataclasses import replace
from itertools import pairwise
from typing import Any

import inspections
import pytest

from lint3d.inspection import Inspection, Notification, Override, Result
from lint3d.model import Region
from lint3d.report import Writer
from lint3d.report.sarif import SarifWriter, sarif_log
from lint3d.requirement import Requirement

KEYS = [
    "measured", "interval", "uncertainty", "requirement", "limit", "unit", "faceting", "position",
    "body", "other", "faces", "extent",
]  # fmt: skip


def run_of(inspection: Inspection) -> dict[str, Any]:
    run: dict[str, Any] = json.loads(SarifWriter().write(inspection))["runs"][0]
    return run


@pytest.fixture(scope="module")
def run() -> dict[str, Any]:
    return run_of(inspections.varied())


def one(run: dict[str, Any], rule: str, **properties: Any) -> dict[str, Any]:
    """The only result of a rule with these properties."""
    found = [
        result
        for result in run["results"]
        if result["ruleId"] == rule
        and all(result["properties"][key] == value for key, value in properties.items())
    ]
    assert len(found) == 1
    return found[0]


def strings(value: Any) -> Iterator[str]:
    if isinstance(value, str):
        yield value
    elif isinstance(value, dict):
        for item in value.values():
            yield from strings(item)
    elif isinstance(value, list):
        for item in value:
            yield from strings(item)


def test_it_is_a_writer() -> None:
    writer = SarifWriter()
    assert isinstance(writer, Writer)
    assert (writer.name, writer.suffixes) == ("sarif", (".sarif", ".sarif.json"))
    assert writer.needs == frozenset()
    assert writer.write(inspections.varied()).endswith(b"}\n")


def test_the_order_of_everything_in_the_model_does_not_matter() -> None:
    whole = inspections.varied()
    turned = replace(
        whole,
        results=whole.results[::-1],
        artifacts=whole.artifacts[::-1],
        notifications=whole.notifications[::-1],
        rules=whole.rules[::-1],
        plugins=whole.plugins[::-1],
        overrides=whole.overrides[::-1],
        settings=dict(reversed(whole.settings.items())),
    )
    assert SarifWriter().write(turned) == SarifWriter().write(whole)


def test_no_time_machine_or_command_line(run: dict[str, Any]) -> None:
    invocation = run["invocations"][0]
    for key in ("commandLine", "arguments", "startTimeUtc", "endTimeUtc", "machine", "account"):
        assert key not in invocation
    assert "workingDirectory" not in invocation
    assert "uri" not in run["originalUriBaseIds"]["SRCROOT"]
    assert not any(re.match(r"(file:|/|[A-Za-z]:[\\/])", text) for text in strings(run))


def test_every_result_has_exactly_the_promised_properties(run: dict[str, Any]) -> None:
    for result in run["results"]:
        keys = list(result["properties"])
        assert keys[: len(KEYS)] == KEYS
        assert keys[len(KEYS) :] in ([], ["more"])


def test_a_measured_failure(run: dict[str, Any]) -> None:
    result = one(run, "walls/thin-wall", measured=0.212)
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
        "more": {"aligned": True, "ball": [1.0, None]},
    }
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
    bound = one(run, "walls/thin-wall", measured=5.1)["properties"]
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
    assert one(run, "solid/coarse-facets")["level"] == "warning"
    assert one(run, "house/tall-part")["level"] == "note"


def test_rules_come_from_plugins_and_sheets_alone(run: dict[str, Any]) -> None:
    tool = run["tool"]
    assert tool["driver"]["name"] == "lint3d"
    assert tool["driver"]["rules"] == []
    names = [extension["name"] for extension in tool["extensions"]]
    assert {"walls", "our-machine", "formats"} <= set(names)
    for result in run["results"]:
        reference = result["rule"]
        extension = tool["extensions"][reference["toolComponent"]["index"]]
        rule = extension["rules"][reference["index"]]
        assert rule["id"] == result["ruleId"] == reference["id"]
    house = tool["extensions"][names.index("our-machine")]
    assert house["properties"]["kind"] == "sheet"
    assert [rule["id"] for rule in house["rules"]] == ["house/tall-part"]


def rule_of(run: dict[str, Any], rule_id: str) -> dict[str, Any]:
    rules = [rule for extension in run["tool"]["extensions"] for rule in extension["rules"]]
    found: dict[str, Any] = next(rule for rule in rules if rule["id"] == rule_id)
    return found


def test_a_rule_has_help_and_its_default_requirement(run: dict[str, Any]) -> None:
    rule = rule_of(run, "walls/thin-wall")
    assert rule["name"] == "ThinWall"
    assert rule["shortDescription"]["text"].startswith("A wall too thin")
    assert rule["fullDescription"]["text"].startswith("Measured as the largest ball")
    assert "Remedy: thicken the wall, or rib it." in rule["help"]["text"]
    assert "*Remedy:* thicken the wall, or rib it." in rule["help"]["markdown"]
    assert "helpUri" not in rule
    assert rule["defaultConfiguration"] == {
        "enabled": True,
        "level": "error",
        "parameters": {
            "kind": "at least",
            "limit": 0.5,
            "unit": "mm",
            "uncertainty": 0.0,
            "source": "common practice, no source",
        },
    }
    assert rule_of(run, "relief/stroke")["defaultConfiguration"] == {"enabled": False}
    assert rule_of(run, "drain/no-vent")["defaultConfiguration"]["parameters"]["uncertainty"] == 3.4


def test_overrides_name_the_rule_and_the_new_requirement(run: dict[str, Any]) -> None:
    overrides = {
        item["descriptor"]["id"]: item
        for item in run["invocations"][0]["ruleConfigurationOverrides"]
    }
    assert set(overrides) == {"walls/thin-wall", "solid/coarse-facets", "walls/slender"}
    thin = overrides["walls/thin-wall"]
    assert thin["configuration"]["parameters"]["limit"] == 0.6
    assert thin["properties"] == {"origin": "--limit", "file": None}
    assert overrides["solid/coarse-facets"]["configuration"] == {"enabled": False}
    assert overrides["solid/coarse-facets"]["properties"]["file"] == inspections.PLATE
    assert overrides["walls/slender"]["configuration"] == {"enabled": False}
    for rule_id, item in overrides.items():
        reference = item["descriptor"]
        component = run["tool"]["extensions"][reference["toolComponent"]["index"]]
        assert component["rules"][reference["index"]]["id"] == rule_id


def test_equal_overrides_are_listed_once() -> None:
    whole = inspections.varied()
    twice = Override("walls/thin-wall", inspections.THIN, "--limit")
    overrides = run_of(replace(whole, overrides=[twice, twice]))["invocations"][0]
    assert len(overrides["ruleConfigurationOverrides"]) == 2  # and the rule that is off


def test_artifacts_have_hashes_and_members_their_parent(run: dict[str, Any]) -> None:
    artifacts = run["artifacts"]
    by_uri = {item["location"]["uri"]: item for item in artifacts}
    bracket = by_uri["bracket.stl"]
    assert bracket["hashes"] == {"sha-256": "12" * 32}
    assert (bracket["length"], bracket["mimeType"]) == (684, "model/stl")
    assert bracket["properties"] == {
        "format": "STL (binary)",
        "unit": "mm",
        "unitOrigin": "given",
        "bodies": 1,
        "faces": 12,
    }
    member = by_uri["3D/3dmodel.model"]
    assert artifacts[member["parentIndex"]]["location"]["uri"] == inspections.LID
    assert "uriBaseId" not in member["location"]
    assert "3D/odd%20name.model" in by_uri
    assert "hashes" not in by_uri[inspections.LOST]


def test_a_place_in_an_archive_points_at_the_nested_artifact(run: dict[str, Any]) -> None:
    result = one(run, "solid/open-edge", body="lid/2")
    physical = result["locations"][0]["physicalLocation"]
    nested = run["artifacts"][physical["artifactLocation"]["index"]]
    assert nested["location"]["uri"] == physical["artifactLocation"]["uri"] == inspections.MODEL
    archive = run["artifacts"][nested["parentIndex"]]
    assert result["analysisTarget"]["uri"] == archive["location"]["uri"] == inspections.LID
    assert result["locations"][0]["properties"] == {"objectId": "4", "facet": 17}


def test_a_member_that_is_not_listed_leaves_the_place_in_the_archive() -> None:
    whole = inspections.varied()
    lost = Result(
        "file/malformed", "fail", "A member is missing.", inspections.LID,
        region=Region(member="3D/missing.model"),
    )  # fmt: skip
    location = run_of(replace(whole, results=[lost]))["results"][0]["locations"][0]
    assert location["physicalLocation"]["artifactLocation"]["uri"] == inspections.LID
    assert location["properties"] == {"member": "3D/missing.model"}


def test_line_regions(run: dict[str, Any]) -> None:
    result = one(run, "solid/coarse-facets")
    region = result["locations"][0]["physicalLocation"]["region"]
    assert region == {"startLine": 3, "endLine": 9}


def test_bodies_are_logical_locations(run: dict[str, Any]) -> None:
    listed = run["logicalLocations"]
    names = [item["fullyQualifiedName"] for item in listed]
    assert len(set(names)) == len(names)
    second = one(run, "solid/open-edge", body="lid/2")
    reference = second["locations"][0]["logicalLocations"][0]
    entry = listed[reference["index"]]
    assert (entry["name"], entry["kind"]) == ("lid/2", "body")
    assert entry["fullyQualifiedName"] == reference["fullyQualifiedName"]
    part = listed[listed[names.index(f"{inspections.PLATE}#{inspections.WIDE}")]["parentIndex"]]
    assert (part["name"], part["kind"]) == ("part-1", "part")


def test_the_other_body_is_a_related_location(run: dict[str, Any]) -> None:
    result = one(run, "assembly/clearance", body="lid")
    related = result["relatedLocations"][0]
    entry = run["logicalLocations"][related["logicalLocations"][0]["index"]]
    assert entry["name"] == inspections.HOSTILE == result["properties"]["other"]


def test_messages_hold_no_link_or_gap_of_a_files_making(run: dict[str, Any]) -> None:
    text = one(run, "assembly/clearance", body="lid")["message"]["text"]
    assert "\\[here](x)" in text
    assert "{{0}}" in text


def test_a_path_is_a_graph_with_its_traversal_and_a_code_flow(run: dict[str, Any]) -> None:
    result = one(run, "drain/no-vent")
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


def test_a_path_of_one_step_has_no_edge() -> None:
    whole = inspections.varied()
    vent = next(result for result in whole.results if result.path)
    short = run_of(replace(whole, results=[replace(vent, path=vent.path[:1])]))["results"][0]
    assert short["graphs"][0]["edges"] == []
    assert len(short["codeFlows"][0]["threadFlows"][0]["locations"]) == 1


def test_notifications_say_what_file_rule_and_plugin(run: dict[str, Any]) -> None:
    invocation = run["invocations"][0]
    assert invocation["executionSuccessful"] is False
    configuration = invocation["toolConfigurationNotifications"]
    assert [note["level"] for note in configuration] == ["error", "note"]
    assert configuration[0]["properties"] == {"plugin": "houze"}
    execution = invocation["toolExecutionNotifications"]
    lost = next(note for note in execution if "no such file" in note["message"]["text"])
    location = lost["locations"][0]["physicalLocation"]["artifactLocation"]
    assert run["artifacts"][location["index"]]["location"]["uri"] == inspections.LOST
    crashed = next(note for note in execution if note["level"] == "warning")
    assert crashed["associatedRule"]["id"] == "assembly/clearance"
    descriptors = run["tool"]["driver"]["notifications"]
    for note in configuration + execution:
        assert descriptors[note["descriptor"]["index"]]["id"] == note["descriptor"]["id"]


def test_a_kind_of_notification_of_a_plugins_own_gets_a_descriptor() -> None:
    note = Notification("something new", "warning", "moon-phase")
    run = run_of(replace(inspections.sound(), notifications=[note]))
    reference = run["invocations"][0]["toolExecutionNotifications"][0]["descriptor"]
    assert run["tool"]["driver"]["notifications"][reference["index"]]["id"] == "moon-phase"
    assert run["invocations"][0]["executionSuccessful"] is True


def test_fingerprints_are_there_and_differ_from_place_to_place(run: dict[str, Any]) -> None:
    keys = [result["partialFingerprints"]["place/v1"] for result in run["results"]]
    assert len(set(keys)) == len(keys)


def test_suppressions_and_baseline_on_none(run: dict[str, Any]) -> None:
    for result in run["results"]:
        assert "suppressions" not in result
        assert "baselineState" not in result


def test_the_sheet_and_settings_are_kept(run: dict[str, Any]) -> None:
    assert run["properties"] == {
        "sheet": {
            "name": "our-machine",
            "title": "Our jetting machine",
            "chain": ["our-machine", "mjt-meltable"],
            "digest": "5e" * 32,
            "assumed": False,
        },
        "settings": {"limits": {"faces": 10**8}, "together": False, "weld_tolerance_mm": 1e-06},
    }


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
    facts = run_of(replace(whole, results=[odd]))["results"][0]["properties"]
    assert facts["measured"] is None
    assert facts["interval"] == [None, None]
    assert facts["position"] == [None, 1.0, None]
    assert facts["more"] == {"ratio": None}


def test_undecodable_names_are_written_as_utf8() -> None:
    whole = inspections.sound()
    name = b"lid\xff".decode("utf-8", "surrogateescape")
    odd = replace(whole.results[0], body=name, message=name)
    assert b"lid\\\\udcff" in SarifWriter().write(replace(whole, results=[odd]))


def test_a_rule_that_nobody_declared_keeps_its_id() -> None:
    log = sarif_log(replace(inspections.sound(), rules=[], plugins=[]))
    result = log["runs"][0]["results"][0]
    assert result["ruleId"] == "drain/no-vent"
    assert "rule" not in result
