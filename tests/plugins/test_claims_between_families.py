"""A hole that is the neck of a pocket is told once: by drain, or by walls where drain is off."""

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


def found(folder: Path, solid: Any, *only: str) -> dict[str, list[Result]]:
    ((vertices, faces),) = in_frame([mesh(solid)], np.random.default_rng(3))
    path = write_stl(folder / "a.stl", vertices[faces])
    inspection = lint3d.inspect([path], only=only, workers=0)
    assert inspection.notifications == []
    return {rule: [r for r in inspection.results if r.rule == rule] for rule in only}


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
