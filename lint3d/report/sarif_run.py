"""How did the run go, and with which settings?

The invocation without command line, times, machine or folders, and the properties of the run.
"""

from __future__ import annotations

from typing import Any

from lint3d.inspection import Inspection, Notification
from lint3d.report.plain import plain, writable
from lint3d.report.sarif_location import Locations
from lint3d.report.sarif_result import message_text
from lint3d.report.sarif_tool import RuleTable, overrides
from lint3d.report.wording import sentence

#: Notifications about how the run was set up; the others are about how it went.
_CONFIGURATION = frozenset({"settings", "plugin"})


def invocation(inspection: Inspection, rules: RuleTable, places: Locations) -> dict[str, Any]:
    """The `invocation` object; "successful" means that everything was inspected as it is."""
    notes = sorted(inspection.notifications, key=lambda note: note.sort_key())
    return {
        "executionSuccessful": inspection.complete,
        "ruleConfigurationOverrides": overrides(inspection, rules),
        "toolExecutionNotifications": [
            _notification(note, rules, places) for note in notes if note.id not in _CONFIGURATION
        ],
        "toolConfigurationNotifications": [
            _notification(note, rules, places) for note in notes if note.id in _CONFIGURATION
        ],
    }


def run_properties(inspection: Inspection) -> dict[str, Any]:
    """The process sheet and the settings that change verdicts."""
    sheet = inspection.sheet
    used = {"concessions": inspection.concessions, "baseline": inspection.baseline}
    return {
        "sheet": {
            "name": plain(sheet.name),
            "title": plain(sheet.title),
            "chain": plain(sheet.chain),
            "digest": sheet.digest,
            "assumed": sheet.assumed,
        },
        "settings": plain(inspection.settings),
        **{key: plain(value) for key, value in used.items() if value is not None},
    }


def _notification(note: Notification, rules: RuleTable, places: Locations) -> dict[str, Any]:
    found: dict[str, Any] = {}
    if note.uri:
        found["locations"] = [places.of_file(note.uri)]
    found["message"] = {"text": message_text(sentence(writable(note.message)))}
    found["level"] = note.level
    found["descriptor"] = rules.notification(note.id)
    if note.rule:
        found["associatedRule"] = rules.identified(note.rule)
    if note.plugin:
        found["properties"] = {"plugin": writable(note.plugin)}
    return found
