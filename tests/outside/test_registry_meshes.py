"""Do our verdicts agree with what others say of meshes that we did not make?

Sources: npm `stl-models` 0.12.0 (its README documents its broken files), PyPI
`gymnasium-robotics` 1.4.2 (112 CAD files of robots and kitchens). `.ci/run` fetches both; elsewhere
the tests are skipped unless LINT3D_STL_MODELS and LINT3D_CAD_MODELS name the unpacked packages.
"""

from __future__ import annotations

import os
from collections import defaultdict
from pathlib import Path
from typing import Any

import pytest

import lint3d
from lint3d.files import uris as uris_of

pytestmark = pytest.mark.network

#: file -> the rule that must fail. "README" = documented there, else by its name and content.
BROKEN = {
    "fourVertices.ascii.stl": "file/malformed",  # README: one face has 4 vertices
    "incorrectFaceCounter.bin.stl": "file/malformed",  # README: faces and counter do not match
    "missingFace.ascii.stl": "solid/open-edge",  # README: model is missing 1 face
    "missingNormal.ascii.stl": "file/malformed",  # README: model is missing 1 normal
    "quad.ascii.stl": "file/malformed",  # README: one face is a quad
    "singleFace.ascii.stl": "solid/open-edge",  # README: model has only 1 face
    "twoVertices.ascii.stl": "file/malformed",  # README: one face has 2 vertices
    "wrongHeader.bin.stl": "file/malformed",  # README: header starts with "solid"
    "wrongNormal.ascii.stl": "file/malformed",  # README: model has 1 incorrect normal
    "notANumberNormal.ascii.stl": "file/malformed",  # by its content: a normal is NaN
    "missingEndsolid.ascii.stl": "file/malformed",  # by its content
    "empty.stl": "file/unreadable",  # by its content
}
#: What makes a body other than watertight and consistently wound in trimesh's sense.
JOINTS = {"solid/open-edge", "solid/non-manifold-edge", "solid/flipped-face"}


def _folder(variable: str, what: str) -> Path:
    found = os.environ.get(variable)
    if not found:
        pytest.skip(f"{what} is fetched by .ci/run; name its unpacked folder in {variable}")
    return Path(found)


def _failures(inspection: Any) -> dict[str, set[str]]:
    failed: dict[str, set[str]] = defaultdict(set)
    for result in inspection.results:
        if result.kind == "fail":
            failed[Path(result.uri).name].add(result.rule)
    return failed


@pytest.fixture(scope="module")
def stl_models() -> Path:
    return _folder("LINT3D_STL_MODELS", "npm stl-models")


def test_documented_faults_are_found(stl_models: Path) -> None:
    inspection = lint3d.inspect([stl_models / "broken"], workers=0)
    failed = _failures(inspection)
    missed = {name: rule for name, rule in BROKEN.items() if rule not in failed[name]}
    assert not missed
    assert inspection.exit_code() == 3


def test_zero_normals_are_told_but_fail_nothing(stl_models: Path) -> None:
    """README: "several incorrect normals". They are all 0 0 0, which by common practice (no source)
    means "work it out from the corners": told as information, for nothing is in doubt."""
    inspection = lint3d.inspect([stl_models / "broken" / "wrongNormals.ascii.stl"], workers=0)
    told = [r for r in inspection.results if r.rule == "file/malformed"]
    assert {r.kind for r in told} == {"informational", "pass"}
    assert any("normal" in r.message for r in told if r.kind == "informational")
    assert inspection.complete


def test_sound_models_are_not_accused(stl_models: Path) -> None:
    names = ["cube.ascii", "cube.bin", "tetrahedron.ascii", "tetrahedronMinusZero.bin"]
    files = [stl_models / "polytopes" / f"{name}.stl" for name in names]
    inspection = lint3d.inspect(
        [*files, stl_models / "objects" / "gearwheel.bin.stl"], only=["file", "solid"], workers=0
    )
    accused = {name: rules - {"solid/stray-shell"} for name, rules in _failures(inspection).items()}
    assert not any(accused.values()), accused
    assert not inspection.notifications


def test_one_triangle_is_an_open_sheet(stl_models: Path) -> None:
    triangle = stl_models / "polytopes" / "triangle.bin.stl"
    results = lint3d.inspect([triangle], only=["solid"], workers=0).results
    found = {result.rule: result for result in results}
    assert found["solid/open-edge"].measured == 3
    assert found["solid/stray-shell"].kind == "fail"


@pytest.mark.further
def test_soundness_of_cad_files_agrees_with_trimesh() -> None:
    import trimesh

    folder = _folder("LINT3D_CAD_MODELS", "PyPI gymnasium-robotics")
    files = sorted(folder.rglob("*.stl"))
    assert len(files) == 112
    inspection = lint3d.inspect(files, only=["solid"], workers=2)
    failed = defaultdict(set)
    for result in inspection.results:
        if result.kind == "fail":
            failed[result.uri].add(result.rule)
    uris = [artifact.uri for artifact in inspection.artifacts]
    sound = {uri for uri in uris if not failed[uri] & JOINTS}
    theirs = set()
    for uri, path in zip(uris_of(files), files, strict=True):
        mesh = trimesh.load(path)
        if mesh.is_watertight and mesh.is_winding_consistent:
            theirs.add(uri)
    assert len(theirs) == 69  # 70 watertight, one of them wound inconsistently
    assert sound == theirs
