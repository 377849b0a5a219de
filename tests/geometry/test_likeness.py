"""By what a shape is known again: exact moments, and corners that no triangulation changes."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from parts import Facets, box, joined

from lint3d.geometry.likeness import MOST_CORNERS, Likeness, likeness


def of(facets: Facets) -> Likeness:
    found = likeness(facets.reshape(-1, 3), np.arange(3 * len(facets)).reshape(-1, 3))
    assert found is not None
    return found


def welded(facets: Facets) -> Likeness:
    points, index = np.unique(facets.reshape(-1, 3), axis=0, return_inverse=True)
    found = likeness(points, index.reshape(-1, 3))
    assert found is not None
    return found


def quartered(facets: Facets) -> Facets:
    """Every facet cut in four: another triangulation of the same surface."""
    a, b, c = (facets[:, k] for k in range(3))
    ab, bc, ca = (a + b) / 2, (b + c) / 2, (c + a) / 2
    pieces = [(a, ab, ca), (ab, b, bc), (ca, bc, c), (ab, bc, ca)]
    return np.concatenate([np.stack(piece, axis=1) for piece in pieces])


def test_a_box_in_closed_form() -> None:
    """Surface of a box a, b, c: second moments by hand, side by side."""
    a, b, c = 2.0, 3.0, 5.0
    found = welded(box((a, b, c), (10, -4, 7)))
    area = 2 * (a * b + b * c + c * a)
    assert found.area == pytest.approx(area)
    assert found.volume == pytest.approx(a * b * c)
    assert found.centre == pytest.approx([11.0, -2.5, 9.5])
    # The two sides across x lie at a/2; over the other four x is spread evenly.
    xx = (2 * b * c * a**2 / 4 + 2 * a * (b + c) * a**2 / 12) / area
    assert found.second[0, 0] == pytest.approx(xx)
    assert found.second[0, 1] == pytest.approx(0, abs=1e-9)
    assert np.abs(found.third).max() < 1e-9
    assert len(found.corners) == 8


def test_third_moments_of_one_triangle() -> None:
    """Over the triangle 0, e1, e2, in the plane: integrals of x, xx and xxx are A/3, A/6, A/10."""
    found = of(np.array([[[0.0, 0, 0], [1, 0, 0], [0, 1, 0]]]))
    mean, square, cube = 1 / 3, 1 / 6, 1 / 10
    assert found.area == pytest.approx(0.5)
    assert found.second[0, 0] == pytest.approx(square - mean**2)
    assert found.third[0, 0, 0] == pytest.approx(cube - 3 * mean * square + 2 * mean**3)


@given(st.integers(0, 10**6))
@settings(max_examples=20, deadline=None)
def test_triangulation_and_order_of_facets_play_no_part(seed: int) -> None:
    rng = np.random.default_rng(seed)
    facets = joined(box(rng.uniform(1, 40, 3)), box(rng.uniform(1, 9, 3), (60, 5, 3)))
    one, other = welded(facets), welded(quartered(facets)[rng.permutation(4 * len(facets))])
    assert other.area == pytest.approx(one.area)
    assert other.second == pytest.approx(one.second, rel=1e-9, abs=1e-9)
    assert other.third == pytest.approx(one.third, rel=1e-9, abs=1e-6)
    assert sorted(map(tuple, other.corners)) == sorted(map(tuple, one.corners))


def test_of_many_corners_no_equals_are_torn_apart() -> None:
    """A row of cubes: the corners kept are whole groups of equally far ones."""
    row = welded(joined(*(box(1, (3.0 * i, 0, 0)) for i in range(20))))
    assert 4 <= len(row.corners) <= MOST_CORNERS
    far = np.round(np.linalg.norm(row.corners - row.centre, axis=1), 3)
    assert all(np.sum(far == one) % 8 == 0 for one in set(far))


def test_what_is_no_surface_has_none() -> None:
    flat = np.zeros((3, 3))
    assert likeness(flat, np.zeros((0, 3), np.int64)) is None
    assert likeness(flat, np.array([[0, 1, 2]])) is None
    assert likeness(np.full((3, 3), np.nan), np.array([[0, 1, 2]])) is None
