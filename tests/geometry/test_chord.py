"""Chord deviations agree with closed forms; what has edges of its own has none."""

import numpy as np
import pytest
import shapes_basic as shapes

from lint3d.geometry.chord import chord_deviation_mm
from lint3d.geometry.topology import edge_table


def largest(mesh, seed=0, **options):
    vertices, faces = shapes.rewritten(mesh, np.random.default_rng(seed))
    return chord_deviation_mm(vertices, faces, edge_table(faces, len(vertices)), **options).max()


@pytest.mark.parametrize("sides", [8, 12, 16, 32, 71, 200])
@pytest.mark.parametrize("height", [1.0, 60.0])
def test_cylinder(sides, height):
    """Sagitta of an N-gon, r (1 - cos(pi/N)): closed form."""
    expected = 10 * (1 - np.cos(np.pi / sides))
    assert largest(shapes.cylinder(10, height, sides)) == pytest.approx(expected, rel=2e-3)


def test_sagitta_of_the_check_values():
    """r = 10 mm: N = 32 gives 0.04815 mm, 0.01 mm needs N = 71 (closed form)."""
    assert largest(shapes.cylinder(10, 20, 32)) == pytest.approx(0.04815, abs=2e-5)
    assert largest(shapes.cylinder(10, 20, 71)) < 0.01 < largest(shapes.cylinder(10, 20, 70))


@pytest.mark.parametrize("sides", [16, 32, 64])
def test_cone(sides):
    """r (1 - cos(pi/N)) at the foot, times the cosine of the flank's slope: closed form."""
    expected = 10 * (1 - np.cos(np.pi / sides)) * 20 / np.hypot(10, 20)
    assert largest(shapes.cone(10, 20, sides)) == pytest.approx(expected, rel=0.01)


def distance_to_sphere(mesh, radius):
    """How far the faces of an inscribed mesh come inside: their planes' feet, or sides' middles."""
    corner = mesh[0][mesh[1]]
    weight = np.random.default_rng(0).dirichlet([1, 1, 1], 300)
    return radius - np.linalg.norm(np.einsum("wk,fkj->wfj", weight, corner), axis=2).min()


@pytest.mark.parametrize("times", [1, 2, 3])
def test_icosphere(times):
    mesh = shapes.icosphere(10, times)
    assert largest(mesh) == pytest.approx(distance_to_sphere(mesh, 10), rel=0.08)


@pytest.mark.parametrize(("sides", "rings"), [(32, 16), (64, 16), (24, 48)])
def test_ball_of_meridians(sides, rings):
    mesh = shapes.ball(10, sides, rings)
    assert largest(mesh) == pytest.approx(distance_to_sphere(mesh, 10), rel=0.05)


@pytest.mark.parametrize(("around", "across"), [(64, 32), (32, 32), (128, 16)])
def test_torus(around, across):
    """On the outside both sagittas add: (R + r)(1 - cos(pi/N)) and r (1 - cos(pi/M))."""
    expected = 40 * (1 - np.cos(np.pi / around)) + 10 * (1 - np.cos(np.pi / across))
    assert largest(shapes.torus(30, 10, around, across)) == pytest.approx(expected, rel=0.03)


@pytest.mark.parametrize(
    "mesh",
    [
        shapes.box((10, 20, 30)),
        shapes.cylinder(10, 20, 6),
        shapes.TETRAHEDRON,
        shapes.cone(9, 9, 4),
    ],
    ids=["box", "hexagonal prism", "tetrahedron", "pyramid"],
)
def test_shapes_with_edges_of_their_own(mesh):
    for seed in range(5):
        assert largest(mesh, seed) == 0


def test_cut_in_four_a_cylinder_keeps_its_deviation():
    mesh = shapes.quartered(*shapes.cylinder(10, 20, 48))
    assert largest(mesh) == pytest.approx(10 * (1 - np.cos(np.pi / 48)), rel=0.01)


def test_deviation_is_where_the_curve_is():
    vertices, faces = shapes.joined(shapes.box((40, 40, 4)), shapes.ball(5, 24, 12))
    deviation = chord_deviation_mm(vertices, faces, edge_table(faces, len(vertices)))
    assert not deviation[:12].any()
    assert (deviation[12:] > 0).mean() > 0.8


def test_same_in_every_frame():
    mesh = shapes.torus(30, 10, 40, 20)
    values = [largest(mesh, seed) for seed in range(6)]
    assert np.ptp(values) < 1e-3 * max(values)


def test_small_facets_are_skipped_below_the_floor():
    assert largest(shapes.icosphere(10, 3), floor_mm=5.0) == 0
    whole = largest(shapes.icosphere(10, 2))
    assert largest(shapes.icosphere(10, 2), floor_mm=0.01) == pytest.approx(whole)
