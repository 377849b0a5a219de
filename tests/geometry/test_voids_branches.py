"""Where a duct forks, is the wider branch the way, though the grid does not tell which that is?"""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapes_voids as parts
from manifold3d import Manifold

from lint3d.geometry.voids import find_voids


def fork(widths: list[float]) -> Manifold:
    """A ball of 5 mm whose stem of 1.7 mm parts into level square ducts, up to four of them."""
    solid = parts.block([30, 30, 20], [0, 0, 3]) - parts.ball(5, segments=32)
    solid -= parts.rod([0, 0, 0], [0, 0, 9], 1.7, 16) + parts.ball(1.0, [0, 0, 9], 24)
    for number, width in enumerate(widths):
        angle = 2 * math.pi * number / len(widths)
        end = [22 * math.cos(angle), 22 * math.sin(angle), 9]
        solid -= parts.rod([0, 0, 9], end, width * math.sqrt(2), 4)
    return solid


@pytest.mark.parametrize(
    ("widths", "seed"),
    [([1.52, 1.48], 5), ([1.52, 1.48], 1), ([1.47, 1.49, 1.52], 4), ([1.51, 1.47, 1.49], 0)],
)
def test_the_wider_branch_is_the_way(widths: list[float], seed: int) -> None:
    """Their widths differ by a seventh of the grid's pitch and less."""
    vertices, faces = parts.mesh(fork(widths), parts.random_frame(seed))
    (pocket,) = find_voids(vertices, faces, 1.5, 3.0, limits=(1.5,)).pockets
    assert pocket.throat.diameter == pytest.approx(max(widths), abs=2e-3)
    assert pocket.throat.lower <= max(widths) <= pocket.throat.upper
    assert pocket.throat.upper - pocket.throat.lower < 0.02


def test_a_single_duct_has_no_branch() -> None:
    vertices, faces = parts.mesh(fork([1.46]), parts.random_frame(7))
    (pocket,) = find_voids(vertices, faces, 1.5, 3.0).pockets
    assert pocket.throat.diameter == pytest.approx(1.46, abs=2e-3)
    assert np.isfinite(pocket.throat.upper)
