"""Assembly: do bodies that are printed together stay apart, touch, overlap or hold each other?

Distances and volumes are exact; their uncertainty is that of single-precision coordinates. How far
the facets stray from the smooth shape is told beside it as `faceting`.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from lint3d import (
    Assembly,
    Interest,
    LeftOut,
    Measure,
    Place,
    Places,
    Rule,
    hookimpl,
    measure,
    rule,
)
from lint3d.interest import HEAD_ROOM
from lint3d_plugins.assembly_pairs import (
    Meetings,
    Neighbours,
    Pair,
    alone,
    called,
    is_loose_sheet,
    meeting_of,
    open_bodies,
    sheets_left_out,
)
from lint3d_plugins.assembly_places import (
    add_fit,
    boxes_overlap,
    captive_place,
    clearance_place,
    contact_place,
    is_captive,
    outside,
    overlap_place,
    unmeasured,
)

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from lint3d.geometry.clearance_spots import Spot

#: Of one pair of bodies so many places are looked at more closely than by their distance.
MOST_FITS = 20


@measure(unit="mm")
def neighbours(assembly: Assembly, interest: Interest) -> Neighbours:
    """Which bodies come near each other, where, and how near?"""
    from lint3d.geometry.clearance import Surface, near_pairs
    from lint3d.geometry.clearance_spots import near_spots
    from lint3d.geometry.clearance_tree import TooManyPairs

    bodies = assembly.bodies
    if len(bodies) < 2:
        raise alone(bodies)
    surfaces = [Surface(body.vertices, body.faces) for body in bodies]
    is_sheet = [is_loose_sheet(body) for body in bodies]
    pairs, left_out = [], sheets_left_out(bodies, is_sheet)
    for a, b in near_pairs(surfaces, interest.high):
        if is_sheet[a] or is_sheet[b]:
            continue
        one, two = surfaces[a], surfaces[b]
        step = one.uncertainty_mm + two.uncertainty_mm
        levels = sorted({step, max(step, interest.low), max(step, interest.high)})
        try:
            spots = near_spots(one, two, levels)
        except TooManyPairs:
            names = " and ".join(called(bodies[a], bodies[b]))
            left_out.append(
                LeftOut(
                    f"The facets of {names} lie too thick near each other for their distance "
                    "to be worked out; export them coarser.",
                    of=bodies[a],
                )
            )
            continue
        pairs.append(Pair((bodies[a], bodies[b]), (one, two), tuple(spots)))
    return Neighbours(tuple(pairs), tuple(left_out))


@measure(unit="mm3")
def meetings(neighbours: Neighbours) -> Meetings:
    """Which bodies touch, which overlap, and what have they in common?"""
    found = ((pair, meeting_of(pair)) for pair in neighbours.pairs)
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
            places.append(overlap_place(meeting))
        elif meeting.kind != "touching":
            left_out.append(unmeasured(meeting))
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
        places += [contact_place(pair, spot, meeting) for spot in near]
    return Places(places, neighbours.left_out)


@measure(unit="1")
def captives(neighbours: Neighbours, meetings: Meetings) -> Places:
    """Which bodies cannot leave another by a straight move?

    Ways out that need a turn, a screw or several moves are not looked for.
    """
    places, left_out = [], [*neighbours.left_out]
    for pair in neighbours.pairs:
        meeting = meetings.found.get(pair)
        if (meeting is not None and meeting.kind != "touching") or not boxes_overlap(pair):
            continue
        if not pair.closed:
            left_out.append(open_bodies(pair, "whether one holds the other"))
        elif is_captive(pair):
            places.append(captive_place(pair))
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
            spots = [] if meeting.inner is not None else outside(pair, spots)
        found += [(pair, spot, number < MOST_FITS) for number, spot in enumerate(spots)]
    # What passes every limit is told by its tightest place only: no need to know more of the rest.
    limit = interest.high / HEAD_ROOM
    tightest = min((spot.distance for _, spot, _ in found), default=0.0)
    places: list[Place] = []
    patches: dict[int, NDArray[np.int64]] = {}
    for pair, spot, is_among_first in found:
        is_told = spot.distance - pair.uncertainty_mm < limit or spot.distance == tightest
        place = clearance_place(pair, spot, with_area=is_told)
        if is_told and is_among_first:
            add_fit(place, pair, spot, patches, interest.high)
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


@hookimpl
def lint3d_measures() -> list[Measure]:
    return [neighbours, meetings, overlaps, contacts, captives, clearances]


@hookimpl
def lint3d_rules() -> list[Rule]:
    return [clearance, interference, touching, trapped]
