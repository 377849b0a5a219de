"""How far do pockets that keep their width reach?"""

from __future__ import annotations

import numpy as np
import pytest
import shapes_voids as parts

from lint3d.geometry.voids import find_voids
from lint3d.geometry.voids_far import Surroundings, farthest_place, widest_places


def test_the_widest_places_of_a_flat_box_lie_all_over_its_middle() -> None:
    solid = parts.block([24, 16, 6]) - parts.block([20, 12, 3]) - parts.rod([0, 0, 0], [0, 0, 4], 1)
    frame = parts.random_frame(3)
    found = find_voids(*parts.mesh(solid, frame), 1.5, 6.0)
    members = found.graph.nodes[found.pockets[0].node]["members"] if found.graph else []
    places = widest_places(found.spaces[0], np.array(members))
    own = (places - frame[:, 3]) @ frame[:, :3]
    assert np.abs(own[:, 2]).max() < 0.5
    assert np.ptp(own, axis=0)[:2] == pytest.approx([17, 9], abs=1.0)


def test_the_farthest_of_some_places_along_a_bent_room() -> None:
    """A way of 10 mm leads to the knee of a room with legs of 20 and 7 mm (5 mm wide)."""
    way = np.column_stack([np.zeros((41, 2)), np.linspace(0, 10, 41)])
    width = np.full(41, 1.0)
    width[:4] = 5.0
    legs = np.arange(0, 20.5, 1.5), np.arange(1.5, 7, 1.5)
    places = np.vstack([np.outer(legs[0], [1, 0, 0]), np.outer(legs[1], [0, 1, 0])])
    radius = np.full(len(places), 2.5)
    far, line, widths = farthest_place(way, width, places, radius, 0.4)
    # Where balls overlap the line cuts the corner.
    assert 28.0 < far <= 10 + legs[0][-1]
    assert line[0] == pytest.approx(places[len(legs[0]) - 1])
    assert line[-1] == pytest.approx(way[-1])
    assert widths[[0, -1]].tolist() == [5.0, 1.0]
    # Places that no ball gets to from the way do not count.
    assert farthest_place(way, width, places + 50, radius, 0.4)[0] == pytest.approx(10.0)


def test_what_lies_beyond_the_hull_is_outside() -> None:
    corners = parts.mesh(parts.block([4, 4, 4]), parts.random_frame(1))[0]
    hull, middle = Surroundings(corners), corners.mean(axis=0)
    inside = middle + 0.9 * (corners - middle)
    assert hull.hold(inside).all()
    assert not hull.hold(middle + 1.1 * (corners - middle)).any()
    assert Surroundings(np.zeros((4, 3))).hold(inside).all()
