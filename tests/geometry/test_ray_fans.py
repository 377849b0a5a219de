"""Fans of rays and chords in a round bar, worked out by hand."""

from __future__ import annotations

import numpy as np
import pytest
import shapes_walls as shapes

from lint3d.geometry import ray_fans
from lint3d.geometry.ray_fans import chords, fan
from lint3d.geometry.spans_surface import surface_from_mesh

TURNS = np.arange(8) * np.pi / 8


@pytest.fixture(params=[None, 20], ids=["at once", "some at once"])
def _portion(request, monkeypatch):
    if request.param is not None:
        monkeypatch.setattr(ray_fans, "RAYS_AT_ONCE", request.param)


@pytest.mark.usefixtures("_portion")
def test_chords_of_a_square_bar_are_as_long_as_its_plane_geometry_says():
    scene = surface_from_mesh(*shapes.arrays(shapes.box([2, 4, 30]))).scene
    place = np.array([[1.0, 2.0, z] for z in range(3, 28)])
    one, two = (np.tile(axis, (len(place), 1)) for axis in ([1.0, 0, 0], [0, 1.0, 0]))
    far = np.full(len(place), 50.0)
    with np.errstate(divide="ignore"):
        true = np.minimum(2 / np.abs(np.cos(TURNS)), 4 / np.abs(np.sin(TURNS)))
    found = chords(scene, place, one, two, TURNS, far)
    assert found == pytest.approx(np.tile(true, (len(place), 1)), rel=1e-6)
    near = np.full(len(place), 1.5)
    short = chords(scene, place, one, two, TURNS, near, near)
    assert short == pytest.approx(np.minimum(found, 3.0), rel=1e-6)
    assert np.isinf(chords(scene, place, one, two, TURNS, near)[:, 4]).all()
    met = fan(scene, place, one, two, TURNS, near)
    assert (met >= 0).tolist() == [(true / 2 < 1.5).tolist()] * len(place)


def test_no_places_no_rays():
    scene = surface_from_mesh(*shapes.arrays(shapes.box([2, 4, 30]))).scene
    none = np.zeros((0, 3))
    assert fan(scene, none, none, none, TURNS, np.zeros(0)).shape == (0, 8)
    assert chords(scene, none, none, none, TURNS, np.zeros(0)).shape == (0, 8)
