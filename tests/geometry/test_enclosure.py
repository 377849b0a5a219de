"""Is it known which places of an open surface lie inside?"""

from __future__ import annotations

import numpy as np
import pytest
import shapes_walls as shapes

from lint3d.geometry.enclosure import caps_of, is_sure, volume_when_closed


def test_a_closed_surface_has_no_caps() -> None:
    vertices, faces = shapes.arrays(shapes.box([10, 8, 6]))
    caps = caps_of(vertices, faces)
    assert len(caps.corners) == 0
    assert caps.area == 0
    assert volume_when_closed(vertices, faces, caps) == pytest.approx(480)
    assert is_sure(caps, np.zeros((3, 3))).all()  # type: ignore[union-attr]


def test_a_face_that_is_there_twice_is_no_hole() -> None:
    vertices, faces = shapes.arrays(shapes.box([10, 8, 6]))
    assert len(caps_of(vertices, faces[[0, *range(len(faces)), 0, 5]]).corners) == 0
    turned = np.concatenate([faces, faces[:1, ::-1]])  # what cancels leaves a hole
    assert set(caps_of(vertices, turned).face) == set(caps_of(vertices, faces[1:]).face + 1)


def test_a_flat_hole_is_closed_as_it_was() -> None:
    vertices, faces = shapes.arrays(shapes.box([10, 8, 6]))
    area = np.linalg.norm(
        np.cross(*(vertices[faces[0, i]] - vertices[faces[0, 0]] for i in (1, 2)))
    )
    caps = caps_of(vertices, faces[1:])
    assert caps.area == pytest.approx(area / 2)
    assert volume_when_closed(vertices, faces[1:], caps) == pytest.approx(480)
    turned = faces[1:, ::-1]
    assert volume_when_closed(vertices, turned, caps_of(vertices, turned)) == pytest.approx(-480)


def test_places_near_the_hole_are_not_sure() -> None:
    # A disc of radius r seen from its axis at a height h covers (1 - h / sqrt(h^2 + r^2)) / 2 of
    # all directions: a quarter at h = r / sqrt(3).
    vertices, faces = shapes.arrays(shapes.rod(3, 20, 400))
    lid = (vertices[faces][:, :, 2] == 20).all(axis=1)
    caps = caps_of(vertices, faces[~lid])
    limit = 3 / np.sqrt(3)
    below = np.array([0.02, 0.9, 0.99, 1.01, 1.5, 4]) * limit
    places = np.stack([0 * below, 0 * below, 20 - below], axis=1)
    sure = is_sure(caps, places)
    assert sure is not None
    assert sure.tolist() == [False, False, False, True, True, True]


def test_a_flat_sheet_is_sure_nowhere() -> None:
    vertices = np.array([[0.0, 0, 0], [9, 0, 0], [9, 9, 0], [0, 9, 0]])
    caps = caps_of(vertices, np.array([[0, 1, 2], [0, 2, 3]]))
    sure = is_sure(caps, np.array([[4.5, 4.5, -0.1], [1, 2, -0.01], [8, 8, -0.3]]))
    assert sure is not None
    assert not sure.any()


def test_too_much_to_work_out_is_said() -> None:
    rng = np.random.default_rng(0)
    caps = caps_of(rng.uniform(0, 9, (30_000, 3)), np.arange(30_000).reshape(-1, 3))
    assert is_sure(caps, rng.uniform(0, 9, (10_000, 3))) is None
