"""How do spans become places: what was looked at, which regions are told, by which rule?

A part of the plugin `walls`; it has no hooks of its own.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any, Literal

import numpy as np

from lint3d import Interest, LeftOut, NotApplicable, NotMeasurable, Place, Places, Sheet
from lint3d.interest import HEAD_ROOM

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from lint3d.geometry.enclosure import Caps
    from lint3d.geometry.rods_bar import Bar
    from lint3d.geometry.spans import Spans
    from lint3d.geometry.spans_regions import ThinRegion
    from lint3d.geometry.spans_surface import SpanSurface

#: A range of interest wider than this costs time and tells nothing more.
WIDEST_RANGE = 20.0
#: Places of a wall from which is judged whether it stands free.
PROBES = 64
MOSTLY_FREE = 0.75
#: A surface is no solid with a few holes if closing them takes more than this share of its area.
MOST_OPEN = 0.5
#: A face larger than this many times a thin region is not thin all over.
FAR_LARGER = 1.2

NEAR_HOLE = (
    "Near a hole in the surface it is not known where the material ends; "
    "solid/open-edge tells more."
)
TOO_MANY_HOLES = "The surface has too many holes; solid/open-edge tells more."


@dataclass(frozen=True, eq=False)
class Surface:
    """The surface of a body, ready to be looked at both ways, with what closes its holes."""

    spans: SpanSurface
    caps: Caps


@dataclass(frozen=True, eq=False)
class Thickness:
    """What one look gave: how far it is across, at points spread over the surface."""

    spans: Spans
    left_out: tuple[LeftOut, ...] = ()
    _regions: dict[float, list[ThinRegion]] = field(default_factory=dict)

    def has_any(self, low: float, high: float) -> bool:
        """Is any place as thick as may be below `high` and not surely below `low`?"""
        below, above = self.spans.interval.T
        return bool((self.spans.measured & (below < high) & (above >= low)).any())

    def regions(self, limit: float) -> list[ThinRegion]:
        """Connected regions that may be thinner than the limit, tightest first."""
        from lint3d.geometry.spans_regions import thin_regions

        limit = min(limit, self.spans.high)
        if limit not in self._regions:
            self._regions[limit] = thin_regions(self.spans, limit)
        return self._regions[limit]


@dataclass(frozen=True, eq=False)
class Walls:
    """Thin regions that are walls, and down to which thickness another rule tells them.

    Attributes
    ----------
    lowest, highest : mm, the limits of the rules over walls that are on (one, or two)
    """

    thickness: Thickness
    lowest: float
    highest: float
    left_out: tuple[LeftOut, ...] = ()

    def below(self, limit: float, told: float = 0.0) -> list[ThinRegion]:
        """Walls that may be thinner than `limit`, without those that are surely below `told`."""
        if not self.thickness.has_any(told, limit):
            return []
        found = [one for one in self.thickness.regions(limit) if one.kind == "wall"]
        return [one for one in found if one.upper >= told]


@dataclass(frozen=True, eq=False)
class Bars:
    """Rods, or holes: what is thin both ways, the most slender first."""

    found: tuple[Bar, ...]
    left_out: tuple[LeftOut, ...] = ()


# --- looking ------------------------------------------------------------------------------------


def look_across(
    surface: Surface, interest: Interest, look: Literal["inward", "outward"]
) -> Thickness:
    from lint3d.geometry.spans import spans as measured_spans

    if not 0 < interest.high < np.inf:
        raise NotApplicable("No rule with a limit in mm asks for it.")
    low = max(interest.low, interest.high / WIDEST_RANGE)
    found = measured_spans(surface.spans, low, interest.high, look)
    left_out = []
    if not found.complete:
        left_out.append(
            LeftOut(
                "Too many large facets lie near each other for every pair to be compared; places "
                "between sample points may have been missed."
            )
        )
    found, near_hole = _without_unsure(surface, found)
    return Thickness(found, (*near_hole, *left_out))


def bars_of(surface: Surface, interest: Interest, look: Literal["inward", "outward"]) -> Bars:
    from lint3d.geometry.enclosure import is_sure
    from lint3d.geometry.rods import bars

    if not 0 < interest.low < np.inf:
        raise NotApplicable("No rule with a limit asks for it.")
    longest = float(np.linalg.norm(np.ptp(surface.spans.vertices, axis=0)))
    reach = HEAD_ROOM * longest / interest.low
    # A ring or a coil is no pin: length over diameter says little of it. Ducts are left to drain.
    found = [bar for bar in bars(surface.spans, reach, look) if bar.is_straight]
    if not len(surface.caps.face):
        return Bars(tuple(found))
    middle = np.array([(bar.start + bar.end) / 2 for bar in found]).reshape(-1, 3)
    sure = is_sure(surface.caps, middle)
    if sure is None:
        raise NotMeasurable(TOO_MANY_HOLES)
    kept = tuple(bar for bar, is_kept in zip(found, sure, strict=True) if is_kept)
    return Bars(kept, (LeftOut(NEAR_HOLE, np.unique(surface.caps.face)),))


def _without_unsure(surface: Surface, found: Spans) -> tuple[Spans, list[LeftOut]]:
    """The same spans without those at places of which it is not known whether they are inside."""
    from lint3d.geometry.enclosure import is_sure

    if not len(surface.caps.face):
        return found, []
    facet = found.pair[:, 0]
    ahead = found.point + found.inward[facet] * (found.high / 2)
    measured = found.measured[:, None]
    place = np.where(measured, (found.point + found.contact_point) / 2, ahead)
    sure = is_sure(surface.caps, place)
    if sure is None:
        raise NotMeasurable(TOO_MANY_HOLES)
    pair = found.pair.copy()
    pair[~sure, 1] = -1
    faces = np.unique(np.concatenate([found.face[~sure], surface.caps.face]))
    return replace(found, pair=pair), [LeftOut(NEAR_HOLE, faces)]


# --- regions ------------------------------------------------------------------------------------


def of_kind(
    thickness: Thickness, kind: Literal["wall", "rod"], interest: Interest
) -> list[ThinRegion]:
    """Regions of a kind that may break the limit, or else the tightest that is known."""
    for limit in (interest.high / HEAD_ROOM, interest.high):
        found = [one for one in thickness.regions(limit) if one.kind == kind]
        if found:
            return found
    return []


def round_places(thickness: Thickness, interest: Interest, remark: str) -> Places:
    """Regions thin both ways, with the largest circle that fits into their section."""
    from lint3d.geometry.rods_bar import bars_of_regions, is_within

    found = of_kind(thickness, "rod", interest)
    bars = bars_of_regions(thickness.spans, found)
    known = [bar for bar in bars if bar is not None]
    places = []
    for place, bar in zip(places_of(thickness, found, remark), bars, strict=True):
        if bar is None:
            # Contacts off the middle of a side may stand apart from the bar that they are in.
            if any(is_within(other, np.asarray(place.position)) for other in known):
                continue
        else:
            place.value, place.lower, place.upper = bar.diameter, bar.lower, bar.upper
            place.faceting_mm = bar.sagitta
            place.remark = remark.format(bar.diameter)
            place.properties |= {
                "axis": bar.axis.tolist(),
                "length_mm": bar.length,
                "has_end": list(bar.has_end),
            }
        place.properties["diameter_mm"] = place.value
        places.append(place)
    return Places(places)


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


def told_by_thin_wall(walls: Walls, limit: float, sheet: Sheet) -> float:
    """Thickness below which walls/thin-wall tells of a wall; 0 if it is off.

    The range holds the limits of both rules over walls that are on, wherever they were set: the
    other one's is the end that is not this one's. Where both ends are this one's, the other rule
    has the same limit or is off.
    """
    for end in (walls.lowest, walls.highest):
        if not np.isclose(end, limit):
            return end
    required = sheet.requirement("walls/thin-wall")
    same = required is not None and required.low is not None and np.isclose(required.low, limit)
    return limit if same else 0.0


def stands_free(thickness: Thickness, region: ThinRegion) -> bool:
    """Do nearly all places of a wall stand free?

    Of a square web in a corner, held along two sides, half of the places do.
    """
    from lint3d.geometry.free_walls import is_free

    spans = thickness.spans
    mine = np.isin(spans.face, region.faces) & np.isin(spans.contact_face, region.faces)
    rows = np.flatnonzero(mine & spans.measured & ~spans.knife & (spans.area > 0))
    if not len(rows):
        return False
    rows = rows[:: max(1, len(rows) // PROBES)]
    free = is_free(spans.surface.scene, spans.point[rows], spans.contact_point[rows], region.axis)
    return bool(free.mean() > MOSTLY_FREE)


def places_of(thickness: Thickness, found: Sequence[ThinRegion], remark: str) -> Places:
    """One place a region."""
    return Places(
        Place(
            min(max(one.value, one.lower), one.upper),
            lower=one.lower,
            upper=one.upper,
            position=(one.point + one.contact_point) / 2,
            faces=_own_faces(thickness, one),
            extent_mm=one.extent,
            remark=remark.format(one.value),
            properties=_facts(one),
        )
        for one in found
    )


def _facts(region: ThinRegion) -> dict[str, Any]:
    facts: dict[str, Any] = {"area_mm2": region.area}
    if region.kind == "rod":
        facts |= {"axis": region.axis.tolist(), "length_mm": region.length}
    return facts


def _own_faces(thickness: Thickness, region: ThinRegion) -> NDArray[np.int64]:
    """Faces of a region, the worst first, less those that are thin in a small part only.

    A large face over many thin floors belongs to none of them in particular: places whose faces
    touch would be taken for one.
    """
    surface = thickness.spans.surface
    area = surface.areas[np.searchsorted(surface.face_ids, region.faces)]
    own = region.faces[area <= FAR_LARGER * region.area]
    return own if len(own) else region.faces[:1]
