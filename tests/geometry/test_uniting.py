"""Bodies that overlap or touch become one surface whose faces know where they come from."""

from __future__ import annotations

import time

import manifold3d as m3
import numpy as np
import pytest
from shapes_pairs import ball, box, in_frame, mesh, rod

from lint3d.geometry.components import connected_groups
from lint3d.geometry.shells import facet_volumes, sum_by_shell
from lint3d.geometry.topology import edge_table
from lint3d.geometry.uniting import Material, unite

HALF = (ball(10, 40) - ball(6, 40)).trim_by_plane([0.0, 0.0, 1.0], 0.0)
OTHER_HALF = (ball(10, 40) - ball(6, 40)).trim_by_plane([0.0, 0.0, -1.0], 0.0)
ONE_PIECE = {
    "share a face": (box([10] * 3), box([5, 10, 10], [10, 0, 0])),
    "on a part of a face": (box([10] * 3), box([5, 3, 3], [10, 2, 2])),
    "crossed bars": (box([30, 4, 4]), box([4, 30, 4], [10, -10, 4])),
    "peg in a blind hole": (
        box([20, 20, 10], [-10, -10, 0]) - rod(3, 4, 11, 24),
        rod(3, 4, 14, 24),
    ),
    "three": (box([10] * 3), box([5, 10, 15], [10, 0, 0]), box([10, 10, 5], [0, 0, 10])),
    "half shells": (HALF, OTHER_HALF),
    "overlap": (box([10] * 3), ball(4, 30).translate([10.0, 5.0, 5.0])),
    "inside": (box([10] * 3), box([2] * 3, [4] * 3)),
    "cup with its lid": (box([10] * 3) - box([8, 8, 9], [1, 1, 1]), box([10, 10, 1], [0, 0, 10])),
}
APART = {
    "beside": (box([10] * 3), box([5] * 3, [10.001, 0, 0])),
    "in a cavity": (box([20] * 3) - box([10] * 3, [5] * 3), box([9.9] * 3, [5.05] * 3)),
}


def materials(solids, seed):
    meshes = [mesh(solid) for solid in solids]
    if seed is not None:
        meshes = in_frame(meshes, np.random.default_rng(seed))
    return [Material(v.astype(np.float32).astype(float), f) for v, f in meshes]


@pytest.mark.parametrize("seed", [None, 0, 1, 2, 3])
@pytest.mark.parametrize("name", ONE_PIECE)
@pytest.mark.cases(20)
def test_bodies_that_are_one_piece(name, seed):
    solids = ONE_PIECE[name]
    bodies = materials(solids, seed)
    (one,) = unite(bodies)
    assert one.members == tuple(range(len(solids)))
    expected = m3.Manifold.batch_boolean(list(solids), m3.OpType.Add)
    table = edge_table(one.faces, len(one.vertices))
    assert (table.users() == 2).all()
    first = table.start[:-1]
    shell = connected_groups(len(one.faces), table.use[first] // 3, table.use[first + 1] // 3)
    volume = sum_by_shell(facet_volumes(one.vertices, one.faces, shell), shell)
    # As many shells as the union in the drawing has: nothing is left between the bodies.
    outer = sum(piece.volume() > 0 for piece in expected.decompose())
    assert (volume > 0).sum() == outer
    assert (volume < 0).sum() == (1 if name in ("half shells", "cup with its lid") else 0)
    assert volume.sum() == pytest.approx(expected.volume(), rel=1e-5)


@pytest.mark.parametrize("seed", [None, 0, 1])
@pytest.mark.parametrize("name", ONE_PIECE)
def test_each_face_lies_on_the_face_that_it_comes_from(name, seed):
    bodies = materials(ONE_PIECE[name], seed)
    (one,) = unite(bodies)
    for number, body in enumerate(bodies):
        mine = one.body == number
        source = body.vertices[body.faces[one.face[mine]]]
        normal = np.cross(source[:, 1] - source[:, 0], source[:, 2] - source[:, 0])
        normal /= np.linalg.norm(normal, axis=1)[:, None]
        middle = one.vertices[one.faces[mine]].mean(axis=1)
        off = np.einsum("ij,ij->i", middle - source[:, 0], normal)
        assert np.abs(off).max(initial=0.0) < 1e-4
    assert one.moved < 1e-4


@pytest.mark.parametrize("seed", [None, 0, 1, 2])
@pytest.mark.parametrize("name", APART)
def test_bodies_that_stand_apart(name, seed):
    assert unite(materials(APART[name], seed)) == []


def test_exact_contacts_are_not_moved():
    (one,) = unite(materials(ONE_PIECE["share a face"], None))
    assert one.moved == 0
    assert np.isin(one.vertices, [0, 10, 15]).all()


def test_an_open_body_stays_by_itself():
    block, lid, knob = materials(
        (box([10] * 3), box([5] * 3, [9, 1, 1]), box([5] * 3, [0, 0, 9])), 1
    )
    lid = Material(lid.vertices, lid.faces[1:])
    (one,) = unite([block, lid, knob])
    assert one.members == (0, 2)
    assert unite([block, lid]) == []


@pytest.mark.parametrize("z", [5.0, 9.0, 10.0])
def test_a_crumb_without_area_is_no_part_of_a_piece(z):
    """Rounding to single precision leaves closed bodies whose corners lie on a line."""
    block, knob = materials((box([10] * 3), box([5] * 3, [0, 0, 9])), None)
    line = np.array([[k, k, z] for k in (1.0, 2.0, 3.0, 4.0)])
    crumb = Material(line, np.array([[0, 2, 1], [0, 1, 3], [1, 2, 3], [2, 0, 3]]))
    assert unite([block, crumb]) == []
    (one,) = unite([block, crumb, knob])
    assert one.members == (0, 2)


def test_solids_of_one_body_that_share_a_face():
    v, f = mesh(box([10] * 3))
    w, g = mesh(box([5, 10, 10], [10, 0, 0]))
    vertices, index = np.unique(np.concatenate([v, w]), axis=0, return_inverse=True)
    faces = index.ravel()[np.concatenate([f, g + len(v)])]
    (one,) = unite([Material(vertices, faces, is_parted=True)])
    assert one.members == (0,)
    assert set(one.body) == {0}
    assert facet_volumes(one.vertices, one.faces, np.zeros(len(one.faces), int)).sum() == (
        pytest.approx(1500)
    )
    assert len(set(one.face)) == 20  # all but the two pairs between the boxes


def test_a_thousand_bodies_apart_cost_next_to_nothing():
    """Best of three: what is asserted is that there is no all-pairs loop."""
    v, f = mesh(ball(1, 12))
    bodies = [
        Material(v + 2.5 * np.array([x, y, z]), f)
        for x in range(10)
        for y in range(10)
        for z in range(10)
    ]
    spent = []
    for _ in range(3):
        start = time.process_time()
        assert unite(bodies) == []
        spent.append(time.process_time() - start)
    assert min(spent) < 1.0
