"""Does the interval of a throat hold the true width, for sections and ways of all kinds?"""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapes_voids as parts

from lint3d.geometry import throats_route
from lint3d.geometry.throats import narrowest
from lint3d.geometry.throats_clearance import Clearance
from lint3d.geometry.throats_section import largest_in_section
from lint3d.geometry.voids import find_voids


def _path(frame: np.ndarray, points: list[list[float]]) -> np.ndarray:
    line = np.concatenate(
        [np.linspace(a, b, 12) for a, b in zip(points[:-1], points[1:], strict=True)]
    )
    return line @ frame[:, :3].T + frame[:, 3]


@pytest.mark.parametrize("segments", [7, 32])
def test_moves_that_are_not_asked_for_are_no_better(
    segments: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The same to the last digit as where the clearance of every move is asked for."""
    frame = parts.random_frame(segments)
    clearance = Clearance(*parts.mesh(parts.bottle(6.0, 1.5, 6.0, segments), frame))
    path = _path(frame, [[0.2, 0.1, 0], [0.5, -0.6, 6], [-0.3, 0.7, 12], [0.1, 0.1, 15]])
    asked: list[int] = []
    nearest = clearance.nearest
    monkeypatch.setattr(clearance, "nearest", lambda p: (asked.append(p.size), nearest(p))[1])
    some = narrowest(clearance, path, 0.375)
    few = sum(asked)
    monkeypatch.setattr(throats_route, "_least_squared", lambda *_: np.full((1, 1), np.inf))
    every = narrowest(clearance, path, 0.375)
    assert few < 0.95 * (sum(asked) - few)
    assert (some.lower, some.upper) == (every.lower, every.upper)
    assert np.array_equal(some.position, every.position)


@pytest.mark.parametrize("segments", [7, 12, 32])
@pytest.mark.parametrize("length", [0.5, 6.0])
def test_round_neck(segments: int, length: float) -> None:
    frame = parts.random_frame(segments)
    vertices, faces = parts.mesh(parts.bottle(6.0, 1.5, length, segments), frame)
    path = _path(
        frame,
        [
            [0.2, 0.1, 0],
            [0.15, -0.1, 3],
            [0.1, 0.2, 6],
            [-0.1, 0.1, 6 + length / 2],
            [0.1, 0.1, 9 + length],
        ],
    )
    throat = narrowest(Clearance(vertices, faces), path, 0.375)
    true = 1.5 * math.cos(math.pi / segments)
    assert throat.lower <= true <= throat.upper
    assert throat.upper - throat.lower < 0.01
    assert throat.diameter == pytest.approx(true, abs=0.003)
    assert throat.length_lower - 0.1 <= length + 6 - math.sqrt(36 - 0.5625) <= throat.length_upper
    axis = frame[:, 2]
    assert throat.direction @ axis > 0.95


@pytest.mark.parametrize("name", sorted(parts.SECTIONS))
def test_sections_that_are_not_round(name: str) -> None:
    frame = parts.random_frame(11)
    solid = (
        parts.block([20, 20, 30])
        - parts.ball(7)
        - parts.drawn(parts.SECTIONS[name](1.2), [0, 0, 0], [0, 0, 20])
    )
    vertices, faces = parts.mesh(solid, frame)
    path = _path(frame, [[0.1, 0.1, 0], [0.1, 0.05, 6], [0.05, 0.1, 12], [0.1, 0.1, 18]])
    throat = narrowest(Clearance(vertices, faces), path, 0.375)
    true = parts.section_width(name, 1.2)
    assert throat.lower <= true <= throat.upper
    assert throat.upper - throat.lower < 0.02


def test_section_that_is_not_closed_bounds_nothing() -> None:
    vertices, faces = parts.mesh(parts.cup())
    clearance = Clearance(vertices, faces)
    normal = np.array([1.0, 0.0, 0.0])
    assert largest_in_section(clearance, np.array([0.0, 0.0, 8.0]), normal, 6.0, 0.01) is None


def test_section_of_a_tube() -> None:
    vertices, faces = parts.mesh(parts.block([20, 20, 20]) - parts.rod([0, 0, -11], [0, 0, 11], 4))
    clearance = Clearance(vertices, faces)
    place = np.array([0.8, 0.3, 1.0])
    section = largest_in_section(
        clearance, place, np.array([0.0, 0, 1]), float(clearance.at(place[None])[0]), 0.002
    )
    assert section is not None
    assert 2 * section.found == pytest.approx(parts.polygon_width(4, 32), abs=0.004)
    assert 2 * section.radius >= parts.polygon_width(4, 32)


def test_reversed_throat_leads_the_other_way() -> None:
    frame = parts.random_frame(2)
    vertices, faces = parts.mesh(parts.bottle(), frame)
    path = _path(frame, [[0, 0, 0], [0, 0, 14]])
    throat = narrowest(Clearance(vertices, faces), path, 0.375)
    back = throat.reversed()
    assert np.allclose(back.direction, -throat.direction)
    assert np.allclose(back.way.point[0], throat.way.point[-1])


@pytest.mark.parametrize(
    ("radius", "width", "length", "sides", "seed"),
    [(4.0, 0.66366, 1.0, 5, 634695692), (3.97896, 1.47362, 6.0, 11, 902402240)],
)
def test_neck_ends_at_its_mouth(
    radius: float, width: float, length: float, sides: int, seed: int
) -> None:
    """The way turns aside behind the mouth, and ran along its rim as if that were still neck."""
    corners = width / math.cos(math.pi / sides)
    top = math.sqrt(radius**2 - width**2 / 4) + length
    solid = parts.block([2 * radius + 4] * 2 + [radius + 2 + top], [0, 0, (top - radius - 2) / 2])
    solid -= parts.ball(radius) + parts.rod([0, 0, 0], [0, 0, top + 1], corners, sides)
    (pocket,) = find_voids(*parts.mesh(solid, parts.random_frame(seed)), 1.5, 12.75).pockets
    assert pocket.throat.length_lower <= length <= pocket.throat.length_upper
    assert pocket.throat.length == pytest.approx(length, abs=0.15)


@pytest.mark.parametrize("seed", range(2))
@pytest.mark.cases(1)
def test_way_that_strays_into_an_arm_for_a_while(seed: int) -> None:
    """A long duct whose section is an L: its corner is 4 − 2√2 = 1.17 times as wide as its arms."""
    frame = parts.random_frame(seed)
    arm, long = parts.block([4, 1, 70], [1.5, 0, 0]), parts.block([1, 4, 70], [0, 1.5, 0])
    clearance = Clearance(*parts.mesh(parts.block([12, 12, 60]) - arm - long, frame))
    along = np.linspace(-33, 33, 177)
    path = np.column_stack([np.where(np.abs(along) < 6, 2.6, 0.1), np.full(177, 0.08), along])
    throat = narrowest(clearance, path @ frame[:, :3].T + frame[:, 3], 0.375)
    assert throat.lower <= 4 - 2 * np.sqrt(2) <= throat.upper
    assert throat.upper - throat.lower < 0.02
