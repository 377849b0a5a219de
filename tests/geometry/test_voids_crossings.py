"""Is a gap known again from any place on it, and one opening told from another?"""

from __future__ import annotations

import numpy as np
import pytest
import shapes_voids as parts

from lint3d.geometry import voids_narrow
from lint3d.geometry.voids import find_voids

VENTS = (1.5, 3.4, 10.2)


@pytest.mark.further
def test_a_gap_is_followed_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """A way through the gap under a round lid was followed fifteen times, in 57 s."""
    ways = []
    follow = voids_narrow.follow
    monkeypatch.setattr(voids_narrow, "follow", lambda *given: ways.append(given) or follow(*given))
    solid = parts.cup(5.0, 5.0, 1.5) + parts.rod([0, 0, 6.75], [0, 0, 8.5], 13.0, 64)
    (pocket,) = find_voids(
        *parts.mesh(solid, parts.random_frame(101)), 1.5, 12.75, limits=VENTS
    ).pockets
    assert len(ways) <= 2
    assert pocket.throat.lower <= 0.25 <= pocket.throat.upper < 0.28


@pytest.mark.further
def test_hidden_holes_are_followed_each() -> None:
    solid = parts.block([14, 14, 14]) - parts.ball(5)
    for x in (-3.0, 3.0):
        solid -= parts.rod([x, 0, 0], [x, 0, 10], 0.3, 12)
    (pocket,) = find_voids(
        *parts.mesh(solid, parts.random_frame(8)), 1.5, 12.75, limits=VENTS
    ).pockets
    assert len(pocket.openings) == 2
    assert pocket.bridge is None
    truth = parts.polygon_width(0.3, 12)
    assert np.all([one.throat.lower <= truth <= one.throat.upper for one in pocket.openings])
