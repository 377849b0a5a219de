"""Open scans, needles and coincident faces neither crash the search nor raise heaps of findings."""

from __future__ import annotations

import time

import manifold3d as m3
import numpy as np
import pytest
import shapes_relief as shapes
import shapes_sound as sound
from shapes_walls import arrays

from lint3d.geometry.reliefs import Found, find_reliefs
from lint3d.geometry.topology import edge_table

Mesh = tuple[np.ndarray, np.ndarray]
#: More places than this on a part with five characters are a heap.
MOST = 30


def found_on(vertices: np.ndarray, faces: np.ndarray) -> Found:
    step = 2.0**-23 * float(np.abs(vertices).max())
    return find_reliefs(vertices, faces, edge_table(faces, len(vertices)), step)


def places(found: Found) -> int:
    told = [*found.inscriptions, *found.dots, *found.codes]
    return sum(len(one.shapes) for one in told) + len(found.marks) + len(found.others)


def letters() -> Mesh:
    case = shapes.lettered("TIDE 7", 0.6, 8.0)
    return case.vertices, case.faces


def with_needles(vertices: np.ndarray, faces: np.ndarray, near: float) -> Mesh:
    """Every tenth face split at a point that lies as near to its first corner as that, mm."""
    rows = np.arange(0, len(faces), 10)
    a, b, c = (vertices[faces[rows, k]] for k in range(3))
    way = (b + c) / 2 - a
    length = np.maximum(np.linalg.norm(way, axis=1), 1e-12)
    points = a + way * (near / length)[:, None]
    new = len(vertices) + np.arange(len(rows))
    f = faces[rows]
    split = [np.column_stack([f[:, k], f[:, (k + 1) % 3], new]) for k in range(3)]
    kept = np.delete(faces, rows, axis=0)
    return np.vstack([vertices, points]), np.vstack([kept, *split])


@pytest.mark.parametrize("near", [1e-6, 1e-4, 1e-2])
@pytest.mark.cases(2)
def test_needles_in_letters_change_nothing(near: float) -> None:
    plain, needled = found_on(*letters()), found_on(*with_needles(*letters(), near))
    (one,), (two,) = plain.inscriptions, needled.inscriptions
    assert one.characters == two.characters == 5
    for shape in two.shapes:
        assert shape.lower <= 0.6 <= shape.upper
        assert shape.height == pytest.approx(0.6, abs=1e-3)


def test_caps_that_are_there_twice_make_no_heap() -> None:
    vertices, faces = letters()
    cap = (vertices[faces][:, :, 2] > 0.59).all(axis=1)
    found = found_on(vertices, np.vstack([faces, faces[cap]]))
    assert places(found) <= MOST
    for shape in (s for line in found.inscriptions for s in line.shapes):
        assert shape.lower <= 0.6 <= shape.upper


@pytest.mark.parametrize("share", [0.01, 0.2])
def test_letters_of_which_some_faces_are_there_twice_are_told(share: float) -> None:
    """Half of them were lost, and the rest passed as a mark: fewer edges than 3 % were broken."""
    case = shapes.lettered("vdnhsvl", 0.44, 7.2, font="DejaVu Sans Mono")
    rng = np.random.default_rng(27)
    again = rng.choice(len(case.faces), int(share * len(case.faces)), replace=False)
    found = found_on(case.vertices, np.vstack([case.faces, case.faces[again]]))
    (line,) = found.inscriptions
    assert line.characters == 7
    assert all(shape.lower <= 0.44 <= shape.upper for shape in line.shapes)


def test_caps_that_are_there_both_ways_make_no_heap() -> None:
    vertices, faces = letters()
    cap = (vertices[faces][:, :, 2] > 0.59).all(axis=1)
    found = found_on(vertices, np.vstack([faces, faces[cap][:, ::-1]]))
    assert places(found) <= MOST
    assert not [s for line in found.inscriptions for s in line.shapes if s.lower > 0.6]


@pytest.mark.parametrize("share", [0.02, 0.2])
def test_missing_faces_make_no_heap(share: float) -> None:
    vertices, faces = letters()
    kept = faces[np.random.default_rng(0).random(len(faces)) >= share]
    found = found_on(vertices, kept)
    assert places(found) <= MOST
    for shape in (s for line in found.inscriptions for s in line.shapes):
        assert shape.lower <= 0.6 <= shape.upper


def test_an_open_scan_with_little_noise_shows_its_letters() -> None:
    case = shapes.lettered("TIDE 7", 0.6, 8.0)
    case = shapes.remeshed(case, 0.5, 0.004, np.random.default_rng(1))
    seen = case.vertices[case.faces][:, :, 2].min(axis=1) > -2.0
    found = found_on(case.vertices, case.faces[seen])
    (line,) = found.inscriptions
    assert line.characters == 5
    for shape in line.shapes:
        assert shape.lower <= 0.6 <= shape.upper


def test_a_soup_of_needles_ends_soon() -> None:
    rng = np.random.default_rng(0)
    start = rng.uniform(-30, 30, (20_000, 3))
    corner = np.stack(
        [start, start + rng.normal(0, 8, start.shape), start + rng.normal(0, 1e-3, start.shape)], 1
    )
    begun = time.process_time()
    found = found_on(corner.reshape(-1, 3), np.arange(60_000).reshape(-1, 3))
    assert places(found) == 0
    assert time.process_time() - begun < 10


def test_a_scan_of_nothing_but_noise_is_open() -> None:
    vertices, faces = arrays(sound.plate().refine_to_length(0.5))
    noise = np.random.default_rng(0).normal(0, 0.3, vertices.shape)
    found = found_on(vertices + noise, faces)
    assert "too rough" in found.trouble
    assert places(found) == 0


def test_flat_and_empty_surfaces_carry_nothing() -> None:
    nothing = np.zeros((0, 3))
    assert places(found_on_empty(nothing)) == 0
    flat = np.array([[0.0, 0, 0], [10, 0, 0], [0, 10, 0]])
    assert places(found_on(flat, np.array([[0, 1, 2]]))) == 0
    assert places(found_on(flat, np.array([[0, 1, 1], [0, 0, 0]]))) == 0


def found_on_empty(vertices: np.ndarray) -> Found:
    faces = np.zeros((0, 3), np.int64)
    return find_reliefs(vertices, faces, edge_table(faces, 0), 1e-6)


@pytest.mark.parametrize("seed", [0, 1])
def test_a_few_missing_faces_leave_lettering_recognisable(seed: int) -> None:
    """A foot that runs through a gap was no closed line: nothing was told, and all rules passed."""
    case = shapes.lettered("TIDE 7", 0.6, 8.0)
    fine = m3.Manifold(m3.Mesh64(case.vertices, case.faces.astype(np.uint64)))
    vertices, faces = arrays(fine.refine_to_length(1.0))
    kept = np.random.default_rng(seed).random(len(faces)) > 0.005
    assert 10 < (~kept).sum() < 60
    (line,) = found_on(vertices, faces[kept]).inscriptions
    assert line.characters == 5
    for shape in line.shapes:
        assert shape.lower <= 0.6 <= shape.upper
