"""Are rods and holes found, with their diameter, length, axis and ends, and nothing else?"""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
import shapes_walls as shapes
from scipy.spatial.transform import Rotation

from lint3d.geometry.rods import Bar, bars
from lint3d.geometry.rods_polygon import _largest
from lint3d.geometry.spans_surface import surface_from_mesh


def found(body: Any, reach: float, look: str, seed: int = 0) -> tuple[list[Bar], Rotation]:
    turn = Rotation.random(random_state=seed)
    vertices, faces = body if isinstance(body, tuple) else shapes.arrays(body)
    surface = surface_from_mesh(turn.apply(vertices), faces)
    return bars(surface, reach, look), turn  # type: ignore[arg-type]


@pytest.mark.parametrize("flats", [3, 4, 5, 6, 7, 9, 12, 33, 128])
@pytest.mark.parametrize("refined", [False, True])
def test_a_blind_hole(flats: int, refined: bool) -> None:
    drill = shapes.rod(1.5, 40, flats).translate((9, 8, 3))
    body = shapes.box([20, 16, 25]) - drill
    if refined and flats > 3:
        body = body.refine_to_length(2.5)
    (hole,), turn = found(body, 5, "outward", flats)
    true = 3 * np.cos(np.pi / flats)
    assert hole.lower <= true <= hole.upper
    assert hole.upper - hole.lower < 1e-4
    assert hole.shortest <= 22 <= hole.longest
    assert hole.is_straight
    assert abs(hole.axis @ turn.apply([0, 0, 1.0])) == pytest.approx(1, abs=1e-9)
    assert sorted(hole.has_end) == [False, True]


@pytest.mark.parametrize("seed", range(3))
def test_pins_struts_and_bars(seed: int) -> None:
    rng = np.random.default_rng(seed)
    w, h, length = rng.uniform(2, 3), rng.uniform(3, 3.9), rng.uniform(20, 60)
    pin = shapes.box([20, 20, 5]) + shapes.box([w, h, length + 5], [3, 4, 0])
    (rod,), _ = found(pin, 4, "inward", seed)
    assert rod.lower <= w <= rod.upper
    assert rod.shortest <= length <= rod.longest
    strut = shapes.box([20, 20, 5]) + shapes.box([20, 20, 5], [0, 0, 5 + length])
    strut += shapes.rod(1.2, length + 5, 24).translate((9, 9, 2))
    (rod,), _ = found(strut, 4, "inward", seed)
    assert rod.lower <= 2.4 * np.cos(np.pi / 24) <= rod.upper
    assert rod.shortest <= length <= rod.longest
    assert rod.has_end == (False, False)


@pytest.mark.parametrize("flats", [3, 5, 7, 9])
@pytest.mark.parametrize("refined", [False, True])
def test_pins_of_odd_flats(flats: int, refined: bool) -> None:
    body = shapes.box([20, 20, 5]) + shapes.rod(1.5, 30, flats).translate((9, 8, 0))
    if refined and flats > 3:
        body = body.refine_to_length(2.0)
    (rod,), _ = found(body, 4, "inward", flats)
    assert rod.lower <= 3 * np.cos(np.pi / flats) <= rod.upper
    assert rod.upper - rod.lower < 1e-4
    assert rod.shortest <= 25 <= rod.longest


def test_a_tapered_hole_is_as_wide_as_at_its_narrow_end() -> None:
    cone = shapes.m3.Manifold.cylinder(30, 1.0, 1.5, 24).translate((9, 8, -5))
    (hole,), _ = found(shapes.box([20, 16, 20]) - cone, 5, "outward")
    radius = 1.0 + 0.5 * 5 / 30
    assert hole.diameter == pytest.approx(2 * radius * np.cos(np.pi / 24), rel=2e-3)


def test_a_ring_is_one_bent_rod() -> None:
    angle = np.arange(96) * 2 * np.pi / 96
    path = np.stack([12 * np.cos(angle), 12 * np.sin(angle), 0 * angle], axis=1)
    (ring,), _ = found(shapes.bent_tube(path, 0.6, 16, True), 3, "inward")
    assert not ring.is_straight
    assert ring.shortest <= 24 * np.pi <= ring.longest
    assert ring.length == pytest.approx(24 * np.pi, rel=0.05)


def test_walls_rails_grooves_and_blocks_are_none() -> None:
    plate = shapes.box([60, 40, 2])
    for look, body in (
        ("inward", plate),
        ("inward", plate + shapes.box([60, 1, 12], [0, 20, 1])),
        ("inward", plate + shapes.box([60, 1.5, 1.5], [0, 20, 1.9])),
        ("inward", shapes.box([60, 40, 20])),
        ("outward", shapes.box([60, 40, 20]) - shapes.box([60, 1, 1], [0, 20, 19])),
        ("outward", shapes.box([60, 40, 20]) - shapes.box([1, 40, 10], [30, 0, 10])),
        ("outward", shapes.box([60, 40, 20]) - shapes.box([1, 30, 30], [30, 5, 5])),
    ):
        assert found(body, 4, look)[0] == []


def test_struts_of_a_lattice_are_told_one_by_one() -> None:
    body = shapes.box([4, 4, 4])
    for i in range(6):
        body += shapes.box([4, 4, 4], [10 * i, 0, 0])
        body += shapes.box([10, 1, 1], [10 * i, 1.5, 1.5])
    struts, _ = found(body, 2, "inward", 5)
    assert len(struts) == 6
    assert max(one.slenderness[0] for one in struts) < 7


def test_nothing_at_all() -> None:
    surface = surface_from_mesh(np.zeros((0, 3)), np.zeros((0, 3), np.int64))
    assert bars(surface, 3) == []


@pytest.mark.parametrize("seed", range(5))
@pytest.mark.cases(4)
def test_the_largest_circle_is_that_of_a_linear_programme(seed: int) -> None:
    """Against `scipy.optimize.linprog` on random polygons that do and do not close."""
    from scipy.optimize import linprog

    rng = np.random.default_rng(seed)
    angle = rng.uniform(0, 2 * np.pi, (40, 7))
    normal = np.stack([np.cos(angle), np.sin(angle)], axis=-1)
    offset = rng.uniform(0.3, 3, (40, 7)) + normal @ rng.uniform(-50, 50, 2)
    radius, _ = _largest(normal, offset)
    for i in range(40):
        best = linprog(
            [0, 0, -1],
            A_ub=np.column_stack([normal[i], np.ones(7)]),
            b_ub=offset[i],
            bounds=[(None, None)] * 2 + [(0, 1e9)],
        )
        if -best.fun > 1e6:
            assert radius[i] == np.inf
        else:
            assert radius[i] == pytest.approx(-best.fun, abs=1e-7)
