"""Does the truth of closed-form parts lie within what spans say of them?"""

from __future__ import annotations

from collections import Counter
from typing import Any

import numpy as np
import pytest
import shapes_walls as shapes
from hypothesis import given, settings
from hypothesis import strategies as st

from lint3d.geometry.spans import Spans, spans, spans_at
from lint3d.geometry.spans_regions import thin_regions, tightest
from lint3d.geometry.spans_sharp import sharp_regions
from lint3d.geometry.spans_surface import surface_from_mesh

ALL = shapes.FAULTY + shapes.SOUND
NAMES = [make.__name__ for make in ALL]
NEAR_LIMIT = 0.1  # mm off the limit within which the uncertainty must be small
SMALL = 0.02  # mm


def measured(case: shapes.WallCase) -> Spans:
    return spans(surface_from_mesh(case.vertices, case.faces), shapes.LOW, shapes.HIGH, case.look)


def case_of(make: Any, seed: int) -> shapes.WallCase:
    rng = np.random.default_rng([seed, NAMES.index(make.__name__)])
    return shapes.moved(make(rng), rng)


def complaints(case: shapes.WallCase) -> list[str]:
    """What is wrong with the answer for a part; empty if nothing."""
    found = measured(case)
    regions = thin_regions(found)
    wrong = []
    if case.regions is not None and len(regions) != case.regions:
        wrong.append(f"{len(regions)} regions for {case.regions}")
    if case.truth is not None:
        if not regions:
            return [*wrong, "missed"]
        worst = regions[0]
        if worst.lower > case.truth[1] + 1e-9 or worst.upper < case.truth[0] - 1e-9:
            wrong.append(f"{case.truth} outside [{worst.lower}, {worst.upper}]")
        if abs(worst.value - shapes.LOW) < NEAR_LIMIT and worst.upper - worst.value > SMALL:
            wrong.append(f"uncertainty {worst.upper - worst.value}")
        if case.kind is not None and worst.kind != case.kind:
            wrong.append(f"{worst.kind} for {case.kind}")
    elif regions:
        wrong.append(f"false alarm at {regions[0].value}")
    if case.knife is not None:
        sharp = sharp_regions(found, shapes.LOW)
        true = shapes.LOW / (2 * np.tan(np.radians(case.knife) / 2))
        if len(sharp) != 1 or not sharp[0].lower <= true <= sharp[0].upper:
            wrong.append(f"knife edge {[(s.lower, s.upper) for s in sharp]} for {true}")
    return wrong


@pytest.mark.parametrize("make", ALL, ids=NAMES)
@pytest.mark.cases(8)
def test_truth_lies_within(make: Any) -> None:
    assert complaints(case_of(make, 0)) == []


@pytest.mark.slow
def test_many_random_parts(capsys: pytest.CaptureFixture[str]) -> None:
    """Over 2,000 random parts; prints how many there were and what went wrong."""
    wrong: Counter[str] = Counter()
    total = 0
    for make in ALL:
        for seed in (*range(3), *range(1000, 1070)):
            total += 1
            found = complaints(case_of(make, seed))
            if found:
                wrong[f"{make.__name__} seed {seed}: {'; '.join(found)}"] += 1
    with capsys.disabled():
        print(f"\n{total} random parts, {sum(wrong.values())} wrong", *wrong, sep="\n  ")
    assert not wrong


@settings(max_examples=15, deadline=None)
@given(
    seed=st.integers(0, 10_000),
    scale=st.sampled_from([1e-3, 0.04, 1.0, 25.4, 1000.0]),
    make=st.sampled_from([shapes.tube, shapes.tapered_rib, shapes.blind_hole, shapes.v_groove]),
)
def test_value_follows_motion_scale_and_facet_order(seed: int, scale: float, make: Any) -> None:
    rng = np.random.default_rng(seed)
    case = make(rng)
    plain = tightest(measured(case))
    other = shapes.moved(case, rng)
    surface = surface_from_mesh(other.vertices * scale, other.faces)
    again = tightest(spans(surface, shapes.LOW * scale, shapes.HIGH * scale, case.look))
    assert plain is not None
    assert again is not None
    assert again.value / scale == pytest.approx(plain.value, abs=1e-4)


@pytest.mark.parametrize("offset", [1e3, 1e5, 1e6])
def test_far_from_the_origin_the_float32_step_is_in_the_interval(offset: float) -> None:
    v, f = shapes.arrays(shapes.box([30, 20, 0.6]))
    rounded = (v + offset).astype(np.float32).astype(np.float64)
    (region,) = thin_regions(spans(surface_from_mesh(rounded, f), 0.8, 1.25))
    assert region.lower <= 0.6 <= region.upper


def test_beyond_the_range_a_value_is_a_lower_bound() -> None:
    v, f = shapes.arrays(shapes.box([20, 10, 8]))
    found = spans(surface_from_mesh(v, f), 0.8, 1.25)
    assert not found.measured.any()
    assert (found.value == 1.25).all()
    assert np.isinf(found.interval[:, 1]).all()
    assert found.area.sum() == pytest.approx(2 * (200 + 160 + 80))


def test_degenerate_and_doubled_facets_change_nothing() -> None:
    v, f = shapes.arrays(shapes.box([20, 10, 0.5]))
    spoilt = np.concatenate([f, f, [[0, 0, 1], [2, 2, 2], [3, 4, 3]]])
    surface = surface_from_mesh(v, spoilt)
    assert surface.dropped == {"needle": 3, "doubled": 12}
    (region,) = thin_regions(spans(surface, 0.8, 1.25))
    assert region.value == pytest.approx(0.5)


def test_a_second_shell_in_the_same_place_is_looked_through() -> None:
    v, f = shapes.arrays(shapes.box([20, 10, 0.5]).refine_to_length(1.0))
    surface = surface_from_mesh(np.concatenate([v, v]), np.concatenate([f, f + len(v)]))
    assert thin_regions(spans(surface, 0.8, 1.25))[0].value == pytest.approx(0.5)


def test_float32_slivers_at_the_poles_of_a_ball_are_no_walls() -> None:
    import trimesh

    ball = trimesh.creation.uv_sphere(radius=10, count=[200, 200])
    rounded = np.asarray(ball.vertices).astype(np.float32).astype(np.float64)
    for look in ("inward", "outward"):
        assert thin_regions(spans(surface_from_mesh(rounded, ball.faces), 0.8, 1.25, look)) == []


def test_coincident_needles_end_soon() -> None:
    corner = np.array([[0, 0, 0], [50, 0, 0], [25, 1e-3, 0.0]])
    v, f = np.tile(corner, (3000, 1)), np.arange(9000).reshape(-1, 3)
    f[::2] = f[::2, ::-1]
    assert thin_regions(spans(surface_from_mesh(v, f), 0.8, 1.25)) == []


def test_open_body_is_measured_where_it_can_be() -> None:
    v, f = shapes.arrays(shapes.box([30, 20, 0.6]).refine_to_length(2.0))
    (region,) = thin_regions(spans(surface_from_mesh(v, f[5:]), 0.8, 1.25))
    assert region.value == pytest.approx(0.6)


def test_nothing_at_all() -> None:
    surface = surface_from_mesh(np.zeros((0, 3)), np.zeros((0, 3), dtype=int))
    assert thin_regions(spans(surface, 0.8, 1.25)) == []


@pytest.mark.parametrize(("low", "high"), [(0, 1), (2, 1), (1, np.inf), (np.nan, 1)])
def test_a_range_that_is_none_is_refused(low: float, high: float) -> None:
    v, f = shapes.arrays(shapes.box([1, 1, 1]))
    with pytest.raises(ValueError, match="range of interest"):
        spans(surface_from_mesh(v, f), low, high)


def test_spans_at_points_of_ones_own() -> None:
    v, f = shapes.arrays(shapes.box([20, 10, 0.5]))
    surface = surface_from_mesh(v, f)
    top = np.flatnonzero(surface.normals[:, 2] > 0.5)
    value, interval, contact = spans_at(surface, surface.corners[top].mean(1), top, 1.25)
    assert value == pytest.approx(0.5)
    assert (interval[:, 0] <= 0.5).all()
    assert (interval[:, 1] >= 0.5).all()
    assert (surface.normals[contact, 2] < -0.5).all()


@pytest.mark.parametrize("make", ALL[:6], ids=lambda make: make.__name__)
def test_points_that_met_nothing_may_be_left_out_and_nothing_else_changes(make: Any) -> None:
    case = case_of(make, 3)
    surface = surface_from_mesh(case.vertices, case.faces)
    all_told = spans(surface, shapes.LOW, shapes.HIGH, case.look)
    some = spans(surface, shapes.LOW, shapes.HIGH, case.look, everywhere=False)
    assert some.measured.all()
    assert np.array_equal(some.value, all_told.value[all_told.measured])
    for here, there in zip(some.at_every_point(), all_told.at_every_point(), strict=True):
        assert np.array_equal(here, there)
    ours, theirs = (
        [(region.value, region.area, region.faces.tolist()) for region in thin_regions(found)]
        for found in (some, all_told)
    )
    assert ours == theirs


def test_without_gaps_no_point_has_a_row_but_all_are_told() -> None:
    surface = surface_from_mesh(*shapes.arrays(shapes.box([10, 20, 30])))
    found = spans(surface, shapes.LOW, shapes.HIGH, "outward", everywhere=False)
    assert len(found.value) == 0
    point, value, face = found.at_every_point()
    assert len(point) == len(face) > 0
    assert (value == shapes.HIGH).all()
