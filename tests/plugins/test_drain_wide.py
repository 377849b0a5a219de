"""Are blind places told that are wider than any opening in question?"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import shapes_voids as shapes
from manifold3d import Manifold
from parts import write_stl

import lint3d
from lint3d import Result


def _judged(path: Path, solid: Manifold, seed: int | None) -> list[Result]:
    frame = None if seed is None else shapes.random_frame(seed)
    vertices, faces = shapes.mesh(solid, frame)
    write_stl(path / "part.stl", vertices[faces])
    found = lint3d.inspect([path / "part.stl"], only=["drain/blind-depth"], workers=0)
    return [one for one in found.results if one.measured is not None]


def _bore(width: float, deep: float) -> Manifold:
    solid = shapes.block([width + 10, width + 10, deep + 10], [0, 0, -(deep + 10) / 2])
    return solid - shapes.block([width, width, 2 * deep])


@pytest.mark.parametrize("seed", [None, 3])
@pytest.mark.parametrize(
    ("width", "deep", "kind"), [(16.0, 264.0, "fail"), (30.0, 420.0, "pass"), (14.0, 100.0, "pass")]
)
@pytest.mark.further
def test_square_bore(tmp_path: Path, width: float, deep: float, kind: str, seed: int) -> None:
    """The limit of the default sheet is 15."""
    (found,) = _judged(tmp_path, _bore(width, deep), seed)
    assert found.kind == kind
    assert found.lower <= deep / width <= found.upper
    assert found.properties["width_mm"] == pytest.approx(width, rel=0.03)


@pytest.mark.parametrize("seed", [None, 3])
@pytest.mark.further
def test_wide_ways_through_and_shallow_cups_are_none(tmp_path: Path, seed: int | None) -> None:
    tube = shapes.block([30, 30, 300]) - shapes.block([20, 20, 400])
    cup = shapes.block([60, 60, 60]) - shapes.block([40, 40, 60], [0, 0, 20])
    for solid in (tube, cup.translate(np.array([90.0, 0, 0]))):
        assert _judged(tmp_path, solid, seed) == []
