"""Walls of bodies that are one piece: only what is thin or narrow from outside is told, once."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest
from parts import write_stl
from shapes_pairs import box, in_frame, mesh, rod

import lint3d
from lint3d import Result

BLOCK = box([30, 30, 10])
#: Plates of 0.2 mm are too thin; a gap of 0.3 mm is too narrow. Limits: rules/mjt-meltable.toml.
SEEDS = [None, 1, 2]


def told(folder: Path, seed: int | None, *solids: Any, offset: float = 30.0) -> list[Result]:
    """What rules of walls find wrong with bodies of one file."""
    meshes = [mesh(solid) for solid in solids]
    if seed is not None:
        meshes = in_frame(meshes, np.random.default_rng(seed), offset)
    path = write_stl(folder / "a.stl", np.concatenate([v[f] for v, f in meshes]))
    inspection = lint3d.inspect([path], only=["walls"], workers=0)
    assert inspection.notifications == []
    return [r for r in inspection.results if r.kind not in ("pass", "notApplicable")]


@pytest.mark.parametrize("seed", SEEDS)
def test_what_is_sunk_into_a_block_is_not_thin_inside(seed: int | None, tmp_path: Path) -> None:
    """A label of 1.5 mm stands 1 mm out; its lower edge nearly reaches the floor of the block."""
    label = box([20, 8, 10.9], [5, 5, 0.1])
    assert [r.rule for r in told(tmp_path, seed, BLOCK, label)] == []


@pytest.mark.parametrize("seed", SEEDS)
def test_a_plate_that_stands_out_is_told_on_its_own_body(seed: int | None, tmp_path: Path) -> None:
    (found,) = told(tmp_path, seed, BLOCK, box([0.2, 8, 3], [10, 10, 8.3]))
    assert (found.rule, found.kind, found.body) == ("walls/thin-wall", "fail", "part-1/2")
    assert found.measured == pytest.approx(0.2, abs=1e-4)
    assert found.region is not None
    assert found.region.byte_offset is not None
    assert (found.region.byte_offset - 84) // 50 >= 12  # the plate's facets come second


@pytest.mark.parametrize("seed", SEEDS)
def test_a_slot_between_two_bodies_on_one_base_is_a_gap(seed: int | None, tmp_path: Path) -> None:
    two = box([5, 20, 10], [5, 5, 8]), box([5, 20, 10], [10.3, 5, 8])
    (found,) = told(tmp_path, seed, BLOCK, *two)
    assert (found.rule, found.kind) == ("walls/narrow-gap", "fail")
    assert {found.body, found.other} == {"part-1/2", "part-1/3"}
    assert found.measured == pytest.approx(0.3, abs=1e-4)


@pytest.mark.parametrize("seed", SEEDS)
def test_two_thin_sheets_that_lie_on_each_other_are_one_wall(
    seed: int | None, tmp_path: Path
) -> None:
    assert told(tmp_path, seed, box([10, 10, 0.35]), box([10, 10, 0.35], [0, 0, 0.35])) == []


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.cases(1)
def test_a_rod_out_of_a_block(seed: int | None, tmp_path: Path) -> None:
    found = told(tmp_path, seed, BLOCK, rod(0.15, 5, 12, 24).translate([10.0, 10.0, 0.0]))
    assert {r.rule for r in found} == {"walls/thin-rod"}
    assert {r.body for r in found} == {"part-1/2"}


@pytest.mark.parametrize("offset", [5, 300])
@pytest.mark.parametrize("seed", range(4))
@pytest.mark.cases(2)
def test_a_joint_of_touching_bodies_raises_nothing(
    seed: int, offset: float, tmp_path: Path
) -> None:
    rng = np.random.default_rng(seed)
    size = rng.uniform(4, 20, 3)
    beside = box([rng.uniform(3, 10), size[1], size[2]], [size[0], 0, 0])
    assert told(tmp_path, seed, box(size), beside, offset=offset) == []
    pin = rod(3, 8, 14, int(rng.integers(12, 40)))
    assert told(tmp_path, seed, rod(5, 0, 8, 40), pin, offset=offset) == []
    socket = box([20, 20, 10], [-10, -10, 0]) - rod(3, 4, 11, 24)
    assert told(tmp_path, seed, socket, rod(3, 4, 14, 24), offset=offset) == []
