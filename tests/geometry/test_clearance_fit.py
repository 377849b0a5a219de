"""Kinds of fit and running gaps, against closed forms."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapes_pairs import ball, barrel, box, in_frame, mesh, rod

from lint3d.geometry.clearance import Surface
from lint3d.geometry.clearance_fit import fit_at, smooth_patches
from lint3d.geometry.clearance_spots import near_spots

SEEDS = st.integers(0, 2**31 - 1)


def fit(one, two, seed, reach, swap=False):
    meshes = in_frame([mesh(one), mesh(two)], np.random.default_rng(seed))
    pair = [Surface(v.astype(np.float32).astype(float), f) for v, f in meshes]
    pair = pair[::-1] if swap else pair
    spot = near_spots(*pair, [reach])[0]
    return fit_at(*pair, tuple(smooth_patches(s) for s in pair), spot, reach), spot


@settings(max_examples=12, deadline=None)
@given(SEEDS, st.integers(16, 120), st.floats(2, 15), st.floats(0.05, 1), st.booleans())
def test_concentric_round_fit(seed, sides, radius, gap, swap):
    found, _ = fit(
        barrel(radius + gap, radius + gap + 2, -5, 5, sides),
        rod(radius, -8, 8, sides),
        seed,
        1.2,
        swap,
    )
    assert found.kind == "round"
    assert found.running_gap_mm == pytest.approx(gap * np.cos(np.pi / sides), rel=0.02, abs=2e-5)
    assert found.axis_offset_mm < 1e-4
    assert sorted(found.radii_mm) == pytest.approx([radius, radius + gap], abs=1e-4)
    sagitta = (2 * radius + gap) * (1 - np.cos(np.pi / sides))
    assert found.faceting_mm == pytest.approx(sagitta, abs=2e-5)
    # Sampled on the smaller surface: the bore (10 mm long) or the pin (16 mm) with its two rims.
    perimeter = 2 * np.pi * (radius + gap if 10 * (radius + gap) < 16 * radius else radius)
    assert found.facing_area_mm2 == pytest.approx(10 * perimeter, rel=0.12)


@settings(max_examples=8, deadline=None)
@given(SEEDS, st.floats(0.1, 0.9))
def test_eccentric_round_fit_tells_mean_and_range(seed, share):
    gap, sides = 0.8, 96
    offset = share * gap
    hole, pin = barrel(6 + gap, 10, -5, 5, sides), rod(6, -8, 8, sides)
    found, spot = fit(hole, pin.translate([offset, 0, 0]), seed, 0.9)
    assert found.kind == "round"
    assert found.axis_offset_mm == pytest.approx(offset, abs=1e-4)
    assert spot.distance == pytest.approx(gap - offset, abs=0.01)
    assert found.gap_max_mm == pytest.approx(gap + offset, abs=0.02)
    # The mean distance from a circle to one inside it that is off by e: about g - e2 / 4 r.
    assert found.running_gap_mm == pytest.approx(gap, abs=0.05)


def test_balls():
    found, _ = fit(ball(9, 64) - ball(6.4, 64), ball(6, 64).translate([0.1, 0, 0]), 1, 0.6)
    assert found.kind == "round"
    assert found.axis_offset_mm == pytest.approx(0.1, abs=1e-4)
    assert found.running_gap_mm == pytest.approx(0.4, abs=0.02)


def test_parallel_flats():
    found, _ = fit(box([20, 30, 2], [0, 0, -2]), box([8, 9, 2], [5, 5, 0.35]), 3, 0.5)
    assert found.kind == "parallel"
    assert found.running_gap_mm == pytest.approx(0.35, abs=0.02)
    assert found.faceting_mm == 0
    # The second body's foot, and what looks at it slantwise round its rim.
    assert found.facing_area_mm2 == pytest.approx(72, rel=0.25)


def test_two_pins_side_by_side_do_not_fit():
    found, spot = fit(rod(3, 0, 10, 48), rod(3, 0, 10, 48).translate([6.3, 0, 0]), 2, 0.5)
    assert found.kind == "other"
    assert found.faceting_mm is None
    assert found.running_gap_mm >= spot.distance


@pytest.mark.parametrize("swap", [False, True])
@pytest.mark.parametrize("offset", [0.0, 0.1, 0.2])
def test_a_slider_runs_on_all_sides_of_its_channel(offset, swap):
    """A bar of 9.4 x 7.4 in a channel of 10 x 8, 16 long: 0.3 on the mean, wherever it lies."""
    channel = box([16, 16, 12], [-8, -8, -6]) - box([18, 10, 8], [-9, -5, -4])
    bar = box([24, 9.4, 7.4], [-12, -4.7, -3.7 + offset])
    found, spot = fit(channel, bar, 5, 0.5, swap)
    assert found.kind == "parallel"
    assert spot.distance == pytest.approx(0.3 - offset, abs=1e-4)
    assert found.running_gap_mm == pytest.approx(0.3, abs=0.01)
    assert found.gap_max_mm == pytest.approx(0.3 + offset, abs=0.03)
    # Sampled on the smaller: the channel, 16 mm long.
    assert found.facing_area_mm2 == pytest.approx(16 * 2 * (9.4 + 7.4), rel=0.08)


def test_a_box_in_a_box_faces_it_on_six_sides():
    found, _ = fit(
        box([14] * 3, [-7] * 3) - box([10.6] * 3, [-5.3] * 3), box([10] * 3, [-5] * 3), 6, 0.5
    )
    assert found.running_gap_mm == pytest.approx(0.3, abs=0.02)
    assert found.facing_area_mm2 == pytest.approx(600, rel=0.1)


def test_a_pad_is_told_by_itself():
    """Three pads before one plate, 0.2, 0.3 and 0.4 above it."""
    pads = sum(
        (box([4, 4, 9], [8 * k, 0, 0.2 + 0.1 * k]) for k in (1, 2)), box([4, 4, 9], [0, 0, 0.2])
    )
    comb = pads + box([24, 4, 3], [0, 0, 8])
    found, spot = fit(comb, box([40, 40, 2], [-5, -15, -2]), 7, 0.5)
    assert spot.distance == pytest.approx(0.2, abs=1e-4)
    assert found.running_gap_mm == pytest.approx(0.2, abs=0.02)
    assert found.facing_area_mm2 == pytest.approx(16, rel=0.25)
