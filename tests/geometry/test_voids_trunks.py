"""Is a duct that several openings join in told as their one way out?"""

from __future__ import annotations

import numpy as np
import pytest
import shapes_voids as parts
from manifold3d import Manifold

from lint3d.geometry.voids import find_voids

_SIDES = 24
_FLAT = float(np.cos(np.pi / _SIDES))


def duct(one: list[float], two: list[float], width: float) -> Manifold:
    """A duct that a ball of the given width just passes."""
    return parts.rod(one, two, width / _FLAT, _SIDES)


def forked(trunk: Manifold) -> Manifold:
    """A ball of 10 mm, two ducts of 2 mm that meet in a small room, and what leads out of that."""
    solid = parts.block([34, 12, 12], [9, 0, 0]) - parts.ball(5, segments=32)
    for side in (-2.2, 2.2):
        solid -= duct([0, 0, side], [12, 0, side], 2.0)
    solid -= duct([12, 0, -2.6], [12, 0, 2.6], 2.0) + parts.ball(1.6, [12, 0, 0], 24)
    return solid - trunk


def bridge(solid: Manifold, seed: int | None) -> tuple[float, float] | None:
    frame = None if seed is None else parts.random_frame(seed)
    vertices, faces = parts.mesh(solid, frame)
    found = find_voids(vertices, faces, 1.5, 12.75, limits=(1.5, 3.4, 10.2))
    (pocket,) = found.pockets
    return pocket.bridge and (pocket.bridge.lower, pocket.bridge.upper)


@pytest.mark.cases(2)
@pytest.mark.parametrize("seed", [None, 1, 2, 3])
def test_ducts_that_join_in_one(seed: int | None) -> None:
    """Closed form: the trunk is a duct of 24 sides, its width that across flats."""
    found = bridge(forked(duct([12, 0, 0], [30, 0, 0], 2.8)), seed)
    assert found is not None
    assert found[0] <= 2.8 <= found[1]
    assert found[1] - found[0] < 0.02


@pytest.mark.further
def test_ducts_that_join_in_a_slot() -> None:
    """Closed form: as wide as the slot."""
    found = bridge(forked(parts.block([20, 8, 2.4], [22, 0, 0])), 4)
    assert found is not None
    assert found[0] <= 2.4 <= found[1]


def test_a_duct_with_two_mouths_is_no_bridge() -> None:
    """Both of its ends are open, and the ducts join in its middle."""
    assert bridge(forked(duct([12, -30, 0], [12, 30, 0], 2.8)), 5) is None
