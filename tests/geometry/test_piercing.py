"""Bodies that reach into each other, with vertices inside or without, and such as only touch."""

from __future__ import annotations

import manifold3d as m3
import pytest
from scipy.spatial.transform import Rotation
from shapes_walls import arrays

from lint3d.geometry.piercing import reaches_into

DEEP = 1e-5


def _reaches(one: m3.Manifold, other: m3.Manifold, seed: int) -> bool:
    turn = Rotation.random(random_state=seed)
    (v, f), (w, g) = arrays(one), arrays(other)
    return reaches_into(turn.apply(v) + 30.0, f, turn.apply(w) + 30.0, g, DEEP)


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize(
    ("bottom", "into"),
    [(0.0, False), (-0.3, True), (-4.0, True), (-5.0, True), (0.001, False)],
    ids=["touches", "reaches in", "ends in the back", "goes through", "hovers"],
)
def test_a_peg_on_a_plate(bottom: float, into: bool, seed: int) -> None:
    plate = m3.Manifold.cube((40, 30, 4)).translate((-20, -15, -4))
    peg = m3.Manifold.cube((2, 2, 2 - bottom)).translate((0, 0, bottom))
    assert _reaches(peg, plate, seed) == into


@pytest.mark.parametrize("seed", range(4))
def test_two_bars_across_each_other(seed: int) -> None:
    """Each passes through the other, and none has a vertex in the other."""
    one = m3.Manifold.cube((20, 1, 1), True)
    other = m3.Manifold.cube((1.5, 20, 1.5), True)
    assert _reaches(one, other, seed)
    assert not _reaches(one, other.translate((0, 0, 1.25)), seed)
    assert not _reaches(one, other.translate((0, 0, 3.0)), seed)


def test_a_body_wholly_inside() -> None:
    assert _reaches(m3.Manifold.sphere(1, 16), m3.Manifold.sphere(5, 32), 0)
    assert not _reaches(m3.Manifold.sphere(5, 32), m3.Manifold.sphere(1, 16), 0)


def test_a_large_face_through_which_a_corner_comes() -> None:
    """No edge of the plate meets the wedge: the wedge's edges do, and are asked the other way."""
    plate = m3.Manifold.cube((40, 40, 1), True)
    wedge = m3.Manifold.cylinder(4, 0, 1, 8).translate((0, 0, 0.1))
    assert _reaches(wedge, plate, 1)
