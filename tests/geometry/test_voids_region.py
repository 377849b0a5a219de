"""Do the boxes hold every hollow, and nothing where there is none?"""

from __future__ import annotations

import numpy as np
import shapes_voids as parts

from lint3d.geometry.voids_region import faces_off_hull, regions_of_hollows


def test_convex_part_has_no_region() -> None:
    for solid in (parts.block([9, 8, 7]), parts.ball(20, segments=128)):
        vertices, faces = parts.mesh(solid, parts.random_frame(2))
        vertices = vertices.astype(np.float32).astype(float)
        assert not faces_off_hull(vertices, faces).any()
        assert regions_of_hollows(vertices, faces, np.zeros(len(faces), bool)) == []


def test_far_apart_hollows_have_boxes_of_their_own() -> None:
    solid = parts.block([100, 40, 40]) - parts.ball(5, [-40, 0, 0]) - parts.ball(6, [40, 0, 0])
    vertices, faces = parts.mesh(solid)
    boxes = regions_of_hollows(vertices, faces, np.zeros(len(faces), bool))
    assert len(boxes) == 2
    assert np.allclose(boxes[0], [[-45, -5, -5], [-35, 5, 5]], atol=0.1)
    assert regions_of_hollows(vertices, faces, np.ones(len(faces), bool)) == []


def test_groove_across_a_face_is_inside_the_hull() -> None:
    """All corners of the groove's ends lie on the hull; its floor does not."""
    vertices, faces = parts.mesh(parts.block([20, 20, 10]) - parts.block([4, 30, 4], [0, 0, 5]))
    assert faces_off_hull(vertices, faces).sum() >= 6


def test_sealed_hollow_is_not_cut_by_a_box() -> None:
    """At the rim of a grid is the outside: a cut hollow would seem to open there."""
    solid = parts.block([40, 40, 10]) - parts.block([5, 5, 5], [10, 10, 0])
    solid -= parts.block([30, 5, 5], [-4, -10, 0]) + parts.block([5, 30, 5], [-10, -4, 0])
    vertices, faces = parts.mesh(solid)
    sealed = np.all(np.abs(vertices[faces] - [10, 10, 0]) < 3, axis=(1, 2))
    assert sealed.any()
    for low, high in regions_of_hollows(vertices, faces, sealed):
        assert np.all(low <= [7.5, 7.5, -2.5])
        assert np.all(high >= [12.5, 12.5, 2.5])
