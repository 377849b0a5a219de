"""Is a bar as thick as its section, however finely its sides are cut, and wherever it lies?"""

from __future__ import annotations

import manifold3d as m3
import numpy as np
import pytest
import shapes_walls as shapes
from scipy.spatial.transform import Rotation

from lint3d.geometry.rods import bars
from lint3d.geometry.rods_polygon import nearest_held
from lint3d.geometry.spans_surface import surface_from_mesh


@pytest.mark.parametrize("look", ["inward", "outward"])
@pytest.mark.parametrize(("count", "cuts"), [(4, 24), (12, 1), (12, 20), (48, 12)])
@pytest.mark.cases(1)
def test_flats_cut_into_small_facets_are_as_thick(look: str, count: int, cuts: int) -> None:
    """Rounding tilts small facets: holes were 0.00006 mm narrower than their interval said."""
    thick = 0.52
    body = shapes.box([6, 6, 2], [-3, -3, 0])
    rod = shapes.rod(thick / 2 / np.cos(np.pi / count), 6, count, 0.1).translate((0, 0, -1))
    body = body + rod if look == "inward" else body - rod
    vertices, faces = shapes.arrays(body.refine(cuts))
    for seed in range(2):
        turn = Rotation.random(random_state=seed).as_matrix()
        moved = (vertices @ turn.T + [40, -50, 60]).astype(np.float32).astype(float)
        found = bars(surface_from_mesh(moved, faces), 0.66, look)
        assert found
        for bar in found:
            assert bar.lower <= thick <= bar.upper
            assert bar.upper - bar.lower < 1e-4


@pytest.mark.parametrize("look", ["inward", "outward"])
@pytest.mark.parametrize("seed", range(4))
def test_a_tapered_bar_is_as_thick_as_its_thin_end(look: str, seed: int) -> None:
    """The section looked at stands a little inside the end: 0.2983 mm was told for 0.2974 mm."""
    rng = np.random.default_rng(seed)
    count = int(rng.choice([5, 12, 24, 64]))
    thin, tall = rng.uniform(0.2, 0.36), rng.uniform(2, 6)
    foot = thin * rng.uniform(1.1, 1.8)
    block = shapes.box([6, 6, tall if look == "outward" else 2], [-3, -3, 0])
    cone = m3.Manifold.cylinder(tall, foot / 2, thin / 2, count)
    body = block - cone if look == "outward" else block + cone.translate((0, 0, 2))
    vertices, faces = shapes.arrays(body)
    turn = Rotation.random(random_state=seed).as_matrix()
    moved = (vertices @ turn.T + [40, -50, 60]).astype(np.float32).astype(float)
    found = bars(surface_from_mesh(moved, faces), 0.66, look)
    assert found
    narrow = thin * np.cos(np.pi / count)
    lean = (foot - thin) / 2 / tall
    bar = min(found, key=lambda one: one.diameter)
    # The section at the end, and the ball that touches the sides there.
    assert bar.lower <= narrow <= bar.upper
    assert bar.upper >= narrow * np.hypot(1, lean * np.cos(np.pi / count)) - 1e-6
    assert bar.diameter == pytest.approx(narrow, abs=3e-4)
    assert bar.upper - bar.lower < 0.004


def outline(corners: np.ndarray, cuts: int) -> np.ndarray:
    """(s, 2, 2) sides of a polygon, each cut into as many."""
    share = np.linspace(0, 1, cuts + 1)[:, None]
    sides = [corners[i - 1] + share * (corners[i] - corners[i - 1]) for i in range(len(corners))]
    return np.concatenate([np.stack([side[:-1], side[1:]], axis=1) for side in sides])


def test_a_circle_a_little_off_comes_to_rest_between_the_sides() -> None:
    rng = np.random.default_rng(8)
    ends, section, start = [], [], []
    for i, count in enumerate((3, 4, 5, 8, 24)):
        angle = (np.arange(count) + rng.uniform()) * 2 * np.pi / count
        corners = np.stack([np.cos(angle), np.sin(angle)], axis=1) / np.cos(np.pi / count)
        ends.append(outline(corners, 1 + i) + i * 10)
        section.append(np.full(len(ends[-1]), i))
        start.append(i * 10 + rng.uniform(-1, 1, 2) * 0.002)
    given = np.full(5, 0.997)
    radius, middle, held = nearest_held(np.concatenate(ends), np.concatenate(section), given, start)
    assert held.all()
    assert radius == pytest.approx(1.0, abs=1e-9)
    assert np.abs(middle - 10 * np.arange(5)[:, None]).max() < 1e-9


def test_a_circle_that_the_sides_do_not_hold_there_stays_as_it_was() -> None:
    square = outline(np.array([[-2.0, -2], [2, -2], [2, 2], [-2, 2]]), 3)
    section, middle = np.zeros(len(square), np.int64), np.zeros((1, 2))
    for radius in (1.0, np.inf, 0.0):  # far smaller than the outline, open, nothing
        found, where, held = nearest_held(square, section, np.array([radius]), middle)
        assert found[0] == radius
        assert not held[0]
        assert where.tolist() == middle.tolist()


@pytest.mark.parametrize("seed", [5, 7, 8, 18, 26, 27])
def test_slivers_where_wires_were_united_make_them_no_thinner(seed: int) -> None:
    """One of six wires of 0.4 mm was told 0.004 to 0.011 mm thinner, to within 0.00003 mm."""
    rng = np.random.default_rng(seed)
    thick, pitch = rng.uniform(0.3, 0.55), rng.uniform(2, 4)
    long = 2 * pitch + thick
    wires = [
        wire
        for at in (0.0, pitch, 2 * pitch)
        for wire in (
            shapes.box([long, thick, thick], [0, at, 0]),
            shapes.box([thick, long, thick], [at, 0, 0]),
        )
    ]
    turn = Rotation.random(random_state=seed).as_matrix()
    frame = np.column_stack([turn, rng.uniform(-50, 50, 3)])
    moved = [wire.transform(frame) for wire in wires]
    grid = m3.Manifold.batch_boolean(moved, m3.OpType.Add).refine(4)
    vertices, faces = shapes.arrays(grid)
    vertices = vertices.astype(np.float32).astype(float)
    found = bars(surface_from_mesh(vertices, faces), 0.66)
    assert len(found) >= 5
    for bar in found:
        assert bar.lower <= thick <= bar.upper
