"""Files, members, regions and bodies in the SARIF report."""

from dataclasses import replace
from typing import Any

import inspections
import pytest
from sarif_reading import one_result, run_of

from lint3d.inspection import Result
from lint3d.model import Region


@pytest.fixture(scope="module")
def run() -> dict[str, Any]:
    return run_of(inspections.varied())


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
    result = one_result(run, "solid/open-edge", body="lid/2")
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
    result = one_result(run, "solid/coarse-facets")
    region = result["locations"][0]["physicalLocation"]["region"]
    assert region == {"startLine": 3, "endLine": 9}


def test_bodies_are_logical_locations(run: dict[str, Any]) -> None:
    listed = run["logicalLocations"]
    names = [item["fullyQualifiedName"] for item in listed]
    assert len(set(names)) == len(names)
    second = one_result(run, "solid/open-edge", body="lid/2")
    reference = second["locations"][0]["logicalLocations"][0]
    entry = listed[reference["index"]]
    assert (entry["name"], entry["kind"]) == ("lid/2", "body")
    assert entry["fullyQualifiedName"] == reference["fullyQualifiedName"]
    part = listed[listed[names.index(f"{inspections.PLATE}#{inspections.WIDE}")]["parentIndex"]]
    assert (part["name"], part["kind"]) == ("part-1", "part")


def test_the_other_body_is_a_related_location(run: dict[str, Any]) -> None:
    result = one_result(run, "assembly/clearance", body="lid")
    related = result["relatedLocations"][0]
    entry = run["logicalLocations"][related["logicalLocations"][0]["index"]]
    assert entry["name"] == inspections.HOSTILE == result["properties"]["other"]
