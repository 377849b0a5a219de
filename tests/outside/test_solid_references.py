"""Soundness verdicts against libraries and closed forms from outside the project.

References: libigl (edge and vertex manifold tests, boundary facets, winding numbers), VTK (feature
edges, triangle intersection, mass properties), manifold3d (which meshes are solids); volume ratios
in closed form.
"""

import igl
import manifold3d
import numpy as np
import pytest
import shapes_basic as shapes
from vtkmodules.util.numpy_support import numpy_to_vtk, numpy_to_vtkIdTypeArray
from vtkmodules.vtkCommonCore import vtkPoints
from vtkmodules.vtkCommonDataModel import vtkCellArray, vtkPolyData, vtkTriangle
from vtkmodules.vtkFiltersCore import vtkFeatureEdges, vtkMassProperties

from lint3d.geometry.facets import degenerate_faces
from lint3d.geometry.intersect import self_intersections
from lint3d.geometry.nesting import nest_shells
from lint3d.geometry.shells import closed_shells, facet_volumes, split_shells
from lint3d.geometry.topology import (
    crowded_edges,
    edge_table,
    euler_number,
    has_repeated_vertex,
    nonmanifold_vertices,
    open_edges,
    same_way_edges,
)
from lint3d.geometry.weld import weld_exact


def broken(rng):
    """A sound part, then broken at random: faces lost, turned, doubled, vertices merged."""
    mesh = [shapes.torus(10, 3, 12, 8), shapes.icosphere(5, 2), shapes.box(), shapes.ball(4, 9, 6)]
    vertices, faces = mesh[rng.integers(4)]
    faces = faces.copy()
    for _ in range(rng.integers(0, 4)):
        some = rng.integers(0, len(faces), rng.integers(1, 4))
        what = rng.integers(4)
        if what == 0 and len(faces) > 6:
            faces = np.delete(faces, some, axis=0)
        elif what == 1:
            faces[some] = faces[some][:, ::-1]
        elif what == 2:
            faces = np.concatenate([faces, faces[some]])
        else:
            one, two = rng.choice(np.unique(faces), 2, replace=False)
            faces[faces == one] = two
            faces = faces[~has_repeated_vertex(faces)]
    return vertices, faces


def faults_of(mesh):
    table = edge_table(mesh[1], len(mesh[0]))
    found = open_edges(table), crowded_edges(table), same_way_edges(table)
    return [*map(len, found), nonmanifold_vertices(table, mesh[1])]


def test_manifold_tests_of_libigl():
    rng = np.random.default_rng(1)
    unsound = 0
    for _ in range(300):
        mesh = broken(rng)
        rims, crowds, same_way, pinched = faults_of(mesh)
        # libigl calls an edge manifold that one or two faces use, whichever way round.
        assert igl.is_edge_manifold(mesh[1])[0] == (crowds == 0)
        used = np.unique(mesh[1])
        assert sorted(pinched.place[:, 0]) == sorted(used[~igl.is_vertex_manifold(mesh[1])[used]])
        if crowds == 0 and same_way == 0:
            assert len(igl.boundary_facets(mesh[1])[0]) == rims
        unsound += bool(rims or crowds or same_way or len(pinched))
    assert 100 < unsound < 290


def poly_data(mesh):
    points, cells = vtkPoints(), vtkCellArray()
    points.SetData(numpy_to_vtk(np.ascontiguousarray(mesh[0]), deep=True))
    offsets = np.arange(0, 3 * len(mesh[1]) + 1, 3)
    arrays = (np.ascontiguousarray(a, np.int64).ravel() for a in (offsets, mesh[1]))
    cells.SetData(*(numpy_to_vtkIdTypeArray(array, deep=True) for array in arrays))
    data = vtkPolyData()
    data.SetPoints(points)
    data.SetPolys(cells)
    return data


def vtk_edges(mesh, which):
    edges = vtkFeatureEdges()
    edges.SetInputData(poly_data(mesh))
    for name in ("BoundaryEdges", "NonManifoldEdges", "FeatureEdges", "ManifoldEdges"):
        getattr(edges, name + ("On" if name == which else "Off"))()
    edges.Update()
    return edges.GetOutput().GetNumberOfCells()


def test_feature_edges_of_vtk():
    rng = np.random.default_rng(2)
    for _ in range(100):
        mesh = broken(rng)
        rims, crowds, _, _ = faults_of(mesh)
        assert vtk_edges(mesh, "BoundaryEdges") == rims
        assert (vtk_edges(mesh, "NonManifoldEdges") > 0) == (crowds > 0)


def test_manifold3d_takes_what_is_sound_and_refuses_what_is_not():
    """manifold3d accepts edges that pair up in opposite ways; a pinched vertex it splits."""
    rng = np.random.default_rng(3)
    accepted = 0
    for _ in range(200):
        mesh = broken(rng)
        rims, crowds, same_way, _ = faults_of(mesh)
        solid = manifold3d.Manifold(
            manifold3d.Mesh(mesh[0].astype(np.float32), mesh[1].astype(np.uint32))
        )
        is_taken = solid.status() == manifold3d.Error.NoError
        if rims == crowds == same_way == 0:
            assert is_taken
        if rims or same_way:
            assert not is_taken
        accepted += is_taken
    assert 20 < accepted < 180


def test_volumes_of_vtk_and_manifold3d():
    for mesh in (shapes.torus(10, 3, 40, 30), shapes.icosphere(5, 3), shapes.cone(4, 9, 33)):
        label = np.zeros(len(mesh[1]), np.int64)
        ours = facet_volumes(*mesh, label).sum()
        properties = vtkMassProperties()
        properties.SetInputData(poly_data(mesh))
        assert ours == pytest.approx(properties.GetVolume(), rel=1e-5)
        solid = manifold3d.Manifold(
            manifold3d.Mesh(mesh[0].astype(np.float32), mesh[1].astype(np.uint32))
        )
        assert ours == pytest.approx(solid.volume(), rel=1e-5)


def test_volume_ratios_in_closed_form():
    """Icosahedron in its sphere 0.6054613829; torus of 64 x 32 segments 0.991991541."""
    ball = facet_volumes(*shapes.icosahedron(2.0), np.zeros(20, np.int64)).sum()
    assert ball / (4 / 3 * np.pi * 8) == pytest.approx(0.6054613829, abs=1e-10)
    ring = shapes.torus(10, 3, 64, 32)
    volume = facet_volumes(*ring, np.zeros(len(ring[1]), np.int64)).sum()
    assert volume / (2 * np.pi**2 * 10 * 9) == pytest.approx(0.991991541, abs=1e-9)


def test_euler_numbers_of_libigl():
    rng = np.random.default_rng(4)
    for _ in range(50):
        _, faces = broken(rng)
        _, compact = np.unique(faces, return_inverse=True)
        compact = compact.reshape(-1, 3)
        table = edge_table(compact, int(compact.max()) + 1)
        assert euler_number(table, compact) == igl.euler_characteristic(compact)


def test_nesting_against_winding_numbers():
    """A shell's depth is how many others wind round one of its points (libigl, exact sum)."""
    rng = np.random.default_rng(5)
    for _ in range(10):
        meshes = [shapes.icosphere(10, 2)]
        while len(meshes) < 12:
            centre, radius = rng.uniform(-8, 8, 3), rng.uniform(0.3, 4)
            new = shapes.moved(shapes.icosphere(radius, 1), centre)
            others = np.concatenate([mesh[0] for mesh in meshes])
            gap = np.abs(np.linalg.norm(others - centre, axis=1) - radius).min()
            apart = [
                abs(np.linalg.norm(centre - m[0].mean(axis=0)) - r) > radius + 0.5
                or np.linalg.norm(centre - m[0].mean(axis=0)) > radius + r + 0.5
                for m, r in ((m, np.ptp(m[0][:, 0]) / 2) for m in meshes)
            ]
            if gap > 0.3 and all(apart):
                meshes.append(shapes.turned(new) if rng.random() < 0.5 else new)
        vertices, faces = shapes.joined(*meshes)
        table = edge_table(faces, len(vertices))
        label = split_shells(table, faces)
        _, depth = nest_shells(vertices, faces, label, closed_shells(table, label))
        for shell, mesh in enumerate(meshes):
            others = [m for i, m in enumerate(meshes) if i != shell]
            numbers = [abs(igl.winding_number(*m, mesh[0][:1])[0]) for m in others]
            assert depth[shell] == round(sum(numbers))


def test_triangle_intersections_of_vtk():
    """All pairs of loose triangles in general position, one by one."""
    rng = np.random.default_rng(6)
    corner = rng.uniform(0, 10, (70, 1, 3)) + rng.normal(0, 2.5, (70, 3, 3))
    expected = {
        (i, j)
        for i in range(70)
        for j in range(i + 1, 70)
        if vtkTriangle.TrianglesIntersect(*corner[i], *corner[j])
    }
    found = self_intersections(corner.reshape(-1, 3), np.arange(210).reshape(-1, 3))
    assert {tuple(pair) for pair in found} == expected
    assert len(expected) > 50


def crossing_part(rng):
    """One shell that crosses itself in general position: a ball with a part pushed through."""
    vertices, faces = shapes.icosphere(10, 3)
    vertices = vertices @ shapes.rotation(rng).T
    near = vertices[:, 0] > 6
    vertices[near, 0] -= rng.uniform(16, 20)
    return vertices + rng.normal(0, 1e-3, vertices.shape), faces


def test_crossings_against_vtk_one_by_one():
    """Pairs without a common vertex (VTK does not leave shared vertices out)."""
    rng = np.random.default_rng(8)
    vertices, faces = crossing_part(rng)
    ours = {tuple(pair) for pair in self_intersections(vertices, faces)}
    corner = vertices[faces]
    low, high = corner.min(axis=1), corner.max(axis=1)
    expected = set()
    for i in range(len(faces)):
        near = np.flatnonzero((low[i] <= high[i + 1 :]).all(1) & (low[i + 1 :] <= high[i]).all(1))
        for j in near + i + 1:
            apart = not np.isin(faces[i], faces[j]).any()
            if apart and vtkTriangle.TrianglesIntersect(*corner[i], *corner[j]):
                expected.add((i, j))
    shared = {(i, j) for i, j in ours if np.isin(faces[i], faces[j]).any()}
    assert ours - shared == expected
    assert len(expected) > 100


def test_needles_of_single_precision():
    """Common practice, no source: three points on a line, written in single precision, turned."""
    rng = np.random.default_rng(9)
    count = 3000
    start = rng.uniform(-50, 50, (count, 3))
    along = rng.normal(size=(count, 3)) * rng.uniform(0.1, 30, (count, 1))
    corner = np.stack([start, start + along, start + along * rng.random((count, 1))], axis=1)
    points = corner.reshape(-1, 3) @ shapes.rotation(rng).T
    vertices, index = weld_exact(points.astype(np.float32))
    assert degenerate_faces(vertices, index.reshape(-1, 3)).all()
