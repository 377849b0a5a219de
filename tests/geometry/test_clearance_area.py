"""Areas within a distance, against closed forms."""

from __future__ import annotations

import numpy as np
import pytest
from manifold3d import Manifold
from shapes_pairs import box, mesh, rotation

from lint3d.geometry.clearance_area import area_within, quartered


def corners(solid, turn=None):
    vertices, faces = mesh(solid)
    return (vertices if turn is None else vertices @ turn.T)[faces]


@pytest.mark.parametrize("seed", [None, 1])
def test_peg_over_a_large_plate(seed):
    """Within d of a 4 x 6 foot h above: the foot grown by sqrt(d2 - h2), rounded at its corners."""
    turn = None if seed is None else rotation(np.random.default_rng(seed))
    plate = np.array(
        [[[-60.0, -60, 0], [60, -60, 0], [60, 60, 0]], [[-60, -60, 0], [60, 60, 0], [-60, 60, 0]]]
    )
    plate = plate if turn is None else plate @ turn.T
    peg = corners(box([4, 6, 5], [10, 20, 0.3]), turn)
    wider = np.sqrt(0.5**2 - 0.3**2)
    truth = 24 + 2 * wider * 10 + np.pi * wider**2
    near = area_within(plate, peg, 0.5)
    assert near.area == pytest.approx(truth, rel=0.02)
    assert abs(near.area - truth) <= near.doubt + 1e-9
    back = near.middle if turn is None else near.middle @ turn
    if turn is None:
        assert near.extent == pytest.approx(6 + 2 * wider, abs=0.15)
    assert back == pytest.approx([12, 23, 0], abs=0.7)


def test_all_and_none():
    face = np.array([[[0.0, 0, 0], [1, 0, 0], [0, 1, 0]]])
    assert area_within(face, face + [0, 0, 0.1], 5.0).area == pytest.approx(0.5)
    near = area_within(face, face + [0, 0, 9.0], 5.0)
    assert (near.area, near.doubt, near.extent) == (0, 0, 0)
    assert np.isnan(near.middle).all()


def test_quartered_keeps_the_area():
    face = np.random.default_rng(0).normal(size=(5, 3, 3))
    size = [
        np.linalg.norm(np.cross(c[:, 1] - c[:, 0], c[:, 2] - c[:, 0]), axis=1).sum()
        for c in (face, quartered(face))
    ]
    assert size[0] == pytest.approx(size[1])


@pytest.mark.parametrize("seed", range(3))
def test_caps_of_two_balls(seed):
    """Points of spheres whose centres are c apart lie within d where (c - x)2 + r2 <= (R + d)2."""
    generator = np.random.default_rng(seed)
    radius, apart, level = 5.0, 10.3, 0.4
    one = mesh(Manifold.sphere(radius, 256))
    caps = []
    for centre in (0.0, apart):
        vertices, faces = one
        vertices = vertices @ rotation(generator).T + [0, 0, centre]
        facing = np.abs(vertices[faces][:, :, 2] - apart / 2).min(axis=1) < 0.4
        caps.append(vertices[faces][facing])
    # On the first sphere, at height z over its centre: c2 - 2 c z + R2 = (R + d)2.
    height = (apart**2 + radius**2 - (radius + level) ** 2) / (2 * apart)
    truth = 2 * np.pi * radius * (radius - height)
    near = area_within(*caps, level)
    assert near.area == pytest.approx(truth, rel=0.02)
    assert near.doubt <= 0.11 * truth
    assert near.extent == pytest.approx(2 * np.sqrt(radius**2 - height**2), rel=0.03)
    assert near.middle == pytest.approx([0, 0, radius], abs=0.3)


@pytest.mark.parametrize("seed", range(2))
def test_faces_that_lie_on_each_other(seed):
    """A foot of 4 x 6 on a large plate: the level is that of rounding."""
    turn = rotation(np.random.default_rng(seed))
    foot = corners(box([4, 6, 5], [10, 20, 0.0]), turn)
    plate = corners(box([40, 60, 5], [0, 0, -5.0]), turn)
    near = area_within(foot, plate, 1e-6)
    assert near.area == pytest.approx(24, rel=0.05)
    near = area_within(plate, foot, 1e-6)
    assert near.area == pytest.approx(24, rel=0.2)
    assert abs(near.area - 24) <= near.doubt
