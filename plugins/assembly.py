"""Assembly: do bodies that are printed together stay apart, touch, overlap or hold each other?

Distances and volumes are exact; their uncertainty is that of single-precision coordinates. How far
the facets stray from the smooth shape is told beside it as `faceting`.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Literal

import numpy as np

from lint3d import (
    Assembly,
    Body,
    Interest,
    LeftOut,
    Measure,
    NotApplicable,
    NotMeasurable,
    Place,
    Places,
    Rule,
    hookimpl,
    measure,
    rule,
)
from lint3d.geometry.facets import lie_in_plane
from lint3d.geometry.topology import is_in_pieces
from lint3d.interest import HEAD_ROOM

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from lint3d.geometry.clearance import Spot, Surface
    from lint3d.geometry.overlap import Overlap

#: mm; no process builds so narrow a gap: what is surely nearer touches. As the default weld
#: tolerance. common practice, no source
TOUCHING_MM = 1e-4
#: Of one pair of bodies so many places are looked at more closely than by their distance.
MOST_FITS = 20


@dataclass(frozen=True, eq=False)
class Pair:
    """Two bodies whose boxes come within reach, and where they come near."""

    bodies: tuple[Body, Body]
    surfaces: tuple[Surface, Surface]
    spots: tuple[Spot, ...]

    @property
    def uncertainty_mm(self) -> float:
        """Of a distance between the two."""
        return self.surfaces[0].uncertainty_mm + self.surfaces[1].uncertainty_mm

    @property
    def closed(self) -> bool:
        return all(body.closed for body in self.bodies)

    def surely_touches(self, spot: Spot) -> bool:
        """Do the two touch there, whatever the last digits of the coordinates?"""
        return spot.distance == 0 or spot.distance + self.uncertainty_mm <= TOUCHING_MM

    def may_touch(self, spot: Spot) -> bool:
        return spot.distance <= self.uncertainty_mm or self.surely_touches(spot)


@dataclass(frozen=True, eq=False)
class Neighbours:
    """All pairs of bodies that come near, in the order of the bodies."""

    pairs: tuple[Pair, ...]
    left_out: tuple[LeftOut, ...] = ()


@dataclass(frozen=True, eq=False)
class Meeting:
    """What a pair that touches or overlaps has in common."""

    pair: Pair
    kind: Literal["touching", "overlapping", "unknown"]
    overlap: Overlap | None = None
    inner: int | None = None
    """0 or 1: that body lies wholly in the other's material"""
    reason: str = ""
    """why the kind, or the volume, is not known"""


@dataclass(frozen=True, eq=False)
class Meetings:
    """Pairs that touch or overlap, and those of which it cannot be told."""

    found: dict[Pair, Meeting] = field(default_factory=dict)


@measure(unit="mm")
def neighbours(assembly: Assembly, interest: Interest) -> Neighbours:
    """Which bodies come near each other, where, and how near?"""
    from lint3d.geometry.clearance import Surface, near_pairs, near_spots
    from lint3d.geometry.clearance_tree import TooManyPairs

    bodies = assembly.bodies
    if len(bodies) < 2:
        raise _alone(bodies)
    surfaces = [Surface(body.vertices, body.faces) for body in bodies]
    is_sheet = [_is_loose_sheet(body) for body in bodies]
    pairs, left_out = [], _sheets_left_out(bodies, is_sheet)
    for a, b in near_pairs(surfaces, interest.high):
        if is_sheet[a] or is_sheet[b]:
            continue
        one, two = surfaces[a], surfaces[b]
        step = one.uncertainty_mm + two.uncertainty_mm
        levels = sorted({step, max(step, interest.low), max(step, interest.high)})
        try:
            spots = near_spots(one, two, levels)
        except TooManyPairs:
            left_out.append(
                LeftOut(
                    f"The facets of '{bodies[a].name}' and '{bodies[b].name}' lie too thick near "
                    "each other for their distance to be worked out; export them coarser.",
                    of=bodies[a],
                )
            )
            continue
        pairs.append(Pair((bodies[a], bodies[b]), (one, two), tuple(spots)))
    return Neighbours(tuple(pairs), tuple(left_out))


@measure(unit="mm3")
def meetings(neighbours: Neighbours) -> Meetings:
    """Which bodies touch, which overlap, and what have they in common?"""
    found = ((pair, _meeting(pair)) for pair in neighbours.pairs)
    return Meetings({pair: meeting for pair, meeting in found if meeting is not None})


@measure(unit="mm3")
def overlaps(neighbours: Neighbours, meetings: Meetings) -> Places:
    """How much room do two bodies claim both?

    Raises
    ------
    NotApplicable : fewer than two bodies
    """
    places, left_out = [], [*neighbours.left_out]
    for meeting in meetings.found.values():
        if meeting.overlap is not None:
            places.append(_overlap_place(meeting))
        elif meeting.kind != "touching":
            left_out.append(_unmeasured(meeting))
    return Places(places, left_out)


@measure(unit="1")
def contacts(neighbours: Neighbours, meetings: Meetings) -> Places:
    """Where do bodies touch without a common volume?

    A pair that is nearer than coordinates can tell may touch or not: the interval says so, unless
    the distance is surely below `TOUCHING_MM`.
    """
    places = []
    for pair in neighbours.pairs:
        meeting = meetings.found.get(pair)
        if meeting is not None and meeting.kind == "overlapping":
            continue
        near = [spot for spot in pair.spots if pair.may_touch(spot)]
        places += [_contact_place(pair, spot, meeting) for spot in near]
    return Places(places, neighbours.left_out)


@measure(unit="1")
def captives(neighbours: Neighbours, meetings: Meetings) -> Places:
    """Which bodies cannot leave another by a straight move?

    Ways out that need a turn, a screw or several moves are not looked for.
    """
    places, left_out = [], [*neighbours.left_out]
    for pair in neighbours.pairs:
        meeting = meetings.found.get(pair)
        if (meeting is not None and meeting.kind != "touching") or not _boxes_overlap(pair):
            continue
        if not pair.closed:
            left_out.append(_open_bodies(pair, "whether one holds the other"))
        elif _is_captive(pair):
            places.append(_captive_place(pair))
    return Places(places, left_out)


@measure(unit="mm")
def clearances(
    neighbours: Neighbours,
    meetings: Meetings,
    interest: Interest,
    captives: Places | None = None,
) -> Places:
    """How wide is the gap between two bodies where they come near?

    One place for each connected region nearer than the lowest limit, or else nearer than the head
    room above the limits. Where bodies touch or overlap there is no gap; `contacts` and `overlaps`
    tell.
    """
    held = {frozenset((place.of, place.other)) for place in captives or ()}
    found: list[tuple[Pair, Spot, bool]] = []
    for pair in neighbours.pairs:
        spots = [spot for spot in pair.spots if not pair.surely_touches(spot)]
        meeting = meetings.found.get(pair)
        if meeting is not None and meeting.kind == "overlapping":
            spots = [] if meeting.inner is not None else _outside(pair, spots)
        found += [(pair, spot, number < MOST_FITS) for number, spot in enumerate(spots)]
    # What passes every limit is told by its tightest place only: no need to know more of the rest.
    limit = interest.high / HEAD_ROOM
    tightest = min((spot.distance for _, spot, _ in found), default=0.0)
    places: list[Place] = []
    patches: dict[int, NDArray[np.int64]] = {}
    for pair, spot, is_among_first in found:
        is_told = spot.distance - pair.uncertainty_mm < limit or spot.distance == tightest
        place = _clearance_place(pair, spot, with_area=is_told)
        if is_told and is_among_first:
            _add_fit(place, pair, spot, patches, interest.high)
        place.properties["captive"] = frozenset(pair.bodies) in held
        places.append(place)
    is_apart = not meetings.found and not any(
        pair.surely_touches(spot) for pair in neighbours.pairs for spot in pair.spots
    )
    if not places and not neighbours.left_out and is_apart and interest.high > 0:
        remark = f"No two bodies come nearer to each other than {interest.high:.4g} mm."
        places.append(Place(interest.high, is_lower_bound=True, remark=remark))
    return Places(places, neighbours.left_out)


@rule("assembly/clearance", measures="mm")
def clearance(clearances: Places) -> Iterator[Place]:
    """Two bodies are so close that they may not come apart.

    The value is the smallest distance between the two; in a round fit it is radial, half the
    difference of the diameters if the axes agree. The running gap is the mean over the area where
    the two face each other.

    Remedy: widen the gap, or join the two into one body.
    """
    yield from clearances


@rule("assembly/interference", measures="mm3")
def interference(overlaps: Places) -> Iterator[Place]:
    """Two bodies claim the same room.

    They will be built as one piece, and what was meant to move will not. A body wholly inside the
    material of another is lost in it.

    Remedy: move the bodies apart, cut the one from the other, or join them into one.
    """
    yield from overlaps


@rule("assembly/touching", measures="1")
def touching(contacts: Places) -> Iterator[Place]:
    """Two bodies touch: they will fuse.

    Their distance is zero, to 0.0001 mm, and they share no room: a joint that was meant to move is
    built as one piece, and a part that was meant to be joined hangs on by a skin.

    Remedy: leave a gap between them, or join them into one body.
    """
    yield from contacts


@rule("assembly/trapped", measures="1")
def trapped(captives: Places) -> Iterator[Place]:
    """A body cannot leave another by a straight move.

    Wanted in a hinge or a chain, but not in a box. Ways out that need a turn, a screw or several
    moves are not looked for.

    Remedy: if it is not meant to be held, widen an opening or move the body out.
    """
    yield from captives


# --- pairs that meet ----------------------------------------------------------------------------


def _meeting(pair: Pair) -> Meeting | None:
    """What the pair has in common, None if it stays apart."""
    if any(spot.distance == 0 for spot in pair.spots):
        if not pair.closed:
            reason = _open_bodies(pair, "whether they overlap or only touch").reason
            return Meeting(pair, "unknown", reason=reason)
        return _cut(pair, None)
    return _contained(pair)


def _contained(pair: Pair) -> Meeting | None:
    """Does one body lie in the other's material, though their surfaces stay apart?"""
    from lint3d.geometry.overlap import contains, may_contain

    for inner, outer in ((1, 0), (0, 1)):
        around, within = pair.surfaces[outer], pair.surfaces[inner]
        if not may_contain(around, within):
            continue
        if not pair.bodies[outer].closed:
            reason = _open_bodies(pair, "whether one lies within the other").reason
            return Meeting(pair, "unknown", inner=inner, reason=reason)
        if contains(around, within.corners[0, 0]):
            return _cut(pair, inner)
    return None


def _cut(pair: Pair, inner: int | None) -> Meeting:
    """Common volume of a pair that meets."""
    from lint3d.geometry.overlap import NoSolid, common_volume

    if not pair.closed:
        return Meeting(
            pair, "overlapping", None, inner, _open_bodies(pair, "how much they overlap").reason
        )
    try:
        overlap = common_volume(*pair.surfaces)
    except NoSolid as fault:
        names = [pair.bodies[fault.which]] if fault.which is not None else pair.bodies
        reason = (
            f"How much of '{pair.bodies[0].name}' and '{pair.bodies[1].name}' is common cannot be "
            f"told: the faces of {' and '.join(repr(b.name) for b in names)} do not join as in a "
            "solid; the rules of the family 'solid' tell more."
        )
        return Meeting(pair, "unknown" if inner is None else "overlapping", None, inner, reason)
    if overlap is None or (inner is None and overlap.volume <= overlap.uncertainty):
        return Meeting(pair, "touching")
    return Meeting(pair, "overlapping", overlap, inner)


def _overlap_place(meeting: Meeting) -> Place:
    """A place for a common volume."""
    pair, overlap = meeting.pair, meeting.overlap
    assert overlap is not None
    first = meeting.inner or 0
    of, other = pair.bodies[first], pair.bodies[1 - first]
    if meeting.inner is not None:
        faces = np.arange(len(of.faces))
        remark = f"'{of.name}' lies wholly within the material of '{other.name}'."
    else:
        faces = np.concatenate([spot.faces for spot in pair.spots if spot.distance == 0])
        remark = (
            f"'{of.name}' and '{other.name}' have {overlap.volume:.4g} mm³ in common, "
            f"{overlap.depth:.3g} mm deep."
        )
    return Place(
        overlap.volume,
        lower=max(overlap.volume - overlap.uncertainty, 0.0),
        upper=overlap.volume + overlap.uncertainty,
        position=overlap.position,
        faces=faces,
        of=of,
        other=other,
        extent_mm=float((overlap.box[1] - overlap.box[0]).max()),
        remark=remark,
        properties={
            "box_mm": overlap.box.tolist(),
            "depth_mm": overlap.depth,
            "pieces": overlap.pieces,
            "contained": meeting.inner is not None,
        },
    )


def _unmeasured(meeting: Meeting) -> LeftOut:
    spots = [spot for spot in meeting.pair.spots if spot.distance == 0]
    faces = np.concatenate([spot.faces for spot in spots]) if spots else ()
    return LeftOut(meeting.reason, faces, meeting.pair.bodies[0])


def _contact_place(pair: Pair, spot: Spot, meeting: Meeting | None) -> Place:
    """A place where the two touch, or come nearer than coordinates can tell."""
    from lint3d.geometry.clearance_area import area_within

    level = max(pair.uncertainty_mm, spot.distance)
    near = _near_corners(pair, spot, level)
    area, _, middle = area_within(*near, level)
    surely = pair.surely_touches(spot)
    remark = f"'{pair.bodies[0].name}' and '{pair.bodies[1].name}' "
    remark += "touch." if surely else "are nearer than their coordinates can tell."
    if meeting is not None and meeting.kind == "unknown":
        remark += f" {meeting.reason}"
    return Place(
        1,
        lower=1 if surely else 0,
        upper=1,
        position=middle if np.isfinite(middle).all() else spot.point.mean(axis=0),
        faces=spot.faces,
        of=pair.bodies[0],
        other=pair.bodies[1],
        remark=remark,
        properties={"contact_area_mm2": area, "distance_mm": spot.distance},
    )


# --- gaps ---------------------------------------------------------------------------------------


def _outside(pair: Pair, spots: list[Spot]) -> list[Spot]:
    """Spots of an overlapping pair where there is a gap, and not one body within the other."""
    from lint3d.geometry.overlap import contains

    one, two = pair.surfaces
    return [
        spot
        for spot in spots
        if not contains(two, spot.point[0]) and not contains(one, spot.point[1])
    ]


def _clearance_place(pair: Pair, spot: Spot, with_area: bool) -> Place:
    """A place for a gap, with the area over which it stays as narrow."""
    from lint3d.geometry.clearance_area import area_within

    facts: dict[str, Any] = {"nearest_points_mm": spot.point.tolist()}
    if with_area:
        area, _, _ = area_within(*_near_corners(pair, spot, spot.level), spot.level)
        facts |= {"area_mm2": area, "area_below_mm": spot.level}
    return Place(
        spot.distance,
        lower=max(spot.distance - pair.uncertainty_mm, 0.0),
        upper=spot.distance + pair.uncertainty_mm,
        position=spot.point.mean(axis=0),
        faces=spot.faces,
        of=pair.bodies[0],
        other=pair.bodies[1],
        other_faces=_facing_faces(pair, spot),
        ends=(spot.point[0], spot.point[1]),
        remark=f"The gap to '{pair.bodies[1].name}' is {spot.distance:.4g} mm.",
        properties=facts,
    )


def _facing_faces(pair: Pair, spot: Spot) -> NDArray[np.int64]:
    """Faces of the second body whose boxes come within the level of the spot's."""
    one, two = pair.surfaces
    flat = one.vertices[one.faces[spot.faces]].reshape(-1, 3)
    level = max(spot.level, spot.distance)
    return two.row[two.tree.within(flat.min(axis=0) - level, flat.max(axis=0) + level)]


def _near_corners(pair: Pair, spot: Spot, level: float) -> tuple[Any, Any]:
    """Corners of the spot's faces, and of the other body's faces that may be within the level."""
    one, two = pair.surfaces
    corners = one.vertices[one.faces[spot.faces]]
    flat = corners.reshape(-1, 3)
    return corners, two.corners[two.tree.within(flat.min(axis=0) - level, flat.max(axis=0) + level)]


def _add_fit(
    place: Place, pair: Pair, spot: Spot, patches: dict[int, NDArray[np.int64]], reach: float
) -> None:
    """Say how the two fit there, and with what running gap."""
    from lint3d.geometry.clearance_fit import fit_at, smooth_patches

    for surface in pair.surfaces:
        if id(surface) not in patches:
            patches[id(surface)] = smooth_patches(surface)
    one, two = (patches[id(surface)] for surface in pair.surfaces)
    fit = fit_at(*pair.surfaces, (one, two), spot, max(reach, spot.distance))
    if fit is None:
        place.properties["kind"] = "other"
        return
    place.faceting_mm = fit.faceting_mm
    place.properties |= {
        "kind": fit.kind,
        "running_gap_mm": fit.running_gap_mm,
        "gap_max_mm": fit.gap_max_mm,
        "facing_area_mm2": fit.facing_area_mm2,
    }
    if fit.kind == "round":
        place.properties |= {
            "axis_offset_mm": fit.axis_offset_mm,
            "radii_mm": list(fit.radii_mm or ()),
        }
    if fit.kind != "other":
        place.remark = (
            f"{place.remark} A {fit.kind} fit: {fit.running_gap_mm:.4g} mm on average and at most "
            f"{fit.gap_max_mm:.4g} mm over {fit.facing_area_mm2:.4g} mm²."
        )


# --- holding ------------------------------------------------------------------------------------


def _boxes_overlap(pair: Pair) -> bool:
    one, two = pair.surfaces
    return bool((one.low < two.high).all() and (two.low < one.high).all())


def _is_captive(pair: Pair) -> bool:
    from lint3d.geometry.captive import way_out

    one, two = pair.surfaces
    rows = np.concatenate([np.zeros(0, np.int64), *(spot.faces for spot in pair.spots)])
    corners = one.vertices[one.faces[np.unique(rows)]]
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    length = np.linalg.norm(normal, axis=1)
    facing = normal[length > 0] / length[length > 0, None]
    return way_out(one, two, facing) is None


def _captive_place(pair: Pair) -> Place:
    """The smaller body, held by the larger one."""
    sizes = [float(np.prod(s.high - s.low)) for s in pair.surfaces]
    held = 0 if sizes[0] < sizes[1] else 1
    body, holder = pair.bodies[held], pair.bodies[1 - held]
    near = [pair.surfaces[0].vertices[pair.surfaces[0].faces[s.faces]] for s in pair.spots]
    where = np.concatenate(near or [pair.surfaces[held].corners]).reshape(-1, 3)
    return Place(
        1,
        position=0.5 * (where.min(axis=0) + where.max(axis=0)),
        faces=np.arange(len(body.faces)),
        of=body,
        other=holder,
        remark=f"'{body.name}' cannot leave '{holder.name}' by a straight move.",
    )


def _is_loose_sheet(body: Body) -> bool:
    """Is it open and in one plane, so that it encloses nothing? (solid/stray-shell fails it.)"""
    return not body.closed and lie_in_plane(body.vertices, body.faces, body.coordinate_step_mm)


def _alone(bodies: Sequence[Body]) -> Exception:
    """Why one body has no neighbour; how many there are is not known of a heap of faces."""
    open_shells = sum(not shell.closed for body in bodies for shell in body.shells)
    if open_shells > 1 and is_in_pieces(bodies[0].edges):
        return NotMeasurable(
            f"'{bodies[0].name}' is in pieces, so how many bodies there are cannot be told; "
            "solid/stray-shell and solid/open-edge tell more. Join the corners that should meet."
        )
    return NotApplicable("There is only one body.")


def _sheets_left_out(bodies: Sequence[Body], is_sheet: list[bool]) -> list[LeftOut]:
    """One line for all loose sheets: a file that fell into facets has thousands of pairs."""
    sheets = [body for body, loose in zip(bodies, is_sheet, strict=True) if loose]
    if not sheets:
        return []
    return [
        LeftOut(
            f"Loose sheets of faces that enclose nothing: {len(sheets)}, '{sheets[0].name}' among "
            "them. What they touch or come near to is not told; solid/stray-shell and "
            "solid/open-edge tell more. Join the corners that should meet.",
            of=sheets[0],
        )
    ]


def _open_bodies(pair: Pair, what: str) -> LeftOut:
    """A pair of which something cannot be told because a body is open."""
    names = " and ".join(f"'{body.name}'" for body in pair.bodies if not body.closed)
    return LeftOut(
        f"Of '{pair.bodies[0].name}' and '{pair.bodies[1].name}' it cannot be told {what}: {names} "
        "is open; solid/open-edge tells more.",
        of=pair.bodies[0],
    )


@hookimpl
def lint3d_measures() -> list[Measure]:
    return [neighbours, meetings, overlaps, contacts, captives, clearances]


@hookimpl
def lint3d_rules() -> list[Rule]:
    return [clearance, interference, touching, trapped]
