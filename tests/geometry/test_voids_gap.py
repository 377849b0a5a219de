"""Are places in one gap told from places in two?"""

from __future__ import annotations

import numpy as np
import pytest
import shapes_voids as parts

from lint3d.geometry.throats_clearance import Clearance
from lint3d.geometry.voids import find_voids
from lint3d.geometry.voids_gap import parts_of_gaps

#: In the middle of each side of a lid's gap, 0.15 mm above the rim.
ROUND = np.array([[6.7, 0, 5.15], [-6.7, 1, 5.15], [0, 6.7, 5.15], [1, -6.7, 5.15]])


@pytest.mark.parametrize("seed", [0, 1])
@pytest.mark.cases(1)
def test_gap_all_round_is_one(seed: int) -> None:
    frame = parts.random_frame(seed)
    clearance = Clearance(*parts.mesh(parts.cup_with_lid(0.3), frame))
    places = ROUND @ frame[:, :3].T + frame[:, 3]
    assert parts_of_gaps(clearance, places, 0.15).tolist() == [0, 0, 0, 0]


def test_bridges_between_lid_and_rim_part_the_gap() -> None:
    solid = parts.cup_with_lid(0.3) + parts.block([16, 1, 1], [0, 0, 5.15])
    clearance = Clearance(*parts.mesh(solid))
    found = parts_of_gaps(clearance, ROUND[[2, 3]], 0.15)
    assert found[0] != found[1]


def test_walks_from_holes_end_in_them() -> None:
    solid = parts.block([20, 20, 4])
    rows = np.array([[x, y, 0.0] for x in (-4, 0, 4) for y in (-4, 0, 4)])
    for x, y, _ in rows:
        solid -= parts.rod([x, y, -3], [x, y, 3], 0.6, 12)
    clearance = Clearance(*parts.mesh(solid))
    mouths = rows + [0, 0, 2.2]
    owner = np.tile(np.arange(9), 2)
    found = parts_of_gaps(clearance, np.vstack([rows, mouths]), 0.29, owner)
    assert found.tolist() == list(range(9))


@pytest.mark.parametrize("seed", [3, 2, 18, 11])
@pytest.mark.cases(2)
def test_a_walk_does_not_pass_through_the_room_that_gaps_lead_to(seed: int) -> None:
    """Two ducts of one stem: a step from mouth to mouth runs near the roof of the junction."""
    frame = parts.random_frame(seed)
    solid = parts.block([18, 18, 26], [0, 0, -7]) - parts.ball(6, [0, 0, -12], 36)
    solid -= parts.rod([0, 0, -12], [0, 0, 0], 3.2, 20) + parts.ball(1.63, segments=32)
    for side, width in ((1, 1.98), (-1, 1.03)):
        solid -= parts.rod([0, 0, 0], [side * 14, 0, 9], width / np.cos(np.pi / 16), 16)
    along = np.arange(1.6, 9.0, 0.05)[:, None]
    right = np.array([14.0, 0.0, 9.0]) / np.hypot(14, 9)
    places = np.vstack([along * right, along * right * [-1, 1, 1]]) @ frame[:, :3].T + frame[:, 3]
    owner = np.repeat([0, 1], len(along))
    clearance = Clearance(*parts.mesh(solid, frame))
    assert parts_of_gaps(clearance, places, 0.99, owner, 1.2).tolist() == [0, 1]


@pytest.mark.further
def test_a_gap_is_one_opening_though_most_of_it_is_only_glimpsed() -> None:
    """The grid shows the gap in 15 places, and some of them look twice as wide as it is."""
    solid = parts.mesh(parts.cup_with_lid(0.3), parts.random_frame(3))
    (pocket,) = find_voids(*solid, 1.5, 12.75, limits=(1.5, 3.4, 10.2)).pockets
    assert pocket.bridge is not None
    assert len(pocket.openings) == 1
    assert pocket.throat.lower <= 0.3 <= pocket.throat.upper < 1.04 * 0.3
