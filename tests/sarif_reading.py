"""Reads a SARIF report the way a script does."""

from __future__ import annotations

import json
from typing import Any

from lint3d.inspection import Inspection
from lint3d.report.sarif import SarifWriter


def run_of(inspection: Inspection) -> dict[str, Any]:
    """The only run of the report on an inspection."""
    run: dict[str, Any] = json.loads(SarifWriter().write(inspection))["runs"][0]
    return run


def one_result(run: dict[str, Any], rule: str, **properties: Any) -> dict[str, Any]:
    """The only result of a rule with these properties."""
    found = [
        result
        for result in run["results"]
        if result["ruleId"] == rule
        and all(result["properties"][key] == value for key, value in properties.items())
    ]
    assert len(found) == 1
    return found[0]


def rule_of(run: dict[str, Any], rule_id: str) -> dict[str, Any]:
    """The descriptor of a rule, from whichever extension."""
    rules = [rule for extension in run["tool"]["extensions"] for rule in extension["rules"]]
    found: dict[str, Any] = next(rule for rule in rules if rule["id"] == rule_id)
    return found
