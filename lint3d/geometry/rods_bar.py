"""What is there to say about a bar: a rod of material, or a hole?

Its axis, its length along it, the largest circle in its narrowest section, and whether a surface
stands right behind its ends. Bars come from points that are thin both ways (`rods.py`) or from
connected thin regions. Lengths in mm. Tested by tests/geometry/test_rods.py.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from lint3d.geometry.rods_bent import circles_at
from lint3d.geometry.rods_circle import narrowest_circles, sagitta_of
from lint3d.geometry.rods_outline import are_closed
from lint3d.geometry.rods_rings import axes_beside, whole_rings
from lint3d.geometry.spans import Spans
from lint3d.geometry.spans_regions import ThinRegion
from lint3d.geometry.spans_surface import SpanSurface
from lint3d.geometry.topology import expand_runs
from lint3d.geometry.vectors import pointing_up, square_to

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

STRAIGHT = 0.02  # share of the sides' area, squared, that may lean out of square to the axis
CIRCLE_MOST = 1.25  # of the tightest span: in a polygon of five sides the circle is that much wider
BREADTHS = 60  # ways over half a turn: in one of them a bar is less than 1 in 700 broader
#: Where a bent bar is looked at beside its tightest place, in thicknesses along it.
BESIDE_TIGHTEST = (-1.5, -0.75, -0.3, 0.3, 0.75, 1.5)


@dataclass(frozen=True, eq=False)
class Bar:
    """A rod, or a hole.

    Attributes
    ----------
    diameter, lower, upper : mm, of the largest circle in its narrowest section; where the sides do
        not close to one, the usual way across
    length, shortest, longest : mm, along it; the truth lies between the last two. A hole
        with slanting lips counts to the mean of the lip, where the axis comes out.
    axis : (3,) unit, its largest component positive
    start, end : (3,) mm, the ends of the axis
    is_straight : False for a ring, a coil, a hook: then `axis` is only its long way
    has_end : (start, end) is there material (of a hole), or void (of a rod), right behind?
    faces : (f,) int64, rows of the mesh, those at the narrowest section first
    sagitta : mm, how far a round section may lie outside its flats, both sides together
    extent : mm, longest side of its box
    is_whole : is it a hole of which only some sides are thin both ways, measured by all?
    """

    diameter: float
    lower: float
    upper: float
    length: float
    shortest: float
    longest: float
    axis: Floats
    start: Floats
    end: Floats
    is_straight: bool
    has_end: tuple[bool, bool]
    faces: Ints
    sagitta: float
    extent: float
    is_whole: bool = False

    @property
    def slenderness(self) -> tuple[float, float, float]:
        """Length over diameter: value, lower, upper."""
        return (
            self.length / self.diameter,
            self.shortest / self.upper,
            self.longest / max(self.lower, 1e-12),
        )


def straight_axes(normal: Floats, weight: Floats, bar: Ints, count: int) -> tuple[Floats, Bools]:
    """(count, 3) direction most nearly square to all sides of each bar, and whether it is so.

    Parameters
    ----------
    normal : (s, 3) float64, unit, of sides
    weight : (s,) float64, mm2
    bar : (s,) int64, which bar each side is on
    """
    spread = np.zeros((count, 3, 3))
    for i in range(3):
        for j in range(3):
            product = weight * normal[:, i] * normal[:, j]
            spread[:, i, j] = np.bincount(bar, product, minlength=count)
    values, vectors = np.linalg.eigh(spread)
    # Sides that all look the same way, up to the sign, are square to more than one direction.
    least = STRAIGHT * values.sum(axis=1)
    straight: Bools = (values[:, 0] <= least) & (values[:, 1] > least)
    return pointing_up(vectors[:, :, 0]), straight


def breadth_over_thickness(surface: SpanSurface, bar: Bar) -> float:
    """How much broader than thick is a straight bar, seen along its axis? 1 if it is round."""
    corners = surface.faces[np.searchsorted(surface.face_ids, bar.faces)].ravel()
    one, two = square_to(bar.axis[None])
    turn = np.arange(BREADTHS) * np.pi / BREADTHS
    ways = np.cos(turn)[:, None] * one + np.sin(turn)[:, None] * two
    breadth = np.ptp(surface.vertices[np.unique(corners)] @ ways.T, axis=0)
    return float(breadth.max() / breadth.min())


def bars_of_regions(spans: Spans, regions: Sequence[ThinRegion]) -> list[Bar | None]:
    """Thin regions as bars.

    Parameters
    ----------
    regions : of `spans`, of kind "rod"

    Returns
    -------
    list, one a region : None where its sides do not close round an axis. Of one that is bent the
        axis is that at its tightest place, and the length is not known (0).
    """
    if not regions:
        return []
    surface = spans.surface
    facets = [np.searchsorted(surface.face_ids, one.faces) for one in regions]
    facet = np.concatenate(facets)
    bar = np.repeat(np.arange(len(regions)), [len(one) for one in facets])
    axis, straight = straight_axes(spans.inward[facet], surface.areas[facet], bar, len(regions))
    closed = np.zeros(len(regions), dtype=bool)
    if spans.look == "outward":
        width = np.array([one.value for one in regions])
        _take_axes_beside(spans, facet, bar, axis, straight, width)
        rings = whole_rings(surface, spans.inward, facet, bar, axis, straight, width)
        facet, bar, closed = rings.facet, rings.bar, rings.closed
    circle, centre, _ = narrowest_circles(surface, spans.inward, facet, bar, axis)
    found: list[Bar | None] = [None] * len(regions)
    bent = []
    fits = _fits_there(spans, regions, axis, circle, centre)
    for i, one in enumerate(regions):
        diameter, sagitta, below, above = circle[i]
        # Where the section is not convex the planes of its sides cut the circle.
        least = one.lower - 2 * spans.floor_mm
        is_plain = bool(least - above <= diameter and fits[i])
        is_whole = bool(not is_plain and closed[i])
        is_whole &= bool(4 * spans.floor_mm < diameter < np.inf)
        if not straight[i] or not (is_plain or is_whole):
            bent.append(i)
            continue
        corners = surface.corners[facets[i]].reshape(-1, 3)
        middle = centre[i]
        along = (corners - middle) @ axis[i]
        low, high = float(along.min()), float(along.max())
        found[i] = Bar(
            diameter,
            max(diameter - below - 2 * spans.floor_mm, 0.0),
            diameter + above + 2 * spans.floor_mm,
            high - low,
            max(high - low - spans.floor_mm, 0.0),
            high - low + spans.floor_mm,
            axis[i],
            middle + axis[i] * low,
            middle + axis[i] * high,
            True,
            (False, False),
            one.faces,
            sagitta,
            one.extent,
            is_whole,
        )
    for i, other in zip(bent, _bent(spans, [regions[i] for i in bent]), strict=True):
        found[i] = other
    ended = iter(with_ends(surface, [bar for bar in found if bar is not None and bar.is_straight]))
    return [next(ended) if bar is not None and bar.is_straight else bar for bar in found]


def _take_axes_beside(
    spans: Spans, facet: Ints, bar: Ints, axis: Floats, straight: Bools, width: Floats
) -> None:
    """Set the axes of holes of which only sides that look one way are known, if they close."""
    some = ~straight[bar]
    if not some.any():
        return
    facet, bar = facet[some], bar[some]
    surface = spans.surface
    others, of = axes_beside(surface, facet, bar)
    order = np.argsort(bar, kind="stable")
    start = np.searchsorted(bar[order], np.arange(len(axis) + 1))
    # The sides of each bar once for each axis that it may have.
    rows, turn = expand_runs(start, of)
    sides = facet[order[rows]]
    every = np.ones(len(of), dtype=bool)
    closed = whole_rings(surface, spans.inward, sides, turn, others, every, width[of]).closed
    axis[of[closed]], straight[of[closed]] = others[closed], True


def _fits_there(
    spans: Spans,
    regions: Sequence[ThinRegion],
    axis: Floats,
    circle: Sequence[tuple[float, float, float, float]],
    centre: Floats,
) -> Bools:
    """Is the circle of each region that of its tightest place?

    In a star a ball that touches a side off its inner corner is smaller than the largest one; a
    circle much larger than such counts if it fits in that place, too.
    """
    fits = np.array(
        [one[0] <= CIRCLE_MOST * region.value for one, region in zip(circle, regions, strict=True)]
    )
    rows = np.flatnonzero(~fits & np.isfinite(centre).all(axis=1))
    there = np.array([regions[i].point for i in rows.tolist()]).reshape(-1, 3)
    along = ((there - centre[rows]) * axis[rows]).sum(axis=1)
    moved = centre[rows] + along[:, None] * axis[rows]
    radius = np.array([circle[i][0] / 2 for i in rows.tolist()])
    fits[rows] = are_closed(spans.surface, spans.inward, moved, square_to(axis[rows]), radius)
    return fits


def _bent(spans: Spans, regions: Sequence[ThinRegion]) -> list[Bar | None]:
    """Regions as bent bars, by sections at the tightest place of each and beside it."""
    found: list[Bar | None] = [None] * len(regions)
    number = np.array([i for i, one in enumerate(regions) if one.value > 4 * spans.floor_mm], int)
    if not len(number):
        return found
    surface, inward, floor = spans.surface, spans.inward, spans.floor_mm
    begin = np.array([regions[i].point for i in number])
    step = np.array([regions[i].contact_point for i in number]) - begin
    across = step / np.linalg.norm(step, axis=1)[:, None]
    thick = np.array([regions[i].value for i in number])
    first, _, centre, axis = circles_at(surface, inward, begin + step / 2, across, thick)
    closed = np.isfinite(first)
    number, across, thick, first = number[closed], across[closed], thick[closed], first[closed]
    aside = np.concatenate([[0.0], BESIDE_TIGHTEST])
    each = len(aside)
    along = axis[closed, None] * (thick[:, None] * aside)[:, :, None]
    size, flats, centre, axis = circles_at(
        surface,
        inward,
        (centre[closed, None] + along).reshape(-1, 3),
        np.repeat(across, each, axis=0),
        np.repeat(first, each),
    )
    sagitta = sagitta_of(size, flats)
    for turn, i in enumerate(number.tolist()):
        one, mine = regions[i], np.arange(turn * each, (turn + 1) * each)
        least = one.lower - 2 * floor
        good = (size[mine] >= least) & (size[mine] <= CIRCLE_MOST * one.value)
        if not good[0]:
            continue
        best = int(mine[np.where(good, size[mine], np.inf).argmin()])
        diameter = float(size[best])
        found[i] = Bar(
            diameter,
            max(diameter - 2 * floor, 0.0),
            diameter + 2 * floor,
            0.0,
            0.0,
            np.inf,
            pointing_up(axis[best : best + 1])[0],
            centre[best],
            centre[best],
            False,
            (False, False),
            one.faces,
            float(sagitta[best]),
            one.extent,
        )
    return found


def with_ends(surface: SpanSurface, found: list[Bar]) -> list[Bar]:
    """Each bar with whether a surface stands right behind its ends."""
    if not found:
        return []
    ways = np.array([[-bar.axis, bar.axis] for bar in found])
    middles = np.array([(bar.start + bar.end) / 2 for bar in found])
    size = np.array([bar.diameter for bar in found])
    half = np.array([np.linalg.norm(bar.end - bar.start) / 2 for bar in found])
    ends = [surface.scene.first_facet(middles, ways[:, side], half + size) >= 0 for side in (0, 1)]
    return [
        replace(bar, has_end=(bool(ends[0][i]), bool(ends[1][i]))) for i, bar in enumerate(found)
    ]
