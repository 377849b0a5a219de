"""Drain: can the support get out of every hollow, and how?

Pockets, their throats and their ways out come from `lint3d.geometry.voids`; what gravity and
capillarity leave behind comes from `lint3d.geometry.pools` and the sheet's `[liquid]` table. Which
hollows are closed is decided by their shells; throats are measured on the facets.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from lint3d import (
    Body,
    Claim,
    LeftOut,
    Measure,
    Place,
    Rule,
    Sheet,
    hookimpl,
    rule,
)
from lint3d_plugins.drain_apart import is_between, unseen_apart
from lint3d_plugins.drain_distances import far_places
from lint3d_plugins.drain_held import held_places
from lint3d_plugins.drain_hollows import Hollow, Hollows
from lint3d_plugins.drain_liquid import draining, liquid_of
from lint3d_plugins.drain_measures import (
    Drains,
    distances,
    drains,
    reach,
    recesses,
    retained,
    told_holes,
    voids,
    voids_apart,
)
from lint3d_plugins.drain_necks import necks, necks_on_ways
from lint3d_plugins.drain_places import (
    Neck,
    led_out,
    neck_claim,
    neck_place,
    sealed_place,
    slenderness,
    summed_up,
)
from lint3d_plugins.drain_puddles import Leftovers, puddle_place, unsure
from lint3d_plugins.drain_recesses import (
    LEAST_RATIO,
    Recesses,
    is_round_hole,
    ratio_bounds,
    recess_place,
)
from lint3d_plugins.drain_remedies import to_open, to_vent, to_widen


@rule("drain/sealed-pocket", measures="mm3")
def sealed_pocket(voids: Hollows, sheet: Sheet) -> Iterator[Place | LeftOut]:
    """A hollow that nothing leads out of: its support stays in for ever.

    The value is the volume shut in. Whether a hollow is closed is decided by its surface, so that
    the finest hole counts as a way out (drain/narrow-neck judges that). A pocket that is meant to
    stay filled, such as an inner label, can be accepted.

    Remedy: open the pocket with at least two holes, or fill it in the design.
    """
    yield from voids.perhaps_sealed()
    for hollow in voids.found:
        places = [(0, sealed_place(hollow, one)) for one in hollow.voids.sealed]
        for _, place in places:
            place.remedy = to_open(sheet)
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
            place.remedy = to_widen(sheet)
            found.append((neck.system, place))
            yield neck_claim(neck)
        yield from summed_up(hollow, found, "mm", smallest_first=True)


@rule("drain/long-neck", measures="1")
def long_neck(drains: Drains) -> Iterator[Place | LeftOut]:
    """A neck is so long for its width that the support hardly moves in it.

    The value is the length of the neck, through its bends, over its diameter. A place no more than
    half as wide again is a bend if the way narrows down again behind it. Every neck on the widest
    way out of a pocket is judged, a serpentine once.

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
def no_vent(drains: Drains, voids_apart: Hollows, sheet: Sheet) -> Iterator[Place | LeftOut]:
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
        found = [(neck.system, _single_neck(neck, sheet)) for neck in _bridges(hollow)]
        yield from summed_up(hollow, found, "mm", smallest_first=True)
    yield from unseen_apart(drains.hollows, voids_apart)
    for hollow in voids_apart.found:
        for neck in _bridges(hollow):
            if is_between(drains.hollows, hollow, neck.throat):
                yield _single_neck(neck, sheet)


def _bridges(hollow: Hollow) -> list[Neck]:
    return necks(hollow, lambda pocket: pocket.bridge)


def _single_neck(neck: Neck, sheet: Sheet) -> Place:
    remark = f"{led_out(neck)} {neck.width} wide, and there is no other way."
    place = neck_place(neck, neck.bounds, remark)
    place.remedy = to_vent(sheet)
    return place


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

    The value is its depth over its width, for gaps of any width down to 0.005 mm, below which they
    count as closed; what is wider than 12.75 mm (on the default sheet) is told if it is at least
    six times deeper. What lies on a
    way through from one mouth to another is rinsed, and its depth counts from there: so is a groove
    that is open at its ends where these are nearer than its top. Round straight holes are told by
    walls/deep-hole, and pockets by the other rules of this family.

    Remedy: widen it, make it shallower, or open it at its far end.
    """
    yield from recesses.hollows.unseen()
    bars = [bar for found in told_holes.values() for bar in found]
    for hollow, found in recesses.by_hollow():
        told, doubt = [], hollow.width_doubt
        for recess in found:
            if recess.ratio >= LEAST_RATIO and not is_round_hole(recess, bars):
                least, most = ratio_bounds(recess, doubt)
                remark = f"It is {recess.depth:.4g} mm deep and {recess.width:.4g} mm wide."
                place = recess_place(hollow, recess, (recess.ratio, least, most), remark)
                told.append((0, place))
        yield from summed_up(hollow, told, "times", smallest_first=False)


@rule("drain/unreachable", measures="mm")
def unreachable(distances: Recesses) -> Iterator[Place | LeftOut]:
    """Support so far inside that cleaning hardly reaches it.

    The value is the distance from the outside: of a pocket from the farthest of its widest places,
    along the shortest of the ways that are nearly as wide as the widest; of a bent or narrow place
    from where it is no wider than a self-venting opening.

    Remedy: open the part nearer to that place.
    """
    yield from distances.hollows.unseen()
    for hollow in distances.hollows.found:
        yield from summed_up(hollow, far_places(hollow), "mm", smallest_first=False)
    for hollow, found in distances.by_hollow():
        told = []
        for recess in found:
            value = recess.depth, recess.depth_lower, recess.depth_upper
            remark = f"Its far end lies {recess.depth:.4g} mm from where cleaning reaches freely."
            told.append((0, recess_place(hollow, recess, value, remark)))
        yield from summed_up(hollow, told, "mm", smallest_first=False)


@hookimpl
def lint3d_measures() -> list[Measure]:
    return [voids, drains, voids_apart, retained, reach, recesses, distances, told_holes]


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
