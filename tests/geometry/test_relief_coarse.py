"""Guards lint3d/geometry/relief_coarse.py: lettering on bent bases of few facets."""

import manifold3d as m3
import numpy as np
import pytest
from shapes_relief import (
    ReliefCase,
    bend_sphere,
    centred,
    font_text,
    lettered,
    moved,
    stored,
)
from shapes_walls import arrays

from lint3d.geometry.patches import Cut, folds, hanging_parts
from lint3d.geometry.relief_coarse import with_cut_off_faces
from lint3d.geometry.reliefs import Found, find_reliefs
from lint3d.geometry.topology import edge_table


def _found(case: ReliefCase) -> Found:
    step = float(np.spacing(np.float32(np.abs(case.vertices).max())))
    table = edge_table(case.faces, len(case.vertices))
    return find_reliefs(case.vertices, case.faces, table, step)


def _coarse(text: str, height: float, base: str, around: int, **more: float) -> ReliefCase:
    """Letters of 10 mm on a base of 50 mm radius, facets as long as those of `around` to a turn."""
    facet = 2 * np.pi * 50 / around
    return lettered(text, height, 10.0, base=base, radius=50.0, facet=facet, margin=5.0, **more)


@pytest.mark.parametrize("around", [28, 40, 64])
@pytest.mark.parametrize("base", ["cylinder", "sphere", "saddle"])
@pytest.mark.parametrize("height", [0.8, -0.8])
@pytest.mark.cases(1)
def test_every_letter_on_a_coarse_base_is_found(base: str, height: float, around: int) -> None:
    case = _coarse("Pegel 7", height, base, around)
    case = stored(moved(case, np.random.default_rng(around)))
    (line,) = _found(case).inscriptions
    assert line.raised == (height > 0)
    assert line.characters == case.characters
    for shape in line.shapes:
        assert shape.lower - 1e-4 <= abs(height) <= shape.upper + 1e-4


def test_faces_that_chords_cut_off_join_their_patch() -> None:
    case = _coarse("H", 0.8, "cylinder", 32)
    surface = folds(case.vertices, case.faces, edge_table(case.faces, len(case.vertices)))
    level = np.hypot(case.vertices[:, 0], case.vertices[:, 2] + 50) - 50
    on_base = (np.abs(level[case.faces]) < 1e-6).all(axis=1)
    # The two end faces have corners on the drum only where they meet it.
    patch = hanging_parts(surface, Cut(np.radians(35.0))).patch
    joined = with_cut_off_faces(surface, patch)
    main = np.bincount(joined, surface.area * on_base).argmax()
    assert (joined[on_base] == main).all()
    assert not (np.abs(level[case.faces[joined == main]]) > 1e-6).any()


def test_letters_on_a_ball_of_few_facets_are_told_or_open() -> None:
    """Sunk by a radius of its own into a polyhedron, which lies up to a rise below that radius."""
    radius, depth, size = 60.0, 0.9, 12.0
    ball = m3.Manifold.sphere(radius, 36).translate((0, 0, -radius))
    tool = centred(font_text("Mole 4", size)).extrude(depth + 1.5).translate((0, 0, -depth))
    cut = tool.refine_to_length(3.0).warp_batch(bend_sphere(radius))
    vertices, faces = arrays(ball - cut)
    found = _found(stored(ReliefCase("ball", vertices, faces, -depth)))
    assert found.inscriptions or found.trouble
    # Facets as wide as w lie up to w^2 / 8 R below the ball, along both of their ways.
    rise = 2 * radius * (1 - np.cos(np.pi / 36))
    for line in found.inscriptions:
        for shape in line.shapes:
            assert shape.lower <= depth
            assert shape.upper >= depth - rise


@pytest.mark.parametrize("seed", [3, 4, 5])
@pytest.mark.cases(2)
def test_no_letter_sunk_into_a_ball_of_few_facets_is_lost(seed: int) -> None:
    """What stands in a letter reaches above its foot by the bow of the base, and by more yet."""
    random = np.random.default_rng(seed)
    radius, depth = 84.0, 1.2
    ball = m3.Manifold.sphere(radius, 33).rotate(tuple(random.uniform(0, 360, 3)))
    tool = centred(font_text("bR6d", 13.0)).extrude(depth + 1.5).translate((0, 0, -depth))
    cut = tool.refine_to_length(7.0).warp_batch(bend_sphere(radius))
    vertices, faces = arrays(ball.translate((0, 0, -radius)) - cut)
    case = stored(moved(ReliefCase("ball", vertices, faces, -depth), random))
    (line,) = _found(case).inscriptions
    assert line.characters == 4


def test_a_box_stays_as_it_is() -> None:
    corners = np.array(np.meshgrid([0.0, 30], [0.0, 20], [0.0, 10])).reshape(3, -1).T
    from scipy.spatial import ConvexHull

    faces = ConvexHull(corners).simplices.astype(np.int64)
    middle = corners[faces].mean(axis=1) - corners.mean(axis=0)
    a, b, c = (corners[faces[:, k]] for k in range(3))
    inward = np.einsum("ij,ij->i", np.cross(b - a, c - a), middle) < 0
    faces[inward] = faces[inward][:, ::-1]
    surface = folds(corners, faces, edge_table(faces, len(corners)))
    patch = hanging_parts(surface, Cut(np.radians(35.0))).patch
    assert (with_cut_off_faces(surface, patch) == patch).all()
    assert int(patch.max()) == 5


@pytest.mark.parametrize("around", [24, 35])
def test_letters_shallower_than_a_facets_rise_are_open(around: int) -> None:
    """Only the corners of a polyhedron reach above the letters' floor: no outline is whole."""
    radius, depth = 120.0, 0.7
    ball = m3.Manifold.sphere(radius, around).rotate((20, 50, 10)).translate((0, 0, -radius))
    tool = centred(font_text("NORD", 19.0)).extrude(2 * depth + 1).translate((0, 0, -depth))
    cut = tool.refine_to_length(6.0).warp_batch(bend_sphere(radius))
    vertices, faces = arrays(ball - cut)
    found = _found(stored(ReliefCase("ball", vertices, faces, -depth)))
    assert not found.inscriptions
    assert found.trouble


def test_a_ball_of_few_facets_without_letters_is_not_open() -> None:
    vertices, faces = arrays(m3.Manifold.sphere(120.0, 24) - m3.Manifold.cylinder(300, 8, 8, 24))
    found = _found(stored(ReliefCase("ball", vertices, faces, 0.0)))
    assert not found.trouble
