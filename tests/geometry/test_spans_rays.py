"""Do rays meet the facet they should, near and far from the origin?"""

from __future__ import annotations

import numpy as np
import pytest
import shapes_walls as shapes

from lint3d.geometry.rays import RayScene


@pytest.mark.parametrize("offset", [0.0, 1e6])
def test_distance_across_a_box_is_exact(offset: float) -> None:
    v, f = shapes.arrays(shapes.box([7, 5, 3], [offset] * 3))
    scene = RayScene(v, f)
    origins = np.array([[2, 1, 0], [3, 4.5, 0.0]]) + offset
    up = np.tile([0, 0, 1.0], (2, 1))
    facet = scene.first_facet(origins, up, 10.0)
    assert (facet >= 0).all()
    assert scene.distance(origins, up, facet) == pytest.approx(3)
    assert scene.first_facet(origins, up, 2.9).tolist() == [-1, -1]
    assert np.isinf(scene.distance(origins, up, np.array([-1, -1]))).all()


def test_a_line_through_a_wall_is_blocked_and_one_along_it_is_not() -> None:
    v, f = shapes.arrays(shapes.box([10, 10, 10]))
    scene = RayScene(v, f)
    starts = np.array([[5, 5, 5], [1, 1, 1.0]])
    ends = np.array([[5, 5, 15], [9, 9, 8.0]])
    none = np.full((2, 2), -1)
    assert scene.is_blocked(starts, ends, none).tolist() == [True, False]
    lid = scene.first_facet(starts[:1], np.array([[0, 0, 1.0]]), 9.0)
    own = np.array([[lid[0], -1], [-1, -1]])
    assert scene.is_blocked(starts, ends, own).tolist() == [False, False]


def test_no_facets_at_all() -> None:
    scene = RayScene(np.zeros((0, 3)), np.zeros((0, 3), dtype=np.int64))
    assert scene.first_facet(np.zeros((2, 3)), np.eye(3)[:2], 1.0).tolist() == [-1, -1]
