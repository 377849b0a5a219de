"""Faces fall into shells; volumes are exact, also far from the origin."""

import numpy as np
import pytest
import shapes_basic as shapes

from lint3d.geometry.shells import (
    closed_shells,
    facet_areas,
    facet_volumes,
    shell_boxes,
    split_shells,
    sum_by_shell,
)
from lint3d.geometry.topology import edge_table


def label_of(mesh):
    return split_shells(edge_table(mesh[1], len(mesh[0])), mesh[1])


def test_shells_are_numbered_by_lowest_face():
    mesh = shapes.joined(shapes.box(), shapes.torus(10, 2, 8, 6), shapes.box(centre=(50, 0, 0)))
    assert label_of(mesh).tolist() == [0] * 12 + [1] * 96 + [2] * 12
    rng = np.random.default_rng(0)
    label = label_of(shapes.shuffled(mesh, rng))
    assert sorted(np.bincount(label)) == [12, 12, 96]
    assert (np.diff(np.maximum.accumulate(label), prepend=-1) <= 1).all()


def test_a_shared_edge_joins_and_a_shared_vertex_does_not():
    for by, count in (((1, 1, 0), 1), ((1, 1, 1), 2)):
        vertices, faces = shapes.joined(shapes.box(), shapes.moved(shapes.box(), by))
        vertices, index = np.unique(vertices, axis=0, return_inverse=True)
        label = label_of((vertices, index.ravel()[faces]))
        assert label.max() + 1 == count


def test_faces_that_name_a_vertex_twice_go_with_their_neighbours():
    vertices, faces = shapes.joined(shapes.box(), shapes.box(centre=(9, 0, 0)))
    faces = np.concatenate([[[9, 8, 8]], faces, [[16, 16, 16]]])
    vertices = np.concatenate([vertices, [[5.0, 5, 5]]])
    assert label_of((vertices, faces)).tolist() == [0] + [1] * 12 + [0] * 12 + [2]


def test_closed_means_no_edge_with_an_odd_number_of_faces():
    vertices, faces = shapes.joined(shapes.box(), shapes.box(centre=(9, 0, 0)))
    faces = np.delete(faces, 20, axis=0)
    faces[3] = faces[3][::-1]
    table = edge_table(faces, len(vertices))
    assert closed_shells(table, split_shells(table, faces)).tolist() == [True, False]


@pytest.mark.parametrize("far", [0.0, 1e6])
def test_volume_of_each_shell(far):
    one, two = shapes.box((2, 3, 4)), shapes.turned(shapes.box((1, 1, 1), (1e-3, 0, 0)))
    mesh = shapes.moved(shapes.joined(one, two), (far, -far, far))
    label = label_of(mesh)
    volumes = sum_by_shell(facet_volumes(*mesh, label), label)
    assert volumes == pytest.approx([24, -1], rel=1e-9)
    assert facet_areas(*mesh).sum() == pytest.approx(52 + 6, rel=1e-9)


def test_boxes_of_shells():
    mesh = shapes.joined(shapes.box((2, 3, 4)), shapes.box(centre=(9, 0, 0)))
    assert shell_boxes(*mesh, label_of(mesh)).tolist() == [
        [[-1, -1.5, -2], [1, 1.5, 2]],
        [[8.5, -0.5, -0.5], [9.5, 0.5, 0.5]],
    ]


def test_nothing_has_no_shells():
    faces = np.zeros((0, 3), np.int64)
    table = edge_table(faces, 0)
    label = split_shells(table, faces)
    assert len(label) == len(closed_shells(table, label)) == 0
    assert len(facet_volumes(np.zeros((0, 3)), faces, label)) == 0
    assert shell_boxes(np.zeros((0, 3)), faces, label).shape == (0, 2, 3)
