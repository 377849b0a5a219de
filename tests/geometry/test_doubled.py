"""Which faces are there more than once, and which cancel each other?"""

from __future__ import annotations

import numpy as np

from lint3d.geometry.doubled import doubled_faces, doubled_in_place

FACES = np.array([[0, 1, 2], [1, 2, 3], [2, 0, 1], [2, 1, 3], [4, 5, 6]])


def test_a_further_copy_that_looks_the_same_way_is_doubled() -> None:
    doubled, cancelled = doubled_faces(FACES[[0, 1, 2, 4]])
    assert doubled.sum() == 1
    assert doubled[[0, 2]].any()
    assert not len(cancelled)


def test_two_that_look_opposite_ways_cancel() -> None:
    doubled, cancelled = doubled_faces(FACES)
    assert doubled[[1, 3]].all()
    assert sorted(cancelled.ravel()) == [1, 3]


def test_two_one_way_and_one_the_other_leave_one() -> None:
    doubled, cancelled = doubled_faces(np.array([[0, 1, 2], [2, 1, 0], [1, 2, 0]]))
    assert doubled.sum() == 2
    assert doubled[1]
    assert not len(cancelled)


def test_a_copy_with_corners_of_its_own_is_known_by_their_places() -> None:
    rng = np.random.default_rng(3)
    corners = rng.uniform(-5, 5, (3, 3))
    vertices = np.concatenate([corners, corners[[1, 2, 0]], corners[[1, 0, 2]]])
    faces = np.arange(9).reshape(-1, 3)
    assert doubled_in_place(vertices, faces).tolist() == [False, True, False]
