"""Is a gap that several rooms share told as their one way out?"""

from __future__ import annotations

import pytest
import shapes_voids as parts
from manifold3d import Manifold

from lint3d.geometry.voids import find_voids


def two_rooms(slits: list[list[float]]) -> Manifold:
    """Rooms of 4 mm side by side with a door of 2 mm; slits of 1 mm through their roof.

    Parameters
    ----------
    slits : from and to, along both rooms: they reach from −4.5 to 4.5
    """
    solid = parts.block([11, 6, 6]) - parts.block([4, 4, 4], [-2.5, 0, 0])
    solid -= parts.block([4, 4, 4], [2.5, 0, 0]) + parts.block([2, 2, 2])
    for begin, end in slits:
        solid -= parts.block([end - begin, 1, 4], [(begin + end) / 2, 0, 2])
    return solid


def bridges(solid: Manifold, seed: int) -> list[float | None]:
    vertices, faces = parts.mesh(solid, parts.random_frame(seed))
    found = find_voids(vertices, faces, 1.5, 4.0)
    return [one.bridge.diameter if one.bridge else None for one in found.pockets]


@pytest.mark.further
def test_one_slit_over_two_rooms_is_their_only_way_out() -> None:
    """It leads out of each of them, and the door leads from one to the other."""
    assert bridges(two_rooms([[-4, 4]]), 0) == pytest.approx([1.0, 1.0], abs=0.01)


def test_two_slits_are_two_ways_out() -> None:
    assert bridges(two_rooms([[-4, -1], [1, 4]]), 3) == [None, None]


def test_a_room_behind_a_vented_one() -> None:
    """Its way out is the door; the other one has a slit and a hole."""
    solid = two_rooms([[1, 4]]) - parts.rod([2.5, 0, 0], [2.5, 0, -4], 1.4, 16)
    found = bridges(solid, 4)
    assert sum(one is None for one in found) == 1
    assert max(one or 0.0 for one in found) == pytest.approx(2.0, abs=0.01)
