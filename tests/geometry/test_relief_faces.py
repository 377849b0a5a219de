"""Faces as given: the islands of a simplified mesh on the one that was read."""

from __future__ import annotations

import numpy as np
import pytest
import shapes_relief as shapes

from lint3d.geometry.relief_faces import faces_as_given
from lint3d.geometry.reliefs import find_reliefs
from lint3d.geometry.topology import edge_table


def test_letters_keep_their_faces_through_a_remesh() -> None:
    rng = np.random.default_rng(1)
    case = shapes.remeshed(shapes.lettered("TIDE", 0.8, 8.0), 0.8, 0.0, rng)
    table = edge_table(case.faces, len(case.vertices))
    found = find_reliefs(case.vertices, case.faces, table, 1e-6)
    (line,) = found.inscriptions
    folds = line.shapes[0].folds
    assert len(folds.faces) < len(case.faces)
    regions = [shape.measured.island.faces for shape in line.shapes]
    rows = faces_as_given(case.vertices, case.faces, folds, regions)
    corners = case.vertices[case.faces]
    size = np.linalg.norm(
        np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]), axis=1
    )
    for region, row in zip(regions, rows, strict=True):
        assert size[row].sum() / 2 == pytest.approx(folds.area[region].sum(), rel=0.02)
    raised = np.flatnonzero(corners[:, :, 2].min(axis=1) > 0.4)
    assert set(raised.tolist()) <= set(np.concatenate(rows).tolist())


def test_without_regions_there_are_no_faces() -> None:
    case = shapes.lettered("I", 0.8, 8.0)
    folds = find_reliefs(
        case.vertices, case.faces, edge_table(case.faces, len(case.vertices)), 1e-6
    ).searched
    assert folds is not None
    assert faces_as_given(case.vertices, case.faces, folds.folds, []) == []
