"""A part far from the origin is told to be moved there, by the walls and by the solid rules."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from parts import box, part_of, turned, write_stl

import lint3d
from lint3d.config import Config
from lint3d_plugins.far_off import far_off
from lint3d_plugins.solid import degenerate_face


def test_near_parts_are_not_told_to_move() -> None:
    assert far_off(box(20).reshape(-1, 3)) is None
    assert far_off(box(20, (1500, 0, 0)).reshape(-1, 3)) is None
    assert far_off(np.zeros((0, 3))) is None


@pytest.mark.parametrize(("away", "step"), [(1e6, "0.062"), (3e5, "0.031"), (1e7, "1")])
def test_the_step_is_that_of_single_precision(away: float, step: str) -> None:
    # IEEE 754 binary32: 24 bits, so 2**-4 between 2**19 and 2**20, 2**-5 between 2**18 and 2**19.
    said = far_off(box(20, (away, 0, 0)).reshape(-1, 3))
    assert said is not None
    assert f" {step} mm apart" in said
    assert "move it to the origin" in said


def facets_away(away: float) -> np.ndarray:
    """A turned plate whose long narrow facets lose their area in single precision far away."""
    strips = [box((20, 0.05, 2), (0, 0.05 * i, 0)) for i in range(40)]
    sides = np.concatenate([strip[np.ptp(strip[:, :, 2], axis=1) == 0] for strip in strips])
    return np.float32(turned(sides, 1) + [away, 0, 0]).astype(float)


def test_the_remedy_of_faces_without_area_is_to_move_the_part() -> None:
    body = part_of(facets_away(1e6)).bodies[0]
    places = list(degenerate_face(body))
    assert places
    assert all("move it to the origin" in str(place.remedy) for place in places)


def test_the_walls_say_why_they_are_open(tmp_path: Path) -> None:
    plate = turned(fine_plate(), 2)
    for away, is_told in ((0.0, False), (1e6, True)):
        path = write_stl(tmp_path / "part.stl", plate + [away, 0, 0])
        found = lint3d.inspect(path, only=["walls"], workers=0, config=Config()).results
        reasons = [one.message for one in found if one.kind == "open"]
        assert any("move it to the origin" in reason for reason in reasons) == is_told


def fine_plate() -> np.ndarray:
    """20 x 20 x 1.2 mm; each facet quartered twice, so that those of the sides are narrow."""
    facets = box((20, 20, 1.2))
    for _ in range(2):
        a, b, c = np.moveaxis(facets, 1, 0)
        ab, bc, ca = (a + b) / 2, (b + c) / 2, (c + a) / 2
        parts = [(a, ab, ca), (ab, b, bc), (ca, bc, c), (ab, bc, ca)]
        facets = np.concatenate([np.stack(part, axis=1) for part in parts])
    return facets
