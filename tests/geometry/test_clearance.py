"""Gaps of pairs with known answers, in random frames, sizes and facet counts."""

from __future__ import annotations

import time

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapes_pairs import ball, barrel, box, cage, in_frame, mesh, rod, rotation

from lint3d.geometry.clearance import Surface, near_pairs
from lint3d.geometry.clearance_spots import near_spots, touching_faces
from lint3d.geometry.clearance_tree import TooManyPairs

SEEDS = st.integers(0, 2**31 - 1)


def surfaces(one, two, seed=None, single=True, offset=30.0):
    meshes = [mesh(one), mesh(two)]
    if seed is not None:
        meshes = in_frame(meshes, np.random.default_rng(seed), offset)
    if single:
        meshes = [(v.astype(np.float32).astype(np.float64), f) for v, f in meshes]
    return [Surface(v, f) for v, f in meshes]


def gap_holds(truth, one, two, reach):
    """The nearest spot, either way round, with the truth in its interval."""
    found = []
    for a, b in ((one, two), (two, one)):
        spots = near_spots(a, b, [reach / 2, reach])
        band = a.uncertainty_mm + b.uncertainty_mm
        assert abs(spots[0].distance - truth) <= band
        between = np.linalg.norm(spots[0].point[0] - spots[0].point[1])
        assert between == pytest.approx(spots[0].distance, abs=band)
        found.append(spots)
    return found[0]


@settings(max_examples=12, deadline=None)
@given(SEEDS, st.integers(5, 90), st.floats(0.5, 20), st.floats(0.001, 2))
def test_concentric_pin(seed, sides, radius, gap):
    one, two = surfaces(
        barrel(radius + gap, radius + gap + 3, -5, 5, sides), rod(radius, -8, 8, sides), seed
    )
    gap_holds(gap * np.cos(np.pi / sides), one, two, 3.0)


@settings(max_examples=12, deadline=None)
@given(SEEDS, st.integers(2, 22), st.floats(0.05, 0.95))
def test_eccentric_pin(seed, quarter, share):
    """Moved towards the middle of a flat: nearest there, by the radial gap less the offset."""
    sides, radius, gap = 4 * quarter, 6.0, 1.0
    turn = 180 / sides
    hole, pin = barrel(radius + gap, 12, -5, 5, sides), rod(radius, -8, 8, sides)
    offset = share * gap * np.cos(np.pi / sides)
    one, two = surfaces(
        hole.rotate([0, 0, turn]), pin.rotate([0, 0, turn]).translate([offset, 0, 0]), seed
    )
    gap_holds(gap * np.cos(np.pi / sides) - offset, one, two, 2.0)


@settings(max_examples=8, deadline=None)
@given(SEEDS, st.integers(2, 12), st.floats(2, 10), st.floats(1.05, 1.5))
@pytest.mark.further
def test_ball_in_ball(seed, quarter, radius, ratio):
    """Like facets about one middle: nearest where the inner facets' planes are nearest."""
    hollow = ball(radius * ratio + 2, 4 * quarter) - ball(radius * ratio, 4 * quarter)
    core = ball(radius, 4 * quarter)
    vertices, faces = mesh(core)
    corners = vertices[faces]
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    inscribed = (
        np.einsum("ij,ij->i", corners[:, 0], normal) / np.linalg.norm(normal, axis=1)
    ).min()
    one, two = surfaces(hollow, core, seed)
    gap_holds(inscribed * (ratio - 1), one, two, 6.0)


@settings(max_examples=25, deadline=None)
@given(SEEDS, st.lists(st.floats(-1, 1.5), min_size=3, max_size=3), st.floats(0.5, 50))
def test_boxes(seed, step, size):
    """Face, edge or corner nearest: the distance of two boxes is that of their intervals."""
    # Boxes that meet in a plane touch only but for rounding, once they are turned.
    step = [s if abs(s) > 1e-12 else 0.0 for s in step]
    gap = np.maximum(np.array(step), 0)
    truth = float(np.linalg.norm(gap)) * size
    low = [size * (1 + s) if s > 0 else size * s * 0.5 for s in step]
    one, two = surfaces(box([size] * 3), box([size] * 3, low), seed)
    if truth == 0:
        assert near_spots(one, two, [size])[0].distance == 0
    else:
        gap_holds(truth, one, two, 3.0 * size)


@settings(max_examples=20, deadline=None)
@given(SEEDS, st.floats(0.001, 0.5))
def test_edges_that_cross(seed, gap):
    """Two bars on edge: nearest edge to edge, far from every corner."""
    diamond = box([40, 2, 2], [-20, -1, -1]).rotate([45, 0, 0])
    other = box([2, 40, 2], [-1, -20, -1]).rotate([0, 45, 0])
    one, two = surfaces(diamond, other.translate([0, 0, 2 * np.sqrt(2) + gap]), seed)
    spots = gap_holds(gap, one, two, 1.0)
    assert len(spots) == 1


def test_ball_in_cage_with_windows():
    one, two = surfaces(cage(10, 8, 3), ball(7.5, 48), 4)
    spots = near_spots(one, two, [0.6])
    assert 0.45 < spots[0].distance <= 0.5


def test_spots_apart_are_spots_of_their_own():
    """Two pegs over one plate cut in fine facets: near, nearer, and both told."""
    plate = box([40, 10, 2], [0, 0, -2]).refine(12)
    pegs = box([4, 4, 6], [3, 3, 0.3]) + box([4, 4, 6], [33, 3, 0.2]) + box([34, 4, 1], [3, 3, 6])
    one, two = surfaces(plate, pegs, 8)
    spots = near_spots(one, two, [0.4, 0.5])
    assert [round(s.distance, 4) for s in spots] == [0.2, 0.3]
    # A level that only one of them is within: the other is told at the wider one.
    spots = near_spots(one, two, [0.25, 0.5])
    assert [(round(s.distance, 4), s.level) for s in spots] == [(0.2, 0.25), (0.3, 0.5)]


def test_small_over_large():
    """A small box in the middle of two huge facets, far from all their corners and middles."""
    one, two = surfaces(box([1000, 1000, 1], [0, 0, -1]), box([1, 1, 1], [211, 403, 0.3]), 2)
    gap_holds(0.3, one, two, 0.5)


def test_far_from_the_origin():
    """At 1e6 mm a step of the coordinates is 0.06 mm, and the interval says so."""
    one, two = surfaces(box([50] * 3), box([50] * 3, [50.5, 0, 0]), 3, offset=1e6)
    gap_holds(0.5, one, two, 1.0)
    assert one.uncertainty_mm > 0.05


def test_faces_without_area_change_nothing():
    vertices, faces = mesh(box([2] * 3))
    needless = np.array([[0, 0, 1], [2, 2, 2]])
    one = Surface(vertices, np.concatenate([needless, faces]))
    two = Surface(*mesh(box([2] * 3, [2.25, 0, 0])))
    spot = near_spots(one, two, [1.0])[0]
    assert spot.distance == pytest.approx(0.25, abs=1e-12)
    assert spot.faces.min() >= 2
    assert len(Surface(vertices, needless).row) == 0
    assert near_pairs([Surface(vertices, needless), two], 1.0) == []


def test_the_same_body_twice():
    one, two = surfaces(ball(5, 64), ball(5, 64))
    assert near_spots(one, two, [1e-5, 0.4])[0].distance == 0


@pytest.mark.further
def test_needles_do_not_hang():
    """Two discs of long needles in a random frame: boxes that all overlap, and still an answer."""
    one, two = surfaces(rod(30, 0, 1, 1_500), rod(30, 1.3, 2, 1_500), 6)
    gap_holds(0.3, one, two, 0.5)


@pytest.mark.further
def test_too_many_needles_are_given_up_at_once():
    one, two = surfaces(rod(30, 0, 1, 60_000), rod(30, 1.3, 2, 60_000), 6)
    start = time.perf_counter()
    with pytest.raises(TooManyPairs):
        near_spots(one, two, [0.5])
    assert time.perf_counter() - start < 10


@pytest.mark.further
def test_pairs_hold_all_that_are_near_and_only_those_whose_boxes_are():
    rng = np.random.default_rng(1)
    cube, faces = mesh(box([1] * 3))
    bodies = [Surface((cube @ rotation(rng)) + p, faces) for p in rng.uniform(0, 12, (150, 3))]
    low, high = np.array([b.low for b in bodies]), np.array([b.high for b in bodies])
    meets = ((low[:, None] - 0.5 <= high) & (high[:, None] + 0.5 >= low)).all(axis=2)
    boxes = [tuple(p) for p in np.argwhere(np.triu(meets, 1)).tolist()]
    found = near_pairs(bodies, 0.5)
    assert found == sorted(set(found))
    assert set(found) <= set(boxes)
    assert {p for p in boxes if near_spots(bodies[p[0]], bodies[p[1]], [0.5])} <= set(found)


def test_faces_that_share_a_vertex():
    assert touching_faces(np.array([[0, 1, 2], [5, 6, 7], [2, 8, 9]])).tolist() == [0, 1, 0]


def test_a_body_without_area_is_near_nothing():
    flat = Surface(np.array([[0, 0, 0], [1, 0, 0], [2, 0, 0.0]]), np.array([[0, 1, 2]]))
    block = Surface(*mesh(box([1] * 3)))
    assert near_spots(flat, block, [5.0]) == []
    assert near_spots(block, flat, [5.0]) == []
    assert near_pairs([flat, block], 5.0) == []


@settings(max_examples=10, deadline=None)
@given(SEEDS, st.integers(2, 4))
def test_pads_before_one_large_face_are_one_each_whichever_body_is_first(seed, count):
    """All lay on the same two facets of the plate, and were one region if the plate came first."""
    gaps = np.random.default_rng(seed).uniform(0.1, 0.45, count)
    lid = box([60, 2, 10], [0, 2, 0])
    for i, gap in enumerate(gaps):
        lid = lid + box([3, 2.5 - gap, 6], [3 + 9 * i, gap, 2])
    one, two = surfaces(box([60, 2, 10], [0, -2, 0]), lid, seed)
    for a, b in ((one, two), (two, one)):
        spots = near_spots(a, b, [0.5, 0.75])
        assert [spot.distance for spot in spots] == pytest.approx(sorted(gaps), abs=1e-4)
        for spot in spots:
            assert spot.others is None or a is one


def test_a_pin_in_a_barrel_is_one_region_both_ways():
    one, two = surfaces(barrel(2.3, 5, -5, 5, 48), rod(2, -8, 8, 48), 3)
    for a, b in ((one, two), (two, one)):
        (spot,) = near_spots(a, b, [0.5, 0.75])
        assert spot.others is None
