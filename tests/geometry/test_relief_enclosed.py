"""Closed hollows: lettering left filled on purpose, and hollows of another kind."""

from __future__ import annotations

import manifold3d as m3
import numpy as np
import pytest
import shapes_relief as shapes
from shapes_walls import arrays

from lint3d.geometry.relief_enclosed import enclosed_lettering
from lint3d.geometry.shells import split_shells
from lint3d.geometry.topology import edge_table


def hollows(vertices: np.ndarray, faces: np.ndarray) -> list[np.ndarray]:
    label = split_shells(edge_table(faces, len(vertices)), faces)
    shells = [faces[label == k] for k in range(int(label.max()) + 1)]
    return sorted(shells, key=lambda one: -np.ptp(vertices[one].reshape(-1, 3), axis=0).max())[1:]


@pytest.mark.parametrize("depth", [0.4, 1.0, 1.6])
def test_an_inner_label_in_any_frame(depth: float) -> None:
    case = shapes.moved(shapes.enclosed("TIDE 42", depth, 8.0), np.random.default_rng(2))
    (one,) = enclosed_lettering(case.vertices, hollows(case.vertices, case.faces))
    assert len(one.rows) == case.islands
    assert one.depth == pytest.approx(depth, abs=1e-6)


@pytest.mark.parametrize("facet", [0.4, 1.5])
@pytest.mark.parametrize(
    "bend",
    [
        shapes.bend_cylinder(14.0),
        shapes.bend_cylinder(-25.0),
        shapes.bend_sphere(30.0),
        shapes.bend_saddle(40.0),
    ],
    ids=["drum", "bore", "ball", "saddle"],
)
def test_an_inner_label_in_a_bent_slab(bend: shapes.Bend, facet: float) -> None:
    case = shapes.enclosed("TIDE 42", 0.6, 8.0, bend=bend, facet=facet)
    case = shapes.moved(case, np.random.default_rng(int(10 * facet)))
    (one,) = enclosed_lettering(case.vertices, hollows(case.vertices, case.faces))
    assert len(one.rows) == case.islands
    assert one.depth == pytest.approx(0.6, abs=0.02 + facet**2 / 56)


def test_a_stop_of_eight_corners_is_a_prism_in_a_file() -> None:
    """Its four upper corners lie as high on a bent surface as on a level one."""
    case = shapes.enclosed("L5.6", 2.7, 38.0)
    case = shapes.stored(shapes.moved(case, np.random.default_rng(1)))
    (one,) = enclosed_lettering(case.vertices, hollows(case.vertices, case.faces))
    assert len(one.rows) == 4


def test_words_are_one_label() -> None:
    case = shapes.moved(shapes.enclosed("fze  8", 0.8, 8.8), np.random.default_rng(1))
    (one,) = enclosed_lettering(case.vertices, hollows(case.vertices, case.faces))
    assert len(one.rows) == 4


def test_balls_and_equal_boxes_are_no_label() -> None:
    block = m3.Manifold.cube((40, 10, 10), True)
    for hollow in (m3.Manifold.sphere(2, 24), m3.Manifold.cube((3, 3, 1), True)):
        row = [hollow.translate((9 * i - 13.5, 0, 0)) for i in range(4)]
        body = block - m3.Manifold.batch_boolean(row, m3.OpType.Add)
        vertices, faces = arrays(body)
        assert len(hollows(vertices, faces)) == 4
        assert enclosed_lettering(vertices, hollows(vertices, faces)) == []


def test_no_hollow_at_all() -> None:
    assert enclosed_lettering(np.zeros((0, 3)), []) == []
