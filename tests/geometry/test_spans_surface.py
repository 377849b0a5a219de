"""Are neighbours, sides and facets to leave out found as they are?"""

from __future__ import annotations

import numpy as np
import pytest
import shapes_walls as shapes

from lint3d.geometry.spans_surface import neighbours_across_sides, surface_from_mesh


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
