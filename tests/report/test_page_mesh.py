"""Meshes on the page: lighter or finer without another shape, and unpacked as they were packed."""

import base64
import gzip

import numpy as np
import pytest
import shapes_basic as shapes

from lint3d.report.page_mesh import (
    clustered,
    creases,
    packed_points,
    packed_rows,
    refined,
    simplified,
)


def unpacked(packed: dict, kind: type, width: int) -> np.ndarray:
    """As the page's own script does it."""
    data = np.frombuffer(gzip.decompress(base64.b64decode(packed["data"])), np.dtype(kind))
    return np.cumsum(data.reshape(width, packed["count"]), axis=1, dtype=kind).T


def area(mesh: shapes.Mesh) -> float:
    corners = mesh[0][mesh[1]]
    return float(
        np.linalg.norm(
            np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]), axis=1
        ).sum()
        / 2
    )


def test_points_come_back_within_half_a_step() -> None:
    points = np.random.default_rng(1).uniform(-70, 900, (500, 3)) * [1, 0.1, 0.01]
    packed = packed_points(points, points.min(axis=0), points.max(axis=0))
    back = np.array(packed["origin"]) + packed["step"] * unpacked(packed, np.uint16, 3)
    assert np.abs(back - points).max() <= packed["step"] * 0.51
    assert packed["step"] < 0.02


def test_rows_come_back_exactly() -> None:
    rows = np.random.default_rng(2).integers(0, 2**31, (400, 3))
    assert (unpacked(packed_rows(rows), np.uint32, 3) == rows).all()


def test_a_closed_mesh_keeps_its_shape() -> None:
    mesh = shapes.torus(20, 5, 200, 120)
    light = simplified(*mesh, 6000)
    assert 500 < len(light[1]) <= 6000
    # The coarsest tolerance is 1.5e-3 of 50 mm, all around a tube of 5 mm: 3 %.
    assert shapes.volume(light) == pytest.approx(shapes.volume(mesh), rel=0.03)
    assert simplified(*mesh, 48_000)[1] is mesh[1]


def test_an_open_mesh_becomes_light_as_well() -> None:
    vertices, faces = shapes.torus(20, 5, 200, 120)
    light = simplified(vertices, faces[:-500], 5000)
    assert 100 < len(light[1]) <= 5000
    assert np.ptp(light[0][light[1]].reshape(-1, 3), axis=0) == pytest.approx(
        [50, 50, 10], rel=0.05
    )


def test_a_cluster_leaves_no_collapsed_or_doubled_face() -> None:
    vertices, faces = shapes.icosphere(10.0, 4)
    _, joined = clustered(vertices, faces, 2.0)
    assert len(joined) < len(faces)
    assert (np.diff(np.sort(joined, axis=1), axis=1) > 0).all()
    assert len(np.unique(np.sort(joined, axis=1), axis=0)) == len(joined)


@pytest.mark.parametrize("most", [50, 1000, 20_000])
def test_finer_faces_cover_the_same_surface(most: int) -> None:
    mesh = shapes.box((100, 0.3, 20))
    fine = refined(*mesh, most)
    assert len(mesh[1]) <= len(fine[1]) <= most
    assert area(fine) == pytest.approx(area(mesh))
    assert shapes.volume(fine) == pytest.approx(shapes.volume(mesh))
    if most == 20_000:
        side = np.diff(fine[0][fine[1]][:, [0, 1, 2, 0]], axis=1)
        assert np.linalg.norm(side, axis=2).max() < 5


def test_the_edges_of_a_box_are_drawn_and_its_diagonals_not() -> None:
    vertices, faces = shapes.box((3, 4, 5))
    lines = creases(vertices, faces)
    length = np.linalg.norm(np.diff(vertices[lines], axis=1), axis=2).ravel()
    assert sorted(length.tolist()) == [3.0] * 4 + [4.0] * 4 + [5.0] * 4
    assert len(creases(*shapes.icosphere(5.0, 4))) == 0
    assert len(creases(vertices, faces[1:])) == 13  # the hole's border, with its diagonal
