"""Edges and vertices that are not as in a sound solid are found, and only those."""

import numpy as np
import pytest
import shapes_basic as shapes
from hypothesis import given, settings
from hypothesis import strategies as st

from lint3d.geometry.topology import (
    crowded_edges,
    edge_table,
    euler_number,
    is_in_pieces,
    nonmanifold_vertices,
    open_edges,
    same_way_edges,
)

SOUND = {
    "tetrahedron": shapes.TETRAHEDRON,
    "box": shapes.box((1, 2, 3)),
    "cylinder": shapes.cylinder(5, 10, 24),
    "cone": shapes.cone(5, 10, 24),
    "ball": shapes.ball(5, 16, 8),
    "icosphere": shapes.icosphere(5, 2),
    "torus": shapes.torus(10, 3, 12, 8),
}


def table_of(faces):
    return edge_table(faces, int(faces.max(initial=-1)) + 1)


def counts(mesh):
    table = edge_table(mesh[1], len(mesh[0]))
    return (
        len(open_edges(table)),
        len(crowded_edges(table)),
        len(same_way_edges(table)),
        len(nonmanifold_vertices(table, mesh[1])),
    )


@pytest.mark.parametrize("name", SOUND)
def test_sound_solids_have_no_fault(name):
    assert counts(SOUND[name]) == (0, 0, 0, 0)


@pytest.mark.parametrize("name", SOUND)
def test_euler_number(name):
    """Gauss-Bonnet, from memory: 2 for what is round like a ball, 0 for a ring."""
    faces = SOUND[name][1]
    assert euler_number(table_of(faces), faces) == (0 if name == "torus" else 2)


def test_euler_number_of_a_ring_of_three_holes():
    """-4, from memory: a solid bar of three square holes, built of unit cells."""
    cells = np.ones((7, 3, 1), bool)
    cells[1::2, 1] = False
    faces = cell_surface(cells)
    table = table_of(faces)
    assert euler_number(table, faces) == -4
    assert len(open_edges(table)) == 0


def cell_surface(cells):
    """Outside of a set of unit cells as triangles, with shared vertices."""
    corner = np.stack(np.meshgrid(*[range(n + 1) for n in cells.shape], indexing="ij"), axis=-1)
    number = np.arange(corner[..., 0].size).reshape(corner.shape[:3])
    faces = []
    padded = np.pad(cells, 1)
    for x, y, z in np.argwhere(cells):
        for axis in range(3):
            for step in (0, 1):
                beside = [x + 1, y + 1, z + 1]
                beside[axis] += 2 * step - 1
                if padded[tuple(beside)]:
                    continue
                quad = []
                for a, b in ((0, 0), (1, 0), (1, 1), (0, 1)):
                    at = [0, 0, 0]
                    at[axis], at[(axis + 1) % 3], at[(axis + 2) % 3] = step, a, b
                    quad.append(number[x + at[0], y + at[1], z + at[2]])
                if step == 0:
                    quad.reverse()
                faces += [quad[:3], [quad[0], *quad[2:]]]
    return np.array(faces)


def test_a_missing_face_leaves_three_open_edges():
    vertices, faces = shapes.box()
    table = edge_table(faces[1:], len(vertices))
    faults = open_edges(table)
    assert sorted(map(tuple, faults.place)) == sorted(
        tuple(sorted(side)) for side in zip(faces[0], np.roll(faces[0], -1), strict=True)
    )
    assert len(faults.face) == 3
    assert counts((vertices, faces[1:])) == (3, 0, 0, 0)


def test_a_turned_face_has_three_same_way_edges():
    vertices, faces = shapes.icosphere(1, 1)
    faces[5] = faces[5][::-1]
    table = edge_table(faces, len(vertices))
    faults = same_way_edges(table)
    assert len(faults) == 3
    assert np.bincount(faults.face)[5] == 3
    assert counts((vertices, faces)) == (0, 0, 3, 0)


def test_two_boxes_on_one_edge():
    # Two boxes that share an edge: four faces meet there, and no vertex is at fault.
    vertices, faces = shapes.joined(shapes.box(), shapes.moved(shapes.box(), (1, 1, 0)))
    vertices, index = np.unique(vertices, axis=0, return_inverse=True)
    faces = index.ravel()[faces]
    table = edge_table(faces, len(vertices))
    faults = crowded_edges(table)
    assert len(faults) == 1
    assert len(faults.face) == 4
    assert counts((vertices, faces)) == (0, 1, 0, 0)


def test_two_boxes_on_one_vertex():
    vertices, faces = shapes.joined(shapes.box(), shapes.moved(shapes.box(), (1, 1, 1)))
    vertices, index = np.unique(vertices, axis=0, return_inverse=True)
    faces = index.ravel()[faces]
    table = edge_table(faces, len(vertices))
    faults = nonmanifold_vertices(table, faces)
    assert vertices[faults.place[:, 0]].tolist() == [[0.5, 0.5, 0.5]]
    assert sorted(faults.face) == sorted(np.flatnonzero((faces == faults.place[0, 0]).any(axis=1)))
    assert counts((vertices, faces)) == (0, 0, 0, 1)


def test_faces_that_name_a_vertex_twice_are_left_out():
    vertices, faces = shapes.box()
    dirty = np.concatenate([faces[:4], [[0, 0, 1], [2, 2, 2], [1, 3, 1]], faces[4:]])
    assert counts((vertices, dirty)) == (0, 0, 0, 0)
    assert euler_number(edge_table(dirty, 8), dirty) == 2


def test_nothing_and_only_dirt():
    for faces in (np.zeros((0, 3), np.int64), np.array([[0, 0, 0], [1, 1, 0]])):
        table = edge_table(faces, 2)
        assert table.edge_count == 0
        assert len(open_edges(table)) == len(nonmanifold_vertices(table, faces)) == 0


def test_a_vertex_that_does_not_exist_is_named():
    with pytest.raises(IndexError, match="0 to 7, but there are only 5"):
        edge_table(np.array([[0, 1, 7]]), 5)


@settings(max_examples=30)
@given(st.integers(0, 2**32 - 1))
def test_counts_are_the_same_in_any_order(seed):
    rng = np.random.default_rng(seed)
    vertices = rng.normal(size=(20, 3))
    faces = rng.integers(0, 20, (60, 3))
    assert counts((vertices, faces)) == counts(shapes.shuffled((vertices, faces), rng))


@settings(max_examples=30)
@given(st.integers(0, 2**32 - 1))
def test_agrees_with_counting_by_hand(seed):
    rng = np.random.default_rng(seed)
    faces = rng.integers(0, 9, (25, 3))
    uses = {}
    for face in faces:
        if len(set(face)) == 3:
            for one, two in zip(face, np.roll(face, -1), strict=True):
                uses.setdefault((min(one, two), max(one, two)), []).append(one < two)
    expected = (
        sum(len(way) == 1 for way in uses.values()),
        sum(len(way) > 2 for way in uses.values()),
        sum(len(way) == 2 and way[0] == way[1] for way in uses.values()),
    )
    assert counts((np.zeros((9, 3)), faces))[:3] == expected


def test_a_million_loose_triangles_are_counted_at_once():
    faces = np.arange(3_000_000).reshape(-1, 3)
    table = edge_table(faces, 3_000_000)
    assert len(open_edges(table)) == 3_000_000
    assert len(nonmanifold_vertices(table, faces)) == 0


def test_loose_triangles_are_in_pieces_and_a_cube_without_a_side_is_not() -> None:
    vertices, faces = shapes.box((1, 2, 3))
    assert not is_in_pieces(edge_table(faces, len(vertices)))
    assert not is_in_pieces(edge_table(faces[1:], len(vertices)))
    assert is_in_pieces(edge_table(faces[:3], len(vertices)))
    assert is_in_pieces(edge_table(np.arange(300).reshape(-1, 3), 300))
    assert not is_in_pieces(edge_table(np.zeros((0, 3), np.int64), 0))
