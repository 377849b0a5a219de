"""Faces that cross are found, faces that touch are not, in every frame."""

import numpy as np
import pytest
import shapes_basic as shapes
from hypothesis import given, settings
from hypothesis import strategies as st

from lint3d.geometry import face_boxes, intersect
from lint3d.geometry.intersect import CrowdedFaces, self_intersections
from lint3d.geometry.shells import split_shells
from lint3d.geometry.topology import edge_table

FLAT = [[0, 0, 0], [4, 0, 0], [0, 4, 0]]
LOOSE = [[0, 1, 2], [3, 4, 5]]
CASES = {
    "crosses": (FLAT + [[1, 1, -1], [1, 1, 1], [5, 5, 0]], LOOSE, 1),
    "corner on face": (FLAT + [[1, 1, 0], [1, 1, 2], [2, 1, 2]], LOOSE, 0),
    "side on face": (FLAT + [[0.5, 0.5, 0], [1, 1, 0], [1, 1, 2]], LOOSE, 0),
    "corner on corner": (FLAT + [[0, 0, 0], [-1, 0, 2], [0, -1, 2]], LOOSE, 0),
    "overlaps in plane": (FLAT + [[1, 1, 0], [5, 1, 0], [1, 5, 0]], LOOSE, 1),
    "touches in plane": (FLAT + [[0, 0, 0], [4, 0, 0], [2, -3, 0]], LOOSE, 0),
    "flat neighbours": (FLAT + [[1, -1, 0]], [[0, 1, 2], [1, 0, 3]], 0),
    "folded neighbours": (FLAT + [[1, 1, 0]], [[0, 1, 2], [1, 0, 3]], 1),
    "folded, turned over": (FLAT + [[1, 1, 0]], [[0, 1, 2], [0, 1, 3]], 1),
    "one vertex, pierces": (FLAT + [[1, 1, 1], [1, 1, -1]], [[0, 1, 2], [0, 3, 4]], 1),
    "one vertex, in plane": (FLAT + [[1, 2, 0], [2, 1, 0]], [[0, 1, 2], [0, 3, 4]], 1),
    "one vertex, side on face": (FLAT + [[1, 1, 0], [1, 1, 2]], [[0, 1, 2], [0, 3, 4]], 0),
    "one vertex, side on side": (FLAT + [[2, 0, 0], [2, 0, 2]], [[0, 1, 2], [0, 3, 4]], 0),
    "copy": (FLAT, [[0, 1, 2], [1, 2, 0]], 0),
    "copy the other way": (FLAT, [[0, 1, 2], [0, 2, 1]], 0),
    "no area": (FLAT + [[1, 1, -1], [1, 1, 1], [1, 1, 0.3]], LOOSE, 0),
    "repeated vertex": (FLAT + [[1, 1, -1], [1, 1, 1]], [[0, 1, 2], [3, 4, 4]], 0),
}


@pytest.mark.parametrize("name", CASES)
@pytest.mark.cases(12)
def test_what_counts(name):
    vertices, faces, expected = CASES[name]
    mesh = np.array(vertices, float), np.array(faces)
    assert len(self_intersections(*mesh)) == expected
    rng = np.random.default_rng(1)
    for _ in range(20):
        assert len(self_intersections(*shapes.rewritten(mesh, rng))) == expected


def twisted_bar():
    """A closed bar whose two ends run through each other: one shell that crosses itself."""
    u = np.linspace(0, 2 * np.pi * 1.3, 60)
    ring = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * 1.0
    out = np.stack([np.cos(u), np.sin(u), np.zeros(60)], axis=1)
    points = out[:, None] * (8 + ring[:, 0, None]) + np.array([0, 0, 1]) * ring[:, 1, None]
    points[:, :, 2] += u[:, None] * 0.1
    faces = shapes.grid(60, 4, False, True)
    ends = np.array([[0, 1, 2], [0, 2, 3], [238, 237, 236], [239, 238, 236]])
    return points.reshape(-1, 3), np.concatenate([faces[:, ::-1], ends])


def test_the_count_is_the_same_in_every_frame():
    mesh = twisted_bar()
    count = len(self_intersections(*mesh))
    assert count > 40
    rng = np.random.default_rng(5)
    for _ in range(10):
        assert len(self_intersections(*shapes.rewritten(mesh, rng))) == count


@settings(max_examples=10, deadline=None)
@given(st.integers(0, 2**32 - 1), st.sampled_from([0.0, 1e3, 1e6]))
def test_sound_parts_do_not_cross_themselves(seed, reach):
    rng = np.random.default_rng(seed)
    for mesh in (shapes.cylinder(30, 50, 48), shapes.torus(30, 10, 24, 16), shapes.box((9, 8, 7))):
        scale = 1.0 if reach < 1e6 else 100.0
        bigger = mesh[0] * scale, mesh[1]
        assert len(self_intersections(*shapes.rewritten(bigger, rng, reach))) == 0


def test_sheets_that_lie_on_each_other_are_found_whole_in_every_frame():
    # A strip folded back onto itself: each cell overlaps those it comes to lie on.
    x = np.concatenate([np.arange(0.0, 9), np.arange(7.3, -0.7, -1)])
    points = np.stack(np.broadcast_arrays(x[:, None], [[0.0, 3.0]], 0.0), axis=-1)
    mesh = points.reshape(-1, 3), shapes.grid(len(x), 2, False, False)
    count = len(self_intersections(*mesh))
    rng = np.random.default_rng(2)
    found = [len(self_intersections(*shapes.rewritten(mesh, rng))) for _ in range(10)]
    assert found == [count] * 10
    assert count > 30


def test_labels_keep_overlapping_solids_apart():
    one, two = shapes.icosphere(10, 2), shapes.moved(shapes.icosphere(10, 2), (5, 0.1, 0.2))
    vertices, faces = shapes.joined(one, two, twisted_bar())
    label = split_shells(edge_table(faces, len(vertices)), faces)
    assert len(self_intersections(vertices, faces)) > len(self_intersections(*twisted_bar()))
    pairs = self_intersections(vertices, faces, label)
    first = len(one[1]) + len(two[1])
    assert (pairs - first == self_intersections(*twisted_bar())).all()


def test_labels_that_share_vertices():
    vertices = np.array(FLAT + [[1, 1, 1], [1, 1, -1], [9, 9, 9]], float)
    faces = np.array([[0, 1, 2], [0, 3, 4], [2, 5, 1], [5, 3, 0]])
    assert len(self_intersections(vertices, faces, np.array([0, 0, 1, 1]))) == 1
    assert len(self_intersections(vertices, faces, np.array([0, 1, 0, 1]))) == 0


def test_small_boxes_give_the_same_pairs(monkeypatch):
    rng = np.random.default_rng(3)
    corner = rng.uniform(0, 10, (3000, 1, 3)) + rng.normal(0, 0.3, (3000, 3, 3))
    soup = corner.reshape(-1, 3), np.arange(9000).reshape(-1, 3)
    whole = self_intersections(*soup)
    monkeypatch.setattr(face_boxes, "_FACES_IN_BOX", 100)
    assert (self_intersections(*soup) == whole).all()
    monkeypatch.setattr(intersect, "_CROWDED", 0)
    monkeypatch.setattr(intersect, "_PAIRS_A_CALL", 50)
    assert (self_intersections(*soup) == whole).all()
    assert len(whole) > 100


def test_it_stops_when_there_are_too_many(monkeypatch):
    rng = np.random.default_rng(4)
    corner = rng.uniform(0, 10, (1_500, 1, 3)) + rng.normal(0, 0.7, (1_500, 3, 3))
    soup = corner.reshape(-1, 3), np.arange(4_500).reshape(-1, 3)
    whole = self_intersections(*soup)
    monkeypatch.setattr(intersect, "_CROWDED", 0)
    monkeypatch.setattr(intersect, "_PAIRS_A_CALL", 5_000)
    stopped = self_intersections(*soup, most=300)
    assert 300 <= len(stopped) < len(whole) / 2
    assert {*map(tuple, stopped)} <= {*map(tuple, whole)}


def test_nothing_crosses_nothing():
    none = np.zeros((0, 3), np.int64)
    assert self_intersections(np.zeros((0, 3)), none).shape == (0, 2)
    assert self_intersections(np.eye(3), np.array([[0, 1, 2]]), np.array([0])).shape == (0, 2)


def test_a_crowd_is_given_up_with_what_was_found(monkeypatch):
    rng = np.random.default_rng(6)
    corner = rng.uniform(0, 10, (3000, 1, 3)) + rng.normal(0, 3, (3000, 3, 3))
    soup = corner.reshape(-1, 3), np.arange(9000).reshape(-1, 3)
    monkeypatch.setattr(intersect, "_MOST_WORK", 1e4)
    monkeypatch.setattr(intersect, "_MOST_WORK_A_FACE", 0)
    with pytest.raises(CrowdedFaces, match="too many faces overlap") as caught:
        self_intersections(*soup)
    assert caught.value.pairs.shape[1] == 2
    assert len(caught.value.pairs) > 0


@pytest.mark.further
def test_a_round_of_five_thousand_slanting_needles_is_no_crowd():
    mesh = shapes.rewritten(shapes.cylinder(10, 100, 5_000), np.random.default_rng(0))
    assert len(self_intersections(*mesh)) == 0


def test_copies_of_one_face_are_left_out():
    vertices = np.array(FLAT + [[1, 1, -1], [1, 1, 1], [5, 5, 0]], float)
    faces = np.concatenate([np.tile([[0, 1, 2]], (50_000, 1)), [[3, 4, 5]]])
    assert self_intersections(vertices, faces).tolist() == [[0, 50_000]]
