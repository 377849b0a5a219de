"""Are balls in front of the surface as large as they should be, however it is cut into facets?"""

from __future__ import annotations

import numpy as np
import pytest
import shapes_voids as parts
from manifold3d import Manifold
from scipy.spatial import cKDTree

from lint3d.geometry.raster import Grid
from lint3d.geometry.throats_clearance import Clearance
from lint3d.geometry.voids_tight import Places, grown, largest_balls, places_on

PITCH = 0.4


def _placed(solid: Manifold, seed: int) -> tuple[Places, Clearance, np.ndarray]:
    """Places on a solid in a random frame, its clearance and the places in its own frame."""
    frame = parts.random_frame(seed)
    vertices, faces = parts.mesh(solid, frame)
    grid = Grid.around(vertices.min(axis=0), vertices.max(axis=0), PITCH)
    places = places_on(vertices, faces, grid)
    return places, Clearance(vertices, faces), (places.point - frame[:, 3]) @ frame[:, :3]


@pytest.mark.parametrize("seed", range(3))
def test_places_lie_on_the_surface_about_a_voxel_apart(seed: int) -> None:
    places, clearance, _ = _placed(parts.bottle(6, 0.3, 4, 12), seed)
    assert np.abs(clearance.at(places.point)).max() < 1e-5
    assert np.linalg.norm(places.normal, axis=1) == pytest.approx(np.ones(len(places)))
    vertices, faces = parts.mesh(parts.bottle(6, 0.3, 4, 12), parts.random_frame(seed))
    generator = np.random.default_rng(seed)
    share = generator.dirichlet([1, 1, 1], len(faces))
    anywhere = np.einsum("ij,ijk->ik", share, vertices[faces])
    gap = cKDTree(places.point).query(anywhere)[0]
    assert gap.max() < 2 * PITCH


@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize("width", [0.02, 0.3, 1.1])
def test_slot_of_any_width(width: float, seed: int) -> None:
    """Far below the pitch, too: the ball between two walls is as wide as the slot."""
    solid = parts.block([20, 20, 20]) - parts.block([width, 8, 20], [0, 0, 10])
    places, clearance, local = _placed(solid, seed)
    radius = largest_balls(clearance, places.point, places.normal, 2.0)
    within = (np.abs(local[:, 0]) < width) & (np.abs(local[:, 1]) < 3) & (local[:, 2] > 2)
    within &= local[:, 2] < 9.9
    assert within.sum() > 50
    assert radius[within] == pytest.approx(np.full(within.sum(), width / 2), rel=1e-4)


@pytest.mark.parametrize("seed", [0, *(pytest.param(s, marks=pytest.mark.slow) for s in (1, 2))])
@pytest.mark.parametrize("sides", [3, 4, 6, 12, 32])
def test_bore_of_any_section(sides: int, seed: int) -> None:
    """Off the middle of a facet balls are small; moved out of the corner they fill the bore."""
    width = 1.2
    bore = parts.rod([0, 0, -6], [0, 0, 11], width / np.cos(np.pi / sides), sides)
    places, clearance, local = _placed(parts.block([20, 20, 20]) - bore, seed)
    within = (np.hypot(*local[:, :2].T) < 2) & (np.abs(local[:, 2] - 2) < 5)
    places = places[within]
    radius = largest_balls(clearance, places.point, places.normal, 2.0)
    assert radius.max() <= width / 2 + 1e-6
    centre, larger = grown(clearance, places.point + places.normal * radius[:, None], radius, 2.0)
    assert (larger >= radius).all()
    assert larger.max() <= width / 2 + 1e-6
    assert np.quantile(larger, 0.2) > 0.97 * width / 2
    assert clearance.at(centre) == pytest.approx(larger, rel=1e-5, abs=1e-6)


def test_in_front_of_a_block_there_is_all_the_room() -> None:
    places, clearance, _ = _placed(parts.block([10, 10, 10]), 1)
    assert len(places) > 500
    assert places.at_rim.any()
    assert (largest_balls(clearance, places.point, places.normal, 3.0) == 3.0).all()
