"""Drain: what is measured for the rules of `drain.py`.

Lengths in mm. Guarded by tests/plugins/test_drain.py.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from lint3d import Assembly, Body, Interest, Sheet, measure
from lint3d.interest import HEAD_ROOM
from lint3d_plugins.drain_apart import find_apart
from lint3d_plugins.drain_hollows import Hollow, Hollows, find_hollows
from lint3d_plugins.drain_liquid import liquid_of
from lint3d_plugins.drain_puddles import Leftovers, left_in
from lint3d_plugins.drain_recesses import (
    LEAST_RATIO,
    Reach,
    Recesses,
    reach_of,
    recesses_of,
    told_once,
)
from lint3d_plugins.drain_wide import wide_recesses

if TYPE_CHECKING:
    import networkx as nx

    from lint3d.geometry.voids_recesses import Recess

#: Where no rule asks for a width, what is wider than this share of the part is looked for.
COARSE = 1 / 16
#: A range of widths larger than this costs time and tells nothing more.
WIDEST_RANGE = 100.0
#: Blind places wider than a self-venting opening are told if they are deeper than its width times
#: this, or times this share of the limit.
DEEP, OF_LIMIT = 6.0, 0.8


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


@measure(unit="mm")
def voids(assembly: Assembly, interest: Interest, sheet: Sheet) -> Hollows:
    """Which hollows are there in and between the bodies?

    Bodies are looked at together if a gap between them may be a finding: if they are nearer to each
    other than the lowest limit, than a neck has to be wide, or than a single opening surely has to
    be. Openings wider than `interest.high` are not told apart from the outside.
    """
    low, high = _widths(assembly, interest, sheet)
    vent = _vent_band(sheet)
    limits = (low, high / HEAD_ROOM, *vent)
    near = max(low, min((one for one in vent if one <= high), default=low))
    neck = sheet.requirement("drain/narrow-neck")
    if neck is not None and neck.low is not None and sheet.is_on("drain/narrow-neck"):
        near = max(near, neck.low + neck.uncertainty)
        limits = (*limits, neck.low)
    return find_hollows(assembly.bodies, low, high, limits, near)


@measure(unit="mm")
def drains(voids: Hollows) -> Drains:
    """How do chambers and openings hang together, and which ways lead to the outside?"""
    graphs = (hollow.voids.graph for hollow in voids.found)
    return Drains(voids, tuple(graph for graph in graphs if graph is not None))


@measure(unit="mm", other_quantity=True)
def voids_apart(voids: Hollows, sheet: Sheet) -> Hollows:
    """Which hollows lie between bodies so far apart that a single opening is in doubt there?"""
    band = _vent_band(sheet)
    if len(band) < 2 or band[1] > voids.told_apart:
        return Hollows((), voids.resolved, voids.told_apart)
    return find_apart(voids, band[0], band[1], band)


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
def recesses(voids: Hollows, reach: Reach, sheet: Sheet) -> Recesses:
    """Which blind places are narrow: for a neck, for a self-venting opening, or for their depth?"""
    balls = [voids.resolved]
    balls += [one for one in (reach.ball, voids.told_apart) if one > balls[-1]]
    limit = _deepest(sheet) or 0.0
    found: list[tuple[float, Hollow, Recess]] = []
    for narrower, ball in zip([0.0, *balls[:-1]], balls, strict=True):
        # Of what is wide only what is deep matters: that needs few places.
        least = (_deep(sheet) if ball >= reach.ball else LEAST_RATIO) * (narrower or ball / 9)
        most = max(least, OF_LIMIT * limit * narrower)
        is_asked = ball == reach.ball and reach.least_depth <= most
        here = reach if is_asked else reach_of(voids, ball, least)
        # What a smaller ball does not reach was told with that one.
        blind = recesses_of(here, is_blind=True, limit=limit or None, wider_than=narrower)
        found += [(ball, *one) for one in blind.found]
    wide = wide_recesses(voids, balls[-1], _deep(sheet))
    found += [(np.inf, *one) for one in wide]
    return Recesses(voids, balls[-1], tuple(told_once(found)))


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
    # Blind places are looked for up to the same width whichever rules are on.
    high = max(high, HEAD_ROOM * max(_vent_band(sheet), default=0.0))
    return max(low, high / WIDEST_RANGE), high


def _deepest(sheet: Sheet) -> float | None:
    """Depth over width that the sheet allows of blind places; None if it says nothing."""
    required = sheet.requirement("drain/blind-depth")
    return required.high if required else None


def _deep(sheet: Sheet) -> float:
    """Depth over width that is worth telling of what is wide."""
    limit = _deepest(sheet)
    return DEEP if limit is None else max(min(DEEP, OF_LIMIT * limit), LEAST_RATIO)


def _vent_band(sheet: Sheet) -> tuple[float, ...]:
    """Ends of the band in which a single opening is in doubt, mm; none if the sheet has none."""
    required = sheet.requirement("drain/no-vent")
    if required is None or required.low is None:
        return ()
    ends = (required.low - required.uncertainty, required.low + required.uncertainty)
    return tuple(end for end in ends if end > 0)
