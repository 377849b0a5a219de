"""Drain: can the support get out of every hollow, and how?

Pockets, their throats and their ways out come from `lint3d.geometry.voids`; what gravity and
capillarity leave behind comes from `lint3d.geometry.pools` and the sheet's `[liquid]` table. Which
hollows are closed is decided by their shells; throats are measured on the facets.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import networkx as nx
import numpy as np

from lint3d import (
    Assembly,
    Interest,
    LeftOut,
    Measure,
    NotMeasurable,
    Place,
    Places,
    Rule,
    Sheet,
    Step,
    hookimpl,
    measure,
    rule,
)
from lint3d.interest import HEAD_ROOM
from lint3d_plugins.drain_hollows import Hollow, Hollows, find_hollows, volumes_either_way
from lint3d_plugins.drain_liquid import draining, held_by, liquid_of, sample
from lint3d_plugins.drain_places import (
    Neck,
    neck_place,
    necks,
    owners,
    summed_up,
)

if TYPE_CHECKING:
    from lint3d.geometry.pools import Retained
    from lint3d.geometry.throats import Throat
    from lint3d.geometry.voids_model import SealedPocket
    from lint3d.geometry.voids_recesses import Recess
    from lint3d.geometry.voids_space import Space

#: Where no rule asks for a width, hollows are looked for on a grid of so many points a side.
COARSE = 16
#: A blind place counts as a round hole, and is left to walls/deep-hole, if so much of its way lies
#: in one.
MOSTLY = 0.6
#: A recess less deep than this times the ball that does not reach it is none.
LEAST_RATIO = 3.0


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


@dataclass(frozen=True, eq=False)
class Recesses:
    """Places that a ball does not reach from the outside, the deepest first."""

    ball: float
    """mm"""
    found: tuple[tuple[Hollow, Recess], ...] = ()
    hollows: Hollows | None = None


@dataclass(frozen=True, eq=False)
class Leftovers:
    """What stays in each group of bodies in its best position."""

    hollows: Hollows
    found: tuple[tuple[Hollow, Retained], ...] = field(default_factory=tuple)


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
def retained(voids: Hollows, sheet: Sheet) -> Leftovers:
    """How much liquid stays by shape, in the position in which the least stays?

    Raises
    ------
    NotApplicable : the sheet has no `[liquid]`
    """
    from lint3d.geometry.pools import retained_liquid

    liquid_of(sheet)
    found = []
    for hollow in voids.found:
        if hollow.grids:
            ways = [pocket.way for pocket in hollow.voids.pockets]
            found.append((hollow, retained_liquid(*_one_surface(hollow), ways=ways)))
    return Leftovers(voids, tuple(found))


@measure(unit="1", other_quantity=True)
def recesses(voids: Hollows) -> Recesses:
    """Where does a ball as wide as the narrowest neck that is allowed not get?"""
    return _recesses(voids, voids.resolved)


@measure(unit="mm", other_quantity=True)
def distances(voids: Hollows, sheet: Sheet) -> Recesses:
    """What lies out of reach of a ball as wide as a self-venting opening, and how far in?"""
    ball = min(_vent_band(sheet), default=voids.resolved)
    return _recesses(voids, max(ball, voids.resolved))


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
        places = [(0, _sealed_place(hollow, one)) for one in hollow.voids.sealed]
        yield from summed_up(hollow, places, "mm³", smallest_first=False)


@rule("drain/narrow-neck", measures="mm")
def narrow_neck(drains: Drains, sheet: Sheet) -> Iterator[Place | LeftOut]:
    """The widest way out of a pocket is too narrow for the support to leave.

    The value is the largest ball that passes the narrowest place of the widest way out. Pockets
    behind the same narrow place are told once.

    Remedy: widen the neck, or give the pocket another opening.
    """
    yield from drains.hollows.unseen()
    for hollow in drains.hollows.found:
        found = []
        for neck in necks(hollow, lambda pocket: pocket.throat):
            throat = neck.throat
            remark = f"{_led_out(neck)} {throat.diameter:.4g} mm wide."
            value = (throat.diameter, throat.lower, throat.upper)
            place = neck_place(neck, value, remark, **draining(sheet, neck.main))
            found.append((neck.system, place))
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
        for neck in _necks_on_ways(hollow):
            throat = neck.throat
            remark = (
                f"{_led_out(neck)} {throat.length:.4g} mm long and {throat.diameter:.4g} mm wide."
            )
            found.append((neck.system, neck_place(neck, _slenderness(throat), remark)))
        yield from summed_up(hollow, found, "times", smallest_first=False)


@rule("drain/no-vent", measures="mm")
def no_vent(drains: Drains, sheet: Sheet) -> Iterator[Place | LeftOut]:
    """A pocket with a single way out that is too narrow to let air in while liquid runs out.

    Every way out leads through one opening. A liquid that wets the wall closes such an opening, and
    no bubble rises past it below a certain width: the pocket does not empty in any position. The
    value is the largest ball that passes that opening.

    Remedy: give the pocket a second opening, far from the first, or widen the one it has.
    """
    liquid_of(sheet)
    yield from drains.hollows.unseen()
    for hollow in drains.hollows.found:
        found = []
        for neck in necks(hollow, lambda pocket: pocket.bridge):
            throat = neck.throat
            remark = f"{_led_out(neck)} {throat.diameter:.4g} mm wide, and there is no other way."
            value = (throat.diameter, throat.lower, throat.upper)
            found.append((neck.system, neck_place(neck, value, remark)))
        yield from summed_up(hollow, found, "mm", smallest_first=True)


@rule("drain/puddle", measures="mm3")
def puddle(retained: Leftovers) -> Iterator[Place | LeftOut]:
    """Liquid support stays in hollows however the part is held.

    The value is what cannot run out by gravity in the best of about two hundred positions; which
    one that is stands beside it. It holds while the support is molten.

    Remedy: open the hollow at its lowest place in that position, or turn the part while it drains.
    """
    yield from retained.hollows.unseen()
    for hollow, left in retained.found:
        yield _puddle_place(hollow, left)


@rule("drain/held", measures="mm3")
def held(drains: Drains, sheet: Sheet) -> Iterator[Place | LeftOut]:
    """An opening too small to let go of the liquid above it.

    A liquid that wets the rim stays above an opening of diameter d until its head exceeds
    4γ/(ρ g d). The value is the volume of the pockets behind the opening that lies below that head,
    in the position where it is least; an opening wide enough for a bubble to pass holds nothing. It
    holds while the support is molten.

    Remedy: widen the opening.
    """
    liquid = liquid_of(sheet)
    yield from drains.hollows.unseen()
    for hollow in drains.hollows.found:
        points = sample(hollow) if hollow.voids.pockets else {}
        found = []
        for neck in necks(hollow, lambda pocket: pocket.throat):
            some = [points.get(one.node, one.position[None]) for one in neck.pockets]
            kept = held_by(liquid, neck.pockets, some, hollow.voids.pitch)
            remark = (
                f"An opening {neck.throat.diameter:.4g} mm wide holds {kept.head:.3g} mm of liquid:"
                f" {kept.volume:.4g} of {neck.volume:.4g} mm³ stay."
            )
            facts = {"head_held_mm": kept.head, "up": kept.up.tolist()}
            value = (kept.volume, kept.lower, kept.upper)
            found.append((neck.system, neck_place(neck, value, remark, **facts)))
        yield from summed_up(hollow, found, "mm³", smallest_first=False)


@rule("drain/blind-depth", measures="1")
def blind_depth(recesses: Recesses, holes: Any = None) -> Iterator[Place | LeftOut]:
    """A slot, gap or bent bore too deep for its width to be cleaned out.

    The value is its depth over its width. Round straight holes are told by walls/deep-hole, and
    pockets by the other rules of this family.

    Remedy: widen it, make it shallower, or open it at its far end.
    """
    assert recesses.hollows is not None
    yield from recesses.hollows.unseen()
    bars = [bar for one in (holes or {}).values() for bar in one.found]
    for hollow, recess in recesses.found:
        if recess.width > 0 and not any(_in_bore(recess, bar) for bar in bars):
            yield _blind_place(hollow, recess)


@rule("drain/unreachable", measures="mm")
def unreachable(drains: Drains, distances: Recesses) -> Iterator[Place | LeftOut]:
    """Support so far inside that cleaning hardly reaches it.

    The value is the distance from the outside along the widest way: of a pocket from its middle, of
    a bent or narrow place from where it is no wider than a self-venting opening.

    Remedy: open the part nearer to that place.
    """
    yield from drains.hollows.unseen()
    for hollow in drains.hollows.found:
        found = [(neck.system, _far_place(neck)) for neck in necks(hollow, lambda p: p.throat)]
        yield from summed_up(hollow, found, "mm", smallest_first=False)
    for hollow, recess in distances.found:
        yield _recess_place(
            hollow,
            recess,
            (recess.depth, recess.depth_lower, recess.depth_upper),
            f"Its far end lies {recess.depth:.4g} mm from where cleaning reaches freely.",
        )


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
        low, high = size / COARSE, HEAD_ROOM * size / COARSE
    # A limit of nothing asks for nothing: resolve a small share of the highest one.
    return max(low, high / 100), high


def _vent_band(sheet: Sheet) -> tuple[float, ...]:
    """Ends of the band in which a single opening is in doubt, mm; none if the sheet has none."""
    required = sheet.requirement("drain/no-vent")
    if required is None or required.low is None:
        return ()
    ends = (required.low - required.uncertainty, required.low + required.uncertainty)
    return tuple(end for end in ends if end > 0)


# --- pockets ------------------------------------------------------------------------------------


def _sealed_place(hollow: Hollow, pocket: SealedPocket) -> Place:
    """A place for a hollow that nothing leads to."""
    group = hollow.group
    face = hollow.face_at(pocket.position)
    rows = pocket.faces
    as_given = as_mended = pocket.volume
    if hollow.voids.overlaps:
        # The rows are those of the common surface of overlapping bodies.
        rows = np.array([face])
    else:
        as_given, as_mended = volumes_either_way(group, pocket)
    body, own, other = owners(hollow, face, rows)
    remark = f"{as_mended:.4g} mm³ are shut in; nothing leads out."
    if pocket.bodies_inside:
        remark += f" {pocket.bodies_inside} bodies lie loose in it."
    if as_given != as_mended:
        remark += (
            f" A shell around or in it is turned inside out: as the file has it, {as_given:.4g} "
            f"mm³ are hollow; if it is mended, {as_mended:.4g} mm³ (solid/inside-out tells more)."
        )
    return Place(
        as_mended,
        lower=max(min(as_given, as_mended) - pocket.uncertainty, 0.0),
        upper=max(as_given, as_mended) + pocket.uncertainty,
        position=pocket.position,
        faces=own,
        of=body,
        other=other,
        extent_mm=pocket.extent,
        remark=remark,
        path=(Step(tuple(pocket.position.tolist()), None, "in the pocket"),),
        distinct=True,
        properties={
            "volume_mm3": as_mended,
            "volume_as_given_mm3": as_given,
            "bodies_inside": pocket.bodies_inside,
        },
    )


def _led_out(neck: Neck) -> str:
    if len(neck.pockets) == 1:
        return f"A pocket of {neck.volume:.4g} mm³ leads out through a neck"
    return (
        f"{len(neck.pockets)} pockets of {neck.volume:.4g} mm³ together lead out through one neck"
    )


def _slenderness(throat: Throat) -> tuple[float, float, float]:
    """Length over diameter: value, lower, upper."""
    return (
        throat.length / throat.diameter,
        throat.length_lower / throat.upper,
        throat.length_upper / max(throat.lower, 1e-12),
    )


def _necks_on_ways(hollow: Hollow) -> list[Neck]:
    """Every opening on the widest ways out, each with the pockets that need it."""
    graph = hollow.voids.graph
    if graph is None:
        return []
    throats: dict[tuple[int, int], Throat] = {}
    behind: dict[tuple[int, int], list[Any]] = {}
    for pocket in hollow.voids.pockets:
        for hop in zip(pocket.way_nodes[:-1], pocket.way_nodes[1:], strict=True):
            if hop not in throats:
                edges = graph[hop[0]][hop[1]].values()
                throats[hop] = max(edges, key=lambda edge: edge["diameter"])["throat"]
            behind.setdefault(hop, []).append(pocket)
    return [Neck(hollow, throats[hop], tuple(behind[hop])) for hop in throats]


def _far_place(neck: Neck) -> Place:
    """A place for the deepest of the pockets behind a neck."""
    far = max(neck.pockets, key=lambda pocket: pocket.depth)
    doubt = far.diameter / 2 + neck.hollow.voids.pitch
    rest = tuple(one for one in neck.pockets if one is not far)
    return neck_place(
        Neck(neck.hollow, neck.throat, (far, *rest)),
        (far.depth, max(far.depth - doubt, 0.0), far.depth + doubt),
        f"A pocket lies {far.depth:.4g} mm from the outside along the widest way.",
    )


# --- liquid that stays --------------------------------------------------------------------------


def _one_surface(hollow: Hollow) -> tuple[np.ndarray[Any, Any], np.ndarray[Any, Any]]:
    """The surface of a group, united where its bodies overlap."""
    group = hollow.group
    if hollow.voids.overlaps:
        from lint3d.geometry.voids_shells import shell_regions
        from lint3d.geometry.voids_union import united

        regions = shell_regions(group.vertices, group.faces)
        joined = united(group.vertices, group.faces, regions.of_face)
        if joined is not None:
            return joined
    # Boolean operations take no read-only arrays.
    return group.vertices.copy(), group.faces.copy()


def _puddle_place(hollow: Hollow, left: Retained) -> Place:
    up = left.up.tolist()
    shown = "({:.3g}, {:.3g}, {:.3g})".format(*up)
    facts = {
        "up": up,
        "is_exact": left.exact,
        "pools": [
            {"volume_mm3": pool.volume, "position_mm": pool.position.tolist()}
            for pool in left.pools[:12]
        ],
    }
    if not left.pools:
        remark = f"With {shown} held upward nothing stays."
        return Place(
            left.volume,
            lower=min(left.volume_lower, left.volume),
            upper=max(left.volume_upper, left.volume),
            of=hollow.group.bodies[0],
            remark=remark,
            distinct=True,
            properties=facts,
        )
    position = left.pools[0].position
    face = hollow.face_at(position)
    body, faces, _ = owners(hollow, face, np.array([face]))
    remark = (
        f"In the best position, with {shown} held upward, {left.volume:.4g} mm³ stay in "
        f"{len(left.pools)} pools; the largest holds {left.pools[0].volume:.4g} mm³."
    )
    if not left.exact:
        remark += " The surface is no sound solid, so this is an estimate."
    return Place(
        left.volume,
        lower=min(left.volume_lower, left.volume),
        upper=max(left.volume_upper, left.volume),
        position=position,
        faces=faces,
        of=body,
        remark=remark,
        distinct=True,
        properties=facts,
    )


# --- recesses -----------------------------------------------------------------------------------


def _recesses(hollows: Hollows, ball: float) -> Recesses:
    """What a ball does not reach, less what belongs to pockets."""
    from lint3d.geometry.voids_recesses import find_recesses

    found = []
    for hollow in hollows.found:
        assert hollow.voids.clearance is not None
        for space in hollow.spaces():
            pockets = hollow.members(space)
            found += [
                (hollow, recess)
                for recess in find_recesses(space, hollow.voids.clearance, ball, LEAST_RATIO)
                if not any(node in pockets for node in recess.nodes)
            ]
    found.sort(key=lambda pair: -pair[1].depth)
    return Recesses(ball, tuple(found), hollows)


def _blind_place(hollow: Hollow, recess: Recess) -> Place:
    return _recess_place(
        hollow,
        recess,
        (recess.ratio, recess.depth_lower / recess.width, recess.depth_upper / recess.width),
        f"It is {recess.depth:.4g} mm deep and {recess.width:.4g} mm wide.",
    )


def _recess_place(
    hollow: Hollow, recess: Recess, value: tuple[float, float, float], remark: str
) -> Place:
    """A place at the mouth of a recess, with the way from its far end."""
    face = hollow.face_at(recess.mouth)
    inner = hollow.face_at(recess.position)
    body, faces, other = owners(hollow, face, np.array([face, inner]))
    rows = np.unique(np.linspace(0, len(recess.way) - 1, min(len(recess.way), 24)).astype(int))
    last = int(rows[-1])
    labels = {0: "far end", last: "mouth"}
    return Place(
        value[0],
        lower=min(value[1], value[0]),
        upper=max(value[2], value[0]),
        position=recess.mouth,
        faces=faces,
        of=body,
        other=other,
        extent_mm=recess.depth,
        remark=remark,
        path=[
            Step(
                tuple(recess.way[row].tolist()),
                float(recess.way_width[row]) if np.isfinite(recess.way_width[row]) else None,
                labels.get(row, ""),
            )
            for row in rows.tolist()
        ],
        distinct=True,
        properties={
            "depth_mm": recess.depth,
            "width_mm": recess.width,
            "throat_mm": recess.throat,
            "volume_mm3": recess.volume,
        },
    )


def _in_bore(recess: Recess, bar: Any) -> bool:
    """Does the way of a recess run within a round straight hole?"""
    if not bar.is_straight:
        return False
    axis = bar.end - bar.start
    length = float(np.linalg.norm(axis))
    if length == 0:
        return False
    offset = recess.way - bar.start
    along = offset @ axis / length
    aside = np.linalg.norm(offset - np.outer(along, axis / length), axis=1)
    reach = bar.diameter / 2
    inside = (aside <= reach) & (along >= -reach) & (along <= length + reach)
    return bool(inside.mean() >= MOSTLY)


@hookimpl
def lint3d_measures() -> list[Measure]:
    return [voids, drains, retained, recesses, distances]


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
