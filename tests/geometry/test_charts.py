"""A chart is called clear only if seen along its axis it covers nothing twice."""

import numpy as np
import pytest
import shapes_basic as shapes

from lint3d.geometry import charts
from lint3d.geometry.charts import clear_charts
from lint3d.geometry.intersect import self_intersections
from lint3d.geometry.topology import edge_table


def charts_of(mesh):
    vertices, faces = mesh
    return clear_charts(
        vertices, faces, edge_table(faces, len(vertices)), np.zeros(len(faces), bool)
    )


def ramp(turns, rise, cells=80):
    """A flat strip that winds round z, rising: looked at from above it may cover itself."""
    angle = np.linspace(0, 2 * np.pi * turns, cells)
    points = [
        np.stack([r * np.cos(angle), r * np.sin(angle), rise * angle], axis=1) for r in (10, 7, 4)
    ]
    return np.stack(points, axis=1).reshape(-1, 3), shapes.grid(cells, 3, False, False)


def test_a_ball_has_six_clear_charts():
    found = charts_of(shapes.icosphere(10, 4))
    sizes = np.bincount(found.chart)
    assert (found.is_clear & (sizes > 500)).sum() == 6
    assert sizes[found.is_clear].sum() > 0.95 * len(found.chart)


def test_all_directions_are_treated_alike():
    vertices, faces = ramp(0.9, 0.0)
    for axes in ([0, 1, 2], [1, 2, 0], [2, 0, 1]):
        for sign in (1, -1):
            found = charts_of((sign * vertices[:, axes], faces))
            assert found.is_clear.tolist() == [True]


@pytest.mark.parametrize("rise", [0.0, 0.5])
def test_a_ramp_that_covers_itself_is_not_clear(rise):
    assert charts_of(ramp(0.9, rise)).is_clear.tolist() == [True]
    assert charts_of(ramp(1.2, rise)).is_clear.tolist() == [False]
    assert charts_of(ramp(2.5, rise)).is_clear.tolist() == [False]


def test_a_ramp_that_runs_into_itself_is_found():
    vertices, faces = ramp(1.4, 0.1)
    assert len(self_intersections(vertices, faces)) == 0
    # Tilt the strip, so that its second turn runs through the first.
    radius = np.hypot(vertices[:, 0], vertices[:, 1])
    angle = np.linspace(0, 1, 80).repeat(3)
    vertices[:, 2] = (radius - 7) * 0.2 * (angle - 0.5)
    assert len(self_intersections(vertices, faces)) > 0


def test_two_sheets_joined_at_a_branch_are_not_clear():
    # Twice round a point: every face looks up, and each spot is covered twice.
    angle = np.linspace(0, 4 * np.pi, 301)[:-1]
    rim = [np.stack([r * np.cos(angle), r * np.sin(angle), np.zeros(300)], 1) for r in (9, 5, 1)]
    points = np.concatenate([np.stack(rim, axis=1).reshape(-1, 3), np.zeros((1, 3))])
    fan = np.stack(
        [np.full(300, 900), 3 * np.arange(300) + 2, 3 * np.roll(np.arange(300), -1) + 2], 1
    )
    faces = np.concatenate([shapes.grid(300, 3, True, False), fan])
    assert not charts_of((points, faces)).is_clear.any()


@pytest.mark.further
def test_rough_surfaces_are_still_right():
    rng = np.random.default_rng(0)
    vertices, faces = shapes.icosphere(10, 4)
    for noise in (0.02, 0.1, 0.3, 1.0):
        rough = vertices + rng.normal(0, noise, vertices.shape)
        proven = self_intersections(rough, faces)
        with pytest.MonkeyPatch.context() as patch:
            patch.setattr(charts, "_FEWEST_FACES", 10**9)
            assert (self_intersections(rough, faces) == proven).all()


def test_dirt_is_no_trouble():
    none = np.zeros((0, 3), np.int64)
    assert len(charts_of((np.zeros((0, 3)), none)).chart) == 0
    loose = np.arange(3000).reshape(-1, 3)
    assert not charts_of((np.random.default_rng(0).normal(size=(3000, 3)), loose)).is_clear.any()
    assert not charts_of((np.zeros((9, 3)), np.array([[0, 0, 1], [2, 3, 4]]))).is_clear.any()
