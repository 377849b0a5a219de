"""Walls: is any place too thin, too slender or too close to its neighbour to build?

Thickness is the diameter of the inscribed ball (`lint3d.geometry.spans`), looking inward for walls
and outward for gaps. One place, one owner: what is thin both ways is a rod (outward: a hole), what
is thin one way a wall (outward: a gap); a wall that passes `walls/thin-wall` and stands free is
left to `walls/free-wall`.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any, Literal

import numpy as np

from lint3d import (
    Body,
    Interest,
    LeftOut,
    Measure,
    NotApplicable,
    NotMeasurable,
    Place,
    Places,
    Rule,
    Sheet,
    hookimpl,
    measure,
    rule,
)
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


# --- measures -----------------------------------------------------------------------------------


@measure(unit="mm")
def span_surface(body: Body) -> Surface:
    """Which facets of the body can have a span, and what closes the holes between them?

    Raises
    ------
    NotMeasurable : nothing of the body encloses material
    """
    from lint3d.geometry.enclosure import caps_of, volume_when_closed
    from lint3d.geometry.spans_surface import surface_from_mesh

    faces = body.faces
    caps = caps_of(body.vertices, faces[:0])
    if not body.closed:
        caps = caps_of(body.vertices, faces)
        # Which way an open surface was meant to look shows once its holes are closed.
        if volume_when_closed(body.vertices, faces, caps) < 0:
            faces = faces[:, ::-1]
            caps = replace(caps, corners=caps.corners[:, ::-1])
    surface = surface_from_mesh(body.vertices, faces, body.coordinate_step_mm or None)
    if not len(surface.faces):
        raise NotMeasurable(
            "Nothing of the body encloses material; solid/degenerate-face and solid/duplicate-face "
            "tell more."
        )
    if caps.area > MOST_OPEN * float(surface.areas.sum()):
        raise NotMeasurable(
            "The surface is so open that it is not known where material is; "
            "solid/open-edge tells more."
        )
    return Surface(surface, caps)


@measure(unit="mm")
def spans(span_surface: Surface, interest: Interest) -> Thickness:
    """How thick is the material at points spread over the surface?

    Returns
    -------
    Thickness
        Values above `interest.high` are lower bounds only: no rule asks beyond it.
    Raises
    ------
    NotMeasurable
        Nothing of the body encloses material.
    References
    ----------
    Thickness as the largest inscribed ball: Hildebrand & Rueegsegger 1997.
    """
    return _look(span_surface, interest, "inward")


@measure(unit="mm")
def gaps(span_surface: Surface, interest: Interest) -> Thickness:
    """How wide is the space between parts of the surface that face each other?

    Slots, holes, the counters of letters, the space between the turns of a coil.
    """
    return _look(span_surface, interest, "outward")


@measure(unit="mm")
def walls(spans: Thickness, interest: Interest) -> Walls:
    """Which thin regions are walls, and which rules look at them?"""
    return Walls(spans, interest.low, interest.high / HEAD_ROOM, spans.left_out)


@measure(unit="1")
def rods(span_surface: Surface, interest: Interest) -> Bars:
    """Which pins, struts and wires are there, how thick and how long?

    Up to the diameter at which one as long as the whole body would still be within the limit.
    """
    return _bars(span_surface, interest, "inward")


@measure(unit="1")
def holes(span_surface: Surface, interest: Interest) -> Bars:
    """Which holes are there, through and blind, how wide and how deep?

    Up to the diameter at which one through the whole body would still be within the limit.
    """
    return _bars(span_surface, interest, "outward")


# --- rules --------------------------------------------------------------------------------------


@rule("walls/thin-wall", measures="mm")
def thin_wall(walls: Walls, interest: Interest) -> Iterator[Place]:
    """A wall too thin for the process to build or to survive cleaning.

    The value is the diameter of the largest ball that fits between both sides where the wall is
    tightest.

    Remedy: thicken the wall, or rib it.
    """
    limit = interest.high / HEAD_ROOM
    found = walls.below(limit) or walls.below(interest.high)[:1]
    yield from _places(walls.thickness, found, "The wall is {:.4g} mm thick.")
    if not found:
        yield Place(
            interest.high,
            is_lower_bound=True,
            remark=f"No wall is thinner than {interest.high:.4g} mm.",
        )


@rule("walls/free-wall", measures="mm")
def free_wall(walls: Walls, interest: Interest, sheet: Sheet) -> Iterator[Place]:
    """A free-standing wall too thin to survive handling and cleaning.

    It is held along one side at most, as a rib on a plate is. Walls that are too thin even where
    they are held are told by walls/thin-wall alone.

    Remedy: thicken the wall, rib it, or tie its free edge to another wall.
    """
    limit = interest.high / HEAD_ROOM
    told = _told_by_thin_wall(walls, limit, sheet)
    for reach in (limit, interest.high):
        found = [one for one in walls.below(reach, told) if _is_free(walls.thickness, one)]
        if found:
            break
    yield from _places(walls.thickness, found, "The wall stands free and is {:.4g} mm thick.")


@rule("walls/thin-rod", measures="mm")
def thin_rod(spans: Thickness, interest: Interest) -> Iterator[Place]:
    """A pin, strut or wire too thin to build or to survive cleaning.

    It is thin both ways; the value is its smaller diameter.

    Remedy: thicken it, or replace it by a rib.
    """
    yield from _round_places(spans, interest, "The rod is {:.4g} mm thick.")


@rule("walls/slender", measures="1")
def slender(rods: Bars) -> Iterator[Place]:
    """A pin or strut too slender to survive cleaning.

    The value is its length over its smaller diameter. A strut that is held at both ends counts by
    its whole length, too; rings, coils and hooks are not judged.

    Remedy: thicken it, shorten it, or tie it to what stands beside it.
    """
    for bar in rods.found:
        remark = f"The rod is {bar.length:.4g} mm long and {bar.diameter:.4g} mm thick."
        yield _slenderness(bar, remark, {"length_mm": bar.length})


@rule("walls/knife-edge", measures="mm")
def knife_edge(spans: Thickness, sheet: Sheet) -> Iterator[Place]:
    """A wall that tapers to nothing at a sharp edge.

    The value is the depth of the strip that is thinner than walls/thin-wall allows: it will break
    away, or not be built at all.

    Remedy: cut the edge off square, or round it.
    """
    from lint3d.geometry.spans_sharp import sharp_regions

    required = sheet.requirement("walls/thin-wall")
    thin = min((required and required.low) or spans.spans.high, spans.spans.high)
    for edge in sharp_regions(spans.spans, thin):
        yield Place(
            edge.depth,
            lower=edge.lower,
            upper=edge.upper,
            position=edge.point,
            faces=edge.faces,
            extent_mm=edge.extent,
            remark=f"The edge encloses {edge.angle:.3g}°: over {edge.depth:.3g} mm the material is "
            f"thinner than {thin:.4g} mm.",
            properties={"angle_deg": edge.angle, "edge_mm": edge.length, "thinner_than_mm": thin},
        )


@rule("walls/narrow-gap", measures="mm")
def narrow_gap(gaps: Thickness, interest: Interest) -> Iterator[Place]:
    """A slot or gap too narrow to stay open.

    Jetted drops spread: the sides grow together, or support cannot be washed out between them.

    Remedy: widen the gap, or close it in the design.
    """
    yield from _places(gaps, _of_kind(gaps, "wall", interest), "The gap is {:.4g} mm wide.")


@rule("walls/small-hole", measures="mm")
def small_hole(gaps: Thickness, interest: Interest) -> Iterator[Place]:
    """A hole too small to stay open.

    The value is the diameter of the largest ball that fits into the hole, which on facets is a
    little less than what was drawn.

    Remedy: enlarge the hole, or leave it out and drill it.
    """
    for place in _round_places(gaps, interest, "The hole is {:.4g} mm wide."):
        place.properties["depth_mm"] = place.properties.pop("length_mm")
        held = place.properties.pop("has_end", None)
        place.properties["through"] = None if held is None else not any(held)
        yield place


@rule("walls/deep-hole", measures="1")
def deep_hole(holes: Bars) -> Iterator[Place]:
    """A hole too deep for its width to be cleaned out.

    The value is its depth over its diameter, for through holes and blind ones. The depth ends at
    the shoulder of a conical bottom.

    Remedy: widen the hole, make it shallower, or open it from the other side.
    """
    for bar in holes.found:
        through = not any(bar.has_end)
        kind = "through" if through else "blind"
        remark = f"The {kind} hole is {bar.length:.4g} mm deep and {bar.diameter:.4g} mm wide."
        yield _slenderness(bar, remark, {"depth_mm": bar.length, "through": through})


# --- looking ------------------------------------------------------------------------------------


def _look(surface: Surface, interest: Interest, look: Literal["inward", "outward"]) -> Thickness:
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


def _bars(surface: Surface, interest: Interest, look: Literal["inward", "outward"]) -> Bars:
    from lint3d.geometry.enclosure import is_sure
    from lint3d.geometry.rods import bars

    if not 0 < interest.low < np.inf:
        raise NotApplicable("No rule with a limit asks for it.")
    vertices = surface.spans.vertices[surface.spans.faces.ravel()]
    longest = float(np.linalg.norm(np.ptp(vertices, axis=0)))
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


def _of_kind(
    thickness: Thickness, kind: Literal["wall", "rod"], interest: Interest
) -> list[ThinRegion]:
    """Regions of a kind that may break the limit, or else the tightest that is known."""
    for limit in (interest.high / HEAD_ROOM, interest.high):
        found = [one for one in thickness.regions(limit) if one.kind == kind]
        if found:
            return found
    return []


def _round_places(thickness: Thickness, interest: Interest, remark: str) -> Places:
    """Regions thin both ways, with the largest circle that fits into their section."""
    from lint3d.geometry.rods_bar import bars_of_regions, is_within

    found = _of_kind(thickness, "rod", interest)
    bars = bars_of_regions(thickness.spans, found)
    known = [bar for bar in bars if bar is not None]
    places = []
    for place, bar in zip(_places(thickness, found, remark), bars, strict=True):
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


def _slenderness(bar: Bar, remark: str, facts: dict[str, Any]) -> Place:
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


def _told_by_thin_wall(walls: Walls, limit: float, sheet: Sheet) -> float:
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


def _is_free(thickness: Thickness, region: ThinRegion) -> bool:
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


def _places(thickness: Thickness, found: Sequence[ThinRegion], remark: str) -> Places:
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


@hookimpl
def lint3d_measures() -> list[Measure]:
    return [span_surface, spans, gaps, walls, rods, holes]


@hookimpl
def lint3d_rules() -> list[Rule]:
    return [
        thin_wall,
        free_wall,
        thin_rod,
        slender,
        knife_edge,
        narrow_gap,
        small_hole,
        deep_hole,
    ]
