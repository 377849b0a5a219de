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
@pytest.mark.cases(1)
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


def tilted(stem: float, ducts: list[tuple[float, int, float, float]]) -> Manifold:
    """A ball of 5 mm whose stem parts into ducts: inner width, sides, azimuth in rad and rise."""
    meet = [0, 0, 12.45]
    solid = parts.block([34, 34, 34], [0, 0, 4]) - parts.ball(5, segments=48)
    solid -= parts.rod([0, 0, 0], meet, stem, 48) + parts.ball(0.535 * stem, meet, 48)
    for width, sides, angle, rise in ducts:
        end = [27 * math.cos(angle), 27 * math.sin(angle), meet[2] + rise]
        solid -= parts.rod(meet, end, width / math.cos(math.pi / sides), sides)
    return solid


FOUR = [(2.4441, 4), (2.4919, 32), (2.4134, 32), (2.3418, 4)]


@pytest.mark.parametrize("seed", [35, 44])
def test_a_way_that_runs_into_a_side_branch_and_back(seed: int) -> None:
    """Of four tilted branches the way on the grid folds into a narrow one at the junction."""
    ducts = [
        (width, sides, number * math.pi / 2, 8.275) for number, (width, sides) in enumerate(FOUR)
    ]
    vertices, faces = parts.mesh(tilted(2.5333, ducts), parts.random_frame(seed))
    (pocket,) = find_voids(vertices, faces, 3.0, 5.0, limits=(3.0,)).pockets
    assert pocket.throat.lower <= 2.4919 <= pocket.throat.upper
    assert pocket.throat.upper - pocket.throat.lower < 0.02


FIVE = [
    (2.77273, 32, 0.158),
    (2.88579, 32, 1.256),
    (2.78740, 4, 2.463),
    (2.89383, 6, 3.662),
    (2.74795, 6, 4.858),
]
THREE = [(2.4190, 32, 0.085), (2.3901, 4, 2.122), (2.4631, 16, 4.209)]


@pytest.mark.parametrize(
    ("stem", "ducts", "rise", "limit", "seed"),
    [(2.945365, FIVE, 3.7787, 2.924, 146), (2.53949, THREE, 5.3813, 2.493, 236)],
)
def test_each_of_many_branches_is_followed(
    stem: float, ducts: list[tuple[float, int, float]], rise: float, limit: float, seed: int
) -> None:
    """Five branches told as one on the grid, and a junction that is a chamber of its own."""
    solid = tilted(stem, [(*duct, rise) for duct in ducts])
    vertices, faces = parts.mesh(solid, parts.random_frame(seed))
    (pocket,) = find_voids(vertices, faces, limit, 5.0, limits=(limit,)).pockets
    widest = max(width for width, _, _ in ducts)
    assert pocket.throat.lower <= widest <= pocket.throat.upper
    assert pocket.throat.upper - pocket.throat.lower < 0.02
