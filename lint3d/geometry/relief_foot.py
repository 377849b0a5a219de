"""What does an island stand on?

The surface round its foot: a plane, a drum, a cone, a ball, or a polynomial. Where edges are
rounded at the foot, that is not what the faces beside the foot say: their bands have many corners,
and little area. Lengths in mm. Guarded by tests/geometry/test_relief_heights.py.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from lint3d.geometry.patches import Folds
from lint3d.geometry.relief_base import Base, holds_most, quantile
from lint3d.geometry.relief_islands import Island
from lint3d.geometry.relief_of_most import plane_of_most, polynomial_of_most
from lint3d.geometry.relief_round import NEAR, RoundBase, base_below, round_of_most

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

NearBase = Callable[[Floats, float], tuple[Floats, Floats]]

#: The base is looked at within so many reaches of the foot: as far as gives enough points. The
#: fourth and on count only if they follow the base to this share of the island's rise.
REACH, ENOUGH, WELL = (1.25, 2.0, 4.0, 8.0, 16.0), 24, 0.03
#: A face that leans from the base's normal by less than this is level.
FLAT_LEAN = np.cos(np.radians(12.0))
#: The foot may stray from the planes of its facets by this share of the island's rise.
MOST_DOUBT = 0.05
#: A foot stands on a plane with a rounding between both: no more than this share of it lies on the
#: other side of the plane, by a share of the island's rise, and none higher than a share of the
#: whole height.
BEYOND, BEYOND_RISE, ROUNDING = 0.05, 0.02, 0.5
#: Chords of a base lean by no more than this share of what they do at their ends.
CHORD = 1.5
#: A base is known well if its points follow it to this share of the island's rise.
FOLLOWED = 0.01


def base_of(
    folds: Folds, island: Island, near_base: NearBase, step_mm: float
) -> Base | RoundBase | None:
    """The base of an island, from as near as there are enough points of it.

    Parameters
    ----------
    folds, island : the surface that the island was found on, and the island
    near_base : points of the base within a radius of a point, with their areas
    step_mm : what the points may be off
    """
    foot = folds.vertices[island.start]
    reach = float(np.linalg.norm(foot - island.centre, axis=1).max())
    # Far enough for a facet of a bent base to be told from a plane.
    usual = near_base(island.centre, REACH[2] * reach + island.rise)
    plane = plane_of_most(*usual, island.centre, island.normal, step_mm)
    if plane is not None and _is_rounded_onto(plane, folds, island, step_mm):
        return plane
    base = _nearest_base(usual, near_base, island, reach, step_mm)
    if base is None or _is_followed(base, *usual, island, step_mm):
        if isinstance(base, RoundBase) and _is_rounded_onto(base, folds, island, step_mm):
            return replace(base, is_round_of_most=True)
        return base
    other = round_of_most(*usual, island.centre, island.normal, MOST_DOUBT * island.rise)
    if other is not None and _is_rounded_onto(other, folds, island, step_mm):
        return other
    bent = polynomial_of_most(*usual, island.centre, island.normal, step_mm, FOLLOWED * island.rise)
    if bent is not None and _is_rounded_onto(bent, folds, island, step_mm):
        return bent
    return base


def _is_followed(
    base: Base | RoundBase, points: Floats, area: Floats, island: Island, step_mm: float
) -> bool:
    """Does nearly all the area round an island follow a base, and closely?"""
    if base.residual > FOLLOWED * island.rise:
        return False
    return holds_most(base.height(points), area, NEAR * base.residual + step_mm)


def _nearest_base(
    usual: tuple[Floats, Floats],
    near_base: NearBase,
    island: Island,
    reach: float,
    step_mm: float,
) -> Base | RoundBase | None:
    """The base by points from as near as there are enough."""
    best: Base | RoundBase | None = None
    for factor in REACH:
        is_usual = factor == REACH[2]
        points, weight = (
            usual if is_usual else near_base(island.centre, factor * reach + island.rise)
        )
        if len(points) < ENOUGH and not is_usual and factor != REACH[-1]:
            continue
        base = base_below(points, weight, island.centre, island.normal, step_mm)
        if factor <= REACH[2]:
            best = base
        elif base is not None and base.residual <= WELL * island.rise:
            # Small islands on few facets: what is far tells of a bend only if it tells it well.
            return base
        if len(points) >= ENOUGH:
            break
    return best


def _is_rounded_onto(base: Base | RoundBase, folds: Folds, island: Island, step_mm: float) -> bool:
    """Does a foot lie on a base, or above it on the rounding that leads to the island?

    Beside such a foot there are narrow strips that are off the plane; beyond an edge of the base
    there are wide faces.
    """
    sign = 1.0 if island.raised else -1.0
    start, length = foot_of(folds, island)
    up = sign * base.height(start)
    low, high = (quantile(up, length, share) for share in (BEYOND, 1.0))
    near = max(step_mm, BEYOND_RISE * island.rise, base.residual)
    _, level, below = base.foot(folds.vertices[folds.faces[island.faces]].mean(axis=1))
    is_level = np.einsum("ij,ij->i", folds.normal[island.faces], below) >= FLAT_LEAN
    height = quantile(sign * level[is_level], folds.area[island.faces[is_level]], 0.5)
    if low < -near or high > ROUNDING * height:
        return False
    near_foot = beside(folds, island)
    corner = folds.vertices[folds.faces[near_foot]]
    off = np.abs(base.height(corner.reshape(-1, 3))).reshape(-1, 3).max(axis=1) > near
    longest = np.linalg.norm(corner - np.roll(corner, 1, axis=1), axis=2).max(axis=1)
    wide = 2.0 * folds.area[near_foot[off]].sum()
    return bool(wide <= height * longest[off].sum())


def is_off(folds: Folds, island: Island, base: Base | RoundBase) -> bool:
    """Does a foot lie off a drum, cone or ball that nearly all round it lies on?

    It is the foot of a rounding then, and the facets beside it are bands of that.
    """
    if not (isinstance(base, RoundBase) and base.is_round_of_most):
        return False
    start, length = foot_of(folds, island)
    near = max(BEYOND_RISE * island.rise, base.residual)
    is_far = quantile(np.abs(base.height(start)), length, 0.5) > near
    return is_far and not _are_chords(base, folds, beside(folds, island))


def _are_chords(base: RoundBase, folds: Folds, faces: Ints) -> bool:
    """Are faces chords of a base, which are off it between their corners, and no bands that lean?

    A chord that rises by s on a radius R leans by no more than sqrt(2 s / R) at its ends.
    """
    middle = folds.vertices[folds.faces[faces]].mean(axis=1)
    _, _, below = base.foot(middle)
    lean = np.arccos(np.clip(np.einsum("ij,ij->i", folds.normal[faces], below), -1, 1))
    off = np.abs(base.height(folds.vertices[folds.faces[faces]].reshape(-1, 3)))
    area = folds.area[faces]
    rise = quantile(off.reshape(-1, 3).max(axis=1), area, 0.9)
    return quantile(lean, area, 0.5) <= CHORD * np.sqrt(2 * rise / base.radius)


def stray(folds: Folds, island: Island, base: Base | RoundBase) -> float:
    """How far the foot strays from a base, mm: all of it but a twentieth.

    A foot on the rounding above what nearly all round it lies on does not stray.
    """
    if isinstance(base, Base) and base.is_of_most:
        return 0.0
    start, length = foot_of(folds, island)
    return quantile(np.abs(base.height(start)), length, 0.95)


def foot_of(folds: Folds, island: Island) -> tuple[Floats, Floats]:
    """Where the edges of a foot begin (n, 3) and how long (n,) they are, mm."""
    start = folds.vertices[island.start]
    return start, np.linalg.norm(folds.vertices[island.end] - start, axis=1)


def beside(folds: Folds, island: Island) -> Ints:
    """Faces of the base that touch the foot."""
    on_foot = np.zeros(len(folds.vertices), bool)
    on_foot[island.start] = True
    return island.base[on_foot[folds.faces[island.base]].any(axis=1)]
