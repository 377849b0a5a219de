"""Corners with equal coordinates become one vertex; cracks close, sound meshes stay."""

import numpy as np
import pytest
import shapes_basic as shapes
from hypothesis import given
from hypothesis import strategies as st

from lint3d.geometry import weld
from lint3d.geometry.topology import edge_table, open_edges
from lint3d.geometry.weld import stitch_open_edges, weld_exact


def corners(mesh):
    vertices, faces = mesh
    return vertices[faces].reshape(-1, 3)


@pytest.mark.parametrize("kind", [np.float32, np.float64])
def test_equal_corners_share_a_vertex_in_order_of_first_appearance(kind):
    points = np.array([[1, 2, 3], [0, 0, 0], [1, 2, 3], [3, 2, 1], [0, 0, 0]], kind)
    vertices, index = weld_exact(points)
    assert vertices.tolist() == [[1, 2, 3], [0, 0, 0], [3, 2, 1]]
    assert index.tolist() == [0, 1, 0, 2, 1]
    assert vertices.dtype == np.float64
    assert index.dtype == np.int64


@pytest.mark.parametrize("kind", [np.float32, np.float64])
def test_minus_zero_equals_zero(kind):
    points = np.array([[0.0, 1, 2], [-0.0, 1, 2]], kind)
    vertices, index = weld_exact(points)
    assert index.tolist() == [0, 0]
    assert not np.signbit(vertices).any()


def test_neighbouring_numbers_stay_apart():
    one = np.float32(1)
    points = np.array([[one, 0, 0], [np.nextafter(one, np.float32(2)), 0, 0]], np.float32)
    assert weld_exact(points)[1].tolist() == [0, 1]


def test_nothing_gives_nothing():
    vertices, index = weld_exact(np.zeros((0, 3), np.float32))
    assert vertices.shape == (0, 3)
    assert index.shape == (0,)


def test_wrong_shape_is_named():
    with pytest.raises(ValueError, match=r"\(4, 2\)"):
        weld_exact(np.zeros((4, 2)))


@given(st.integers(0, 2**32 - 1), st.integers(1, 400), st.integers(1, 5))
def test_agrees_with_a_plain_sort(seed, count, values):
    rng = np.random.default_rng(seed)
    points = rng.integers(-values, values + 1, (count, 3)).astype(np.float32) * 0.1
    vertices, index = weld_exact(points)
    assert (vertices[index] == points).all()
    assert len(vertices) == len(np.unique(points, axis=0))
    assert (np.diff(np.maximum.accumulate(index), prepend=-1) <= 1).all()


@pytest.mark.parametrize("kind", [np.float32, np.float64])
def test_colliding_hashes_do_not_change_the_answer(monkeypatch, kind):
    rng = np.random.default_rng(7)
    points = rng.integers(0, 12, (5000, 3)).astype(kind)
    vertices, index = weld_exact(points)
    monkeypatch.setattr(weld, "_hashes", lambda words: words[0] % np.uint64(3) << np.uint64(60))
    vertices_again, index_again = weld_exact(points)
    assert (vertices == vertices_again).all()
    assert (index == index_again).all()


def test_a_crack_within_the_tolerance_is_closed():
    rng = np.random.default_rng(1)
    vertices, faces = shapes.box((10, 20, 30))
    cracked = corners((vertices, faces)) + rng.uniform(-2e-4, 2e-4, (36, 3))
    vertices, index = weld_exact(cracked)
    assert len(vertices) == 36
    faces, merged = stitch_open_edges(vertices, index.reshape(-1, 3), 1e-3)
    assert merged == 28
    assert len(open_edges(edge_table(faces, len(vertices)))) == 0


def test_a_crack_beyond_the_tolerance_stays_open():
    vertices, faces = shapes.box((10, 20, 30))
    apart = vertices[faces].copy()
    apart[0] += 0.01
    vertices, index = weld_exact(apart.reshape(-1, 3))
    faces, merged = stitch_open_edges(vertices, index.reshape(-1, 3), 1e-3)
    assert merged == 0
    assert len(open_edges(edge_table(faces, len(vertices)))) == 6


def test_sound_meshes_are_never_touched_however_large_the_tolerance():
    vertices, faces = shapes.joined(shapes.box(), shapes.moved(shapes.box(), (1.0001, 0, 0)))
    again, merged = stitch_open_edges(vertices, faces, 1e3)
    assert merged == 0
    assert (again == faces).all()


def test_a_chain_does_not_creep():
    # A fence of loose triangles whose tips stand 0.6 tolerances apart: none may travel.
    count = 50
    tip = np.stack([np.arange(count) * 0.6, np.zeros(count), np.zeros(count)], axis=1)
    spread = np.stack([tip[:, 0] * 100, np.full(count, 50.0), np.zeros(count)], axis=1)
    points = np.concatenate([tip, spread, spread + [30, 0, 0]])
    faces = np.arange(3 * count).reshape(3, count).T
    again, _ = stitch_open_edges(points, faces, 1.0)
    moved = np.linalg.norm(points[again] - points[faces], axis=2)
    assert moved.max() <= 1.0
    assert len(np.unique(again[:, 0])) >= count / 2


def test_no_face_loses_a_side():
    sliver = np.array([[0, 0, 0], [5e-4, 0, 0], [0, 1, 0]], float)
    faces, merged = stitch_open_edges(sliver, np.array([[0, 1, 2]]), 1e-3)
    assert merged == 0
    assert faces.tolist() == [[0, 1, 2]]


@given(st.integers(0, 2**32 - 1))
def test_stitching_is_the_same_in_any_order(seed):
    rng = np.random.default_rng(seed)
    vertices, faces = shapes.torus(10, 3, 8, 6)
    cracked = corners((vertices, faces)) + rng.uniform(-3e-4, 3e-4, (3 * len(faces), 3))
    mesh = cracked, np.arange(len(cracked)).reshape(-1, 3)
    counts = {stitch_open_edges(*each, 1e-3)[1] for each in (mesh, shapes.shuffled(mesh, rng))}
    assert counts == {3 * len(faces) - 48}


def test_no_faces_are_no_trouble():
    assert stitch_open_edges(np.zeros((0, 3)), np.zeros((0, 3), np.int64), 1.0)[1] == 0
