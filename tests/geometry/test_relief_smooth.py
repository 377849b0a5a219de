"""The smooth surface of a patch that grows is that of the patch as it is then."""

from __future__ import annotations

import numpy as np
import pytest
import shapes_relief as shapes

from lint3d.geometry.patches import Folds, folds
from lint3d.geometry.relief_smooth import SmoothSurface
from lint3d.geometry.topology import edge_table


def bent() -> Folds:
    """A plate bent to a radius of 20 mm in facets of 2 mm."""
    outline = shapes.Outline.square((14, 10))
    case = shapes.on_slab(outline, 0.5, base="cylinder", radius=20.0, facet=2.0)
    return folds(case.vertices, case.faces, edge_table(case.faces, len(case.vertices)))


def test_it_is_worked_out_anew_where_it_changed() -> None:
    surface = bent()
    rng = np.random.default_rng(4)
    middle = surface.vertices[surface.faces].mean(axis=1)
    order = np.argsort(np.linalg.norm(middle - middle[0], axis=1))
    mine = np.zeros(len(middle), bool)
    mine[order[:60]] = True
    growing = SmoothSurface(surface, mine)
    every = np.arange(len(surface.vertices))
    growing.off(every)
    for first in range(60, 120, 12):
        joins = rng.permutation(order[first : first + 12])
        growing.join(joins)
        mine[joins] = True
        for told, anew in zip(
            growing.off(every), SmoothSurface(surface, mine).off(every), strict=True
        ):
            assert told == pytest.approx(anew, abs=1e-9)


def test_corners_of_the_drum_lie_on_it_and_others_do_not() -> None:
    surface = bent()
    axis = np.array([0.0, 0.0, -20.0])
    away = np.hypot(surface.vertices[:, 0], surface.vertices[:, 2] - axis[2])
    on = np.abs(away - 20.0) < 1e-6
    mine = on[surface.faces].all(axis=1) & (surface.normal[:, 2] > 0)
    left_out = np.flatnonzero(mine)[::2]
    mine[left_out] = False
    asked = np.setdiff1d(surface.faces[left_out], surface.faces[mine])
    smooth = SmoothSurface(surface, mine)
    lifted = np.flatnonzero((away > 20.3) & (np.abs(surface.vertices[:, 1]) < 3))
    assert (smooth.off(lifted)[1] > 0.2).all()
    assert len(asked)
    assert (smooth.off(asked)[1] < 0.05).all()
