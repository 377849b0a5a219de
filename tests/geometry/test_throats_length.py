"""Is a neck as long as it is drawn, however the way through it wanders?"""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapes_voids as parts
from manifold3d import CrossSection, Manifold
from numpy.typing import NDArray

from lint3d.geometry.throats import Throat, Way
from lint3d.geometry.throats_clearance import Clearance
from lint3d.geometry.throats_length import NeckLengths, neck_lengths
from lint3d.geometry.throats_series import in_series
from lint3d.geometry.voids import find_voids


def _throat(section: CrossSection, length: float, wide: float, seed: int) -> Throat:
    """Of a neck with flat mouths: a box chamber on one side, a flat face on the other."""
    side = 2 * max(3.0, wide + 1.0)
    low, high = -(side / 2 + 2), side / 2 + length
    solid = parts.block([side + 4, side + 4, high - low], [0, 0, (low + high) / 2])
    solid -= parts.block([side] * 3) + parts.drawn(section, [0, 0, 0], [0, 0, high + 1])
    return _only_throat(solid, seed)


def _only_throat(solid: Manifold, seed: int) -> Throat:
    found = find_voids(*parts.mesh(solid, parts.random_frame(seed)), 1.5, 12.75, limits=(1.5,))
    (pocket,) = found.pockets
    return pocket.throat


@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize(
    ("width", "breadth", "length"), [(0.549, 1.4, 1.0), (0.795, 2.0, 1.0), (0.275, 0.8, 2.0)]
)
@pytest.mark.cases(3)
def test_slit(width: float, breadth: float, length: float, seed: int) -> None:
    """Nothing keeps a way through a slit from running aslant: told were up to 1.4 of its length."""
    throat = _throat(CrossSection.square([width, breadth], True), length, breadth / 2, seed)
    assert throat.length_lower <= length <= throat.length_upper
    assert throat.length == pytest.approx(length, abs=0.1 * width)


@pytest.mark.parametrize("seed", range(2))
@pytest.mark.parametrize("length", [0.6, 4.0])
@pytest.mark.parametrize(("name", "width"), [("round", 0.84), ("plus", 0.6), ("square", 1.1)])
@pytest.mark.cases(1)
def test_other_sections(name: str, width: float, length: float, seed: int) -> None:
    arm = width / math.sqrt(2)
    section = {
        "round": CrossSection.circle(width / 2 / math.cos(math.pi / 24), 24),
        "plus": CrossSection.square([arm, 3 * arm], True)
        + CrossSection.square([3 * arm, arm], True),
        "square": CrossSection.square([width, width], True),
    }[name]
    throat = _throat(section, length, 1.5 * width, seed)
    assert throat.length_lower <= length <= throat.length_upper
    assert throat.length == pytest.approx(length, abs=0.12 * width)


def _is_told_as_four_long(clearance: Clearance, up: NDArray[np.float64]) -> None:
    """A neck through a plate 4 mm thick, by points (k,) on its axis."""
    point = np.column_stack([0 * up, 0 * up, up])
    radii = clearance.at(point)
    row = int(np.argmin(radii))
    shortest, length, longest = neck_lengths(clearance, point, radii, row, float(radii[row]))
    assert shortest <= 4.0 <= longest
    assert length == pytest.approx(4.0, abs=0.03)


def test_way_that_folds_back_at_a_mouth() -> None:
    """The same neck, whether points beyond its mouth are in order or not."""
    block = parts.block([8, 8, 4]) - parts.rod([0, 0, -3], [0, 0, 3], 1.0, 48)
    clearance = Clearance(*parts.mesh(block))
    up = np.concatenate([np.linspace(-2.6, 2.0, 24), [2.2, 2.1, 2.05, 2.4, 2.6]])
    _is_told_as_four_long(clearance, up)


@pytest.mark.parametrize("offset", [0.0, 0.13, 0.31])
def test_points_that_lie_far_apart_at_the_mouths(offset: float) -> None:
    """A plate 4 mm thick; where the way gets wider was taken as a straight line between points."""
    block = parts.block([12, 12, 4]) - parts.rod([0, 0, -3], [0, 0, 3], 1.0, 48)
    clearance = Clearance(*parts.mesh(block))
    up = np.arange(-4, 4, 0.6) + offset
    _is_told_as_four_long(clearance, up)


def test_way_that_runs_forth_and_back_in_a_bend() -> None:
    """Two legs of 6 mm and a wider bend from 1 mm before their corner to 1 mm beyond it.

    A line cuts the corner at most straight; 0.64 mm are taken off for mouths that are not there.
    """
    along = np.linspace(0, 6, 25)
    leg = np.column_stack([0 * along, along, 0 * along])
    zigzag = np.array([[0.3, 0.3, 0], [-0.1, 0.4, 0], [0.2, 0.1, 0.2], [-0.3, 0.2, 0.1]] * 5)
    point = np.concatenate([leg[::-1], zigzag, leg[:, [1, 0, 2]]])
    from_corner = np.linalg.norm(point, axis=1)
    radii = np.where(from_corner < 1.0, 1.4 - 0.4 * from_corner, 1.0)
    shortest, length, longest = neck_lengths(None, point, radii, 0, 1.0)
    assert shortest < length < longest
    assert 12 - 0.64 - (2 - math.sqrt(2)) < length < 12 - 0.64
    assert longest < 12.1


def test_ways_that_fold_where_they_meet() -> None:
    """Both halves of a neck of 10 mm run past the place where they meet: 7.515 for 7.126 mm."""

    def throat(begin: float, end: float) -> Throat:
        z = np.linspace(begin, end, 61)
        point = np.column_stack([0 * z, 0 * z, z])
        beyond = np.maximum(np.abs(z) - 5.0, 0.0)
        way = Way(point, 2 * np.sqrt(1.0 + beyond**2))
        axis = np.array([0.0, 0.0, 1.0])
        return Throat(2.0, 1.99, 2.0, point[30], axis, NeckLengths.known(4.9, 5.0, 5.5), way, 0)

    folded = in_series([throat(-8.0, 0.4), throat(-0.5, 8.0)])
    assert folded.length == pytest.approx(10.0, abs=0.05)
    assert folded.length_lower < 10.0 < folded.length_upper
    assert (np.diff(folded.way.point[:, 2]) > 0).all()


def test_lengths_are_worked_out_once_and_when_asked_for() -> None:
    asked: list[int] = []
    lengths = NeckLengths(lambda: (asked.append(1), (1.0, 2.0, 3.0))[1])
    assert asked == []
    assert lengths.bounds == lengths.bounds == (1.0, 2.0, 3.0)
    assert asked == [1]


def test_edges_of_the_graph_tell_the_length() -> None:
    found = find_voids(*parts.mesh(parts.bottle(4.0, 1.5, 2.0)), 1.5, 4.0)
    assert found.graph is not None
    ((_, _, data),) = found.graph.edges(data=True)
    assert data["length"] == data["throat"].length == pytest.approx(2.0, abs=0.2)
