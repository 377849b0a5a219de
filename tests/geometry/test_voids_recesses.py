"""How deep is what a ball does not reach?"""

from __future__ import annotations

import pytest
import shapes_voids as parts
from manifold3d import Manifold

from lint3d.geometry.voids import find_voids
from lint3d.geometry.voids_recesses import Recess, find_recesses


def _recesses(solid: Manifold, ball: float, seed: int) -> list[Recess]:
    vertices, faces = parts.mesh(solid, parts.random_frame(seed))
    found = find_voids(vertices, faces, 1.5, 6.0)
    return [
        one
        for space in found.spaces
        for one in find_recesses((vertices, faces), space, found.clearance, ball, ball)
    ]


@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize(("width", "deep"), [(1.0, 12.0), (1.4, 12.0), (0.8, 5.0)])
def test_blind_bore(width: float, deep: float, seed: int) -> None:
    solid = parts.block([20, 20, 20]) - parts.rod([0, 0, 10 - deep], [0, 0, 11], width, 24)
    found = _recesses(solid, 1.5, seed)
    assert len(found) == 1
    assert found[0].depth_lower <= deep <= found[0].depth_upper
    assert found[0].depth == pytest.approx(deep, abs=1.2)
    assert found[0].width == pytest.approx(parts.polygon_width(width, 24), abs=0.02)
    assert found[0].nodes == (0,)


@pytest.mark.parametrize("seed", range(2))
@pytest.mark.parametrize("name", ["wide bore", "cup", "recess", "block"])
def test_what_the_ball_reaches(name: str, seed: int) -> None:
    block = parts.block([20, 20, 20])
    solid = {
        "wide bore": block - parts.rod([0, 0, -2], [0, 0, 11], 1.62, 32),
        "cup": parts.cup(),
        "recess": block - parts.block([10, 14, 5], [0, 0, 10]),
        "block": block,
    }[name]
    assert _recesses(solid, 1.5, seed) == []


@pytest.mark.parametrize("seed", range(2))
def test_slot(seed: int) -> None:
    found = _recesses(parts.block([20, 20, 20]) - parts.block([0.6, 8, 12], [0, 0, 10]), 1.5, seed)
    assert len(found) == 1
    assert found[0].depth_lower <= 6.0 <= found[0].depth_upper + 1.0
    assert found[0].width == pytest.approx(0.6, abs=0.01)
    assert found[0].ratio > 8
