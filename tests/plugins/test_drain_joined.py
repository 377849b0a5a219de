"""Hollows that only a second body closes: it touches, it overlaps, it stands a little off."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest
from parts import write_stl
from shapes_pairs import ball, box, in_frame, mesh

import lint3d
from lint3d import Result

CUP = box([10] * 3) - box([8, 8, 9], [1, 1, 1])
INSIDE = 8 * 8 * 9
SEEDS = [None, 0, 1, 2, 3]


def found(folder: Path, seed: int | None, solids: Any, *, apart: bool = False) -> list[Result]:
    """Results of drain/sealed-pocket, of bodies in one file or in files of their own."""
    meshes = [mesh(solid) for solid in solids]
    if seed is not None:
        meshes = in_frame(meshes, np.random.default_rng(seed))
    shapes = [v[f] for v, f in meshes]
    shapes = shapes if apart else [np.concatenate(shapes)]
    files = [write_stl(folder / f"{i}.stl", one) for i, one in enumerate(shapes)]
    rules = ["drain/sealed-pocket"]
    inspection = lint3d.inspect(files, together=apart, only=rules, workers=0)
    assert inspection.notifications == []
    return inspection.results


@pytest.mark.parametrize("apart", [False, True])
@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize(
    "lid",
    [box([10, 10, 1], [0, 0, 10]), box([12, 12, 1], [-1, -1, 10]), box([12, 12, 2], [-1, -1, 9])],
    ids=["flush", "wider", "overlapping"],
)
@pytest.mark.cases(9)
def test_a_cup_with_a_lid_is_sealed(
    lid: Any, seed: int | None, apart: bool, tmp_path: Path
) -> None:
    (result,) = found(tmp_path, seed, [CUP, lid], apart=apart)
    low = INSIDE - (64 if lid.volume() > 200 else 0)
    assert result.kind == "fail"
    assert result.lower is not None
    assert result.upper is not None
    assert result.lower <= low <= result.upper
    # 416 mm2 of walls, known to 3e-5 mm: rounding, and the push that joins what touches.
    assert result.upper - result.lower < 2 * 416 * 4e-5


@pytest.mark.parametrize("seed", SEEDS[:3])
def test_half_shells_that_touch(seed: int | None, tmp_path: Path) -> None:
    hollow = ball(10, 40) - ball(6, 40)
    halves = [hollow.trim_by_plane([0.0, 0.0, z], 0.0) for z in (1.0, -1.0)]
    (result,) = found(tmp_path, seed, halves)
    assert result.kind == "fail"
    assert result.measured == pytest.approx(ball(6, 40).volume(), rel=1e-5)


@pytest.mark.parametrize(
    "seed", [1, *(pytest.param(seed, marks=pytest.mark.slow) for seed in (None, 0))]
)
@pytest.mark.further
def test_a_lid_that_stands_off_closes_nothing(seed: int | None, tmp_path: Path) -> None:
    (result,) = found(tmp_path, seed, [CUP, box([12, 12, 1], [-1, -1, 10.01])])
    assert result.kind == "pass"
