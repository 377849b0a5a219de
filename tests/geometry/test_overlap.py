"""Common volumes against closed forms."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapes_pairs import ball, box, in_frame, mesh, rod

from lint3d.geometry.clearance import Surface
from lint3d.geometry.overlap import NoSolid, common_volume, contains, may_contain

SEEDS = st.integers(0, 2**31 - 1)


def surfaces(one, two, seed=None, offset=30.0):
    meshes = [mesh(one), mesh(two)]
    if seed is not None:
        meshes = in_frame(meshes, np.random.default_rng(seed), offset)
    return [Surface(v.astype(np.float32).astype(float), f) for v, f in meshes]


@settings(max_examples=15, deadline=None)
@given(SEEDS, st.lists(st.floats(0.05, 0.9), min_size=3, max_size=3), st.floats(0.5, 40))
def test_boxes(seed, share, size):
    one, two = surfaces(box([size] * 3), box([2 * size] * 3, np.array(share) * size), seed)
    found = common_volume(one, two)
    sides = (1 - np.array(share)) * size
    assert found.volume == pytest.approx(sides.prod(), abs=found.uncertainty)
    assert found.depth == pytest.approx(sides.min(), rel=1e-3, abs=1e-3)
    assert found.pieces == 1
    assert contains(one, found.position)
    assert contains(two, found.position)


def test_box_of_the_overlap():
    found = common_volume(*surfaces(box([4, 4, 4]), box([4, 4, 4], [1, 2, 3])))
    assert found.box.tolist() == [[1, 2, 3], [4, 4, 4]]
    assert found.volume == pytest.approx(6)


@pytest.mark.parametrize("sides", [5, 16, 64])
def test_rod_through_a_plate(sides):
    found = common_volume(*surfaces(box([20, 20, 3], [-10, -10, 0]), rod(4, -5, 9, sides), 1))
    truth = 3 * 0.5 * sides * 16 * np.sin(2 * np.pi / sides)
    assert found.volume == pytest.approx(truth, abs=found.uncertainty)
    assert found.uncertainty < 0.01


def test_two_pieces():
    fork = box([1, 4, 10]) + box([1, 4, 10], [5, 0, 0]) + box([6, 4, 1])
    found = common_volume(*surfaces(fork, box([6, 4, 2], [0, 0, 7]), 2))
    assert found.pieces == 2
    assert found.volume == pytest.approx(16, abs=1e-3)


@pytest.mark.parametrize("low", [[4, 0, 0], [4, 4, 0], [4, 4, 4], [9, 0, 0]])
def test_bodies_that_touch_or_not_have_nothing_in_common(low):
    found = common_volume(*surfaces(box([4] * 3), box([4] * 3, low)))
    assert found is None or found.volume <= found.uncertainty


def test_turned_bodies_that_touch_have_no_more_than_rounding_gives():
    for seed in range(5):
        found = common_volume(*surfaces(box([4] * 3), box([4] * 3, [4, 1, 1]), seed))
        assert found is None or found.volume <= found.uncertainty


def test_the_same_body_twice():
    one, two = surfaces(ball(5, 32), ball(5, 32), 3)
    same = common_volume(one, one)
    assert same.volume == pytest.approx(ball(5, 32).volume(), rel=1e-5)
    assert two is not one


def test_inside_the_material_or_in_a_cavity():
    hollow = box([20] * 3) - box([10] * 3, [5] * 3)
    for low, held in (([7, 7, 7], False), ([1, 1, 1], True), ([30, 0, 0], False)):
        one, two = surfaces(hollow, box([2] * 3, low), 4)
        assert contains(one, two.corners[0, 0]) == held
        assert may_contain(one, two) == (low[0] < 20) or held


def test_far_from_the_origin():
    one, two = surfaces(box([10] * 3), box([10] * 3, [5, 0, 0]), 5, offset=1e6)
    found = common_volume(one, two)
    assert found.volume == pytest.approx(500, abs=found.uncertainty)


def test_an_open_body_is_no_solid():
    one, two = surfaces(box([10] * 3), box([10] * 3, [5, 0, 0]))
    with pytest.raises(NoSolid) as fault:
        common_volume(one, Surface(two.vertices, two.faces[1:]))
    assert fault.value.which == 1
