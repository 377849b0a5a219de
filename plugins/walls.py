"""Walls: is any place too thin, too slender or too close to its neighbour to build?

Thickness is the diameter of the inscribed ball (`lint3d.geometry.spans`), looking inward for walls
and outward for gaps. One place, one owner: what is thin both ways is a rod (outward: a hole), what
is thin one way a wall (outward: a gap); a wall that passes `walls/thin-wall` and stands free is
left to `walls/free-wall`.

Which of the two a thin region is shows by how broad it is where it is below the limit of the rule
that asks. If the limits of walls and rods differ, a thing that changes from one to the other (a rib
that ends in a pin) is looked at in two extents, and may be told by both rules or by neither.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import TYPE_CHECKING

from lint3d import (
    Body,
    Claim,
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
from lint3d_plugins.walls_coincident import Coincident, coincident_in
from lint3d_plugins.walls_free import Walls
from lint3d_plugins.walls_looks import (
    MOST_OPEN,
    Bars,
    Surface,
    Thickness,
    bars_of,
    limit_of,
    look_across,
    required_of,
)
from lint3d_plugins.walls_places import edges_of, of_kind, places_of
from lint3d_plugins.walls_round import round_places, slenderness_of
from lint3d_plugins.walls_straight import most_slender_of_each

if TYPE_CHECKING:
    from lint3d import Joined

#: So many bars are looked at for whether something holds them along their length.
MOST_TIED = 500

# --- measures -----------------------------------------------------------------------------------


@measure(unit="mm")
def span_surface(body: Body) -> Surface:
    """Which facets of the body can have a span, and what closes the holes between them?

    Bodies that overlap or touch are one piece of material, looked at once, with the largest.

    Raises
    ------
    NotMeasurable : nothing of the body encloses material
    NotApplicable : the body is a part of a piece that is looked at with another body
    """
    from lint3d.geometry.enclosure import caps_of, volume_when_closed
    from lint3d.geometry.spans_surface import surface_from_mesh

    joined = body.joined
    if joined is not None:
        return _joined_surface(body, joined)
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


def _joined_surface(body: Body, joined: Joined) -> Surface:
    """The common surface of bodies that are one piece, for the largest of them."""
    from lint3d.geometry.enclosure import caps_of
    from lint3d.geometry.spans_surface import surface_from_mesh

    leader = joined.bodies[0]
    if body is not leader:
        raise NotApplicable(
            f"It overlaps or touches other bodies and is one piece with '{leader.name}'; the piece "
            "is looked at there."
        )
    surface = surface_from_mesh(joined.vertices, joined.faces, joined.coordinate_step_mm or None)
    return Surface(surface, caps_of(joined.vertices, joined.faces[:0]), joined)


@measure(unit="mm")
def spans(span_surface: Surface, interest: Interest, sheet: Sheet) -> Thickness:
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
    knife = limit_of(sheet, "walls/thin-wall") if sheet.is_on("walls/knife-edge") else None
    return look_across(span_surface, interest, "inward", knife)


@measure(unit="mm")
def gaps(span_surface: Surface, interest: Interest, sheet: Sheet) -> Thickness:
    """How wide is the space between parts of the surface that face each other?

    Slots, holes, the counters of letters, the space between the turns of a coil.
    """
    crevice = limit_of(sheet, "walls/narrow-gap") if sheet.is_on("walls/crevice") else None
    return look_across(span_surface, interest, "outward", crevice)


@measure(unit="mm")
def coincident(span_surface: Surface) -> Coincident:
    """Where are walls and gaps of nothing: faces that lie on each other back to back?"""
    return coincident_in(span_surface)


@measure(unit="mm")
def walls(spans: Thickness, sheet: Sheet) -> Walls:
    """Which thin regions are walls, and which rule tells of each?"""
    thin, free = (required_of(sheet, f"walls/{name}") for name in ("thin-wall", "free-wall"))
    return Walls(spans, thin, free)


@measure(unit="mm", other_quantity=True)
def sharp_edges(spans: Thickness, sheet: Sheet) -> Places:
    """How deep are the strips behind sharp edges in which the material is too thin for a wall?"""
    thin = limit_of(sheet, "walls/thin-wall")
    if not thin:
        raise NotApplicable("It looks for places thinner than the limit of walls/thin-wall.")
    return edges_of(
        spans,
        thin,
        "The edge encloses {angle:.3g}°: over {depth:.3g} mm the material is thinner than "
        "{limit:.4g} mm.",
        "thinner_than_mm",
    )


@measure(unit="mm", other_quantity=True)
def crevices(gaps: Thickness, sheet: Sheet) -> Places:
    """How deep are the grooves that taper to nothing where they are too narrow for a gap?"""
    narrow = limit_of(sheet, "walls/narrow-gap")
    if not narrow:
        raise NotApplicable("It looks for places narrower than the limit of walls/narrow-gap.")
    return edges_of(
        gaps,
        narrow,
        "The crevice opens by {angle:.3g}°: over {depth:.3g} mm it is narrower than "
        "{limit:.4g} mm.",
        "narrower_than_mm",
    )


@measure(unit="1")
def rods(span_surface: Surface, interest: Interest, sheet: Sheet) -> Bars:
    """Which pins, struts and wires are there, how thick and how long?

    Up to the diameter at which one as long as the whole body would still be within the limit of
    walls/slender, and up to the limit of walls/thin-rod.
    """
    return bars_of(span_surface, interest, "inward", required_of(sheet, "walls/thin-rod"))


@measure(unit="1")
def holes(span_surface: Surface, interest: Interest, sheet: Sheet) -> Bars:
    """Which holes are there, through and blind, how wide and how deep?

    Up to the diameter at which one through the whole body would still be within the limit of
    walls/deep-hole, and up to the limit of walls/small-hole.
    """
    return bars_of(span_surface, interest, "outward", required_of(sheet, "walls/small-hole"))


# --- rules --------------------------------------------------------------------------------------


@rule("walls/thin-wall", measures="mm")
def thin_wall(
    walls: Walls, coincident: Coincident, interest: Interest
) -> Iterator[Place | LeftOut]:
    """A wall too thin for the process to build or to survive cleaning.

    The value is the diameter of the largest ball that fits between both sides where the wall is
    tightest.

    Remedy: thicken the wall, or rib it.
    """
    limit = interest.high / HEAD_ROOM
    yield from coincident.walls
    found = coincident.without(walls.thin_below(limit))
    yield from walls.untold(limit)
    if not found and not coincident.walls:
        found = walls.thin_below(interest.high)[:1]
    yield from places_of(found, "The wall is {:.4g} mm thick.")
    if not found and not coincident.walls:
        yield Place(
            interest.high,
            is_lower_bound=True,
            remark=f"No wall is thinner than {interest.high:.4g} mm.",
        )


@rule("walls/free-wall", measures="mm")
def free_wall(walls: Walls, interest: Interest) -> Iterator[Place | LeftOut]:
    """A free-standing wall too thin to survive handling and cleaning.

    It is held along one side at most, as a rib on a plate is. A tube or another wall that bends
    holds itself. Walls that are too thin even where they are held are told by walls/thin-wall
    alone.

    Remedy: thicken the wall, rib it, or tie its free edge to another wall.
    """
    limit = interest.high / HEAD_ROOM
    found = walls.free_below(limit)
    yield from walls.untold(limit)
    found = found or walls.free_below(interest.high)
    yield from places_of(found, "The wall stands free and is {:.4g} mm thick.")


@rule("walls/thin-rod", measures="mm")
def thin_rod(spans: Thickness, rods: Bars, interest: Interest) -> Iterator[Place | LeftOut]:
    """A pin, strut or wire too thin to build or to survive cleaning.

    It is thin both ways; the value is its smaller diameter.

    Remedy: thicken it, or replace it by a rib.
    """
    found = round_places(spans, rods, interest, "The rod is {:.4g} mm thick.")
    yield from found
    yield from found.left_out


@rule("walls/slender", measures="1")
def slender(rods: Bars, span_surface: Surface, sheet: Sheet) -> Iterator[Place]:
    """A pin or strut too slender to survive cleaning.

    The value is its length over its smaller diameter. A strut that is held at both ends counts by
    its whole length, too; of rods that meet the most slender is told. Rings, coils and hooks are
    not judged, nor a rim that a wall or floor holds along its length.

    Remedy: thicken it, shorten it, or tie it to what stands beside it.
    """
    from lint3d.geometry.rods_tied import are_tied

    required = sheet.requirement("walls/slender")
    limit = required.high if required and required.high else 0.0
    # Only what could fail is worth the look; of very many struts the most slender come first.
    doubtful = [bar for bar in rods.found if bar.slenderness[2] >= limit][:MOST_TIED]
    tied = {
        id(b)
        for b, is_tied in zip(doubtful, are_tied(span_surface.spans, doubtful), strict=True)
        if is_tied
    }
    found = [bar for bar in rods.found if id(bar) not in tied]
    for bar in most_slender_of_each(found, limit):
        remark = f"The rod is {bar.length:.4g} mm long and {bar.diameter:.4g} mm thick."
        yield slenderness_of(bar, remark, {"length_mm": bar.length})


@rule("walls/knife-edge", measures="mm")
def knife_edge(sharp_edges: Places) -> Iterator[Place]:
    """A wall that tapers to nothing at a sharp edge.

    The value is the depth of the strip that is thinner than walls/thin-wall allows: it will break
    away, or not be built at all.

    Remedy: cut the edge off square, or round it.
    """
    yield from sharp_edges


@rule("walls/narrow-gap", measures="mm", claims=("assembly/clearance",))
def narrow_gap(
    gaps: Thickness, coincident: Coincident, interest: Interest
) -> Iterator[Place | LeftOut | Claim]:
    """A slot or gap too narrow to stay open.

    Jetted drops spread: the sides grow together, or support cannot be washed out between them. Gaps
    between bodies that overlap or touch elsewhere are of the kind: such bodies are one piece.

    Remedy: widen the gap, or close it in the design.
    """
    yield from coincident.gaps
    found = coincident.without(of_kind(gaps, "wall", interest))
    yield from gaps.untold(interest.high / HEAD_ROOM, "wall")
    yield from places_of(found, "The gap is {:.4g} mm wide.")
    if gaps.lies_on is not None:
        yield Claim(between=gaps.lies_on.bodies)


@rule("walls/crevice", measures="mm")
def crevice(crevices: Places) -> Iterator[Place]:
    """A groove that tapers to nothing and is too deep where it is too narrow.

    The value is the depth over which it is narrower than walls/narrow-gap allows: so far it fills
    up, or holds on to support. Its sides enclose at most 30 degrees; an ordinary inner corner is
    none, and a groove that tapers is never told by walls/narrow-gap.

    Remedy: round the bottom of the groove, or open it wider.
    """
    yield from crevices


@rule("walls/small-hole", measures="mm")
def small_hole(gaps: Thickness, holes: Bars, interest: Interest) -> Iterator[Place | LeftOut]:
    """A hole too small to stay open.

    The value is the diameter of the largest ball that fits into the hole, which on facets is a
    little less than what was drawn.

    Remedy: enlarge the hole, or leave it out and drill it.
    """
    found = round_places(gaps, holes, interest, "The hole is {:.4g} mm wide.")
    for place in found:
        place.properties["depth_mm"] = place.properties.pop("length_mm", None)
        held = place.properties.pop("has_end", None)
        place.properties["through"] = None if held is None else not any(held)
        yield place
    yield from found.left_out


@rule("walls/deep-hole", measures="1")
def deep_hole(holes: Bars) -> Iterator[Place]:
    """A hole too deep for its width to be cleaned out.

    The value is its depth over its diameter, for through holes and blind ones. The depth ends at
    the shoulder of a conical bottom, and midway between the near and the far side of a slanting
    lip. A bore that steps to one a fifth wider, or more, is two holes.

    Remedy: widen the hole, make it shallower, or open it from the other side.
    """
    for bar in holes.found:
        through = not any(bar.has_end)
        kind = "through" if through else "blind"
        remark = f"The {kind} hole is {bar.length:.4g} mm deep and {bar.diameter:.4g} mm wide."
        yield slenderness_of(bar, remark, {"depth_mm": bar.length, "through": through})


@hookimpl
def lint3d_measures() -> list[Measure]:
    return [span_surface, spans, gaps, coincident, walls, sharp_edges, crevices, rods, holes]


@hookimpl
def lint3d_rules() -> list[Rule]:
    return [
        thin_wall,
        free_wall,
        thin_rod,
        slender,
        knife_edge,
        narrow_gap,
        crevice,
        small_hole,
        deep_hole,
    ]
