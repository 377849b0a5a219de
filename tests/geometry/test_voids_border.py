"""Is the ball bounded that gets across a gap far narrower than the grid's pitch?"""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapes_voids as parts
from hypothesis import given, settings
from hypothesis import strategies as st
from manifold3d import Manifold

from lint3d.geometry.raster import Grid
from lint3d.geometry.throats_clearance import Clearance
from lint3d.geometry.voids_between import most_between
from lint3d.geometry.voids_border import Border, widest_over
from lint3d.geometry.voids_cut import Squares
from lint3d.geometry.voids_space import build_space

NOBODY = np.zeros(0, np.int64)


def cup_with_plug(gap: float, beside: float, sides: int = 24) -> Manifold:
    """A lid whose plug reaches 2 mm into a round cup: the gap turns a corner."""
    cup = Manifold.cylinder(9, 6, 6, sides)
    cup -= Manifold.cylinder(9, 4, 4, sides).translate([0, 0, 2])
    lid = Manifold.cylinder(2, 6, 6, sides).translate([0, 0, 9 + gap])
    lid += Manifold.cylinder(3, 4 - beside, 4 - beside, sides).translate([0, 0, 7 + gap])
    return Manifold.compose([cup, lid])


def round_a_plug(beside: float, sides: int) -> float:
    """The ball that fits between two corners of regular polygons, one within the other."""
    return 2 * beside / (1 + 1 / math.cos(math.pi / sides))


def border_of(
    solid: Manifold, seed: int, inside: tuple[float, float, float], about: float = 0.0
) -> Border:
    frame = parts.random_frame(seed)
    vertices, faces = parts.mesh(solid, frame)
    grid = Grid.around(vertices.min(axis=0), vertices.max(axis=0), 0.375, 3)
    space = build_space(vertices, faces, grid, 3.25)
    here = grid.index(frame[:, :3] @ inside + frame[:, 3])
    chamber = space.chambers.of_basin[space.basins.label[tuple(here)]]
    assert chamber > 0
    sides = np.array([chamber]), np.array([0])
    return Border(Clearance(vertices, faces), space, sides, NOBODY, about)


@pytest.mark.parametrize(("gap", "seed"), [(0.03, 1), (0.3, 0), (0.9, 5)])
@pytest.mark.cases(1)
def test_gap_under_a_lid_is_bounded_closely(gap: float, seed: int) -> None:
    border = border_of(parts.cup_with_lid(gap), seed, (0.0, 0.0, 0.0), gap / 2)
    assert not border.parts(0.99 * gap / 2)
    bound, _, across = widest_over(border, gap, np.inf)
    assert across is None or border.clearance.at(across.places).min() > 0.49 * gap
    assert gap <= bound < gap + max(0.05 * gap, 0.01)


@pytest.mark.parametrize(("gap", "beside", "seed"), [(0.4, 0.2, 4)])
def test_gap_that_turns_a_corner_is_bounded_closely(gap: float, beside: float, seed: int) -> None:
    truth = min(gap, round_a_plug(beside, 24))
    border = border_of(cup_with_plug(gap, beside), seed, (0.0, 0.0, 4.0), truth / 2)
    assert not border.parts(0.98 * truth / 2)
    assert border.parts(1.02 * truth / 2)


def test_openings_are_told_apart() -> None:
    solid = parts.block([14, 14, 14]) - parts.ball(5)
    for x in (-2.0, 0.0, 2.0):
        solid -= parts.rod([x, 0, 0], [x, 0, 10], 0.4, 12)
    openings = border_of(solid, 6, (0.0, 0.0, 0.0)).openings(0.0025)
    assert len(np.unique(openings.number)) == 3
    whole = border_of(parts.cup_with_lid(0.3), 6, (0.0, 0.0, 0.0)).openings(0.0025)
    assert len(np.unique(whole.number)) == 1


@settings(max_examples=20, deadline=None)
@given(st.integers(0, 10_000), st.floats(0.02, 1.0), st.floats(0.05, 2.0))
def test_no_place_on_a_square_has_more_room_than_is_said(
    seed: int, gap: float, side: float
) -> None:
    clearance = Clearance(*parts.mesh(parts.cup_with_lid(gap), parts.random_frame(seed)))
    generator = np.random.default_rng(seed)
    corner = clearance.corners[generator.integers(0, len(clearance.corners), 40)]
    middle = np.einsum("ij,ijk->ik", generator.dirichlet([1, 1, 1], 40), corner)
    middle += generator.normal(0, gap, middle.shape)
    squares = Squares(middle, generator.integers(0, 3, 40), side)
    most = most_between(clearance, squares, *clearance.nearest(middle))
    place = np.repeat(middle[:, None], 60, axis=1)
    shift = generator.uniform(-side / 2, side / 2, place.shape)
    shift[np.arange(40), :, squares.across] = 0.0
    assert np.all(clearance.at(place + shift).max(axis=1) <= most + 1e-9)


def test_between_parallel_walls_half_the_gap_is_said() -> None:
    frame = np.eye(3, 4)
    clearance = Clearance(*parts.mesh(parts.cup_with_lid(0.2), frame))
    # A square across the gap, which reaches a little into both walls.
    squares = Squares(np.array([[6.7, 0.5, 5.1]]), np.array([0]), 0.3)
    most = most_between(clearance, squares, *clearance.nearest(squares.middle))
    assert most[0] == pytest.approx(0.1, abs=1e-6)
