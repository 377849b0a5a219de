"""Rules, plugins and limits in the SARIF report."""

from dataclasses import replace
from typing import Any

import inspections
import pytest
from sarif_reading import rule_of, run_of

from lint3d.inspection import Override
from lint3d.report.sarif import sarif_log


@pytest.fixture(scope="module")
def run() -> dict[str, Any]:
    return run_of(inspections.varied())


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


def test_a_rule_that_nobody_declared_keeps_its_id() -> None:
    log = sarif_log(replace(inspections.sound(), rules=[], plugins=[]))
    result = log["runs"][0]["results"][0]
    assert result["ruleId"] == "drain/no-vent"
    assert "rule" not in result
