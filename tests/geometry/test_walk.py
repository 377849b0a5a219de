"""Do facets near each other come soon after each other, each once?"""

from __future__ import annotations

import numpy as np
import shapes_walls as shapes

from lint3d.geometry.walk import near_each_other


def test_each_facet_comes_once_and_steps_are_short() -> None:
    vertices, faces = shapes.arrays(shapes.m3.Manifold.sphere(10, 96))
    faces = np.random.default_rng(1).permutation(faces)
    order = near_each_other(vertices, faces)
    assert np.array_equal(np.sort(order), np.arange(len(faces)))
    middle = vertices[faces].mean(axis=1)
    step = np.linalg.norm(np.diff(middle[order], axis=0), axis=1)
    # Facets have sides of about 0.65 mm; in the order of the file steps are 13 mm on average.
    assert np.median(step) < 1.0
    assert step.mean() < 2.0


def test_nothing_and_one_point() -> None:
    assert len(near_each_other(np.zeros((0, 3)), np.zeros((0, 3), int))) == 0
    assert near_each_other(np.zeros((1, 3)), np.zeros((2, 3), int)).tolist() == [0, 1]
