"""How deep is what a ball does not reach?"""

from __future__ import annotations

import numpy as np
import pytest
import shapes_voids as parts
from manifold3d import Manifold

from lint3d.geometry import voids_recesses
from lint3d.geometry.throats_clearance import Clearance
from lint3d.geometry.voids import find_voids
from lint3d.geometry.voids_reach import Balls
from lint3d.geometry.voids_recesses import (
    Recess,
    Unreached,
    find_recesses,
    find_unreached,
    recesses_in,
)


def _recesses(
    solid: Manifold, ball: float, seed: int, least: float = 1.0, is_blind: bool = False
) -> list[Recess]:
    vertices, faces = parts.mesh(solid, parts.random_frame(seed))
    found = find_voids(vertices, faces, 1.5, 6.0)
    assert found.clearance is not None
    surface = vertices, faces
    return [
        one
        for space in found.spaces
        for one in find_recesses(surface, space, found.clearance, ball, least, is_blind)
    ]


@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize(("width", "deep"), [(1.0, 12.0), (1.4, 12.0), (0.8, 5.0), (0.3, 9.0)])
@pytest.mark.cases(5)
def test_blind_bore(width: float, deep: float, seed: int) -> None:
    solid = parts.block([20, 20, 20]) - parts.rod([0, 0, 10 - deep], [0, 0, 11], width, 24)
    found = _recesses(solid, 1.5, seed)
    assert len(found) == 1
    assert found[0].depth_lower <= deep <= found[0].depth_upper
    assert found[0].depth == pytest.approx(deep, abs=0.5)
    assert found[0].width == pytest.approx(parts.polygon_width(width, 24), rel=0.02)
    if width > 0.75:  # else the grid holds crumbs of it only
        assert found[0].nodes == (0,)


@pytest.mark.parametrize("seed", range(2))
@pytest.mark.parametrize("name", ["wide bore", "cup", "recess", "block", "wedge"])
@pytest.mark.cases(5)
def test_what_the_ball_reaches(name: str, seed: int) -> None:
    block = parts.block([20, 20, 20])
    solid = {
        "wide bore": block - parts.rod([0, 0, -2], [0, 0, 11], 1.62, 32),
        "cup": parts.cup(),
        "recess": block - parts.block([10, 14, 5], [0, 0, 10]),
        "block": block,
        "wedge": block - parts.block([9, 30, 9]).rotate([0, 45, 0]).translate([0, 0, 10]),
    }[name]
    assert _recesses(solid, 1.5, seed) == []


@pytest.mark.parametrize("seed", range(6))
def test_a_slot_is_as_wide_as_its_arms_and_not_as_where_they_meet(seed: int) -> None:
    """Arms of 0.8 mm that meet in a T: a ball of 1 mm fits there (told instead in some frames)."""
    solid = parts.block([14, 14, 20]) - parts.block([6.4, 0.8, 24], [0, 0, 10])
    solid -= parts.block([0.8, 4.8, 24], [0, 2.4, 10])
    (found,) = _recesses(solid, 1.5, seed)
    assert found.depth_lower <= 12.0 <= found.depth_upper
    assert found.width == pytest.approx(0.8, rel=0.05)


@pytest.mark.parametrize("seed", range(2))
@pytest.mark.parametrize("width", [0.02, 0.1, 0.3, 0.6, 1.3])
def test_slot_of_any_width(width: float, seed: int) -> None:
    """The grid's pitch is 0.375 mm: it shows no slot below 0.75 mm."""
    solid = parts.block([20, 20, 20]) - parts.block([width, 8, 24], [0, 0, 10])
    (found,) = _recesses(solid, 1.5, seed)
    assert found.depth_lower <= 12.0 <= found.depth_upper
    assert found.depth == pytest.approx(12.0, abs=0.15)
    assert found.width == pytest.approx(width, rel=1e-3)
    assert np.median(found.way_width) == pytest.approx(width, rel=0.02)


@pytest.mark.parametrize("gap", [0.05, 0.2, 0.5])
@pytest.mark.further
def test_gap_around_a_pin_in_a_blind_bore(gap: float) -> None:
    """Along the pin, and from there to the middle of its end, 4 mm more."""
    barrel = parts.block([20, 20, 26]) - parts.rod([0, 0, -8], [0, 0, 14], 8 + 2 * gap, 64)
    pin = parts.rod([0, 0, -8 + gap], [0, 0, 16], 8, 64)
    (found,) = _recesses(barrel + pin, 1.5, 4)
    deep = 13 + 8 - gap + np.hypot(4, gap)
    assert found.depth == pytest.approx(deep, abs=0.8)
    assert found.depth_lower <= deep <= found.depth_upper
    # Round the corner at the pin's end the gap is 2√2/(1 + √2) times as wide.
    # Between flats it is cos(π/64) = 0.9988 times as wide as between corners.
    assert 0.9987 * gap <= found.width <= 1.001 * gap
    assert found.width <= found.widest <= 1.18 * gap


def test_thin_rib_between_two_slots_is_no_way() -> None:
    """The deep slot is not entered through the wall that parts it from a shallow one."""
    solid = parts.block([20, 20, 20]) - parts.block([0.3, 8, 24], [0, 0, 10])
    solid -= parts.block([0.3, 8, 4], [0.5, 0, 10])
    depths = sorted(one.depth for one in _recesses(solid, 1.5, 5))
    assert depths == pytest.approx([2.0, 12.0], abs=0.3)


@pytest.mark.parametrize("is_blind", [True, False])
def test_ways_through_are_not_blind(is_blind: bool) -> None:
    solid = parts.block([20, 20, 20]) - parts.block([0.3, 8, 30])
    found = _recesses(solid, 1.5, 6, 1.0, is_blind)
    if is_blind:
        assert found == []
    else:
        # A slot through the block: half way in it is deepest.
        assert found[0].depth == pytest.approx(10.0, abs=0.3)


def test_however_many_ways_through_there_are_none_is_blind() -> None:
    """Each of 14 slots of 1 mm through a plate is rinsed from both sides."""
    solid = parts.block([58, 8, 8])
    for row in range(14):
        solid -= parts.block([1, 5, 30], [4 * row - 26, 0, 0])
    assert _recesses(solid, 1.5, 2, is_blind=True) == []


@pytest.mark.parametrize("seed", range(2))
@pytest.mark.parametrize("deep", [0.4, 0.45, 0.6, 1.5])
@pytest.mark.cases(1)
def test_groove_that_is_open_at_its_ends(deep: float, seed: int) -> None:
    """Where no mouth is nearer than the ends, halfway between them, they rinse the groove.

    A groove L long and D deep, open above and at both ends: below L/2 its middle lies nearer to its
    ends, and what flows in at one leaves at the other. If D < L/2 the top is nearer everywhere and
    the groove is blind, D deep. Of a deeper one remain places high up, which lie L/8 from the top
    and from the nearest way through, there and back (3-4-5), or a little more by shares of a ball.
    """
    length, width = 20.0, 0.4
    solid = parts.block([length, 6, 40], [0, 0, -20])
    solid -= parts.block([length + 2, width, 2 * deep * length])
    found = _recesses(solid, 1.5, seed, 3.0, True)
    if deep < 0.5:
        assert found[0].depth == pytest.approx(deep * length, abs=0.15)
        assert found[0].depth_lower <= deep * length <= found[0].depth_upper
    else:
        assert all(one.depth < length / 4 for one in found)


def test_branch_of_a_way_through_is_blind() -> None:
    solid = parts.block([40, 12, 20]) - parts.block([0.4, 8, 30])
    solid -= parts.block([16, 8, 0.4], [8, 0, 0])
    (found,) = _recesses(solid, 1.5, 6, 3.0, True)
    # Its mouth is the side of the slot.
    assert found.depth == pytest.approx(15.8, abs=0.4)
    assert found.depth_lower <= 15.8 <= found.depth_upper


@pytest.mark.parametrize("seed", range(3))
@pytest.mark.cases(2)
def test_depth_of_a_branch_lies_in_its_interval(seed: int) -> None:
    random = np.random.default_rng(seed)
    deep = random.uniform(8, 17)
    solid = parts.block([40, 12, 20]) - parts.block([0.4, 8, 30])
    solid -= parts.block([deep, 8, 0.4], [deep / 2, 0, random.uniform(-4, 4)])
    (found,) = _recesses(solid, 1.5, seed, 3.0, True)
    assert found.depth_lower <= deep - 0.2 <= found.depth_upper


def test_bodies_that_lie_on_each_other_leave_no_gap() -> None:
    """2 µm apart: closed."""
    solid = parts.block([20, 20, 6]) + parts.block([20, 20, 6], [0, 0, 6.002])
    assert _recesses(solid, 1.5, 7) == []


@pytest.mark.parametrize("seed", range(2))
@pytest.mark.parametrize("width", [0.05, 0.3])
@pytest.mark.cases(2)
def test_fine_slot_in_the_wall_of_a_bore_that_the_ball_gets_through(
    width: float, seed: int
) -> None:
    """The bore is settled by a few balls; the slot is not lost, though they lie beside it."""
    bore = parts.block([20, 20, 20]) - parts.rod([0, 0, -11], [0, 0, 11], 2.0, 24)
    assert all(one.ratio < 3 for one in _recesses(bore, 1.5, seed, least=0.5))
    found = _recesses(bore - parts.block([6, width, 8], [3, 0, 0]), 1.5, seed, least=0.5)[0]
    # From the bore's wall, 0.99 mm off its middle, to 6 mm off it.
    assert found.depth_lower <= 6 - 0.99 <= found.depth_upper
    assert found.width == pytest.approx(width, rel=0.02)


@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize("is_slot", [True, False])
def test_a_small_ball_in_an_inner_corner_is_no_recess(is_slot: bool, seed: int) -> None:
    """Places on the surface are far apart, and one happens to lie in the corner."""
    frame = parts.random_frame(seed)
    half = 0.03
    if is_slot:
        solid = parts.block([20, 20, 5], [0, 0, -2.5]) - parts.block([2 * half, 9, 2], [0, 0, 0.3])
        inner, outer = np.array([0, 0, half - 0.7]), np.array([0, 0, 0.75])
    else:
        solid = parts.block([20, 20, 5], [0, 0, -2.5]) + parts.block([5, 20, 9], [-2.5, 0, 0])
        inner, outer = np.array([half, 0, half]), np.array([0.75, 0, 0.75])
    clearance = Clearance(*parts.mesh(solid, frame))
    hidden, start = (
        Balls((at @ frame[:, :3].T + frame[:, 3])[None], np.array([radius]), np.array([0]))
        for at, radius in ((inner, half), (outer, 0.75))
    )
    found = recesses_in(Unreached(clearance, hidden, start, 1.5, 0.5, 0.375), is_blind=True)
    assert len(found) == is_slot


@pytest.mark.parametrize("turn", [[0, 0, 0], [0, 0, 30], [40, 20, 10]])
def test_gaps_between_fins_are_as_many_as_there_are(
    turn: list[float], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Where places lie far apart, those at the mouths of two gaps see each other past a fin."""
    monkeypatch.setattr(voids_recesses, "_MOST_PLACES", 300)
    solid = parts.block([22, 30, 24])
    for row in range(5):
        solid -= parts.block([2.4, 40, 20], [4 * row - 8, 0, 4])
    vertices, faces = parts.mesh(solid.rotate(turn))
    found = find_voids(vertices, faces, 1.5, 6.0)
    assert found.clearance is not None
    recesses = find_recesses((vertices, faces), found.spaces[0], found.clearance, 3.4, 8.0)
    assert len(recesses) == 5
    assert all(one.depth_lower <= 15.0 <= one.depth_upper for one in recesses)


def test_what_is_nowhere_wider_is_left_out() -> None:
    solid = parts.block([20, 20, 20]) - parts.block([0.3, 8, 24], [-3, 0, 10])
    solid -= parts.block([1.0, 8, 20], [3, 0, 10])
    surface = parts.mesh(solid)
    found = find_voids(*surface, 1.5, 6.0)
    assert found.clearance is not None
    told = []
    for space in found.spaces:
        unreached = find_unreached(surface, space, found.clearance, 1.5, 1.0)
        assert unreached is not None
        both = recesses_in(unreached, True)
        told += [one.width for one in both]
        wide = recesses_in(unreached, True, 0.5)
        assert [one.depth for one in wide] == [one.depth for one in both if one.width > 0.5]
    assert sorted(told) == pytest.approx([0.3, 1.0], rel=1e-3)
