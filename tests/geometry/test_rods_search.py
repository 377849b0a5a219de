"""Are bars of small facets found on a surface of very many?"""

from __future__ import annotations

import numpy as np
import pytest
import shapes_walls as shapes
from scipy.spatial.transform import Rotation

from lint3d.geometry import rods_search
from lint3d.geometry.rods import bars
from lint3d.geometry.spans_surface import surface_from_mesh


@pytest.mark.parametrize("hole", [False, True])
@pytest.mark.parametrize("refined", [0.0, 0.5, 3.0])
@pytest.mark.cases(2)
def test_a_bar_on_a_large_surface_is_met_all_along(refined: float, hole: bool) -> None:
    rng = np.random.default_rng([int(10 * refined), hole])
    flats, width = int(rng.integers(5, 40)), rng.uniform(0.6, 1.2)
    length = width * rng.uniform(26, 40)
    bar = shapes.rod(width / 2 / np.cos(np.pi / flats), length + 5, flats)
    if refined:
        bar = bar.refine_to_length(refined)
    ball = shapes.m3.Manifold.sphere(50, 388)
    body = ball - bar.translate((0, 0, 50 - length)) if hole else ball + bar.translate((0, 0, 45))
    vertices, faces = shapes.arrays(body)
    assert len(faces) > rods_search.ALL_OF
    turn = Rotation.random(random_state=flats)
    surface = surface_from_mesh(turn.apply(vertices), rng.permutation(faces))
    (found,) = bars(surface, 8.0, "outward" if hole else "inward")
    assert found.lower <= width + 1e-4
    assert found.upper >= width - 1e-4
    assert found.length == pytest.approx(length, abs=0.2)


def test_no_facet_is_felt_twice_and_all_that_hang_together_are(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    for name, value in (("ALL_OF", 500), ("SAMPLED", 200), ("LARGEST", 20)):
        monkeypatch.setattr(rods_search, name, value)
    vertices, faces = shapes.arrays(shapes.m3.Manifold.sphere(10, 96))
    surface = surface_from_mesh(vertices, faces)
    thin = surface.corners.mean(axis=1)[:, 0] > 8
    seen = np.zeros(len(faces), dtype=int)

    def is_thin(facets: np.ndarray, near: np.ndarray) -> np.ndarray:
        seen[facets] += 1
        assert thin[near[near >= 0]].all()
        return thin[facets]

    rods_search.searched(surface, is_thin)
    assert seen.max() == 1
    assert seen[thin].all()
    assert seen.sum() < len(faces) / 2
