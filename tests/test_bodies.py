"""From facets to bodies: welded, split into shells, grouped by which holds which, named."""

from __future__ import annotations

import time

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from parts import Facets, box, inverted, joined, part_of, turned

from lint3d import Body, Part
from lint3d.bodies import MANY_LOOSE_PIECES, MANY_OPEN_SHELLS


def volumes(part: Part) -> list[float]:
    """Volumes of the bodies, material only."""
    return [float(body.mesh.volume) for body in part.bodies]


def shells(body: Body) -> list[tuple[int, bool]]:
    return [(shell.depth, shell.closed) for shell in body.shells]


def onion(sizes: list[float], seed: int) -> Facets:
    """Cubes one inside the other, each in a random orientation, in a random order."""
    rng = np.random.default_rng(seed)
    cubes = [box(size, (-size / 2,) * 3) for size in sizes]
    cubes = [inverted(cube) if rng.random() < 0.5 else cube for cube in cubes]
    return joined(*(cubes[i] for i in rng.permutation(len(cubes))))


def test_a_cube_is_one_closed_body() -> None:
    part = part_of(box())
    (body,) = part.bodies
    assert (body.name, body.closed, len(body.vertices), len(body.faces)) == ("part-1", True, 8, 12)
    assert volumes(part) == pytest.approx([1000])
    assert part.stitched == 0


@pytest.mark.parametrize("seed", range(6))
def test_shells_one_in_the_other_are_paired_however_they_are_turned(seed: int) -> None:
    """Five cubes: hollow, hollow, and a solid one in the middle. Three bodies."""
    sizes = [10.0, 8.0, 6.0, 4.0, 2.0]
    part = part_of(turned(onion(sizes, seed), seed))
    assert [shells(body) for body in part.bodies] == [
        [(0, True), (1, True)], [(2, True), (3, True)], [(4, True)],
    ]  # fmt: skip
    assert volumes(part) == pytest.approx([1000 - 512, 216 - 64, 8], rel=1e-6)
    assert [body.name for body in part.bodies] == ["part-1", "part-1/2", "part-1/3"]


def test_orientation_is_mended_in_memory_only() -> None:
    facets = joined(inverted(box(10)), box(4, (3, 3, 3)))
    part = part_of(facets)
    (body,) = part.bodies
    assert volumes(part) == pytest.approx([1000 - 64])
    a, b, c = body.vertices[body.faces_as_given].swapaxes(0, 1)
    given_volume = np.einsum("ij,ij->", a, np.cross(b, c)) / 6
    assert given_volume == pytest.approx(-1000 + 64)
    assert [round(shell.volume) for shell in body.shells] == [-1000, 64]


def test_one_face_turned_over_is_mended_too() -> None:
    facets = box()
    facets[5] = facets[5, ::-1]
    part = part_of(facets)
    assert volumes(part) == pytest.approx([1000])


def test_a_loose_ball_in_a_cavity_is_a_body_of_its_own() -> None:
    part = part_of(joined(box(20), inverted(box(10, (5, 5, 5))), box(3, (8, 8, 8))))
    assert volumes(part) == pytest.approx([8000 - 1000, 27])


def test_two_cavities_belong_to_their_body() -> None:
    part = part_of(joined(box(20), inverted(box(2, (2, 2, 2))), inverted(box(4, (10, 10, 10)))))
    (body,) = part.bodies
    assert shells(body) == [(0, True), (1, True), (1, True)]
    assert abs(body.shells[1].volume) == pytest.approx(64)  # cavities by falling volume


def test_cubes_that_touch_in_a_vertex_or_an_edge_are_one_body() -> None:
    corner = part_of(joined(box(), box(at=(10, 10, 10))))
    edge = part_of(joined(box(), box(at=(10, 10, 0))))
    apart = part_of(joined(box(), box(at=(10.1, 10, 10))))
    assert [len(p.bodies) for p in (corner, edge, apart)] == [1, 1, 2]
    assert volumes(corner) == pytest.approx([2000])


def test_cubes_that_overlap_without_a_common_vertex_are_two_bodies() -> None:
    part = part_of(joined(box(), box(at=(5, 5.5, 6))))
    assert volumes(part) == pytest.approx([1000, 1000])


def test_bodies_are_named_by_falling_volume_then_by_place() -> None:
    part = part_of(
        joined(box(2, (40, 0, 0)), box(5, (20, 0, 0)), box(5, (0, 0, 0)), box(8, (60, 0, 0))),
        "lid",
    )
    found = [(body.name, *body.vertices.min(axis=0)) for body in part.bodies]
    assert found == [
        ("lid", 60, 0, 0), ("lid/2", 0, 0, 0), ("lid/3", 20, 0, 0), ("lid/4", 40, 0, 0),
    ]  # fmt: skip


@settings(max_examples=20, deadline=None)
@given(order=st.permutations(range(36)), roll=st.lists(st.integers(0, 2), min_size=36, max_size=36))
def test_order_of_facets_and_corners_changes_nothing(order: list[int], roll: list[int]) -> None:
    facets = joined(box(10), inverted(box(4, (3, 3, 3))), box(2, (30, 0, 0)))
    mixed = np.array([np.roll(facets[i], roll[i], axis=0) for i in order])
    part = part_of(mixed)
    assert volumes(part) == pytest.approx([1000 - 64, 8])
    assert [body.vertices.min() for body in part.bodies] == [0, 0]


def test_faces_are_those_of_the_file_in_its_order() -> None:
    facets = joined(box(2, (30, 0, 0)), box(10))
    part = part_of(facets)
    big, small = part.bodies
    assert list(big.face_in_part) == list(range(12, 24))
    assert list(small.face_in_part) == list(range(12))
    for body in part.bodies:
        given_corners = body.vertices[body.faces_as_given]
        assert np.array_equal(given_corners, facets[body.face_in_part])
        assert body.region_of(3).facet == body.face_in_part[3]


def test_arrays_are_read_only() -> None:
    part = part_of(joined(box(), box(at=(30, 0, 0))))
    for array in (part.vertices, part.faces, part.bodies[0].vertices, part.bodies[0].faces):
        with pytest.raises(ValueError, match="read-only"):
            array[0] = 0


# --- welding --------------------------------------------------------------------------------------


def cracked(gap: float) -> Facets:
    """A cube of which one facet lies off by `gap` in all of its corners."""
    facets = box()
    facets[5] += gap
    return facets


def test_a_crack_within_the_tolerance_is_stitched_and_told() -> None:
    part = part_of(cracked(0.5e-4), weld_mm=1e-4)
    assert part.stitched > 0
    assert part.weld_tolerance_mm == 1e-4
    assert part.bodies[0].closed


def test_a_crack_beyond_the_tolerance_stays_open() -> None:
    part = part_of(cracked(3e-4), weld_mm=1e-4)
    assert part.stitched == 0
    assert not all(body.closed for body in part.bodies)
    assert part_of(cracked(3e-4), weld_mm=1e-3).bodies[0].closed


def test_without_tolerance_only_equal_corners_are_one() -> None:
    assert not part_of(cracked(1e-6), weld_mm=0.0).bodies[0].closed
    assert part_of(box(), weld_mm=0.0).bodies[0].closed


def test_a_tolerance_never_changes_a_sound_surface() -> None:
    """A box of 0.05 mm is not welded shut by a tolerance of 1 mm."""
    part = part_of(box((10, 10, 0.05)), weld_mm=1.0)
    assert volumes(part) == pytest.approx([5.0])
    assert part.stitched == 0


# --- heaps ----------------------------------------------------------------------------------------


def loose(count: int, seed: int = 0) -> Facets:
    rng = np.random.default_rng(seed)
    corners = rng.uniform(0, 1000, (count, 1, 3)) + rng.uniform(0, 1, (count, 3, 3))
    heap: Facets = corners.astype(np.float32).astype(np.float64)
    return heap


def test_a_heap_of_loose_triangles_is_one_body_and_quick() -> None:
    begun = time.process_time()
    part = part_of(loose(100_000))
    assert time.process_time() - begun < 15
    (body,) = part.bodies
    assert len(body.faces) == 100_000
    assert not body.closed


def test_a_heap_around_a_sound_body_leaves_it_alone() -> None:
    part = part_of(joined(box(50, (-500, -500, -500)), loose(MANY_OPEN_SHELLS + 50)))
    assert [body.closed for body in part.bodies] == [True, False]
    assert len(part.bodies[1].faces) == MANY_OPEN_SHELLS + 50


def test_a_few_open_shells_are_bodies_of_their_own() -> None:
    assert len(part_of(loose(5)).bodies) == 5


def test_corners_that_miss_each_other_leave_one_body_and_not_one_for_each_face() -> None:
    faces = joined(box(20), box(20, (30, 0, 0)))
    missed = faces + np.random.default_rng(1).normal(0, 1e-2, faces.shape)
    assert len(missed) > MANY_LOOSE_PIECES
    assert [len(body.faces) for body in part_of(missed).bodies] == [len(missed)]
    # Open shells of more faces are bodies as before, however many pieces lie about.
    with_cups = joined(missed, *(box(5, (0, 0, 30 * i))[2:] for i in range(1, 4)))
    assert sorted(len(body.faces) for body in part_of(with_cups).bodies) == [10, 10, 10, 24]


def test_many_closed_bodies_are_all_told_apart() -> None:
    many = joined(*(box(1, (2 * i, 2 * j, 0)) for i in range(40) for j in range(40)))
    assert len(part_of(many).bodies) == 1600


def test_an_open_box_holds_what_is_in_it() -> None:
    """Two missing facets do not make the box forget that it is around something."""
    part = part_of(joined(np.delete(box(20), [2, 3], axis=0), box(5, (7, 7, 7))))
    assert [shells(body) for body in part.bodies] == [[(0, False), (1, True)]]


def test_single_triangles_and_slivers_are_no_trouble() -> None:
    flat = np.zeros((1, 3, 3))
    assert [len(body.faces) for body in part_of(flat).bodies] == [1]
    line = np.array([[[0.0, 0, 0], [1, 0, 0], [2, 0, 0]]])
    assert [len(body.faces) for body in part_of(line).bodies] == [1]
