"""Distances of triangle pairs against closed forms and against brute sampling."""

from __future__ import annotations

import numpy as np
import pytest
from shapes_pairs import rotation

from lint3d.geometry.clearance_triangles import triangle_distances

FLAT = np.array([[0.0, 0, 0], [4, 0, 0], [0, 4, 0]])


@pytest.mark.parametrize(
    ("other", "distance"),
    [
        (FLAT + [0, 0, 2.5], 2.5),  # face over face
        ([[1, 1, 0.7], [1, 1, 5], [2, 1, 5]], 0.7),  # corner over face
        ([[-3, 1, 0], [-3, 2, 0], [-5, 1, 1]], 3.0),  # beside an edge
        ([[7, -4, 0], [7, -4, 1], [9, -4, 0]], 5.0),  # corner to corner: 3-4-5
        ([[2, -3, 0.25], [2, 3, 0.25], [2, 0, 9]], 0.25),  # stands on edge over it
        ([[1, 1, -1], [1, 1, 1], [9, 9, 1]], 0.0),  # pierces it
        (FLAT, 0.0),  # the same
        (FLAT + [1, 1, 0], 0.0),  # overlaps in the plane
        (FLAT + [4, 0, 0], 0.0),  # corner on corner
        ([[1, 1, 3], [1, 1, 3], [1, 1, 3]], 3.0),  # a triangle that is a point
    ],
)
@pytest.mark.parametrize("seed", [None, 0, 1])
def test_distance(other, distance, seed):
    one, two = FLAT.copy(), np.asarray(other, float)
    if seed is not None:
        rng = np.random.default_rng(seed)
        turn, shift = rotation(rng), rng.uniform(-100, 100, 3)
        one, two = one @ turn.T + shift, two @ turn.T + shift
    for a, b in ((one, two), (two, one)):
        found, p, q = triangle_distances(a[None], b[None])
        assert found[0] == pytest.approx(distance, abs=1e-12 if seed is None else 1e-10)
        assert np.linalg.norm(p - q) == pytest.approx(found[0], abs=1e-12)


def test_crossed_edges_are_nearer_than_any_corner():
    """Two long edges that cross 0.25 apart; corner to face reads some millimetres."""
    one = np.array([[[-10.0, 0, 0], [10, 0, 0], [0, 0, -8]]])
    two = np.array([[[0, -10.0, 0.25], [0, 10, 0.25], [0, 0, 8]]])
    distance, p, q = triangle_distances(one, two)
    assert distance[0] == 0.25
    assert p[0] == pytest.approx([0, 0, 0])
    assert q[0] == pytest.approx([0, 0, 0.25])


def test_no_sampled_pair_of_points_is_nearer():
    rng = np.random.default_rng(5)
    one = rng.normal(size=(60, 3, 3))
    two = rng.normal(size=(60, 3, 3)) + rng.normal(size=(60, 1, 3)) * 2
    distance, p, q = triangle_distances(one, two)
    grid = np.array([(i, j, 20 - i - j) for i in range(21) for j in range(21 - i)]) / 20
    for row in range(60):
        a, b = grid @ one[row], grid @ two[row]
        sampled = np.linalg.norm(a[:, None] - b[None], axis=2).min()
        assert distance[row] <= sampled + 1e-12
        assert sampled - distance[row] < 0.3
        assert np.linalg.norm(p[row] - q[row]) == pytest.approx(distance[row], abs=1e-12)


def test_none():
    assert len(triangle_distances(np.zeros((0, 3, 3)), np.zeros((0, 3, 3)))[0]) == 0
