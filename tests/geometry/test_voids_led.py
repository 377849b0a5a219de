"""Is the widest way through a gap found where most of the gap is narrower?"""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapes_voids as parts
from manifold3d import Manifold

from lint3d.geometry.raster import Grid
from lint3d.geometry.throats import narrowest
from lint3d.geometry.throats_clearance import Clearance
from lint3d.geometry.voids_border import border_between
from lint3d.geometry.voids_led import contact_between, squeezed
from lint3d.geometry.voids_space import build_space

GAP, BESIDE = 0.6, 0.4


def cup_with_sleeve() -> Manifold:
    """A lid that reaches down round a square cup: the gap is wider in the corners."""
    cup = parts.block([9, 9, 7]) - parts.block([6, 6, 7], [0, 0, 1.5])
    inner = 9 + 2 * BESIDE
    lid = parts.block([inner + 3, inner + 3, 4.5], [0, 0, 2.75 + GAP])
    return Manifold.compose([cup, lid - parts.block([inner, inner, 6], [0, 0, 0.5 + GAP])])


@pytest.mark.further
def test_corners_of_a_square_sleeve() -> None:
    """A way along a side is given; ways through the corners are 1.17 times as wide."""
    frame = parts.random_frame(101)
    vertices, faces = parts.mesh(cup_with_sleeve(), frame)
    grid = Grid.around(vertices.min(axis=0), vertices.max(axis=0), 0.375, 3)
    space = build_space(vertices, faces, grid, 3.25)
    clearance = Clearance(vertices, faces)
    middle, top = 4.5 + BESIDE / 2, 3.5 + GAP / 2
    corners = [
        [0, 0, 0],
        [0, 0, top],
        [middle, 0, top],
        [middle, 0, 0],
        [middle, 0, -2],
        [9, 0, -5],
    ]
    pieces = [np.linspace(a, b, 20)[:-1] for a, b in zip(corners[:-1], corners[1:], strict=True)]
    path = np.vstack([*pieces, corners[-1:]]) @ frame[:, :3].T + frame[:, 3]
    throat = narrowest(clearance, path, 0.1, 1.0)
    assert throat.diameter < BESIDE + 0.01
    ends = np.ravel_multi_index(tuple(grid.index(path[[0, -1]]).T), grid.shape)
    contact = contact_between(space, int(ends[0]), int(ends[1]))
    sides = np.array([contact.chambers[0]]), np.array([contact.chambers[1]])
    border = border_between(clearance, space, sides, [])
    assert border is not None
    wider = squeezed(border, sides, (contact, throat))[1]
    truth = 2 * BESIDE * math.sqrt(2) / (1 + math.sqrt(2))
    assert wider.lower <= truth <= wider.upper
    assert wider.upper - wider.lower < 0.02
