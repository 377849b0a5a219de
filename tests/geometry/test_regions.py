"""Faults that touch are one region."""

import numpy as np
import shapes_basic as shapes

from lint3d.geometry.regions import group_regions
from lint3d.geometry.topology import edge_table, open_edges


def test_the_rim_of_each_hole_is_one_region():
    vertices, faces = shapes.icosphere(10, 3)
    middle = vertices[faces].mean(axis=1)
    holes = [np.argmax(middle @ direction) for direction in np.eye(3)]
    faces = np.delete(faces, holes, axis=0)
    faults = open_edges(edge_table(faces, len(vertices)))
    region = group_regions(faults.face, faults.fault, faces)
    assert np.bincount(region).tolist() == [3, 3, 3]


def test_loose_triangles_are_a_region_each():
    faces = np.arange(30).reshape(-1, 3)
    faults = open_edges(edge_table(faces, 30))
    region = group_regions(faults.face, faults.fault, faces)
    assert np.bincount(region).tolist() == [3] * 10


def test_no_faults_give_no_regions():
    nothing = np.zeros(0, np.int64)
    assert group_regions(nothing, nothing, np.zeros((0, 3), np.int64)).tolist() == []
