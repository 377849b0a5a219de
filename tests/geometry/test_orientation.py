"""Turned faces are counted exactly, and one-sided surfaces told apart."""

import numpy as np
import shapes_basic as shapes
from hypothesis import given, settings
from hypothesis import strategies as st

from lint3d.geometry.orientation import orient
from lint3d.geometry.shells import facet_volumes
from lint3d.geometry.topology import edge_table, same_way_edges


def orient_mesh(mesh):
    vertices, faces = mesh
    table = edge_table(faces, len(vertices))
    return orient(table, facet_volumes(vertices, faces, np.zeros(len(faces), np.int64)))


def test_sound_and_inside_out_solids_have_no_turned_face():
    for mesh in (shapes.box(), shapes.turned(shapes.box())):
        assert not orient_mesh(mesh).is_flipped.any()


@settings(max_examples=40)
@given(st.integers(0, 2**32 - 1), st.floats(0, 0.49))
def test_exactly_the_turned_faces_are_found(seed, share):
    rng = np.random.default_rng(seed)
    vertices, faces = shapes.rewritten(shapes.torus(10, 3, 10, 8), rng)
    turned = np.zeros(len(faces), bool)
    turned[rng.permutation(len(faces))[: int(share * len(faces))]] = True
    faces[turned] = faces[turned][:, ::-1]
    found = orient_mesh((vertices, faces))
    assert (found.is_flipped == turned).all()
    assert not found.is_one_sided.any()


def test_turning_the_flipped_faces_mends_the_surface():
    rng = np.random.default_rng(3)
    vertices, faces = shapes.icosphere(1, 2)
    turn = rng.random(len(faces)) < 0.5
    faces[turn] = faces[turn][:, ::-1]
    flipped = orient_mesh((vertices, faces)).is_flipped
    faces[flipped] = faces[flipped][:, ::-1]
    assert len(same_way_edges(edge_table(faces, len(vertices)))) == 0


def test_half_turned_keeps_the_half_that_looks_outward():
    vertices, faces = shapes.box()
    for turned in (np.arange(6), np.arange(6, 12)):
        mesh = faces.copy()
        mesh[turned] = mesh[turned][:, ::-1]
        assert np.flatnonzero(orient_mesh((vertices, mesh)).is_flipped).tolist() == turned.tolist()


def test_each_surface_has_its_own_majority():
    vertices, faces = shapes.joined(shapes.box(), shapes.turned(shapes.box(centre=(5, 0, 0))))
    faces[[1, 15]] = faces[[1, 15]][:, ::-1]
    assert np.flatnonzero(orient_mesh((vertices, faces)).is_flipped).tolist() == [1, 15]


def test_a_moebius_strip_is_one_sided():
    strip = shapes.moebius()
    found = orient_mesh(shapes.joined(strip, shapes.box(centre=(50, 0, 0))))
    assert not found.is_flipped.any()
    assert np.flatnonzero(found.is_one_sided).tolist() == list(range(len(strip[1])))


def test_crowded_edges_do_not_pass_orientation_on():
    vertices, faces = shapes.joined(
        shapes.box(), shapes.turned(shapes.moved(shapes.box(), (1, 1, 0)))
    )
    vertices, index = np.unique(vertices, axis=0, return_inverse=True)
    assert not orient_mesh((vertices, index.ravel()[faces])).is_flipped.any()
