"""How do rods and holes become places?

A part of the plugin `walls`; it has no hooks of its own.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np

from lint3d import Interest, Place, Places
from lint3d.interest import HEAD_ROOM
from lint3d_plugins.walls_looks import Bars, Thickness
from lint3d_plugins.walls_places import places_of

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

    for limit, passed in ((interest.high / HEAD_ROOM, False), (interest.high, True)):
        found = [one for one in thickness.regions(limit, passed) if one.kind == "rod"]
        bars = bars_of_regions(thickness.spans, found)
        pairs = list(zip(places_of(found, remark), bars, strict=True))
        known: list[Bar] = []
        places = [*_straight_places(pairs, felt, limit, known, remark)]
        # Contacts off the middle of a side may stand apart from the bar that they are in.
        inside = (*known, *felt.found)
        rest = [
            (place, bar)
            for place, bar in pairs
            if (bar is None or not bar.is_straight)
            and not _is_in(inside, np.asarray(place.position))
        ]
        walls = [one for one in thickness.regions(limit, passed) if one.kind == "wall"]
        bent = _without_rims(felt, walls, thickness.spans.surface)
        places += _bent_places(rest, bent, limit, remark)
        if places:
            return Places(places)
    return Places()


def _straight_places(
    pairs: Sequence[tuple[Place, Bar | None]],
    felt: Bars,
    limit: float,
    known: list[Bar],
    remark: str,
) -> Iterator[Place]:
    """Straight bars, by regions and then by their sides; those that are told are put to `known`."""
    # Opposite sides of a square bar are regions of their own, and one bar.
    for place, bar in pairs:
        if bar is not None and bar.is_straight and not _is_in(known, (bar.start + bar.end) / 2):
            known.append(bar)
            yield _round_place(place, bar, remark)
    for bar in felt.found:
        middle = (bar.start + bar.end) / 2
        if bar.lower < limit and not _is_in(known, middle):
            known.append(bar)
            place = Place(bar.diameter, position=middle, faces=bar.faces, distinct=True)
            place.extent_mm = bar.extent
            yield _round_place(place, bar, remark)


def _without_rims(felt: Bars, walls: Sequence[ThinRegion], surface: SpanSurface) -> Bars:
    """Bars without those that are the rims of walls: along a rim a wall is thin both ways, too.

    The faces of a rim, or the strips of the sides next to it, share their corners with the sides of
    walls that are as thin.
    """

    def corners(rows: NDArray[np.int64]) -> NDArray[np.int64]:
        """Vertices of faces of the mesh: the surface has left some of those out."""
        return surface.faces[np.searchsorted(surface.face_ids, rows)].ravel()

    def is_rim(bar: Bar) -> bool:
        near = [corners(wall.faces) for wall in walls if wall.value <= 1.05 * bar.diameter]
        return bool(near) and bool(np.isin(corners(bar.faces), np.concatenate(near)).mean() >= 0.5)

    bent = tuple(bar for bar in felt.bent if not is_rim(bar))
    return replace(felt, bent=bent)


def _bent_places(
    rest: Sequence[tuple[Place, Bar | None]], felt: Bars, limit: float, remark: str
) -> Iterator[Place]:
    """Rings, hooks and coils, each once, and regions that are no bar."""
    told: list[Bar] = []
    bars = [(place, bar) for place, bar in rest if bar is not None]
    for place, bar in sorted(bars, key=lambda one: one[1].diameter):
        if not _is_on(told, bar.faces):
            # All faces of the bar that the region is on a side of.
            told += [
                one for one in felt.bent if _is_on([bar], one.faces) or _is_on([one], bar.faces)
            ]
            told.append(bar)
            yield _round_place(place, bar, remark)
    for bar in felt.bent:
        if bar.lower < limit and not _is_on(told, bar.faces):
            told.append(bar)
            place = Place(bar.diameter, position=bar.start, faces=bar.faces, distinct=True)
            place.extent_mm = bar.extent
            yield _round_place(place, bar, remark)
    # Contacts that lean say a little less than a bar is thick.
    for place, found in rest:
        if found is None:
            thinner = [one for one in told if one.diameter * LEANING <= (place.value or 0.0)]
            if not _is_on(thinner, np.asarray(place.faces)):
                yield place


def _is_on(bars: Sequence[Bar], faces: NDArray[np.int64]) -> bool:
    """Are more than half of some faces those of one of some bars?"""
    return any(np.isin(faces, one.faces).mean() > 0.5 for one in bars)


def _is_in(bars: Sequence[Bar], place: NDArray[np.float64]) -> bool:
    from lint3d.geometry.rods_bar import is_within

    return any(is_within(bar, place) for bar in bars)


def _round_place(place: Place, bar: Bar, remark: str) -> Place:
    """The same place with what is known of the bar."""
    place.value, place.lower, place.upper = bar.diameter, bar.lower, bar.upper
    place.faceting_mm = bar.sagitta
    place.remark = remark.format(bar.diameter)
    place.properties |= {"axis": bar.axis.tolist(), "diameter_mm": bar.diameter}
    if bar.is_straight:
        place.properties |= {"length_mm": bar.length, "has_end": list(bar.has_end)}
    return place


def slenderness_of(bar: Bar, remark: str, facts: dict[str, Any]) -> Place:
    value, lower, upper = bar.slenderness
    facts |= {"diameter_mm": bar.diameter, "axis": bar.axis.tolist()}
    return Place(
        value,
        lower=min(lower, value),
        upper=max(upper, value),
        position=(bar.start + bar.end) / 2,
        faces=bar.faces,
        extent_mm=bar.extent,
        faceting_mm=None,
        remark=remark,
        properties=facts,
    )
