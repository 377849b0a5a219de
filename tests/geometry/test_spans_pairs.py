"""Are closest points of triangles exact, and are contacts judged as they should be?"""

from __future__ import annotations

import numpy as np
import pytest
import shapes_walls as shapes

from lint3d.geometry.spans_pairs import (
    closest_on_segments,
    closest_on_triangles,
    share_vertex,
    stands_square,
)
from lint3d.geometry.spans_surface import surface_from_mesh


def unit_normals(triangles: np.ndarray) -> np.ndarray:
    normal = np.cross(triangles[:, 1] - triangles[:, 0], triangles[:, 2] - triangles[:, 0])
    return normal / np.linalg.norm(normal, axis=1)[:, None]


def grid(count: int) -> np.ndarray:
    i, j = np.meshgrid(np.arange(count + 1), np.arange(count + 1), indexing="ij")
    keep = i + j <= count
    first = np.stack([i[keep], j[keep]], axis=1) / count
    return np.column_stack([first, 1 - first.sum(1)])


def test_distance_of_triangles_against_a_dense_grid() -> None:
    rng = np.random.default_rng(0)
    first, second = rng.normal(size=(60, 3, 3)), rng.normal(4.0, 1.0, (60, 3, 3))
    p, q, distance = closest_on_triangles(first, second, unit_normals(first), unit_normals(second))
    assert np.linalg.norm(p - q, axis=1) == pytest.approx(distance)
    weights = grid(24)
    for a, b, d in zip(first, second, distance, strict=True):
        gaps = np.linalg.norm((weights @ a)[:, None] - (weights @ b)[None], axis=2)
        step = max(np.ptp(a, axis=0).max(), np.ptp(b, axis=0).max()) / 24
        assert d <= gaps.min() + 1e-12
        assert d >= gaps.min() - 2 * step


def test_parallel_and_collapsed_segments() -> None:
    begin = np.array([[0, 0, 0], [0, 0, 0], [5, 5, 5.0]])
    along = np.array([[1, 0, 0], [1, 0, 0], [0, 0, 0.0]])
    other = np.array([[0.5, 2, 0], [3, 2, 0], [0, 0, 0.0]])
    other_along = np.array([[1, 0, 0], [1, 0, 0], [0, 0, 0.0]])
    p, q = closest_on_segments(begin, along, other, other_along)
    assert np.linalg.norm(p - q, axis=1) == pytest.approx([2, np.sqrt(8), np.sqrt(75)])


def test_sharing_a_vertex() -> None:
    faces = np.array([[0, 1, 2], [2, 3, 4], [5, 6, 7]])
    shares = share_vertex(faces, np.array([0, 0]), np.array([1, 2]))
    assert shares.tolist() == [True, False]


def test_a_groove_bottom_stands_square_and_an_outer_corner_does_not() -> None:
    outline = [(-9, 0), (9, 0), (9, 5), (3, 5), (0, 2), (-3, 5), (-9, 5)]
    v, f = shapes.arrays(shapes.prism(outline, 10))
    surface = surface_from_mesh(v, f)
    inward = -surface.normals
    bottom, corner = np.array([0, 2, 5.0]), np.array([9, 0, 5.0])
    for place, towards, expected in (
        (bottom, [0, -1.0, 0], True),
        (bottom, [0, 1.0, 0], False),
        (corner, [-0.7071, 0.7071, 0], False),
    ):
        ends = place * [1, 1, 0], place * [1, 1, 2]
        facets = np.flatnonzero(
            [all((np.linalg.norm(c - e, axis=1) < 1e-9).any() for e in ends) for c in v[f]]
        )
        assert len(facets) == 2
        square = stands_square(
            surface, inward, facets, np.tile(place, (2, 1)), np.tile(towards, (2, 1))
        )
        assert square.tolist() == [expected, expected]


@pytest.mark.parametrize("high", [0.1, 0.01, 0.001])
def test_the_broad_corner_of_a_sliver_in_a_flat_side_does_not_stand_square(high: float) -> None:
    """At the rim of a funnel, cut finely, a wall of 0.38 mm was told 0.17 thick."""
    points = [[0, 0, 0], [-high, 1, 0], [-high, -1, 0], [1, 0, 0], [-1, 0, 0]]
    faces = np.array([[0, 1, 2], [0, 2, 3], [0, 3, 1], [1, 4, 2]])
    surface = surface_from_mesh(np.array(points, float), faces)
    way = np.array([[-0.76, 0.0, 0.65]]) / np.hypot(0.76, 0.65)
    for facet in range(3):
        assert not stands_square(surface, surface.normals, np.array([facet]), np.zeros((1, 3)), way)
    up = np.array([[0.0, 0.0, 1.0]])
    assert stands_square(surface, surface.normals, np.array([0]), np.zeros((1, 3)), up)
