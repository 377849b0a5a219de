"""Is a blind place near the limit known well enough to be judged?"""

from __future__ import annotations

import pytest
import shapes_voids as parts

from lint3d.geometry.voids import find_voids
from lint3d.geometry.voids_nearer import looked_at_nearer
from lint3d.geometry.voids_recesses import find_unreached, recesses_in


@pytest.mark.parametrize(("width", "ratio"), [(0.3, 13.7), (0.1, 16.0), (1.0, 14.0)])
@pytest.mark.cases(1)
def test_slot_near_the_limit(width: float, ratio: float) -> None:
    """On the grid of the hollow, of 0.375 mm, a slot of 0.3 x 4.1 mm is 13 to 15.2 times deeper."""
    limit = 15.0
    solid = parts.block([10, 8, 20], [0, 0, -10]) - parts.block([width, 5, 2 * width * ratio])
    surface = parts.mesh(solid, parts.random_frame(1))
    found = find_voids(*surface, 1.5, 6.0)
    (space,) = found.spaces
    assert found.clearance is not None
    unreached = find_unreached(surface, space, found.clearance, 1.5, 0.5)
    assert unreached is not None
    rough = recesses_in(unreached, True)[0]
    one = looked_at_nearer(surface, unreached, rough, limit)
    assert one.depth_lower <= ratio * width <= one.depth_upper
    assert rough.depth_lower <= ratio * width <= rough.depth_upper
    assert (one.depth_lower > limit * one.width) == (ratio > limit)
    assert (one.depth_upper > limit * one.width) == (ratio > limit)
    # Far from the limit nothing is looked at again.
    assert looked_at_nearer(surface, unreached, rough, 3.0) is rough
