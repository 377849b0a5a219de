"""What is seen is where geometry says that it is: areas of outlines and sections in closed form."""

import numpy as np
import pytest
import shapes_basic as shapes

from lint3d.report.picture_stage import Stage
from lint3d.report.picture_trace import PAPER, Marking, Paint, traced
from lint3d.report.picture_view import LIKED, Plane, View

SIZE = (400, 300)


def pixels() -> np.ndarray:
    x, y = np.meshgrid(np.arange(SIZE[0]), np.arange(SIZE[1]))
    return np.column_stack([x.ravel(), y.ravel()]) + 0.5


def test_a_ball_has_the_outline_of_a_circle() -> None:
    stage = Stage.of([shapes.icosphere(10.0, 5)])
    face, depth, cut = Paint(stage, View(LIKED, np.zeros(3), 0.1), SIZE, []).seen(pixels())
    area = (face >= 0).sum() * 0.1**2
    assert area == pytest.approx(np.pi * 100, rel=0.01)
    assert not cut.any()
    nearest = depth[face >= 0].min()
    farthest = depth[face >= 0].max()
    assert farthest - nearest == pytest.approx(10, rel=0.05)


@pytest.mark.parametrize("seed", range(4))
def test_a_hollow_ball_is_cut_as_a_ring(seed: int) -> None:
    normal = shapes.rotation(np.random.default_rng(seed))[0]
    mesh = shapes.joined(shapes.icosphere(10.0, 5), shapes.turned(shapes.icosphere(7.0, 5)))
    stage = Stage.of([mesh])
    view = View(normal, np.zeros(3), 0.08, Plane(1e-6 * normal, normal))
    face, _, cut = Paint(stage, view, SIZE, []).seen(pixels())
    assert cut.sum() * 0.08**2 == pytest.approx(np.pi * (100 - 49), rel=0.01)
    assert ((face >= 0) & ~cut).sum() * 0.08**2 == pytest.approx(np.pi * 49, rel=0.01)


def test_marked_faces_and_nothing_else_are_in_their_colour() -> None:
    stage = Stage.of([shapes.box((10, 10, 10))])
    front = stage.normals[:, 1] < -0.9
    view = View(np.array([0.0, -1, 0]), np.zeros(3), 0.1)
    image = traced(stage, view, SIZE, [Marking(front, (185, 58, 20))]).astype(int)
    red = image[..., 0] - image[..., 2] > 30
    assert red.sum() * 0.1**2 == pytest.approx(100, rel=0.06)  # its outline is drawn in ink
    side = View(np.array([1.0, 0, 0]), np.zeros(3), 0.1)
    other = traced(stage, side, SIZE, [Marking(front, (185, 58, 20))]).astype(int)
    assert (other[..., 0] - other[..., 2] > 30).sum() == 0


def test_a_mark_shows_without_its_colour() -> None:
    stage = Stage.of([shapes.box((10, 10, 10))])
    view = View(np.array([0.0, -1, 0]), np.zeros(3), 0.1)
    grey = [
        traced(stage, view, SIZE, marks).astype(float).mean(axis=2)[120:180, 170:230].std()
        for marks in ([], [Marking(np.ones(12, bool), (185, 58, 20))])
    ]
    assert grey[0] < 1 < 20 < grey[1]


def test_nothing_is_paper_and_the_same_twice() -> None:
    stage = Stage.of([shapes.torus(10, 3, 40, 20)])
    view = View(LIKED, np.zeros(3), 0.1)
    one, two = (traced(stage, view, SIZE) for _ in range(2))
    assert (one == two).all()
    assert (one[0, 0] == PAPER).all()
