"""Does the fitted frame make the box small, and is what is found in it told in the file's frame?"""

from __future__ import annotations

import numpy as np
import pytest
import shapes_voids as parts
from manifold3d import Manifold

from lint3d.geometry.voids import find_voids
from lint3d.geometry.voids_frame import fitted_axes, turned_back


def _box_volume(vertices: np.ndarray, axes: np.ndarray) -> float:
    return float(np.prod(np.ptp(vertices @ axes.T, axis=0)))


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize(
    ("solid", "volume"),
    [
        (parts.block([30, 20, 10]), 6000.0),
        (parts.rod([0, 0, 0], [0, 0, 40], 10, 48), 4000.0),
        (parts.block([40, 40, 4]) + parts.rod([0, 0, 0], [0, 0, 20], 8, 24), 40 * 40 * 22.0),
    ],
)
def test_box_is_small(solid: Manifold, volume: float, seed: int) -> None:
    vertices, faces = parts.mesh(solid, parts.random_frame(seed))
    axes = fitted_axes(vertices, faces)
    assert axes @ axes.T == pytest.approx(np.eye(3), abs=1e-12)
    assert np.linalg.det(axes) == pytest.approx(1.0)
    assert _box_volume(vertices, axes) < 1.02 * volume


def test_frame_that_fits_is_kept() -> None:
    assert np.array_equal(fitted_axes(*parts.mesh(parts.block([30, 20, 10]))), np.eye(3))
    # A ball has no frame of its own.
    assert np.array_equal(fitted_axes(*parts.mesh(parts.ball(5, segments=32))), np.eye(3))


def test_nothing_but_the_frame_changes() -> None:
    frame = parts.random_frame(3)
    solid = parts.block([24, 16, 16]) - parts.ball(5) - parts.rod([0, 0, 0], [15, 0, 0], 1.2, 16)
    solid -= parts.ball(1.5, [-9.0, 4, 4])
    vertices, faces = parts.mesh(solid, frame)
    axes = fitted_axes(vertices, faces)
    found = turned_back(find_voids(vertices @ axes.T, faces, 1.5, 6.0), axes)
    (pocket,), (sealed,) = found.pockets, found.sealed
    turn, shift = frame[:, :3], frame[:, 3]
    assert (pocket.position - shift) @ turn == pytest.approx(np.zeros(3), abs=0.5)
    assert (sealed.position - shift) @ turn == pytest.approx([-9, 4, 4], abs=0.1)
    assert pocket.throat.direction @ turn == pytest.approx([1, 0, 0], abs=0.02)
    way = (pocket.way - shift) @ turn
    assert np.abs(way[pocket.way_width < 1.3, 1:]).max() < 0.05
    assert pocket.openings[0].throat is pocket.throat or np.array_equal(
        pocket.openings[0].throat.position, pocket.throat.position
    )
    assert found.graph is not None
    for *_, data in found.graph.edges(data=True):
        assert np.array_equal(data["position"], data["throat"].position)
