"""The whole inner surface of holes of which some sides are known, in random frames."""

from __future__ import annotations

import manifold3d as m3
import numpy as np
import pytest
import shapes_walls as shapes
from hypothesis import given, settings
from hypothesis import strategies as st
from mesh_files import binary_stl
from scipy.spatial.transform import Rotation

import lint3d
from lint3d.config import Config
from lint3d.geometry.rods_rings import axes_beside, whole_rings
from lint3d.geometry.spans_surface import surface_from_mesh


def lobed(lobes, depth, count):
    """Corners of a lobed outline, the circle in it 1 wide."""
    turn = 2 * np.pi * np.arange(count * lobes) / (count * lobes)
    away = (1 + depth * np.cos(lobes * turn)) / (1 - depth) / 2
    return away[:, None] * np.column_stack([np.cos(turn), np.sin(turn)])


def star(points, inner):
    """Corners of a star; the circle in it rests on the inner ones and is 1 wide."""
    turn = np.pi * np.arange(2 * points) / points
    away = np.where(np.arange(2 * points) % 2 == 0, 1 / inner, 1.0) / 2
    return away[:, None] * np.column_stack([np.cos(turn), np.sin(turn)])


def plate_with(corners, thick):
    hole = m3.Manifold.extrude(m3.CrossSection([corners], m3.FillRule.Positive), thick + 2)
    return shapes.box([12, 10, thick], [-6, -5, 0]) - hole.translate([0, 0, -1])


def turned(body, seed):
    vertices, faces = shapes.arrays(body)
    return Rotation.random(random_state=seed).apply(vertices), faces


@settings(max_examples=20, deadline=None)
@given(st.integers(3, 8), st.floats(0.05, 0.25), st.integers(0, 9999))
def test_from_any_side_it_is_the_whole_hole(lobes, depth, seed):
    vertices, faces = turned(plate_with(lobed(lobes, depth, 12), 2.0), seed)
    surface = surface_from_mesh(vertices, faces)
    axis = Rotation.random(random_state=seed).apply([0, 0, 1.0])
    middle = surface.corners.mean(axis=1)
    aside = np.linalg.norm(middle - (middle @ axis)[:, None] * axis, axis=1)
    inside = (np.abs(surface.normals @ axis) < 0.5) & (aside < 3)
    known = np.random.default_rng(seed).choice(np.flatnonzero(inside), 2, replace=False)
    rings = whole_rings(
        surface,
        surface.normals,
        known,
        np.arange(2),
        np.stack([axis, axis]),
        np.ones(2, bool),
        np.ones(2),
    )
    assert rings.grown.all()
    assert rings.ring[0] == rings.ring[1]
    for i in range(2):
        assert set(rings.facet[rings.bar == i]) == set(np.flatnonzero(inside))


def test_the_outside_of_a_plate_is_no_hole():
    vertices, faces = turned(shapes.box([12, 10, 2], [-6, -5, 0]), 5)
    surface = surface_from_mesh(vertices, faces)
    axis = Rotation.random(random_state=5).apply([0, 0, 1.0])
    side = np.flatnonzero(np.abs(surface.normals @ axis) < 0.5)[:1]
    rings = whole_rings(
        surface, surface.normals, side, np.zeros(1, int), axis[None], np.ones(1, bool), np.ones(1)
    )
    assert not rings.closed.any()
    assert list(rings.facet) == list(side)


def test_sides_that_look_one_way_may_have_two_axes():
    vertices, faces = shapes.arrays(plate_with(star(4, 0.8), 2.0))
    surface = surface_from_mesh(vertices, faces)
    upright = np.abs(surface.normals[:, 2]) < 0.5
    inside = np.flatnonzero(upright & (np.abs(surface.corners[:, 0, 0]) < 2))
    axis, _ = axes_beside(surface, inside[:1], np.zeros(1, int))
    assert np.abs(axis @ [0, 0, 1.0]).max() == pytest.approx(1.0)


@pytest.mark.parametrize(
    ("corners", "depth"),
    [
        (star(6, 0.7), 3.4),
        (star(8, 0.635), 3.1),
        (lobed(6, 0.218, 10), 3.6),
        (lobed(8, 0.229, 12), 2.5),
    ],
)
@pytest.mark.parametrize("diameter", [0.37, 0.46])
@pytest.mark.cases(2)
def test_a_hole_with_many_arms_is_told_once_by_the_circle_in_it(tmp_path, corners, depth, diameter):
    """Sides nearer than the circle in the middle were told as holes of their own, and failed."""
    vertices, faces = turned(plate_with(corners * diameter, depth * diameter), 7)
    path = tmp_path / "plate.stl"
    path.write_bytes(binary_stl(vertices[faces]))
    found = lint3d.inspect(
        path,
        only=["walls/small-hole", "walls/narrow-gap"],
        limits=("walls/small-hole=0.423mm", "walls/narrow-gap=0.423mm"),
        workers=0,
        config=Config(),
    )
    failed = [one for one in found.results if one.kind == "fail"]
    if diameter > 0.423:
        assert not failed
    else:
        (one,) = failed
        assert one.lower - 1e-5 <= diameter <= one.upper + 1e-5
