"""What two families see is told once, and by the other where one is off.

A hole that is the neck of a pocket: drain before walls. A slot between bodies of one piece: walls
before assembly.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest
from parts import write_stl
from shapes_pairs import box, in_frame, mesh, rod

import lint3d
from lint3d import Result

HOLLOW = box([16] * 3) - box([8] * 3, [4] * 3)
RULES = ("drain/narrow-neck", "walls/small-hole")


def bore(diameter: float, x: float, y: float) -> Any:
    """From above into the hollow; on 24 flats a little narrower."""
    return rod(diameter / 2, 11, 17, 24).translate([x, y, 0])


def found(folder: Path, solids: Any, *only: str) -> dict[str, list[Result]]:
    solids = solids if isinstance(solids, list) else [solids]
    meshes = in_frame([mesh(solid) for solid in solids], np.random.default_rng(3))
    path = write_stl(folder / "a.stl", np.concatenate([v[f] for v, f in meshes]))
    inspection = lint3d.inspect([path], only=only, workers=0)
    assert inspection.notifications == []
    told = [r for r in inspection.results if r.kind != "notApplicable"]
    return {rule: [r for r in told if r.rule == rule] for rule in only}


def test_the_neck_of_a_pocket_is_drains(tmp_path: Path) -> None:
    results = found(tmp_path, HOLLOW - bore(0.35, 8, 8), *RULES)
    assert [r.kind for r in results["drain/narrow-neck"]] == ["fail"]
    (hole,) = results["walls/small-hole"]
    assert (hole.kind, hole.measured) == ("pass", None)
    assert "drain/narrow-neck" in hole.message


def test_it_is_told_by_walls_where_drain_is_off(tmp_path: Path) -> None:
    (hole,) = found(tmp_path, HOLLOW - bore(0.35, 8, 8), "walls/small-hole")["walls/small-hole"]
    assert hole.kind == "fail"
    assert hole.measured == pytest.approx(0.35, abs=0.01)


def test_a_second_hole_that_is_not_the_way_out_is_walls(tmp_path: Path) -> None:
    solid = HOLLOW - bore(3, 6.5, 6.5) - bore(0.35, 10, 10)
    results = found(tmp_path, solid, *RULES)
    assert [r.kind for r in results["drain/narrow-neck"]] == ["pass"]
    assert [r.kind for r in results["walls/small-hole"]] == ["fail"]


BASE = box([30, 30, 5])
SLOT = [BASE, box([5, 20, 10], [5, 5, 4]), box([5, 20, 10], [10.3, 5, 4])]
GAPS = ("walls/narrow-gap", "assembly/clearance")


def test_a_slot_between_bodies_of_one_piece_is_walls(tmp_path: Path) -> None:
    results = found(tmp_path, SLOT, *GAPS)
    (gap,) = results["walls/narrow-gap"]
    assert (gap.kind, gap.body, gap.other) == ("fail", "part-1/2", "part-1/3")
    assert gap.measured == pytest.approx(0.3, abs=1e-4)
    (clearance,) = results["assembly/clearance"]
    assert (clearance.kind, clearance.measured) == ("pass", None)


def test_it_is_told_by_assembly_where_walls_are_off(tmp_path: Path) -> None:
    (clearance,) = found(tmp_path, SLOT, "assembly/clearance")["assembly/clearance"]
    assert clearance.kind == "fail"
    assert clearance.measured == pytest.approx(0.3, abs=1e-4)


def test_bodies_that_stand_apart_are_told_by_assembly_alone(tmp_path: Path) -> None:
    results = found(tmp_path, SLOT[1:], *GAPS)
    assert {r.kind for r in results["walls/narrow-gap"]} == {"pass"}
    assert [r.kind for r in results["assembly/clearance"]] == ["fail"]
