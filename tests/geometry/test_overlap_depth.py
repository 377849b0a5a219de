"""The largest ball in a common volume, against closed forms."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapes_pairs import ball, barrel, box, in_frame, mesh, rod

from lint3d.geometry.overlap_depth import largest_ball


def depth(solid, seed):
    ((vertices, faces),) = in_frame([mesh(solid)], np.random.default_rng(seed))
    return largest_ball(vertices[faces])


@settings(max_examples=10, deadline=None)
@given(
    st.integers(0, 2**31 - 1),
    st.lists(st.floats(0.02, 1), min_size=3, max_size=3),
    st.integers(-2, 2),
)
def test_a_box_is_as_deep_as_its_shortest_side(seed, sides, power):
    sides = np.array(sides) * 10.0**power
    assert depth(box(list(sides)), seed) == pytest.approx(sides.min(), rel=1e-3)


@pytest.mark.parametrize("sides", [5, 8, 33, 96])
@pytest.mark.parametrize("thickness", [0.005, 0.02, 0.4])
def test_a_ring_is_as_deep_as_it_is_thick(sides, thickness):
    """What a press fit has in common; the sides of both circles lie in line."""
    ring = barrel(3, 3 + thickness, 0, 10, sides)
    assert depth(ring, sides) == pytest.approx(thickness * np.cos(np.pi / sides), rel=1e-3)


@pytest.mark.parametrize(
    ("solid", "truth"),
    [
        (ball(4, 48), 8 * np.cos(np.pi / 48) ** 2),
        (rod(2, 0, 9, 40), 4 * np.cos(np.pi / 40)),
        (rod(2, 0, 3, 40), 3),
        (box([10, 4, 4]) + box([4, 10, 4]), 4),
        # Its corner of 4 x 4 is cut away on the inside: the ball rests on its edge.
        (box([10, 4, 20]) + box([4, 10, 20]), 8 * (2 - np.sqrt(2))),
    ],
)
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_solids(solid, truth, seed):
    assert depth(solid, seed) == pytest.approx(truth, rel=0.01)


def test_nothing():
    assert largest_ball(np.zeros((0, 3, 3))) == 0
