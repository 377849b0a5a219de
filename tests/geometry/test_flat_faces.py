"""Flat faces in few facets are the same surface, and bent ones stay as they are."""

from __future__ import annotations

import manifold3d as m3
import numpy as np
import pytest
import shapes_relief as shapes
import shapes_sound as sound
import trimesh
from shapes_walls import arrays

from lint3d.geometry.facet_turns import facet_turns
from lint3d.geometry.flat_faces import stray_mm, with_few_facets
from lint3d.geometry.topology import edge_table

Part = tuple[np.ndarray, np.ndarray]


def few(vertices: np.ndarray, faces: np.ndarray, step: float = 0.0) -> Part:
    table = edge_table(faces, len(vertices))
    return with_few_facets(vertices, faces, table, facet_turns(vertices, faces, table), step)


def cut_up(part: Part, times: int) -> Part:
    """Every facet in four, so many times."""
    for _ in range(times):
        part = trimesh.remesh.subdivide(*part)
    return part


def turned(part: Part, seed: int) -> Part:
    """In a frame of its own, from a file: corners are rounded, and no face is flat any more."""
    case = shapes.ReliefCase("part", *part, height=0.0)
    moved = shapes.stored(shapes.moved(case, np.random.default_rng(seed)))
    return moved.vertices, moved.faces


def step_of(vertices: np.ndarray) -> float:
    return 2.0**-23 * float(np.abs(vertices).max())


PARTS = {
    "box": m3.Manifold.cube((10, 20, 30)),
    "holes": sound.drilled(4, 1.5),
    "housing": sound.housing(2),
    "bracket": sound.bracket(True),
    "letters": sound.plate() + shapes.font_text("B8% o", 8.0).extrude(1.0).translate((0, 0, 1.5)),
}


@pytest.mark.parametrize("name", PARTS)
@pytest.mark.parametrize("seed", [0, 1])
def test_what_was_cut_up_is_the_same_in_few_facets(name: str, seed: int) -> None:
    part = arrays(PARTS[name])
    given = turned(cut_up(part, 2), seed)
    step = step_of(given[0])
    found = few(*given, step)
    assert len(found[1]) <= len(part[1])
    body = trimesh.Trimesh(*found, process=False)
    whole = trimesh.Trimesh(*given, process=False)
    assert body.is_watertight
    assert body.is_winding_consistent
    assert body.volume == pytest.approx(whole.volume, rel=1e-6)
    assert body.area == pytest.approx(whole.area, rel=1e-6)
    far = trimesh.proximity.closest_point(body, given[0][::7])[1]
    assert far.max() <= stray_mm(step)


def test_bent_surfaces_stay_as_they_are() -> None:
    for body in (m3.Manifold.sphere(20, 128), m3.Manifold.cylinder(20, 8, 8, 3000)):
        part = arrays(body)
        assert few(*part)[1] is part[1] or len(few(*part)[1]) == len(part[1])
    fine = cut_up(arrays(m3.Manifold.cylinder(20, 8, 8, 512)), 2)
    assert len(few(*fine)[1]) >= 4 * 512 - 4


def test_a_slope_of_a_tenth_of_a_degree_is_kept() -> None:
    roof = np.array([[0, 0], [40, 0], [40, 5], [20, 5.035], [0, 5]])
    part = cut_up(arrays(m3.CrossSection([roof]).extrude(20)), 3)
    found = few(*part)
    assert len(found[1]) == 16
    assert found[0][:, 1].max() == part[0][:, 1].max()


def test_a_face_whose_outline_meets_itself_is_whole() -> None:
    """Two pits with one corner in common."""
    pit = m3.Manifold.hull_points([[0, 0, 1], [4, 0, 1], [4, 4, 1], [0, 4, 1], [2, 2, -2]])
    body = m3.Manifold.cube((12, 12, 6)).translate((-6, -6, -5)) - pit - pit.rotate((0, 0, 180))
    given = turned(cut_up(arrays(body), 2), 3)
    found = trimesh.Trimesh(*few(*given, step_of(given[0])), process=False)
    assert found.is_watertight
    assert len(found.faces) < len(given[1])
    assert found.volume == pytest.approx(trimesh.Trimesh(*given, process=False).volume, rel=1e-6)


def test_noise_of_a_micrometre_is_left_to_others() -> None:
    vertices, faces = cut_up(arrays(m3.Manifold.cube((10, 20, 30))), 4)
    vertices = vertices + np.random.default_rng(0).normal(0, 1e-3, vertices.shape)
    assert few(vertices, faces)[1] is faces
