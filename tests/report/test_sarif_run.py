"""Notifications and settings in the SARIF report."""

from dataclasses import replace
from typing import Any

import inspections
import pytest
from sarif_reading import run_of

from lint3d.inspection import Notification


@pytest.fixture(scope="module")
def run() -> dict[str, Any]:
    return run_of(inspections.varied())


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
