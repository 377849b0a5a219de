"""Faces that lie on each other are found in any frame; edges and crossings are no such faces."""

from __future__ import annotations

import numpy as np
import pytest
from shapes_pairs import ball, barrel, box, in_frame, mesh, rod

from lint3d.geometry.clearance import Surface
from lint3d.geometry.contacts import contact

SEEDS = [None, 0, 1, 2]


def pair(one, two, seed):
    meshes = [mesh(one), mesh(two)]
    if seed is not None:
        meshes = in_frame(meshes, np.random.default_rng(seed))
    return [Surface(v.astype(np.float32).astype(float), f) for v, f in meshes]


def met(one, two, seed):
    surfaces = pair(one, two, seed)
    return contact(*surfaces, surfaces[0].uncertainty_mm + surfaces[1].uncertainty_mm)


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize(
    ("one", "two"),
    [
        (box([10] * 3), box([5] * 3, [10, 2, 2])),
        (box([30, 4, 4]), box([4, 30, 4], [10, -10, 4])),
        (box([10] * 3), rod(3, 10, 14, 24).translate([5.0, 5.0, 0.0])),
    ],
    ids=["on a face", "crossed bars", "round on flat"],
)
def test_flat_contact(one, two, seed):
    found = met(one, two, seed)
    assert found is not None
    assert len(found.one) >= 2
    for rows, surface in zip((found.one, found.two), pair(one, two, seed), strict=True):
        normal = np.cross(
            *(np.diff(surface.vertices[surface.faces[rows]], axis=1)[:, i] for i in (0, 1))
        )
        normal /= np.linalg.norm(normal, axis=1)[:, None]
        assert np.abs(normal @ normal[0] - 1).max() < 1e-4  # all of one side
    assert found.is_exact.all() == (seed is None)


@pytest.mark.parametrize("seed", SEEDS)
def test_a_pin_that_fills_its_bore(seed):
    found = met(barrel(3, 6, -5, 5, 24), rod(3, -4, 4, 24), seed)
    assert found is not None
    assert len(set(found.two)) == 48  # every facet of the pin's side


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize(
    ("one", "two"),
    [
        (box([5] * 3), box([5] * 3, [5, 5, 0])),
        (box([10] * 3), box([5] * 3, [8, 2, 2])),
        (box([10] * 3), ball(4, 24).translate([12.0, 5.0, 5.0])),
    ],
    ids=["edge on edge", "overlapping", "ball in the side"],
)
def test_what_meets_without_faces_on_each_other(one, two, seed):
    found = met(one, two, seed)
    assert found is not None
    assert len(found.one) == 0


@pytest.mark.parametrize("seed", SEEDS)
def test_what_stands_apart_or_inside(seed):
    assert met(box([10] * 3), box([5] * 3, [10.01, 2, 2]), seed) is None
    assert met(box([10] * 3), box([2] * 3, [4] * 3), seed) is None
