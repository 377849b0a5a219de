"""The search through two trees against trying every pair."""

from __future__ import annotations

import numpy as np
import pytest

import lint3d.geometry.clearance_tree as tree
from lint3d.geometry.clearance_triangles import triangle_distances


def scattered(count, seed, size=0.2, spread=1.0):
    rng = np.random.default_rng(seed)
    return rng.uniform(-spread, spread, (count, 1, 3)) + rng.normal(size=(count, 3, 3)) * size


def every_pair(one, two):
    a = np.repeat(one, len(two), axis=0)
    b = np.tile(two, (len(one), 1, 1))
    return triangle_distances(a, b)[0].reshape(len(one), len(two))


@pytest.mark.parametrize(("count", "other"), [(1, 1), (5, 40), (130, 70)])
@pytest.mark.parametrize("reach", [0.05, 0.4, 100.0])
def test_each_face_as_if_every_pair_were_tried(count, other, reach):
    one, two = scattered(count, 1), scattered(other, 2) + [1.2, 0, 0]
    truth = every_pair(one, two).min(axis=1)
    found = tree.nearest_faces(one, two, np.full(count, reach))
    assert found.face.tolist() == np.flatnonzero(truth < reach).tolist()
    assert found.distance == pytest.approx(truth[found.face], abs=1e-12)


def test_a_group_gets_its_smallest():
    one, two = scattered(90, 3), scattered(80, 4) + [3, 0, 0]
    group = np.arange(90) % 3
    truth = every_pair(one, two).min(axis=1)
    found = tree.nearest_faces(one, two, np.full(90, 50.0), group)
    for number in range(3):
        mine = found.distance[group[found.face] == number]
        assert mine.min() == pytest.approx(truth[group == number].min(), abs=1e-12)


def test_slack_does_not_hide_that_faces_meet():
    one = np.array([[[0.0, 0, 0], [1, 0, 0], [0, 1, 0]]])
    two = one + [0, 0, 0.0]
    found = tree.nearest_faces(one, two, np.array([1e-7]), slack=1e-6)
    assert found.distance.tolist() == [0.0]


def test_portions_do_not_change_the_answer(monkeypatch):
    one, two = scattered(90, 3), scattered(80, 4)
    whole = tree.nearest_faces(one, two, np.full(90, 5.0))
    for name in ("_PAIRS_AT_ONCE", "_PORTION", "_LEAVES"):
        monkeypatch.setattr(tree, name, 16)
    small = tree.nearest_faces(one, two, np.full(90, 5.0))
    assert small.distance == pytest.approx(whole.distance, abs=1e-12)


def test_gives_up_and_says_so(monkeypatch):
    monkeypatch.setattr(tree, "MOST_PAIRS", 100)
    with pytest.raises(tree.TooManyPairs):
        tree.nearest_faces(scattered(200, 1), scattered(200, 2), np.full(200, 9.0))


def test_boxes_within():
    corners = scattered(200, 7)
    low, high = np.array([-0.2, -0.3, -1.0]), np.array([0.5, 0.1, 0.2])
    meets = (corners.min(1) <= high) & (corners.max(1) >= low)
    found = tree.BoxTree(corners).within(low, high)
    assert found.tolist() == np.flatnonzero(meets.all(axis=1)).tolist()


def test_nothing_against_something():
    assert len(tree.nearest_faces(np.zeros((0, 3, 3)), scattered(3, 1), np.zeros(0)).face) == 0
