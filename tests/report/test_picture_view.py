"""The view from which a place is seen, and the cut where none does."""

import numpy as np
import pytest
import shapes_basic as shapes

from lint3d.inspection import PathStep, Result
from lint3d.report.picture_stage import Stage
from lint3d.report.picture_view import View, best_eye, candidates, fitted, shot

SIZE = (700, 500)


def result(stage: Stage, faces: object, **more: object) -> Result:
    triangles = stage.corners[np.asarray(faces)]
    position = tuple(triangles.reshape(-1, 3).mean(axis=0))
    facts = {"position": position, "triangles": triangles, **more}
    return Result("walls/thin-wall", "fail", "Thin.", "a.stl", body="a", **facts)  # type: ignore[arg-type]


@pytest.mark.parametrize("seed", range(6))
def test_a_face_outside_is_looked_at_from_its_side(seed: int) -> None:
    turn = shapes.rotation(np.random.default_rng(seed))
    vertices, faces = shapes.box((30, 20, 10))
    stage = Stage.of([(vertices @ turn.T, faces)])
    for first in range(0, 12, 2):
        found = shot(stage, result(stage, [first, first + 1]), SIZE, SIZE)
        assert not found.hidden
        assert found.main.plane is None
        assert stage.normals[first] @ found.main.eye > 0.2


@pytest.mark.parametrize("seed", range(4))
def test_a_cavity_is_cut_open(seed: int) -> None:
    turn = shapes.rotation(np.random.default_rng(seed))
    vertices, faces = shapes.joined(shapes.box((30, 20, 12)), shapes.turned(shapes.box((8, 6, 4))))
    stage = Stage.of([(vertices @ turn.T, faces)])
    place = result(stage, np.arange(12, 24))
    found = shot(stage, place, SIZE, SIZE)
    assert found.hidden
    assert found.main.plane is not None
    plane = found.main.plane
    assert (np.array(place.position) - plane.point) @ plane.normal == pytest.approx(0, abs=1e-3)
    assert plane.normal @ found.main.eye > 0.5


def test_a_large_place_outside_is_not_cut_but_a_body_within_another_is() -> None:
    stage = Stage.of([shapes.box((30, 20, 10))])
    top = np.flatnonzero(stage.normals[:, 2] > 0.9)
    assert shot(stage, result(stage, top), SIZE, SIZE).near.plane is None
    pair = Stage.of([shapes.box((30, 20, 10)), shapes.box((4, 40, 4), centre=(0, 0, 20))])
    held = result(pair, np.arange(12), other="b")
    assert shot(pair, held, SIZE, SIZE).near.plane is not None


def test_what_stands_before_a_place_counts() -> None:
    # A plate with a high wall at its front edge: from the front its top is hidden.
    stage = Stage.of([shapes.box((40, 40, 2)), shapes.box((40, 2, 60), centre=(0, -21, 30))])
    point, normal = np.array([[0.0, -15, 1]]), np.array([[0.0, 0, 1]])
    eye, seen = best_eye(stage, point, normal)
    assert seen > 0.3
    assert stage.rays.first_facet(point + eye * 1e-3, eye[None], 500.0)[0] == -1
    assert eye[1] > -0.1 or eye[2] > 0.9


def test_a_dimension_lies_in_the_plane_of_its_section() -> None:
    stage = Stage.of([shapes.box((30, 0.4, 20))])
    rng = np.random.default_rng(5)
    for _ in range(10):
        way = rng.normal(size=3)
        way /= np.linalg.norm(way)
        ends = (tuple(-0.2 * way), tuple(0.2 * way))
        place = Result("r/r", "fail", "", "a", body="a", position=(0, 0, 0), ends=ends)
        near = shot(stage, place, SIZE, SIZE).near
        assert near.plane is not None
        assert near.plane.normal @ way == pytest.approx(0, abs=1e-9)
        one, two = near.projected(np.array(ends), SIZE)
        assert np.hypot(*(one - two)) * near.pixel == pytest.approx(0.4)
        assert SIZE[0] / 20 < np.hypot(*(one - two)) < SIZE[0] / 2


def test_a_bent_way_out_lies_in_its_section() -> None:
    stage = Stage.of([shapes.box((60, 60, 60))])
    corner = np.array([[0.0, 0, 0], [10, 0, 0], [10, 8, 0], [25, 8, 0]])
    turn = shapes.rotation(np.random.default_rng(9))
    path = tuple(PathStep(tuple(p), 3.0 - i / 9, "") for i, p in enumerate(corner @ turn.T))
    place = Result("r/r", "fail", "", "a", body="a", position=path[0].position, path=path)
    plane = shot(stage, place, SIZE, SIZE).near.plane
    assert plane is not None
    assert np.abs((corner @ turn.T - plane.point) @ plane.normal).max() < 0.01


def test_the_whole_box_fits() -> None:
    box = np.array([[-3.0, 2, 5], [40, 9, 7]])
    corners = np.array([[x, y, z] for x in box[:, 0] for y in box[:, 1] for z in box[:, 2]])
    for eye in candidates():
        flat = fitted(eye, box, SIZE).projected(corners, SIZE)
        assert (flat >= 0).all()
        assert (flat <= SIZE).all()


def test_up_is_up() -> None:
    for eye in candidates():
        axes = View(eye, np.zeros(3), 1.0).axes
        assert np.allclose(axes @ axes.T, np.eye(3))
        assert np.linalg.det(axes) == pytest.approx(1)
        assert axes[1, 2] >= -1e-12
