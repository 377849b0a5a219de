"""Patches: what hangs on one patch alone, against brute force; folds of a box; slivers."""

from __future__ import annotations

import manifold3d as m3
import networkx as nx
import numpy as np
import pytest
from shapes_relief import lettered, moved
from shapes_walls import arrays

from lint3d.geometry.patches import Cut, _search, folds, hanging_parts, vector_area
from lint3d.geometry.topology import edge_table

CUT = Cut(np.radians(35.0))


def hanging_by_brute_force(count: int, pairs: np.ndarray, area: np.ndarray) -> set:
    """(base, what falls off without it), largest patch of each connected part left out."""
    graph = nx.Graph()
    graph.add_nodes_from(range(count))
    graph.add_edges_from(pairs.tolist())
    found = set()
    for whole in nx.connected_components(graph):
        root = max(whole, key=lambda n: (area[n], -n))
        for base in whole:
            rest = graph.subgraph(whole - {base})
            for part in nx.connected_components(rest):
                if root not in part:
                    found.add((base, frozenset(part)))
    return found


@pytest.mark.parametrize("seed", range(40))
def test_what_hangs_is_what_brute_force_finds(seed: int) -> None:
    rng = np.random.default_rng(seed)
    count = int(rng.integers(2, 30))
    pairs = rng.integers(count, size=(int(rng.integers(1, 2 * count)), 2))
    pairs = pairs[pairs[:, 0] != pairs[:, 1]]
    area = rng.random(count)
    tree = _search(count, pairs, area)
    found = set()
    for child in np.flatnonzero(tree.hangs):
        first = tree.place[child]
        run = tree.order[first : first + tree.size[child]]
        found.add((int(tree.parent[child]), frozenset(run.tolist())))
    # A base whose rest falls into pieces: each piece is told by itself.
    assert found == hanging_by_brute_force(count, pairs, area)


def test_a_box_turns_by_a_right_angle_at_twelve_edges() -> None:
    case = lettered("I", 0.5, 5.0)
    table = edge_table(case.faces, len(case.vertices))
    turn = np.degrees(folds(case.vertices, case.faces, table).turn)
    # The letter I is a box on a box: 12 + 8 convex edges and 4 concave ones at its foot.
    assert (turn > 89.9).sum() == 20
    assert (turn < -89.9).sum() == 4
    assert (np.abs(turn) < 0.1).sum() == len(turn) - 24


def test_letters_hang_on_their_base_in_any_frame() -> None:
    case = moved(lettered("TIDE", 0.8, 8.0), np.random.default_rng(4))
    table = edge_table(case.faces, len(case.vertices))
    fold = folds(case.vertices, case.faces, table)
    parts = hanging_parts(fold, CUT)
    concave = 0
    for part in range(len(parts)):
        foot, column = parts.foot_of(part)
        on_base = fold.face[foot, column]
        assert np.isin(on_base, parts.base_faces(part)).all()
        assert np.isin(fold.face[foot, 1 - column], parts.faces(part)).all()
        concave += bool((fold.turn[foot] < 0).all())
    # Four letters. (The floor in the D meets a straight wall and a bent one, and hangs on neither.)
    assert concave == 4


def test_a_sliver_takes_the_direction_of_its_neighbour() -> None:
    # A square with a vertex a hundredth beside its diagonal: the flap between is steep.
    vertices = np.array([[0, 0, 0], [1, 0, 0], [1, 1, 0], [0, 1, 0], [0.5, 0.5, 0.004]], float)
    faces = np.array([[0, 1, 2], [0, 2, 4], [0, 4, 3], [4, 2, 3]])
    table = edge_table(faces, len(vertices))
    fold = folds(vertices, faces, table)
    assert np.abs(fold.turn).max() < np.radians(2.0)


def test_vector_area_of_a_square() -> None:
    corner = np.array([[0, 0, 0], [2, 0, 0], [2, 2, 0], [0, 2, 0]], float)
    area = vector_area(corner, np.roll(corner, -1, axis=0), np.zeros(4, int), 1)
    assert area == pytest.approx(np.array([[0, 0, 4.0]]))


def test_a_surface_without_creases_has_no_parts() -> None:
    case = lettered("I", 0.5, 5.0)
    table = edge_table(case.faces, len(case.vertices))
    assert len(hanging_parts(folds(case.vertices, case.faces, table), Cut(np.pi))) == 0


def test_a_dot_in_a_flat_face_is_no_cliff_of_a_coarse_one() -> None:
    plate = m3.Manifold.cube((6.0, 6.0, 2.0), True)
    dot = m3.Manifold.cylinder(1.0, 0.13, 0.13, 8, True).translate((0, 0, 1.35))
    for part in (plate - dot, plate + dot.translate((0, 0, -0.7))):
        vertices, faces = arrays(part)
        surface = folds(vertices, faces, edge_table(faces, len(vertices)))
        parts = hanging_parts(surface, Cut(np.radians(35.0)))
        assert 8 in np.diff(parts.foot_start)
