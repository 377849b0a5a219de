"""Parts that keep liquid, or let it all out, with volumes in closed form. Lengths in mm."""

from __future__ import annotations

import math
from collections.abc import Callable

import shapes_voids as parts
from manifold3d import Manifold


def trough() -> Manifold:
    """A trough whose rim at +x is lower, 6 mm above its floor of 16 × 8 mm."""
    solid = parts.block([20, 12, 10]) - parts.block([16, 8, 10], [0, 0, 2])
    return solid - parts.block([4, 4, 4], [9, 0, 5])


#: mm3 below the outlet of `trap`: the bend, 4 × 4 mm wide, and its legs up to 6 mm above its floor.
TRAP_HOLDS = 4.0 * (20.0 * 4.0 + 2 * 4.0 * 2.0)


def trap() -> Manifold:
    """A pipe of 4 × 4 mm that runs down, along and up again, and then out level.

    The bend's floor is at z = −13; the outlet's floor, at z = −7, is the lowest rim.
    """
    solid = parts.block([34, 10, 30], [3, 0, 0])
    solid -= parts.block([4, 4, 28], [-8, 0, 1])
    solid -= parts.block([20, 4, 4], [0, 0, -11])
    solid -= parts.block([4, 4, 10], [8, 0, -8])
    return solid - parts.block([20, 4, 4], [16, 0, -5])


def two_chambers(passage: float, door: float) -> Manifold:
    """Two rooms of 10 × 10 × 10 mm with a passage between them and a door from the second.

    Both are 3 × 3 mm in walls of 2 mm; their sills lie so many mm above the floors.
    """
    solid = parts.block([26, 14, 14], [6, 0, 0])
    solid -= parts.block([10, 10, 10]) + parts.block([10, 10, 10], [12, 0, 0])
    solid -= parts.block([4, 3, 3], [6, 0, passage - 3.5])
    return solid - parts.block([4, 3, 3], [18, 0, door - 3.5])


def box_with_a_hole_near_a_corner() -> Manifold:
    """Empties with that corner down."""
    solid = parts.block([30, 20, 12]) - parts.block([26, 16, 8])
    return solid - parts.rod([11, 6, 0], [11, 6, 10], 2, 16)


def box_with_a_hole_amid_a_wall() -> Manifold:
    """Empties with that wall level at the bottom, and in no other position."""
    solid = parts.block([30, 20, 12]) - parts.block([26, 16, 8])
    return solid - parts.rod([2, 1, 0], [2, 1, 10], 2, 16)


def u_tube() -> Manifold:
    """Two legs that open upward: full upright, empty upside down."""
    return parts.block([30, 10, 30], [0, 0, 5]) - parts.duct(
        [[-10, 0, 25], [-10, 0, 0], [10, 0, 0], [10, 0, 25]], 4
    )


def flat_funnel() -> Manifold:
    """A round room whose floor falls by 1.5 mm over 15 mm to a hole of 0.6 mm."""
    room = Manifold.cylinder(5, 15, 15, 32) + Manifold.cylinder(1.5, 0.2, 15, 32).translate(
        [0, 0, -1.5]
    )
    solid = parts.block([36, 36, 12], [0, 0, 2]) - room
    return solid - parts.rod([0, 0, -5], [0, 0, -1], 0.6, 8)


EMPTIES: dict[str, Callable[[], Manifold]] = {
    "bottle": lambda: parts.bottle(6, 1.5, 4),
    "bowl": lambda: parts.bowl(10, 2, 48),
    "box, hole near a corner": box_with_a_hole_near_a_corner,
    "box, hole amid a wall": box_with_a_hole_amid_a_wall,
    "two chambers in a row": lambda: parts.series([1.2, 3.0]),
    "u-tube": u_tube,
    "trap": trap,
    "serpentine": parts.serpentine,
    "flat funnel": flat_funnel,
    "cube": lambda: parts.block([9, 8, 7]),
}


def inkwell() -> tuple[Manifold, float]:
    """A tube that reaches to the middle of a ball of 9 mm: about half stays, however it is held.

    A level through the tube's mouth parts the ball into two; what lies below it stays, and that is
    no less than half of the ball less the tube, if the mouth is taken at its farther rim.
    """
    tube = parts.rod([0, 0, 0], [0, 0, 10], 6, 32)
    solid = parts.block([22, 22, 22]) - (parts.ball(9) - tube)
    solid -= parts.rod([0, 0, -0.5], [0, 0, 12], 4, 32)
    # A cap cut 3 mm below the middle, less the tube's upper half.
    height = 9.0 - 3.0
    cap = math.pi * height**2 * (9.0 - height / 3)
    return solid, 0.98 * cap - math.pi * 9.0 * 9.0


def ball_with_two_spouts() -> tuple[Manifold, float]:
    """Spouts reach in from opposite sides, nearly to the middle."""
    tubes = [parts.rod([0, 0, s * 1.5], [0, 0, s * 10], 5, 24) for s in (1, -1)]
    solid = parts.block([24, 24, 24]) - (parts.ball(9, segments=48) - tubes[0] - tubes[1])
    for s in (1, -1):
        solid -= parts.rod([0, 0, s * 1.0], [0, 0, s * 13], 3, 24)
    return solid, 300.0


KEEPS: dict[str, Callable[[], tuple[Manifold, float]]] = {
    "inkwell": inkwell,
    "two spouts": ball_with_two_spouts,
}
