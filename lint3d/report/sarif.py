"""What does a SARIF 2.1.0 report of an inspection look like?

The whole report as bytes, the same for the same inspection: fixed order of keys, no times, machine
names, folders, command line or number of workers. The parts are built in `sarif_tool.py` (rules and
plugins), `sarif_location.py` (files, bodies, regions), `sarif_result.py` (results, paths) and
`sarif_run.py` (notifications, settings). Held against the published schema and an independent
validator in `tests/outside/test_sarif_schema.py`.

References
----------
Static Analysis Results Interchange Format (SARIF) Version 2.1.0, OASIS Standard, errata 01.
"""

from __future__ import annotations

import json
from typing import Any

from lint3d.inspection import Inspection
from lint3d.report.sarif_location import BASE, Locations
from lint3d.report.sarif_result import result_objects
from lint3d.report.sarif_run import invocation, run_properties
from lint3d.report.sarif_tool import RuleTable

SCHEMA = (
    "https://docs.oasis-open.org/sarif/sarif/v2.1.0/errata01/os/schemas/sarif-schema-2.1.0.json"
)


class SarifWriter:
    """SARIF 2.1.0, for dashboards, editors and scripts."""

    name = "sarif"
    suffixes = (".sarif", ".sarif.json")
    needs: frozenset[str] = frozenset()

    def write(self, inspection: Inspection) -> bytes:
        """The report in UTF-8, ending in a newline."""
        text = json.dumps(sarif_log(inspection), ensure_ascii=False, indent=1, allow_nan=False)
        return (text + "\n").encode("utf-8")


def sarif_log(inspection: Inspection) -> dict[str, Any]:
    """The report as Python objects, before it becomes text."""
    rules = RuleTable(inspection)
    places = Locations(inspection)
    run = {
        "tool": rules.tool(),
        "invocations": [invocation(inspection, rules, places)],
        "language": "en",
        "originalUriBaseIds": {
            BASE: {"description": {"text": "The folder that relative paths start from."}}
        },
        "artifacts": places.artifacts,
        "logicalLocations": places.logical_locations,
        "results": result_objects(inspection, rules, places),
        "columnKind": "unicodeCodePoints",
        "properties": run_properties(inspection),
    }
    return {"$schema": SCHEMA, "version": "2.1.0", "runs": [run]}
