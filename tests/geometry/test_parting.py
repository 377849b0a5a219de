"""Solids that share vertices or edges are told apart; what encloses nothing is left alone."""

from __future__ import annotations

import numpy as np
import pytest
from shapes_pairs import ball, box, in_frame, mesh, rod

from lint3d.geometry.parting import part_solids
from lint3d.geometry.weld import weld_exact


def welded(*solids, seed=None):
    """Solids of one file: float32, vertices of equal coordinates are one."""
    meshes = [mesh(solid) for solid in solids]
    if seed is not None:
        meshes = in_frame(meshes, np.random.default_rng(seed))
    corners = np.concatenate([v[f].astype(np.float32) for v, f in meshes]).reshape(-1, 3)
    vertices, index = weld_exact(corners)
    solid = np.repeat(np.arange(len(meshes)), [len(f) for _, f in meshes])
    step = float(2 * np.spacing(np.abs(corners).max()))
    return vertices.astype(float), index.reshape(-1, 3), solid, step


def same_grouping(one, two):
    return len(set(zip(one.tolist(), two.tolist(), strict=True))) == len(set(one)) == len(set(two))


SHARING = {
    "a face": (box([10] * 3), box([5, 10, 10], [10, 0, 0])),
    "a corner of a face": (box([10] * 3), box([5, 4, 4], [10, 0, 0])),
    "an edge": (box([5] * 3), box([5] * 3, [5, 5, 0])),
    "a corner": (box([5] * 3), box([5] * 3, [5, 5, 5])),
    "a round hole": (box([20, 20, 10], [-10, -10, 0]) - rod(3, 4, 11, 24), rod(3, 4, 14, 24)),
    "three in a row": (box([5] * 3), box([5] * 3, [5, 0, 0]), box([5] * 3, [10, 0, 0])),
    "four round an edge": tuple(box([5] * 3, [5 * x, 5 * y, 0]) for x in (0, 1) for y in (0, 1)),
}


@pytest.mark.parametrize("seed", [None, 0, 1, 2, 3])
@pytest.mark.parametrize("name", SHARING)
def test_solids_that_share(name, seed):
    vertices, faces, solid, step = welded(*SHARING[name], seed=seed)
    label = part_solids(vertices, faces, step)
    assert label is not None
    assert same_grouping(label, solid)


def test_a_sound_solid_is_one():
    vertices, faces, _, step = welded(ball(5, 20))
    assert not part_solids(vertices, faces, step).any()


def test_a_cavity_is_told_apart():
    hollow = box([10] * 3) - box([4] * 3, [3, 3, 3])
    vertices, faces, _, step = welded(hollow)
    assert sorted(np.bincount(part_solids(vertices, faces, step))) == [12, 12]


@pytest.mark.parametrize("seed", range(3))
def test_open_and_turned_surfaces_are_left_alone(seed):
    vertices, faces, _, step = welded(*SHARING["a face"], seed=seed)
    assert part_solids(vertices, faces[1:], step) is None
    turned = faces.copy()
    turned[3] = turned[3][::-1]
    assert part_solids(vertices, turned, step) is None
    doubled = np.concatenate([faces, faces])
    assert part_solids(vertices, doubled, step) is None
