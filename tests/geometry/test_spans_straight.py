"""Is the least distance straight across between two facets the least there is?"""

from __future__ import annotations

import numpy as np
import pytest

from lint3d.geometry.spans_knife import knife_edges
from lint3d.geometry.spans_straight import nearest_straight
from lint3d.geometry.spans_surface import surface_from_mesh


def test_it_is_that_of_very_many_points_on_either_facet() -> None:
    """Checked against rays from a fine grid of points on both facets, worked out by hand."""
    rng = np.random.default_rng(5)
    met = 0
    for _ in range(40):
        low = np.array([[0, 0, 0], [2, 0, 0], [0.5, 2, 0]]) + rng.normal(size=(3, 3)) * [
            0.4,
            0.4,
            0,
        ]
        top = np.array([[0, 0, 1], [0.5, 2, 1], [2, 0, 1]]) + rng.normal(size=(3, 3)) * 0.25
        surface = surface_from_mesh(np.concatenate([low, top]), np.array([[0, 2, 1], [3, 5, 4]]))
        inward = -surface.normals
        none = np.zeros(0, dtype=np.int64)
        edges = knife_edges(surface, inward, False, none, 0.1)
        found = nearest_straight(surface, inward, edges, np.array([[0, 1]]))
        share = rng.dirichlet([0.6] * 3, 20_000)
        least = np.inf
        for own in (0, 1):
            points = share @ surface.corners[own]
            way, other = inward[own], inward[1 - own]
            base = surface.corners[1 - own]
            far = (base[0] - points) @ other / (way @ other)
            ends = points + far[:, None] * way
            sides = np.roll(base, -1, 0) - base
            turn = [np.cross(sides[i], ends - base[i]) @ -other for i in range(3)]
            within = (np.array(turn) >= 0).all(axis=0) | (np.array(turn) <= 0).all(axis=0)
            least = min(least, far[within & (far > 0)].min(initial=np.inf))
        if np.isfinite(least):
            met += 1
            assert found.distance[0] <= least + 1e-9
            assert found.distance[0] == pytest.approx(least, abs=0.02)
    assert met > 30


def test_facets_aside_of_each_other_have_none() -> None:
    v = np.array([[0, 0, 0], [1, 0, 0], [0, 1, 0], [5, 5, 1], [6, 5, 1], [5, 6, 1.0]])
    surface = surface_from_mesh(v, np.array([[0, 2, 1], [3, 4, 5]]))
    edges = knife_edges(surface, -surface.normals, False, np.zeros(0, dtype=np.int64), 0.1)
    found = nearest_straight(surface, -surface.normals, edges, np.array([[0, 1]]))
    assert not found.counts.any()
    assert np.isinf(found.distance).all()
