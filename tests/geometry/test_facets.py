"""Faces without area and copies are found in every frame; thin sound faces are not."""

import numpy as np
import pytest
import shapes_basic as shapes
from hypothesis import given, settings
from hypothesis import strategies as st

from lint3d.geometry.facets import (
    coordinate_resolution_mm,
    degenerate_faces,
    duplicate_faces,
    facet_heights,
    facet_normals,
)


def test_heights_and_normals():
    vertices = np.array([[0.0, 0, 0], [4, 0, 0], [0, 3, 0], [8, 0, 0]])
    faces = np.array([[0, 1, 2], [0, 1, 3], [0, 0, 0], [2, 1, 0]])
    assert facet_heights(vertices, faces) == pytest.approx([2.4, 0, 0, 2.4])
    assert facet_normals(vertices, faces).tolist() == [[0, 0, 1], [0] * 3, [0] * 3, [0, 0, -1]]


def box_with_flat_faces():
    """A box whose edge is cut by a vertex: a face of no height lies along it. One face is flat."""
    vertices, faces = shapes.box((20, 30, 40))
    a, b, c = faces[0]
    vertices = np.concatenate([vertices, [vertices[a] * 0.3 + vertices[b] * 0.7]])
    return vertices, np.concatenate([[[a, 8, c], [8, b, c], [a, b, 8]], faces[1:]])


@settings(max_examples=60)
@given(st.integers(0, 2**32 - 1), st.sampled_from([0.0, 50.0, 3000.0, 1e6]))
def test_a_face_of_no_height_is_found_in_every_frame(seed, reach):
    rng = np.random.default_rng(seed)
    vertices, faces = shapes.rewritten(box_with_flat_faces(), rng, reach)
    for _ in range(2):
        assert np.count_nonzero(degenerate_faces(vertices, faces)) == 1
        vertices, faces = shapes.rewritten((vertices, faces), rng, 0.0)


@settings(max_examples=30)
@given(st.integers(0, 2**32 - 1))
def test_thin_but_real_faces_are_not_degenerate(seed):
    rng = np.random.default_rng(seed)
    # A plate of 100 x 100 x 0.001 mm: its rim faces are twenty times the resolution high.
    vertices, faces = shapes.rewritten(shapes.box((100, 100, 1e-3)), rng, 0.0)
    assert not degenerate_faces(vertices, faces).any()


def test_the_limit_follows_the_largest_coordinate():
    triangle = np.array([[0.0, 0, 0], [1, 0, 0], [0.5, 1e-4, 0]])
    faces = np.array([[0, 1, 2]])
    assert not degenerate_faces(triangle, faces)[0]
    assert degenerate_faces(triangle + [1e4, 0, 0], faces)[0]
    assert coordinate_resolution_mm(triangle) == 8 * 2.0**-24


def test_repeated_vertices_are_degenerate_and_nothing_is_nothing():
    assert degenerate_faces(np.eye(3), np.array([[0, 1, 1], [0, 1, 2]])).tolist() == [True, False]
    assert len(degenerate_faces(np.zeros((0, 3)), np.zeros((0, 3), np.int64))) == 0
    assert len(duplicate_faces(np.zeros((0, 3), np.int64))) == 0


def test_surplus_copies_are_counted_whichever_way_round():
    _, faces = shapes.box()
    more = np.concatenate([faces, faces[[2, 2, 7]][:, [1, 2, 0]], faces[[5]][:, ::-1]])
    faults = duplicate_faces(more)
    assert faults.face.tolist() == [12, 13, 14, 15]
    assert faults.fault.tolist() == [0, 1, 2, 3]


@settings(max_examples=40)
@given(st.integers(0, 2**32 - 1))
def test_agrees_with_counting_sets(seed):
    rng = np.random.default_rng(seed)
    faces = rng.integers(0, 7, (60, 3))
    proper = [frozenset(face) for face in faces if len(set(face)) == 3]
    assert len(duplicate_faces(faces)) == len(proper) - len(set(proper))


def test_copies_of_one_face_by_the_hundred_thousand():
    faces = np.tile([[0, 1, 2]], (200_000, 1))
    assert len(duplicate_faces(faces)) == 199_999
