"""Are neighbours, sides and facets to leave out found as they are?"""

from __future__ import annotations

import manifold3d as m3
import numpy as np
import pytest
import shapes_walls as shapes
import trimesh

from lint3d.geometry.rods import bars
from lint3d.geometry.spans import spans
from lint3d.geometry.spans_surface import (
    SpanSurface,
    neighbours_across_sides,
    surface_from_mesh,
)


def test_every_facet_of_a_closed_body_has_three_neighbours_that_share_a_side() -> None:
    v, f = shapes.arrays(shapes.box([4, 3, 2]).refine_to_length(1.0))
    across = neighbours_across_sides(f, len(v))
    assert (across >= 0).all()
    for side in range(3):
        ends = {0: f[:, side], 1: f[:, (side + 1) % 3]}
        for end in ends.values():
            assert (f[across[:, side]] == end[:, None]).any(1).all()


def test_open_sides_have_none_and_three_facets_at_a_side_make_a_ring() -> None:
    f = np.array([[0, 1, 2], [1, 0, 3], [0, 1, 4]])
    across = neighbours_across_sides(f, 5)
    assert (across[:, 1:] == -1).all()
    assert sorted(across[:, 0].tolist()) == [0, 1, 2]
    assert (across[:, 0] != np.arange(3)).all()


def test_corners_fall_and_re_entrant_sides_rise() -> None:
    v, f = shapes.arrays(shapes.box([10, 10, 3]) + shapes.box([3, 10, 10]))
    turns = surface_from_mesh(v, f).turns
    assert turns.rise == pytest.approx(np.sign(turns.rise))
    ends = v[np.stack([f[turns.facet, turns.side], f[turns.facet, (turns.side + 1) % 3]], axis=1)]
    length = np.linalg.norm(ends[:, 1] - ends[:, 0], axis=1)
    assert length[turns.rise > 0].sum() == pytest.approx(10)
    # An L of 10 by 10 with legs of 3: two outlines of 40 mm and five outer sides of 10 mm.
    assert length[turns.rise < 0].sum() == pytest.approx(2 * 40 + 5 * 10)


def test_second_copies_and_cancelling_pairs_are_left_out() -> None:
    v = np.array([[0, 0, 0], [1, 0, 0], [0, 1, 0], [0, 0, 1.0]])
    f = np.array([[0, 1, 2], [1, 2, 0], [0, 1, 3], [0, 3, 1], [1, 2, 3]])
    surface = surface_from_mesh(v, f)
    assert surface.face_ids.tolist() == [0, 4]
    assert surface.dropped == {"needle": 0, "doubled": 3}


def test_needles_of_float32_data_are_left_out_and_fine_float64_data_is_not() -> None:
    v = np.array([[0, 0, 0], [100, 0, 0], [50, 2e-5, 0], [50, -50, 0]])
    f = np.array([[0, 1, 2], [1, 0, 3]])
    rounded = v.astype(np.float32).astype(np.float64)
    assert surface_from_mesh(rounded, f).dropped["needle"] == 1
    assert surface_from_mesh(rounded * 1000, f).dropped["needle"] == 1
    fine = np.random.default_rng(0).normal(size=(3, 3)) * 0.2 + 1e6
    assert surface_from_mesh(fine, np.array([[0, 1, 2]])).dropped["needle"] == 0


@pytest.mark.parametrize(
    ("v", "f", "message"),
    [
        ([[0, 0, np.nan], [1, 0, 0], [0, 1, 0]], [[0, 1, 2]], "not finite"),
        ([[0, 0, 0], [1, 0, 0], [0, 1, 0]], [[0, 1, 3]], "not there"),
    ],
)
def test_what_is_no_mesh_is_refused(v: list, f: list, message: str) -> None:
    with pytest.raises(ValueError, match=message):
        surface_from_mesh(np.array(v, dtype=float), np.array(f))


def test_a_convex_body_has_no_gaps_and_one_with_any_hollow_may() -> None:
    ball = surface_from_mesh(*shapes.arrays(m3.Manifold.sphere(5, 32)))
    assert ball.hollow_mm <= 1e-12
    assert ball.has_no_gaps(0.3)
    groove = shapes.box([20, 10, 5]) - shapes.box([0.2, 10, 0.02], [10, 0, 4.98])
    grooved = surface_from_mesh(*shapes.arrays(groove))
    assert grooved.hollow_mm == pytest.approx(10.2)
    assert not grooved.has_no_gaps(0.3)
    v, f = shapes.arrays(shapes.box([4, 4, 4]))
    beside = surface_from_mesh(np.concatenate([v, v + [4.1, 0, 0]]), np.concatenate([f, f + 8]))
    assert not beside.has_no_gaps(0.3)
    assert surface_from_mesh(*shapes.arrays(m3.Manifold.sphere(5, 128))).hollow_mm == np.inf


@pytest.mark.parametrize("seed", range(8))
def test_bodies_found_to_have_no_gaps_have_none(seed: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """Rounded to single precision in a random frame, as in a file."""
    rng = np.random.default_rng(seed)
    hull = trimesh.convex.convex_hull(rng.normal(size=(30, 3)) * rng.uniform(0.2, 5, 3))
    case = shapes.WallCase("hull", np.asarray(hull.vertices), np.asarray(hull.faces), "", None)
    case = shapes.moved(case, rng)
    rounded = case.vertices.astype(np.float32).astype(np.float64)
    surface = surface_from_mesh(rounded, case.faces)
    assert surface.has_no_gaps(0.3)
    quick = spans(surface, 0.3, 20.0, "outward")
    assert bars(surface, 20.0, "outward") == []
    monkeypatch.setattr(SpanSurface, "has_no_gaps", lambda *_: False)
    searched = spans(surface, 0.3, 20.0, "outward")
    assert not searched.measured.any()
    for name in ("point", "value", "interval", "face", "contact_face", "area", "complete"):
        assert np.array_equal(getattr(quick, name), getattr(searched, name)), name
    assert bars(surface, 20.0, "outward") == []
