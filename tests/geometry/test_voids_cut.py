"""Is the ball that passes between two chambers bounded where no plane closes the passage?"""

from __future__ import annotations

import numpy as np
import pytest
import shapes_voids as parts
from hypothesis import given, settings
from hypothesis import strategies as st

from lint3d.geometry.raster import Grid
from lint3d.geometry.throats_clearance import Clearance
from lint3d.geometry.voids import find_voids
from lint3d.geometry.voids_cut import HIDDEN_RADIUS, widest_across
from lint3d.geometry.voids_openings import find_contacts
from lint3d.geometry.voids_space import build_space

LIMIT = 1.5


@pytest.mark.parametrize(("gap", "seed"), [(0.8, 2), (1.2, 1), (1.45, 3)])
@pytest.mark.further
def test_gap_all_round_a_lid(gap: float, seed: int) -> None:
    found = find_voids(
        *parts.mesh(parts.cup_with_lid(gap), parts.random_frame(seed)), LIMIT, 5.0, limits=(LIMIT,)
    )
    (pocket,) = found.pockets
    assert len(pocket.openings) == 1
    assert pocket.throat.lower <= gap <= pocket.throat.upper < LIMIT
    if gap > 2 * HIDDEN_RADIUS * found.pitch:
        assert pocket.throat.upper - pocket.throat.lower < 0.02


@settings(max_examples=12, deadline=None)
@given(st.integers(0, 10_000), st.floats(0.6, 2.0), st.sampled_from([3, 4, 6, 24]))
def test_no_neck_is_bounded_below_its_width(seed: int, width: float, sides: int) -> None:
    solid = parts.block([14] * 3) - parts.ball(3.5) - parts.rod([0, 0, 0], [10, 0, 0], width, sides)
    vertices, faces = parts.mesh(solid, parts.random_frame(seed))
    space = build_space(
        vertices, faces, Grid.around(vertices.min(axis=0), vertices.max(axis=0), 0.375, 3), 3.0
    )
    clearance = Clearance(vertices, faces)
    for contact in find_contacts(space):
        assert contact.steps is not None
        bound = widest_across(clearance, space, contact.steps)
        assert bound >= parts.polygon_width(width, sides) - 1e-9


def test_points_beside_the_steps_are_looked_at() -> None:
    """Seen in this frame: the chambers meet at the mouth of the gap, where there is more room."""
    vertices, faces = parts.mesh(parts.cup_with_lid(1.2), parts.random_frame(7))
    grid = Grid.around(vertices.min(axis=0), vertices.max(axis=0), LIMIT / 4, 3)
    space = build_space(vertices, faces, grid, 3.25)
    clearance = Clearance(vertices, faces)
    (contact,) = find_contacts(space)
    assert contact.steps is not None
    middles = space.points(contact.steps).mean(axis=1)
    assert 2 * np.max(clearance.at(middles)) > 1.3
    assert widest_across(clearance, space, contact.steps, 1.2) < 1.22


def test_no_distance_nearby_exceeds_what_is_said() -> None:
    """In a gap between two walls that is close: there distances hardly change along the walls."""
    clearance = Clearance(*parts.mesh(parts.cup_with_lid(0.6), parts.random_frame(4)))
    generator = np.random.default_rng(4)
    points = clearance.corners.mean(axis=1) + generator.normal(
        0, 1, (40, len(clearance.corners), 3)
    )
    for reach in (0.05, 0.5):
        value, most = clearance.most_near(points, reach)
        assert np.all(most <= value + reach + 1e-12)
        for _ in range(8):
            step = generator.normal(0, 1, points.shape)
            step *= reach / np.linalg.norm(step, axis=-1, keepdims=True)
            assert np.all(clearance.at(points + step) <= most + 1e-9)
    middle = (parts.random_frame(4) @ [7.0, 0.0, 5.3, 1.0])[None]
    assert clearance.most_near(middle, 0.1)[1][0] < 0.3 * 1.06
