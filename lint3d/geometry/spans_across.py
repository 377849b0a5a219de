"""What lies straight across from points of a surface, and how large is the ball there?

Lengths in mm. Tested by tests/geometry/test_spans_steps.py.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lint3d.geometry.side_by_side import side_by_side
from lint3d.geometry.spans_feelers import cross
from lint3d.geometry.spans_surface import SpanSurface
from lint3d.geometry.vectors import cross_product

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

ACCEPT_COS = float(np.cos(np.radians(30.5)))  # of twice the lean of a contact, with as little more
IN_PLACE_COS = float(np.cos(np.radians(5.0)))  # near enough to opposite to be read straight across
POINTS_AT_ONCE = 100_000  # work arrays that stay in the processor's cache: a third quicker


@dataclass(eq=False)
class Across:
    """What rays straight in from points of a surface met.

    Attributes
    ----------
    facet : (k,) int64, -1 where nothing that faces the ray comes first
    distance : (k,) float64, mm, straight across; inf if none
    facing : (k,) float64, cosine between the ray and the outer side of the facet across
    contact : (k, 3) float64, mm, where the span ends; NaN if none
    value, lower : (k,) float64, mm, the span, and the diameter of the ball; inf if none
    """

    facet: Ints
    distance: Floats
    facing: Floats
    contact: Floats
    value: Floats
    lower: Floats

    def take(self, rows: Ints) -> Across:
        return Across(*(getattr(self, name)[rows] for name in self.__dataclass_fields__))


def nothing(count: int) -> Across:
    """Across so many points, where nothing is met."""
    none, far = np.full(count, -1, dtype=np.int64), np.full(count, np.inf)
    place = np.full((count, 3), np.nan)
    return Across(none, far, np.zeros(count), place, far.copy(), far.copy())


def _no_across() -> tuple[Ints, Across]:
    return np.zeros(0, dtype=np.int64), nothing(0)


def straight_across(
    surface: SpanSurface, inward: Floats, point: Floats, facet: Ints, reach: float
) -> Across:
    """Facet across each point, with the ball there.

    Parameters
    ----------
    inward : (m, 3) float64, unit normals into the space measured, per facet of the surface
    point : (k, 3) float64, mm
    facet : (k,) int64, the facet each point lies on
    reach : mm

    Against a plane tilted by psi the ball at distance t straight across has the diameter
    t (1 - tan^2(psi / 2)) = 2 t cos psi / (1 + cos psi); it touches where the bisector leads.
    Up to 5 degrees the distance straight across stands; beyond, the ball's, if it touches
    within the facet; the other of the two is the other end of the interval.
    """
    return some_across(surface, inward, point, facet, reach, everywhere=True)[1]


def some_across(
    surface: SpanSurface,
    inward: Floats,
    point: Floats,
    facet: Ints,
    reach: float,
    everywhere: bool,
) -> tuple[Ints, Across]:
    """Rows (j,) of the points from which a facet was met, and what lies across from those.

    Of millions of points few meet anything: what is told of the others is not carried along.

    Parameters
    ----------
    everywhere : all points instead, see `straight_across`
    """
    parts: list[tuple[Ints, Across]] = [_no_across()] * -(-len(point) // POINTS_AT_ONCE)

    def fill(start: int) -> None:
        rows = slice(start, start + POINTS_AT_ONCE)
        some = _straight_across(surface, inward, point[rows], facet[rows], reach)
        kept = np.arange(len(some.facet)) if everywhere else np.flatnonzero(some.facet >= 0)
        if not everywhere:
            some = some.take(kept)
        parts[start // POINTS_AT_ONCE] = start + kept, some

    side_by_side(fill, range(0, len(point), POINTS_AT_ONCE), before=lambda: surface.scene)
    if len(parts) == 1:
        return parts[0]
    rows, across = zip(*parts or [_no_across()], strict=True)
    names = Across.__dataclass_fields__
    return np.concatenate(rows), Across(
        *(np.concatenate([getattr(one, name) for one in across]) for name in names)
    )


def _straight_across(
    surface: SpanSurface, inward: Floats, point: Floats, facet: Ints, reach: float
) -> Across:
    direction = inward.take(facet, 0)
    across, distance, facing = cross(surface, inward, point, direction, reach)
    hit = np.flatnonzero(across >= 0)
    lower, value = np.full(len(point), np.inf), distance.copy()
    lower[hit] = distance[hit] * 2 * facing[hit] / (1 + facing[hit])
    contact = np.full(point.shape, np.nan)
    contact[hit] = point[hit] + direction[hit] * distance[hit, None]
    rows = hit[(facing[hit] < IN_PLACE_COS) & (facing[hit] >= ACCEPT_COS)]
    # The line to where the ball touches halves the angle between the two normals.
    towards = direction[rows] - inward[across[rows]]
    towards /= np.linalg.norm(towards, axis=1)[:, None]
    lean = np.einsum("ij,ij->i", towards, direction[rows])
    touch = point[rows] + towards * (lower[rows] * lean)[:, None]
    inside = is_inside(surface, across[rows], touch)
    value[rows[inside]] = lower[rows[inside]]
    contact[rows[inside]] = touch[inside]
    return Across(across, distance, facing, contact, value, lower)


def is_inside(surface: SpanSurface, facet: Ints, point: Floats) -> Bools:
    """Does a point in the plane of a facet lie within it?"""
    corners, normal = surface.corners.take(facet, 0), surface.normals.take(facet, 0)
    inside = np.ones(len(facet), dtype=bool)
    for side in range(3):
        along = corners[:, (side + 1) % 3] - corners[:, side]
        turn = cross_product(along, point - corners[:, side])
        inside &= np.einsum("ij,ij->i", turn, normal) >= 0
    return inside
