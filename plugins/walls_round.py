"""How do rods and holes become places?

A part of the plugin `walls`; it has no hooks of its own.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np

from lint3d import Interest, LeftOut, Place, Places
from lint3d.interest import HEAD_ROOM
from lint3d_plugins import walls_looks
from lint3d_plugins.walls_looks import Bars, Thickness
from lint3d_plugins.walls_places import places_of
from lint3d_plugins.walls_straight import (
    Inside,
    corners_of,
    round_place,
    straight_holes,
    straight_rods,
    with_bent,
)

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from lint3d.geometry.rods_bar import Bar
    from lint3d.geometry.spans_regions import ThinRegion
    from lint3d.geometry.spans_surface import SpanSurface

#: A contact that leans by 15 degrees on both sides is at least so many times as long as the circle.
LEANING = 0.85


def round_places(thickness: Thickness, felt: Bars, interest: Interest, remark: str) -> Places:
    """Regions thin both ways, with the largest circle that fits into their section.

    Parameters
    ----------
    felt : bars found by their sides all round: those of three or five flats, which have nothing
        across from them that a wall has
    """
    from lint3d.geometry.rods_bar import bars_of_regions

    places: list[Place] = []
    left_out: list[LeftOut] = []
    for limit, passed in ((interest.high / HEAD_ROOM, False), (interest.high, True)):
        found = [one for one in thickness.regions(limit) if one.kind == "rod"]
        bars = bars_of_regions(thickness.spans, found)
        rows = [
            i
            for i in _without_chords(thickness, found, bars, felt)
            if not _is_wide_enough(bars[i], limit)
        ]
        told = places_of([found[i] for i in rows], remark)
        pairs = list(zip(told, [bars[i] for i in rows], strict=True))
        below = _without_flat_ones(
            thickness, [bar for bar in felt.found if bar.lower < limit], limit
        )
        below.sort(key=lambda bar: bar.diameter)
        known = Inside()
        straight = [(place, bar) for place, bar in pairs if bar is not None and bar.is_straight]
        is_rod = thickness.spans.look == "inward"
        tell = straight_rods if is_rod else straight_holes
        met = below[: walls_looks.MOST_MET]
        places = tell(straight, met, known, remark)
        more = max(len(places) - walls_looks.MOST_TOLD, 0) + len(below) - len(met)
        places = places[: walls_looks.MOST_TOLD]
        # Contacts off the middle of a side may stand apart from the bar that they are in. What is
        # longer than the rod it is tightest in, such as a comb, is more than that rod.
        known.add(felt.found)
        bent_pairs = [(one, bar) for one, bar in pairs if bar is None or not bar.is_straight]
        rest = [one for one in bent_pairs if not known.holds(one[0])]
        longer = [one for one, _ in bent_pairs if known.is_part_of(one)]
        surface, others = thickness.spans.surface, []
        if rest or any(bar.lower < limit for bar in felt.bent):
            walls = [one for one in thickness.regions(limit) if one.kind == "wall"]
            others = list(_bent_places(rest, _without_rims(felt, walls, surface), limit, remark))
        places = with_bent(places, others, longer, surface) if is_rod else [*places, *others]
        if not passed:
            left_out += [*walls_looks.untold(more), *thickness.untold(limit, "rod")]
        if places:
            break
    return Places(places, left_out)


def _without_flat_ones(thickness: Thickness, bars: list[Bar], limit: float) -> list[Bar]:
    """Bars without those that are told as a wall, or a gap: far broader than thick, as an ellipse
    of more than 2 : 1, and with a region thin one way on their sides."""
    from lint3d.geometry.rods_bar import breadth_over_thickness
    from lint3d.geometry.spans_regions import ROD_RATIO

    if not bars:
        return bars
    surface = thickness.spans.surface
    walls = [np.unique(one.faces) for one in thickness.regions(limit) if one.kind == "wall"]
    lying = _Lying([bar.faces for bar in bars])
    on_walls = np.unique(np.concatenate([np.zeros(0, np.int64), *map(lying.on, walls)]))
    flat = {i for i in on_walls.tolist() if breadth_over_thickness(surface, bars[i]) > ROD_RATIO}
    return [bar for i, bar in enumerate(bars) if i not in flat]


def _is_wide_enough(bar: Bar | None, limit: float) -> bool:
    """Is it a hole, measured by all its sides, of which some alone are nearer than the limit?"""
    return bar is not None and bar.is_whole and bar.lower >= limit


def _without_chords(
    thickness: Thickness, regions: Sequence[ThinRegion], bars: Sequence[Bar | None], felt: Bars
) -> list[int]:
    """Rows of the regions, without those on bars of which only the sides are as near as that.

    Across the arms of a star there is less than the ball in its middle, but no ball has room there.
    """
    from lint3d.geometry.spans_ledge import ball_fits

    covered = _Lying([bar.faces for bar in felt.found])
    doubtful = [
        i
        for i, bar in enumerate(bars)
        if (bar is None or not bar.is_straight) and len(covered.on(np.unique(regions[i].faces)))
    ]
    if not doubtful:
        return list(range(len(regions)))
    spans = thickness.spans
    points = np.array([regions[i].point for i in doubtful])
    contacts = np.array([regions[i].contact_point for i in doubtful])
    fits = ball_fits(spans.surface, spans.inward, points, contacts, spans.look == "outward")
    dropped = {i for i, is_ball in zip(doubtful, fits.tolist(), strict=True) if not is_ball}
    return [i for i in range(len(regions)) if i not in dropped]


def _without_rims(felt: Bars, walls: Sequence[ThinRegion], surface: SpanSurface) -> Bars:
    """Bars without those that are the rims of walls: along a rim a wall is thin both ways, too.

    The faces of a rim, or the strips of the sides next to it, share their corners with the sides of
    walls that are as thin.
    """

    thinnest = np.full(int(surface.faces.max(initial=-1)) + 1, np.inf)

    for wall in walls:
        mine = corners_of(surface, wall.faces)
        thinnest[mine] = np.minimum(thinnest[mine], wall.value)

    def is_rim(bar: Bar) -> bool:
        return bool((thinnest[corners_of(surface, bar.faces)] <= 1.05 * bar.diameter).mean() >= 0.5)

    bent = tuple(bar for bar in felt.bent if not is_rim(bar))
    return replace(felt, bent=bent)


def _bent_places(
    rest: Sequence[tuple[Place, Bar | None]], felt: Bars, limit: float, remark: str
) -> Iterator[Place]:
    """Rings, hooks and coils, each once, and regions that are no bar."""
    bars = sorted(
        ((place, bar) for place, bar in rest if bar is not None), key=lambda one: one[1].diameter
    )
    every = [*(bar for _, bar in bars), *felt.bent]
    lying = _Lying([bar.faces for bar in every])
    holders = [lying.on(bar.faces) for bar in every]
    # Of each bar: those felt that lie on it.
    below: dict[int, list[int]] = {}
    for i in range(len(bars), len(every)):
        for holder in holders[i].tolist():
            below.setdefault(holder, []).append(i)
    told = np.zeros(len(every), dtype=bool)
    for i, (place, bar) in enumerate(bars):
        if not told[holders[i]].any():
            # All faces of the bar that the region is on a side of.
            told[holders[i][holders[i] >= len(bars)]] = True
            told[below.get(i, [])] = True
            told[i] = True
            yield round_place(place, bar, remark)
    for i, bar in enumerate(felt.bent, start=len(bars)):
        if bar.lower < limit and not told[holders[i]].any():
            told[i] = True
            place = Place(bar.diameter, position=bar.start, faces=bar.faces, distinct=True)
            place.extent_mm = bar.extent
            yield round_place(place, bar, remark)
    # Contacts that lean say a little less than a bar is thick.
    least = np.array([bar.diameter * LEANING for bar in every])
    for place, found in rest:
        if found is None:
            on = lying.on(np.asarray(place.faces))
            if not (told[on] & (least[on] <= (place.value or 0.0))).any():
                yield place


class _Lying:
    """Sets of faces, and on which of them others lie: with more than half of their faces.

    Looked up by face: a body of a million needles has as many bars.
    """

    def __init__(self, sets: Sequence[NDArray[np.int64]]) -> None:
        face = np.concatenate([np.zeros(0, np.int64), *sets])
        number = np.repeat(np.arange(len(sets)), [len(one) for one in sets])
        order = np.argsort(face, kind="stable")
        self._face, self._set, self._count = face[order], number[order], len(sets)

    def on(self, faces: NDArray[np.int64]) -> NDArray[np.int64]:
        """Numbers of the sets that some faces, none twice, lie on, ascending."""
        start = np.searchsorted(self._face, faces)
        count = np.searchsorted(self._face, faces, side="right") - start
        turn = np.arange(count.sum()) - np.repeat(np.cumsum(count) - count, count)
        met, often = np.unique(self._set[np.repeat(start, count) + turn], return_counts=True)
        return met[often > 0.5 * len(faces)]


def slenderness_of(bar: Bar, remark: str, facts: dict[str, Any]) -> Place:
    value, lower, upper = bar.slenderness
    facts |= {"diameter_mm": bar.diameter, "axis": bar.axis.tolist()}
    return Place(
        value,
        lower=min(lower, value),
        upper=max(upper, value),
        position=(bar.start + bar.end) / 2,
        faces=bar.faces,
        distinct=True,
        extent_mm=bar.extent,
        faceting_mm=None,
        remark=remark,
        properties=facts,
    )
