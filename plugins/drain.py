"""Drain: can the support get out of every hollow, and how?

Pockets, their throats and their ways out come from `lint3d.geometry.voids`; what gravity and
capillarity leave behind comes from `lint3d.geometry.pools` and the sheet's `[liquid]` table. Which
hollows are closed is decided by their shells; throats are measured on the facets.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import networkx as nx
import numpy as np

from lint3d import (
    Assembly,
    Body,
    Claim,
    Interest,
    LeftOut,
    Measure,
    Place,
    Rule,
    Sheet,
    hookimpl,
    measure,
    rule,
)
from lint3d.interest import HEAD_ROOM
from lint3d_plugins.drain_distances import far_places
from lint3d_plugins.drain_hollows import Hollows, find_hollows
from lint3d_plugins.drain_liquid import draining, held_places, liquid_of
from lint3d_plugins.drain_places import (
    led_out,
    neck_claim,
    neck_place,
    necks,
    necks_on_ways,
    sealed_place,
    slenderness,
    summed_up,
)
from lint3d_plugins.drain_puddles import Leftovers, left_in, puddle_place, unsure
from lint3d_plugins.drain_recesses import (
    LEAST_RATIO,
    Reach,
    Recesses,
    is_round_hole,
    reach_of,
    recess_place,
    recesses_of,
)

#: Where no rule asks for a width, what is wider than this share of the part is looked for.
COARSE = 1 / 16
#: A range of widths larger than this costs time and tells nothing more.
WIDEST_RANGE = 100.0


@dataclass(frozen=True, eq=False)
class Drains:
    """The network of chambers and openings of each group of bodies.

    Attributes
    ----------
    graphs : nodes are chambers (`volume`, `position`, `diameter`), 0 is the outside; edges are
        openings (`diameter`, `lower`, `upper`, `length`, `position`, `throat`)
    """

    hollows: Hollows
    graphs: tuple[nx.MultiGraph, ...] = ()


# --- measures -----------------------------------------------------------------------------------


@measure(unit="mm")
def voids(assembly: Assembly, interest: Interest, sheet: Sheet) -> Hollows:
    """Which hollows are there in and between the bodies?

    Bodies nearer to each other than the lowest limit are looked at together. Openings wider than
    `interest.high` are not told apart from the outside.
    """
    low, high = _widths(assembly, interest, sheet)
    limits = (low, high / HEAD_ROOM, *_vent_band(sheet))
    return find_hollows(assembly.bodies, low, high, limits)


@measure(unit="mm")
def drains(voids: Hollows) -> Drains:
    """How do chambers and openings hang together, and which ways lead to the outside?"""
    graphs = (hollow.voids.graph for hollow in voids.found)
    return Drains(voids, tuple(graph for graph in graphs if graph is not None))


@measure(unit="mm3", other_quantity=True)
def retained(voids: Hollows, sheet: Sheet, interest: Interest) -> Leftovers:
    """How much liquid stays by shape, in the sheet's cleaning position or in the best one?

    Raises
    ------
    NotApplicable : the sheet has no `[liquid]`
    NotMeasurable : a constant of the liquid is missing or in another unit
    """
    liquid_of(sheet)
    hollows = [hollow for hollow in voids.found if hollow.grids]
    up = sheet.cleaning_up
    return Leftovers(voids, tuple((hollow, left_in(hollow, up, interest)) for hollow in hollows))


@measure(unit="mm", other_quantity=True)
def reach(voids: Hollows, sheet: Sheet) -> Reach:
    """Where does a ball as wide as a self-venting opening not get?"""
    ball = max(min(_vent_band(sheet), default=voids.resolved), voids.resolved)
    return reach_of(voids, ball, LEAST_RATIO * ball)


@measure(unit="1", other_quantity=True)
def recesses(voids: Hollows, reach: Reach) -> Recesses:
    """Which blind places are narrow: for a neck, or less so for a self-venting opening?"""
    narrow = recesses_of(reach_of(voids, voids.resolved, voids.resolved / 3), is_blind=True)
    if reach.ball <= voids.resolved:
        return narrow
    wide = recesses_of(reach, is_blind=True)
    # What is no wider than a neck may be is among the narrow ones.
    others = tuple(one for one in wide.found if one[1].width > voids.resolved)
    return Recesses(voids, reach.ball, (*narrow.found, *others))


@measure(unit="mm", other_quantity=True)
def distances(reach: Reach) -> Recesses:
    """What lies out of reach of a ball as wide as a self-venting opening, and how far in?"""
    return recesses_of(reach)


@measure(unit="1", other_quantity=True)
def told_holes(body: Body, holes: Any = None) -> tuple[Any, ...]:
    """Which round straight holes does walls/deep-hole judge?

    None where it is off. A measure of its own: limits on blind places must not make the search for
    holes run for them.
    """
    return tuple(holes.found) if holes is not None else ()


# --- rules --------------------------------------------------------------------------------------


@rule("drain/sealed-pocket", measures="mm3")
def sealed_pocket(voids: Hollows) -> Iterator[Place | LeftOut]:
    """A hollow that nothing leads out of: its support stays in for ever.

    The value is the volume shut in. Whether a hollow is closed is decided by its surface, so that
    the finest hole counts as a way out (drain/narrow-neck judges that). A pocket that is meant to
    stay filled, such as an inner label, can be accepted.

    Remedy: open the pocket with at least two holes, or fill it in the design.
    """
    yield from voids.open_bodies()
    for hollow in voids.found:
        places = [(0, sealed_place(hollow, one)) for one in hollow.voids.sealed]
        yield from summed_up(hollow, places, "mm³", smallest_first=False)


@rule("drain/narrow-neck", measures="mm", claims=("walls/small-hole",))
def narrow_neck(drains: Drains, sheet: Sheet) -> Iterator[Place | LeftOut | Claim]:
    """The widest way out of a pocket is too narrow for the support to leave.

    The value is the largest ball that passes the narrowest place of the widest way out. Pockets
    behind the same narrow place are told once.

    Remedy: widen the neck, or give the pocket another opening.
    """
    yield from drains.hollows.unseen()
    for hollow in drains.hollows.found:
        found = []
        for neck in necks(hollow, lambda pocket: pocket.throat):
            remark = f"{led_out(neck)} {neck.width} wide."
            place = neck_place(neck, neck.bounds, remark, **draining(sheet, neck.main))
            found.append((neck.system, place))
            yield neck_claim(neck)
        yield from summed_up(hollow, found, "mm", smallest_first=True)


@rule("drain/long-neck", measures="1")
def long_neck(drains: Drains) -> Iterator[Place | LeftOut]:
    """A neck is so long for its width that the support hardly moves in it.

    The value is the length of the neck, through its bends, over its diameter. Every neck on the
    widest way out of a pocket is judged.

    Remedy: shorten or widen the neck, or open the pocket at another place.
    """
    yield from drains.hollows.unseen()
    for hollow in drains.hollows.found:
        found = []
        for neck in necks_on_ways(hollow):
            if neck.throat.diameter <= 0:
                # Nothing is known but that it is narrow: drain/narrow-neck tells.
                continue
            remark = f"{led_out(neck)} {neck.throat.length:.4g} mm long and {neck.width} wide."
            found.append((neck.system, neck_place(neck, slenderness(neck.throat), remark)))
        yield from summed_up(hollow, found, "times", smallest_first=False)


@rule("drain/no-vent", measures="mm")
def no_vent(drains: Drains, sheet: Sheet) -> Iterator[Place | LeftOut]:
    """A pocket with a single way out that is too narrow to let air in while liquid runs out.

    Every way out leads through one opening. A liquid that wets the wall closes such an opening, and
    no bubble rises past it below a certain width: the pocket does not empty in any position. The
    value is the largest ball that passes that opening. This is for molten support, as in steam or
    an oven; in a cooler bath it congeals. Steam, hot oil and molten wax burn, and vapours of
    solvents can catch fire: protect hands and eyes, ventilate, and put no flammable liquid in an
    oven or ultrasonic tank that is not made for it. Safety data sheets, local codes and licensed
    practice come first.

    Remedy: give the pocket a second opening, far from the first, or widen the one it has.
    """
    liquid_of(sheet)
    yield from drains.hollows.unseen()
    for hollow in drains.hollows.found:
        found = []
        for neck in necks(hollow, lambda pocket: pocket.bridge):
            remark = f"{led_out(neck)} {neck.width} wide, and there is no other way."
            found.append((neck.system, neck_place(neck, neck.bounds, remark)))
        yield from summed_up(hollow, found, "mm", smallest_first=True)


@rule("drain/puddle", measures="mm3")
def puddle(retained: Leftovers) -> Iterator[Place | LeftOut]:
    """Molten support stays in hollows in the position in which the part is cleaned.

    The value is what cannot run out by gravity, exactly, in the position that the sheet states
    ([cleaning] up, in the frame of the file) or in the best position found; which one that is
    stands beside it. For the best position the lower end of the interval is what stays in every
    position for certain, so a part fails only if no position lets enough out. This is for molten
    support, as in steam or an oven; in a cooler bath it congeals. Steam, hot oil and molten wax
    burn, and vapours of solvents can catch fire: protect hands and eyes, ventilate, and put no
    flammable liquid in an oven or ultrasonic tank that is not made for it. Safety data sheets,
    local codes and licensed practice come first.

    Remedy: open the hollow at its lowest place in that position, or turn the part while it drains.
    """
    yield from retained.hollows.unseen()
    for hollow, left in retained.found:
        yield from unsure(hollow, left)
        yield puddle_place(hollow, left)


@rule("drain/held", measures="mm3")
def held(drains: Drains, sheet: Sheet) -> Iterator[Place | LeftOut]:
    """An opening too small to let go of the liquid above it.

    A liquid that wets the rim stays above an opening of diameter d until its head exceeds
    4γ/(ρ g d). The value is the volume of the pockets behind the opening that lies below that head,
    in the position where it is least; an opening wide enough for a bubble to pass holds nothing.
    This is for molten support, as in steam or an oven; in a cooler bath it congeals. Steam, hot oil
    and molten wax burn, and vapours of solvents can catch fire: protect hands and eyes, ventilate,
    and put no flammable liquid in an oven or ultrasonic tank that is not made for it. Safety data
    sheets, local codes and licensed practice come first.

    Remedy: widen the opening.
    """
    liquid = liquid_of(sheet)
    yield from drains.hollows.unseen()
    for hollow in drains.hollows.found:
        found = held_places(hollow, liquid)
        yield from summed_up(hollow, found, "mm³", smallest_first=False)


@rule("drain/blind-depth", measures="1")
def blind_depth(
    recesses: Recesses, told_holes: dict[Body, tuple[Any, ...]]
) -> Iterator[Place | LeftOut]:
    """A slot, gap or bent bore too deep for its width to be cleaned out.

    The value is its depth over its width, for gaps from the width of a self-venting opening down to
    0.005 mm: what is wider is rinsed freely, and what is narrower counts as closed. What lies on a
    way through from one mouth to another is rinsed, and its depth counts from there. Round straight
    holes are told by walls/deep-hole, and pockets by the other rules of this family.

    Remedy: widen it, make it shallower, or open it at its far end.
    """
    yield from recesses.hollows.unseen()
    bars = [bar for found in told_holes.values() for bar in found]
    for hollow, recess in recesses.found:
        if recess.ratio >= LEAST_RATIO and not is_round_hole(recess, bars):
            least, most = recess.depth_lower / recess.width, recess.depth_upper / recess.width
            remark = f"It is {recess.depth:.4g} mm deep and {recess.width:.4g} mm wide."
            yield recess_place(hollow, recess, (recess.ratio, least, most), remark)


@rule("drain/unreachable", measures="mm")
def unreachable(distances: Recesses) -> Iterator[Place | LeftOut]:
    """Support so far inside that cleaning hardly reaches it.

    The value is the distance from the outside: of a pocket from its middle, along the shortest of
    the ways that are nearly as wide as the widest; of a bent or narrow place from where it is no
    wider than a self-venting opening.

    Remedy: open the part nearer to that place.
    """
    yield from distances.hollows.unseen()
    for hollow in distances.hollows.found:
        yield from summed_up(hollow, far_places(hollow), "mm", smallest_first=False)
    for hollow, recess in distances.found:
        value = recess.depth, recess.depth_lower, recess.depth_upper
        remark = f"Its far end lies {recess.depth:.4g} mm from where cleaning reaches freely."
        yield recess_place(hollow, recess, value, remark)


# --- widths -------------------------------------------------------------------------------------


def _widths(assembly: Assembly, interest: Interest, sheet: Sheet) -> tuple[float, float]:
    """The range of widths that hollows are looked at for, mm."""
    low, high = interest.low, interest.high
    if not 0 < high < np.inf:
        required = sheet.requirement("drain/narrow-neck")
        low = (required.low if required else None) or 0.0
        high = HEAD_ROOM * low
    if high <= 0:
        corners = [body.vertices for body in assembly.bodies if len(body.faces)]
        size = max((float(np.ptp(one, axis=0).max()) for one in corners), default=0.0)
        low, high = COARSE * size, HEAD_ROOM * COARSE * size
    return max(low, high / WIDEST_RANGE), high


def _vent_band(sheet: Sheet) -> tuple[float, ...]:
    """Ends of the band in which a single opening is in doubt, mm; none if the sheet has none."""
    required = sheet.requirement("drain/no-vent")
    if required is None or required.low is None:
        return ()
    ends = (required.low - required.uncertainty, required.low + required.uncertainty)
    return tuple(end for end in ends if end > 0)


@hookimpl
def lint3d_measures() -> list[Measure]:
    return [voids, drains, retained, reach, recesses, distances, told_holes]


@hookimpl
def lint3d_rules() -> list[Rule]:
    return [
        sealed_pocket,
        narrow_neck,
        long_neck,
        no_vent,
        puddle,
        held,
        blind_depth,
        unreachable,
    ]
