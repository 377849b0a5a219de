"""Wrong indices are left out and counted; triangles that meet by position only are told."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from mesh_files import CUBE, TETRAHEDRON, TETRAHEDRON_FACES

from lint3d import Fault, Region
from lint3d.readers.faultlist import FaultList
from lint3d.readers.threemf_mesh import (
    UsableMesh,
    is_closed_by_number,
    tell_split_vertices,
    usable_mesh,
)
from lint3d.readers.threemf_model import ModelObject

MEMBER = "3D/3dmodel.model"


def made(vertices: np.ndarray, triangles: np.ndarray, kind: str = "model") -> ModelObject:
    where = Region(member=MEMBER, start_line=4)
    return ModelObject(5, MEMBER, None, kind, where, vertices, np.asarray(triangles, np.int64))


def checked(
    vertices: np.ndarray, triangles: np.ndarray, kind: str = "model"
) -> tuple[UsableMesh, list[Fault]]:
    faults = FaultList()
    one = made(vertices, triangles, kind)
    mesh = usable_mesh(one, faults)
    tell_split_vertices(one, mesh, faults)
    return mesh, faults.faults()


def test_sound() -> None:
    mesh, faults = checked(TETRAHEDRON, TETRAHEDRON_FACES)
    assert faults == []
    assert mesh.rows is None


@pytest.mark.parametrize(
    ("index", "says"),
    [
        (-1, "with a negative vertex number"),
        (-(2**40), "with a negative vertex number"),
        (4, "with the number of a vertex that is not there"),
        (2**40, "with the number of a vertex that is not there"),
    ],
)
@given(row=st.integers(0, 3), column=st.integers(0, 2))
def test_wrong_index(index: int, says: str, row: int, column: int) -> None:
    triangles = TETRAHEDRON_FACES.copy()
    triangles[row, column] = index
    mesh, (fault,) = checked(TETRAHEDRON, triangles)
    assert says in fault.message
    assert fault.region == Region(member=MEMBER, object_id="5", facet=row)
    assert mesh.rows is not None
    assert mesh.rows.tolist() == [other for other in range(4) if other != row]
    np.testing.assert_array_equal(mesh.faces, TETRAHEDRON_FACES[mesh.rows])


@given(st.integers(0, 3), st.permutations([0, 1, 2]))
def test_repeated_index(row: int, order: list[int]) -> None:
    triangles = TETRAHEDRON_FACES.copy()
    triangles[row, order[0]] = triangles[row, order[1]]
    mesh, (fault,) = checked(TETRAHEDRON, triangles)
    assert "naming a vertex twice" in fault.message
    assert len(mesh.faces) == 3


def test_each_triangle_is_counted_once() -> None:
    triangles = np.array([[-1, -1, 9], [9, 9, 1], [1, 1, 2], [0, 3, 2]])
    mesh, faults = checked(TETRAHEDRON, triangles)
    assert sum(fault.count for fault in faults) == 3
    assert len(mesh.faces) == 1


def test_far_vertex() -> None:
    vertices = TETRAHEDRON.copy()
    vertices[3, 2] = -1e10
    mesh, (fault,) = checked(vertices, TETRAHEDRON_FACES)
    assert "has 3 triangles with a corner further than 1e+09" in fault.message
    assert np.isfinite(mesh.vertices).all()


SOUP = (CUBE.reshape(-1, 3), np.arange(36).reshape(-1, 3))


def test_edges_shared_by_position_only() -> None:
    """3MF Core 1.4, §4.1"""
    _, (fault,) = checked(*SOUP)
    assert "§4.1" in fault.message
    assert fault.count == 36 - 8
    assert "object 5" in fault.message


def test_open_by_position_too_is_left_to_the_rules() -> None:
    vertices, triangles = SOUP
    assert checked(vertices, triangles[:-1])[1] == []
    assert checked(TETRAHEDRON, TETRAHEDRON_FACES[:-1])[1] == []


def test_only_models_must_be_closed() -> None:
    assert checked(*SOUP, kind="surface")[1] == []


def test_closed_with_a_vertex_used_twice_over_is_fine() -> None:
    """Two tetrahedra that touch in a point, each with a vertex of its own there."""
    vertices = np.concatenate([TETRAHEDRON, -TETRAHEDRON])
    second = TETRAHEDRON_FACES[:, ::-1] + 4
    assert checked(vertices, np.concatenate([TETRAHEDRON_FACES, second]))[1] == []


@given(st.integers(0, 3))
def test_turned_triangle_is_not_closed(row: int) -> None:
    triangles = TETRAHEDRON_FACES.copy()
    triangles[row] = triangles[row, ::-1]
    assert is_closed_by_number(TETRAHEDRON_FACES)
    assert not is_closed_by_number(triangles)
    assert not is_closed_by_number(np.concatenate([TETRAHEDRON_FACES, TETRAHEDRON_FACES]))
