"""Which shell holds which does not depend on how they are turned."""

import numpy as np
import pytest
import shapes_basic as shapes
from hypothesis import given, settings
from hypothesis import strategies as st

from lint3d.geometry.nesting import nest_shells
from lint3d.geometry.orientation import orient
from lint3d.geometry.shells import closed_shells, split_shells
from lint3d.geometry.topology import edge_table


def nest(*meshes):
    vertices, faces = shapes.joined(*meshes)
    table = edge_table(faces, len(vertices))
    label = split_shells(table, faces)
    parent, depth = nest_shells(
        vertices, faces, label, closed_shells(table, label), orient(table).is_flipped
    )
    return parent.tolist(), depth.tolist()


def ball(radius, centre=(0, 0, 0)):
    return shapes.moved(shapes.icosphere(radius, 2), centre)


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 2**32 - 1))
@pytest.mark.further
def test_nested_several_deep_in_any_order_and_turn(seed):
    rng = np.random.default_rng(seed)
    # A ball in a cavity of a ball in a cavity, and a neighbour with a cavity of its own.
    sizes = [10, 8, 6, 4, 2]
    meshes = [ball(r, rng.uniform(-0.3, 0.3, 3)) for r in sizes]
    meshes += [ball(5, (20, 0, 0)), ball(3, (20.5, 0, 0))]
    above = [-1, 0, 1, 2, 3, -1, 5]
    deep = [0, 1, 2, 3, 4, 0, 1]
    order = rng.permutation(7)
    place = np.argsort(order)
    turn = rotation_and_shift(rng)
    chosen = [turn(shapes.turned(meshes[i]) if rng.random() < 0.5 else meshes[i]) for i in order]
    parent, depth = nest(*chosen)
    assert depth == [deep[i] for i in order]
    assert parent == [-1 if above[i] < 0 else place[above[i]] for i in order]


def rotation_and_shift(rng):
    matrix, shift = shapes.rotation(rng), rng.uniform(-100, 100, 3)
    return lambda mesh: ((mesh[0] @ matrix.T + shift).astype(np.float32).astype(float), mesh[1])


def test_neighbours_and_copies_do_not_hold_each_other():
    assert nest(ball(3), ball(3, (10, 0, 0))) == ([-1, -1], [0, 0])
    assert nest(ball(3), ball(3)) == ([-1, -1], [0, 0])
    # Within the box of a ring, but not in the ring.
    assert nest(shapes.torus(10, 2, 32, 16), ball(1)) == ([-1, -1], [0, 0])


def test_a_cavity_that_touches_the_wall_is_held():
    wall = shapes.box((10, 10, 10))
    for centre in ((3, 0, 0), (3, 3, 0), (3, 3, 3)):
        cavity = shapes.box((4, 4, 4), centre)
        for inner in (cavity, shapes.turned(cavity)):
            assert nest(wall, inner) == ([-1, 0], [0, 1])


def test_a_body_that_touches_from_outside_is_not_held():
    wall = shapes.box((10, 10, 10))
    for centre in ((7, 0, 0), (7, 7, 0), (7, 7, 7)):
        assert nest(wall, shapes.box((4, 4, 4), centre)) == ([-1, -1], [0, 0])


@pytest.mark.parametrize("offset", [5.0, 8.0, 10.0])
def test_overlapping_solids_do_not_hold_each_other(offset):
    assert nest(ball(10), ball(6, (offset, 0, 0))) == ([-1, -1], [0, 0])


def test_a_cavity_that_breaks_out_is_held_if_more_of_it_is_inside():
    assert nest(ball(10), shapes.turned(ball(6, (5, 0, 0)))) == ([-1, 0], [0, 1])
    assert nest(ball(10), shapes.turned(ball(6, (14, 0, 0)))) == ([-1, -1], [0, 0])


def test_open_shells_hold_and_are_held():
    vertices, faces = shapes.icosphere(10, 2)
    bowl = vertices, faces[1:]
    assert nest(bowl, ball(3)) == ([-1, 0], [0, 1])
    small = shapes.icosphere(3, 2)
    assert nest((vertices, faces), (small[0], small[1][2:])) == ([-1, 0], [0, 1])


def test_a_shell_with_turned_faces_still_holds():
    vertices, faces = shapes.icosphere(10, 2)
    faces[::3] = faces[::3][:, ::-1]
    assert nest((vertices, faces), ball(3)) == ([-1, 0], [0, 1])


def test_far_from_the_origin():
    far = (1e6, 1e6, -1e6)
    meshes = [shapes.moved(ball(r), far) for r in (10, 8, 6)]
    assert nest(*meshes) == ([-1, 0, 1], [0, 1, 2])


def test_thousands_of_shells():
    centres = np.stack(np.meshgrid(*[np.arange(13) * 3.0] * 3), axis=-1).reshape(-1, 3)
    bubbles = [shapes.moved(shapes.icosahedron(1), centre) for centre in centres]
    block = shapes.box((60, 60, 60), (18, 18, 18))
    parent, depth = nest(*bubbles, block)
    assert parent == [len(bubbles)] * len(bubbles) + [-1]
    assert nest(*bubbles)[1] == [0] * len(bubbles)
    assert depth[:-1] == [1] * len(bubbles)


def test_loose_triangles_in_a_block():
    rng = np.random.default_rng(0)
    corner = rng.uniform(-8, 8, (20_000, 1, 3)) + rng.normal(0, 0.1, (20_000, 3, 3))
    soup = corner.reshape(-1, 3), np.arange(60_000).reshape(-1, 3)
    parent, _ = nest(soup, shapes.box((20, 20, 20)))
    assert parent == [20_000] * 20_000 + [-1]


def test_nothing_is_nested_in_nothing():
    empty = np.zeros((0, 3), np.int64)
    parent, depth = nest_shells(np.zeros((0, 3)), empty, empty[:, 0], np.zeros(0, bool))
    assert len(parent) == len(depth) == 0
