"""Only edges that stand for a smooth shape are called smooth."""

import numpy as np
import pytest
import shapes_basic as shapes

from lint3d.geometry.smooth import smooth_edges
from lint3d.geometry.topology import edge_table


def smooth(mesh, **options):
    vertices, faces = shapes.rewritten(mesh, np.random.default_rng(0))
    return smooth_edges(vertices, faces, edge_table(faces, len(vertices)), **options)


def prism(outline, height=10.0):
    """A convex outline (n, 2) made solid."""
    count = len(outline)
    centre = outline.mean(axis=0)
    points = [np.array([[*centre, 0]]), np.column_stack([outline, np.zeros(count)])]
    points += [np.column_stack([outline, np.full(count, height)]), np.array([[*centre, height]])]
    low, high = 1 + np.arange(count), 1 + count + np.arange(count)
    next_low, next_high = np.roll(low, -1), np.roll(high, -1)
    zero, top = np.zeros(count, np.int64), np.full(count, 2 * count + 1)
    sides = [(low, next_low, next_high), (low, next_high, high), (zero, next_low, low)]
    sides += [(top, high, next_high)]
    return np.concatenate(points), np.concatenate([np.stack(s, axis=1) for s in sides])


def chamfered(width, depth, cut):
    x, y = width / 2, depth / 2
    return np.array(
        [[x, -y + cut], [x, y - cut], [x - cut, y], [-x + cut, y]]
        + [[-x, y - cut], [-x, -y + cut], [-x + cut, -y], [x - cut, -y]]
    )


@pytest.mark.parametrize("cut", [0.2, 1.0, 2.0, 4.0, 7.0])
def test_chamfers_are_edges(cut):
    assert len(smooth(prism(chamfered(20, 30, cut))).face) == 0


@pytest.mark.parametrize("sides", [3, 4, 5, 6])
def test_prisms_are_not_smooth(sides):
    assert len(smooth(shapes.cylinder(10, 20, sides)).face) == 0


@pytest.mark.parametrize("bend", [1.0, 5.0, 20.0, 40.0])
def test_a_bend_or_draft_stands_alone(bend):
    lean = 10 * np.tan(np.radians(bend))
    outline = np.array([[0, 0], [20, 0], [20, 10], [20 - lean, 20], [0, 20]])
    assert len(smooth(prism(outline)).face) == 0
    # Bent twice, the same way, in one wall: headings of the outline's sides.
    heading = np.radians(90 + bend * np.arange(4) + [0, 0, 0, 90 - bend])
    steps = np.array([10, 10, 10, 25])[:, None] * np.stack([np.cos(heading), np.sin(heading)], 1)
    twice = np.cumsum(np.concatenate([[[20.0, 0.0]], steps]), axis=0)
    assert len(smooth(prism(twice)).face) == 0


@pytest.mark.parametrize("sides", [8, 12, 30, 100])
def test_a_cylinder_is_smooth_along_its_sides_only(sides):
    found = smooth(shapes.cylinder(10, 20, sides))
    assert len(found.face) == sides
    assert found.turn == pytest.approx(2 * np.pi / sides, rel=1e-3)
    assert found.width_mm == pytest.approx(20 * np.sin(np.pi / sides), rel=1e-3)


def test_a_rounded_corner_between_walls_is_smooth():
    for steps in (2, 3, 6):
        t = (np.arange(steps + 1) / steps) * np.pi / 2
        arc = np.stack([6 + 4 * np.cos(t), 16 + 4 * np.sin(t)], axis=1)
        outline = np.concatenate([arc, [[-10, 20], [-10, -20], [10, -20]]])
        assert len(smooth(prism(outline)).face) >= steps - 1


def test_balls_and_rings_are_smooth_all_over():
    for mesh in (shapes.icosphere(10, 3), shapes.torus(20, 5, 64, 32)):
        found = smooth(mesh)
        assert np.isin(np.arange(len(mesh[1])), found.face).mean() > 0.95


def test_what_is_below_the_floor_may_be_left_out():
    assert len(smooth(shapes.icosphere(10, 3), floor_mm=5.0).face) == 0
    assert len(smooth(shapes.icosphere(10, 3), floor_mm=0.02).face) > 1000


def test_dirt_is_no_trouble():
    none = np.zeros((0, 3), np.int64)
    assert len(smooth_edges(np.zeros((0, 3)), none, edge_table(none, 0)).face) == 0
    loose = np.arange(30).reshape(-1, 3)
    points = np.random.default_rng(0).normal(size=(30, 3))
    assert len(smooth_edges(points, loose, edge_table(loose, 30)).face) == 0
    flat = np.array([[0, 0, 1], [2, 2, 2]])
    assert len(smooth_edges(points, flat, edge_table(flat, 30)).face) == 0
