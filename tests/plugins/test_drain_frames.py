"""Is the answer the same however the part lies?

The parts of the demo kit and one with a hidden second opening, turned and shifted, with float32
coordinates as files hold them: the same findings of the same kind, values within each other's
intervals, and places that come together when they are turned back.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import shapes_voids as shapes
import trimesh
from parts import write_stl

import lint3d
from lint3d import Result

FIXTURES = Path(__file__).parents[2] / "fixtures"
NAMES = ("manifold-block", "housing", "filter", "lid", "bracket", "name-plate", "sound-coupon")
#: How far apart the same place may be told, mm: the middle of a neck and of a hollow.
APART = 2.0


def findings(
    folder: Path, corners: np.ndarray, seed: int | None
) -> list[tuple[Result, np.ndarray]]:
    """What is no pass, with its place in the frame of the part, in a fixed order."""
    frame = np.eye(3, 4) if seed is None else shapes.random_frame(seed)
    path = write_stl(folder / f"{seed}.stl", corners @ frame[:, :3].T + frame[:, 3])
    inspection = lint3d.inspect([str(path)], only=["drain"], workers=0)
    assert [n for n in inspection.notifications if n.level == "error"] == []
    found = [
        (result, (np.array(result.position or (0, 0, 0)) - frame[:, 3]) @ frame[:, :3])
        for result in inspection.results
        if result.kind not in ("pass", "notApplicable")
    ]
    return sorted(found, key=lambda pair: (pair[0].rule, pair[0].kind, pair[0].measured or 0.0))


def compare(folder: Path, corners: np.ndarray, seeds: list[int]) -> None:
    """Findings in the part's own frame and in others."""
    expected = findings(folder, corners, None)
    for seed in seeds:
        found = findings(folder, corners, seed)
        told = [(result.rule, result.kind) for result, _ in found]
        assert told == [(result.rule, result.kind) for result, _ in expected], seed
        for (one, here), (two, there) in zip(found, expected, strict=True):
            for result, value in ((one, two.measured), (two, one.measured)):
                if result.lower is not None and result.upper is not None:
                    assert value is not None
                    step = 1e-4 * max(abs(value), 1.0)
                    assert result.lower - step <= value <= result.upper + step, (seed, result)
            assert np.linalg.norm(here - there) < APART, (seed, one.rule, here, there)


def bottle(second: float) -> np.ndarray:
    """A hollow with a neck, and a second opening too fine for the grid to show at every angle."""
    solid = (
        shapes.block([30, 24, 24])
        - shapes.ball(8)
        - shapes.rod((0, 0, 0), (0, 0, 20), 3.0, 48)
        - shapes.rod((0, 0, 0), (20, 0, 0), second, 48)
    )
    vertices, faces = shapes.mesh(solid, np.eye(3, 4))
    corners: np.ndarray = vertices[faces]
    return corners


@pytest.mark.further
def test_manifold_block_in_another_frame(tmp_path: Path) -> None:
    corners = trimesh.load(FIXTURES / "manifold-block.stl", force="mesh", process=False).triangles
    compare(tmp_path, np.asarray(corners), [1])


@pytest.mark.parametrize("seed", [None, 3, 4])
@pytest.mark.further
def test_second_opening_below_the_pitch_is_seen(tmp_path: Path, seed: int | None) -> None:
    """Two openings are no bridge, however fine one of them is."""
    rules = {result.rule for result, _ in findings(tmp_path, bottle(0.5), seed)}
    assert "drain/no-vent" not in rules


def test_one_opening_is_no_vent(tmp_path: Path) -> None:
    solid = shapes.block([30, 24, 24]) - shapes.ball(8) - shapes.rod((0, 0, 0), (0, 0, 20), 3.0, 48)
    vertices, faces = shapes.mesh(solid, np.eye(3, 4))
    rules = {result.rule for result, _ in findings(tmp_path, vertices[faces], 3)}
    assert "drain/no-vent" in rules


@pytest.mark.slow
@pytest.mark.parametrize("name", NAMES)
def test_kit_in_four_frames(tmp_path: Path, name: str) -> None:
    corners = trimesh.load(FIXTURES / f"{name}.stl", force="mesh", process=False).triangles
    compare(tmp_path, np.asarray(corners), [1, 2, 3, 4])


@pytest.mark.slow
def test_kit_as_one_file_in_four_frames(tmp_path: Path) -> None:
    scene = trimesh.load(FIXTURES / "tide-gauge-kit.3mf", process=False)
    corners = scene.to_mesh().triangles if hasattr(scene, "to_mesh") else scene.triangles
    compare(tmp_path, np.asarray(corners), [1, 2, 3, 4])
