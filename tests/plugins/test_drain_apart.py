"""Is what bodies enclose together told where they stand rather far apart?"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import shapes_voids as parts
from parts import write_stl

import lint3d


def _cup_and_lid(gap: float, seed: int, folder: Path) -> list[str]:
    frame = parts.random_frame(seed)
    below = parts.block([22, 22, 20]) - parts.block([18, 18, 20], [0, 0, 2])
    lid = parts.block([22, 22, 2.5], [0, 0, 11.25 + gap])
    files = []
    for name, solid in (("below", below), ("lid", lid)):
        vertices, faces = parts.mesh(solid, frame)
        files.append(str(write_stl(folder / f"{name}.stl", vertices[faces])))
    return files


def _no_vent(files: list[str]) -> list[lint3d.Result]:
    found = lint3d.inspect(files, only=["drain/no-vent"], workers=0, together=True)
    assert not found.notifications
    return found.results


@pytest.mark.parametrize("gap", [3.6, 9.0])
def test_lid_in_the_band_of_doubt_is_for_review(gap: float, tmp_path: Path) -> None:
    """As one body would be: on the default sheet the band reaches from 3.4 to 10.2 mm."""
    (result,) = _no_vent(_cup_and_lid(gap, int(10 * gap), tmp_path))
    assert result.kind == "review"
    assert result.lower is not None
    assert result.upper is not None
    assert result.lower - 1e-3 <= gap <= result.upper + 1e-3
    assert result.upper - result.lower < 0.1 * gap


def test_lid_beyond_the_band_passes(tmp_path: Path) -> None:
    (result,) = _no_vent(_cup_and_lid(11.0, 5, tmp_path))
    assert result.kind == "pass"


def test_what_one_body_encloses_alone_is_told_once(tmp_path: Path) -> None:
    """A bottle with a neck of 5 mm, and a block 6 mm beside it."""
    bottle = parts.block([20, 20, 20]) - parts.ball(8) - parts.rod([0, 0, 0], [0, 0, 12], 5, 32)
    block = parts.block([20, 20, 20], [26, 0, 0]) - parts.block([10, 10, 20], [26, 0, 4])
    files = []
    for name, solid in (("bottle", bottle), ("block", block)):
        vertices, faces = parts.mesh(solid, np.eye(3, 4))
        files.append(str(write_stl(tmp_path / f"{name}.stl", vertices[faces])))
    (result,) = _no_vent(files)
    assert result.kind == "review"
    assert result.measured == pytest.approx(parts.polygon_width(5, 32), abs=0.01)


@pytest.mark.further
def test_a_limit_beyond_the_band_is_looked_for_between_bodies(tmp_path: Path) -> None:
    """A gap of 3.9 mm all round, at a limit of 4 mm: one body would fail, and so do two."""
    files = _cup_and_lid(3.9, 7, tmp_path)
    limits = ["drain/narrow-neck=4"]
    found = lint3d.inspect(
        files, only=["drain/narrow-neck", "drain/no-vent"], limits=limits, workers=0, together=True
    )
    (result,) = [one for one in found.results if one.rule == "drain/narrow-neck"]
    assert result.kind == "fail"
    assert result.measured == pytest.approx(3.9, abs=0.01)
    assert result.lower is not None
    assert result.upper is not None
    assert result.upper - result.lower <= 0.02  # near a limit
