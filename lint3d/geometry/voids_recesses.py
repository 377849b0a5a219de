"""Where does a ball of a given size not get, and how far in does that go?

Blind bores, slots, gaps and ducts of constant width are no pockets: nothing in them is wider than
their mouth. Each place of the surface in front of which the ball does not fit, or fits and cannot
get to, is joined to its neighbours through the free space; the distance to where the ball comes
from outside is its depth. With a larger ball the same question tells how far the support lies from
where a bath reaches it freely. Widths are exact, whatever the grid's pitch.
Lengths in mm. Guarded by tests/geometry/test_voids_recesses.py.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from lint3d.geometry.components import connected_groups
from lint3d.geometry.rays import RayScene
from lint3d.geometry.throats_clearance import Clearance
from lint3d.geometry.voids_leaps import without_leaps
from lint3d.geometry.voids_reach import (
    REACH,
    Balls,
    balls_before,
    balls_from_outside,
    beside,
    chamber_at,
    is_roomy,
    links_between,
    not_reached,
    sees,
    thinned,
)
from lint3d.geometry.voids_shallow import is_nothing_deep
from lint3d.geometry.voids_space import Space
from lint3d.geometry.voids_through import farthest, ways_through

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

#: Places that are looked at at most, recesses that are told.
_MOST_PLACES, _MOST_RECESSES = 20_000, 200
#: Places need be no nearer to each other than the ball is wide, over this, nor than the least depth
#: over that.
_PLACES_ACROSS, _PLACES_DEEP = 3, 6
#: What is less deep than this times the ball may lie beside one that gets there.
_DEEP_ENOUGH = 0.3
#: Halfway out an inner corner is at least as wide as its depth over this.
DEEPEST_CORNER = 6.0
#: A width is that of so much of the way, and of so many distances of places.
_LASTING, _LASTING_APART = 0.25, 2.0
#: Balls that lie off the middle are smaller than what they lie in by no more than this.
_HARDLY_WIDER = 1.05
#: A way is clearly wider than another of the same recess from here on, as a share.
_CLEARLY_WIDER = 1.1
#: Balls at the mouth that are tried for a shorter way.
_MOST_TRIED = 2000


@dataclass(frozen=True, eq=False)
class Recess:
    """Free space that a ball does not reach from the outside."""

    depth: float
    """mm, from where the ball still gets to the farthest place, along the space"""
    depth_lower: float
    depth_upper: float
    width: float
    """mm, of the way to the farthest place, where a quarter of it is widest"""
    widest: float
    """mm, largest ball along that way; where a gap bends there is room for a larger one"""
    throat: float
    """mm, narrowest place of that way"""
    position: Floats
    """(3,) mm, the farthest place"""
    mouth: Floats
    """(3,) mm, where the way leaves what the ball does not reach"""
    way: Floats
    """(n, 3) mm, from the farthest place to the mouth"""
    way_width: Floats
    """(n,) mm"""
    nodes: tuple[int, ...]
    """chambers it lies in; 0 alone, or none, where it is no part of a pocket"""
    box: Floats | None = None
    """(2, 3) mm, low and high corner of what it is part of; None beside a way through"""

    @property
    def ratio(self) -> float:
        """Depth over width."""
        return self.depth / self.width if self.width > 0 else np.inf


@dataclass(frozen=True, eq=False)
class Unreached:
    """The balls in front of the surface that a ball of a given size does not get to."""

    clearance: Clearance
    hidden: Balls
    start: Balls
    """balls it does get to"""
    ball: float
    """mm, diameter"""
    least_depth: float
    """mm"""
    apart: float
    """mm, distance of places on the surface"""


def find_recesses(
    surface: tuple[Floats, Ints],
    space: Space,
    clearance: Clearance,
    ball: float,
    least_depth: float,
    is_blind: bool = False,
) -> list[Recess]:
    """Find what a ball does not reach from the outside, the deepest first.

    Parameters
    ----------
    surface : vertices (n, 3) mm and faces (m, 3), turned out of the material
    ball : mm, diameter
    least_depth : mm; inner edges and corners are less deep than the ball is wide, and no recesses
    is_blind : is depth to be measured from any way through between two mouths as well?
    """
    unreached = find_unreached(surface, space, clearance, ball, least_depth)
    return recesses_in(unreached, is_blind) if unreached is not None else []


def find_unreached(
    surface: tuple[Floats, Ints],
    space: Space,
    clearance: Clearance,
    ball: float,
    least_depth: float,
    ignored: frozenset[int] = frozenset(),
    is_wide: bool = False,
) -> Unreached | None:
    """Where does a ball not get? As for `find_recesses`; None where it gets everywhere.

    Parameters
    ----------
    ignored : chambers in which it does not matter
    is_wide : is only what the grid shows asked for?
    """
    places = space.places(*surface)
    if is_wide:
        places = places[chamber_at(space, places.point + space.grid.pitch * places.normal) >= 0]
    box = surface[0].min(axis=0), surface[0].max(axis=0)
    roomy = is_roomy(space, box, places, ball / 2)
    tight, open_ones = places[~roomy], places[roomy]
    if len(tight) == 0:
        return None
    pitch = space.grid.pitch
    wanted = max(pitch, min(least_depth / _PLACES_DEEP, ball / _PLACES_ACROSS))
    apart = max(pitch * float(np.sqrt(len(tight) / _MOST_PLACES)), wanted)
    if apart > pitch:
        tight = thinned(tight, apart)
    measures = ball / 2, apart
    if least_depth >= _DEEP_ENOUGH * ball and is_nothing_deep(
        clearance.scene, clearance, space, tight, open_ones, measures, ignored
    ):
        return None
    inside = balls_before(space, clearance, tight, ball / 2, apart)
    scene = clearance.scene
    seeds = balls_from_outside(space, open_ones, inside, ball / 2, apart)
    hidden, start = not_reached(scene, clearance, space, inside, seeds, ball / 2, apart)
    # Of those that the ball is at only what lies beside the rest tells how far in that is.
    start = start[beside(start.centre, hidden.centre, ball / 2 + REACH * apart)]
    return Unreached(clearance, hidden, start, ball, least_depth, apart)


def recesses_in(
    unreached: Unreached, is_blind: bool = False, wider_than: float = 0.0
) -> list[Recess]:
    """Each connected piece of what is not reached, the deepest first.

    Parameters
    ----------
    is_blind : is depth to be measured from any way through between two mouths as well?
    wider_than : mm, pieces that are nowhere wider are left out
    """
    scene, hidden, start = unreached.clearance.scene, unreached.hidden, unreached.start
    ball, least_depth, apart = unreached.ball, unreached.least_depth, unreached.apart
    if len(hidden) == 0 or len(start) == 0:
        return []
    links, group, (entry, entry_at, entry_from) = _hang_together(unreached, hidden, start)
    widest = np.zeros(int(group.max()) + 1)
    np.maximum.at(widest, group, 2 * hidden.radius)
    asked = (widest > wider_than)[group]
    if not asked.all():
        hidden = hidden[asked]
        links, group, (entry, entry_at, entry_from) = _of_some(
            asked, links, group, (entry, entry_at, entry_from)
        )
    if len(hidden) == 0:
        return []
    onward = np.zeros(len(start))
    is_by_itself = True
    if is_blind:
        aside = ways_through(hidden, links, (entry, entry_at), least_depth, apart)
        through = np.isfinite(aside)
        is_by_itself = not through.any()
    if not is_by_itself:
        onward = np.concatenate([onward, aside[through]])
        hidden, start = hidden[~through], _both(start, hidden[through])
        if len(hidden) == 0:
            return []
        links, group, (entry, entry_at, entry_from) = _hang_together(unreached, hidden, start)
    far, before = farthest(hidden, links, entry, entry_at)
    deep = np.where(np.isfinite(far), far + hidden.radius, -1.0)
    order = np.lexsort((deep, group))
    last = order[np.flatnonzero(np.diff(group[order], append=-1))]
    last = last[deep[last] >= least_depth]
    last = last[np.argsort(-deep[last], kind="stable")][:_MOST_RECESSES]
    places = cKDTree(start.centre)
    gate = dict(zip(entry_at.tolist(), entry_from.tolist(), strict=True))
    found = []
    for row in last.tolist():
        members = np.flatnonzero(group == group[row])
        mine = group[entry_at] == group[row]
        mouths = hidden.centre[entry_at[mine]], entry[mine]
        seen: list[tuple[Recess, int]] = []
        for end in _as_deep(hidden.centre, members[deep[members] >= deep[row] - apart], row):
            line = [end]
            while before[line[-1]] >= 0:
                line.append(int(before[line[-1]]))
            first = gate[line[-1]]
            reached = start.centre[first], float(start.radius[first])
            way = _recess(scene, hidden, places, mouths, members, line, reached, ball, apart)
            seen.append((way, first))
        # Where arms cross it is wider than in each of them: which of many ends is the farthest by a
        # hair's breadth is chance.
        one, first = min(seen[1:], key=lambda pair: pair[0].width, default=seen[0])
        if seen[0][0].width < _CLEARLY_WIDER * one.width:
            one, first = seen[0]
        reached = start.centre[first], float(start.radius[first])
        # In a blind branch this is how far the ball that the way ends at lies from its mouth.
        one = _deeper(one, float(onward[first]))
        if is_by_itself:
            one = replace(one, box=_box(hidden[members]))
        if one.depth >= least_depth and not _is_corner(unreached, one, reached[0]):
            found.append(one)
    return sorted(found, key=lambda recess: (-recess.depth, *recess.position))


def _as_deep(centre: Floats, rows: Ints, row: int) -> list[int]:
    """One of some places, and the two of them that lie farthest from it and from each other."""
    ends = [row]
    gap = np.linalg.norm(centre[rows] - centre[row], axis=1)
    for _ in range(2):
        if not gap.max(initial=0.0) > 0:
            break
        ends.append(int(rows[np.argmax(gap)]))
        gap = np.minimum(gap, np.linalg.norm(centre[rows] - centre[ends[-1]], axis=1))
    return ends


def _hang_together(
    unreached: Unreached, hidden: Balls, start: Balls
) -> tuple[Ints, Ints, tuple[Floats, Ints, Ints]]:
    """Links between hidden balls, the group that each is in, and where these are entered."""
    clearance, ball, apart = unreached.clearance, unreached.ball, unreached.apart
    links = links_between(clearance.scene, hidden.centre, apart)
    entries = _entries(clearance.scene, hidden, start, ball / 2, apart)
    links = without_leaps(clearance, (hidden.centre, hidden.radius), links, entries[1], ball / 2)
    return links, connected_groups(len(hidden), links[:, 0], links[:, 1]), entries


def _of_some(
    asked: Bools, links: Ints, group: Ints, entries: tuple[Floats, Ints, Ints]
) -> tuple[Ints, Ints, tuple[Floats, Ints, Ints]]:
    """The same of some balls alone, by their new rows; of each group there are all or none."""
    row = np.cumsum(asked) - 1
    entry, entry_at, entry_from = entries
    mine = asked[entry_at]
    return (
        row[links[asked[links[:, 0]]]],
        np.unique(group[asked], return_inverse=True)[1].astype(np.int64),
        (entry[mine], row[entry_at[mine]], entry_from[mine]),
    )


def _is_corner(unreached: Unreached, recess: Recess, reached: Floats) -> bool:
    """Is it one ball in an inner edge or corner, far smaller than places are apart?

    From there on the space grows wider at once, which no neighbour tells. In a slot or a bore it is
    as wide halfway out.
    """
    if len(recess.way) > 1 or recess.width >= unreached.apart:
        return False
    out = reached - recess.position
    out *= recess.depth / 2 / max(float(np.linalg.norm(out)), 1e-12)
    halfway = float(unreached.clearance.at(recess.position + out))
    return bool(2 * halfway > max(2 * recess.width, recess.depth / DEEPEST_CORNER))


def _deeper(recess: Recess, more: float) -> Recess:
    """A recess whose mouth lies farther out by so much, mm."""
    return replace(
        recess,
        depth=recess.depth + more,
        depth_lower=recess.depth_lower + 0.9 * more,
        depth_upper=recess.depth_upper + 1.1 * more,
    )


def _box(balls: Balls) -> Floats:
    radius = balls.radius[:, None]
    return np.array([(balls.centre - radius).min(axis=0), (balls.centre + radius).max(axis=0)])


def _both(one: Balls, two: Balls) -> Balls:
    return Balls(
        np.vstack([one.centre, two.centre]),
        np.concatenate([one.radius, two.radius]),
        np.concatenate([one.chamber, two.chamber]),
    )


def _entries(
    scene: RayScene, hidden: Balls, start: Balls, radius: float, apart: float
) -> tuple[Floats, Ints, Ints]:
    """How far from a ball that is reached, for hidden ones beside it: mm, row, row of that ball.

    A ball covers what is nearer to its middle than its radius.
    """
    reach = radius + REACH * apart
    gap, near = cKDTree(start.centre).query(
        hidden.centre, k=min(8, len(start)), distance_upper_bound=reach
    )
    gap, near = gap.reshape(len(hidden), -1), near.reshape(len(hidden), -1)
    row, rank = np.nonzero(np.isfinite(gap))
    other, gap = near[row, rank], gap[row, rank]
    free = sees(scene, hidden.centre[row], start.centre[other])
    row, other = row[free], other[free]
    length = np.maximum(gap[free] - start.radius[other], 0.0)
    order = np.lexsort((length, row))
    first = order[np.flatnonzero(np.diff(row[order], prepend=-1))]
    return length[first], row[first], other[first]


def _recess(
    scene: RayScene,
    hidden: Balls,
    places: cKDTree,
    mouths: tuple[Floats, Floats],
    members: Ints,
    line: list[int],
    reached: tuple[Floats, float],
    ball: float,
    apart: float,
) -> Recess:
    """One recess, its way pulled straight where it sees ahead.

    Parameters
    ----------
    places : middles of the balls that are reached
    mouths : middles of the balls beside them, and how far it is from there on, mm
    reached : the one that the way ends at, and its radius
    """
    way, radius = hidden.centre[line], hidden.radius[line]
    mouth, covered = reached
    graph = _length(way)
    pulled = _pulled(scene, np.vstack([way, mouth]))
    # The way ends where it meets a ball that is reached.
    shortest = _length(pulled[:-1]) + float(radius[0])
    shortest += max(_nearest_seen(scene, pulled[-2], places, mouth) - covered, 0.0)
    # A way along neighbours may have gone to a mouth that is not the nearest.
    for bend in range(len(pulled) - 2):
        before = _length(pulled[: bend + 1]) + float(radius[0])
        straight = _nearest_mouth(scene, pulled[bend], mouths, shortest - before)
        shortest = min(shortest, before + straight)
    longest = graph + max(float(np.linalg.norm(way[-1] - mouth)) - covered, 0.0) + float(radius[0])
    width = 2 * _widest_beside(hidden[members], way, radius, apart)
    inner = _inside(way, ball)
    chambers = np.unique(hidden.chamber[members])
    widest = float(width[inner].max())
    # The ball sinks a little into a mouth that is hardly narrower than itself.
    sinks = (ball - np.sqrt(max(ball**2 - widest**2, 0.0))) / 2
    return Recess(
        depth=shortest,
        depth_lower=max(shortest - sinks - (2 + _turned(pulled)) * apart / 2, 0.0),
        depth_upper=max(longest, shortest) + apart,
        width=_lasting(way[inner], width[inner], apart),
        widest=widest,
        throat=float(width[_past_bottom(way, width)].min()),
        position=way[0],
        mouth=way[-1],
        way=way,
        way_width=width,
        nodes=tuple(chambers[chambers >= 0].tolist()),
    )


def _nearest_seen(scene: RayScene, point: Floats, places: cKDTree, known: Floats) -> float:
    """mm, how far is the nearest place that a point sees, if not the known one?"""
    best = float(np.linalg.norm(known - point))
    tried = 0
    # Mostly one of the nearest few is seen.
    for count in (16, _MOST_TRIED):
        gap, row = places.query(point, k=range(tried + 1, count + 1), distance_upper_bound=best)
        gap, row = gap[np.isfinite(gap)], row[np.isfinite(gap)]
        seen = sees(scene, np.broadcast_to(point, (len(row), 3)), places.data[row])
        if seen.any():
            return float(gap[np.argmax(seen)])
        if len(row) < count - tried:
            break
        tried = count
    return best


def _nearest_mouth(
    scene: RayScene, point: Floats, mouths: tuple[Floats, Floats], most: float
) -> float:
    """mm, how far is it by the nearest mouth that a point sees? Infinite if farther than `most`."""
    centre, onward = mouths
    length = np.linalg.norm(centre - point, axis=1) + onward
    order = np.argsort(length, kind="stable")[:_MOST_TRIED]
    order = order[length[order] < most]
    seen = sees(scene, np.broadcast_to(point, (len(order), 3)), centre[order])
    return float(length[order[np.argmax(seen)]]) if seen.any() else np.inf


def _widest_beside(balls: Balls, way: Floats, radius: Floats, apart: float) -> Floats:
    """Radius of the largest ball beside each point of a way: it runs near a wall."""
    tree = cKDTree(balls.centre)
    near = tree.query_ball_point(way, radius + apart)
    return np.array(
        [max(r, *balls.radius[rows]) if rows else r for r, rows in zip(radius, near, strict=True)]
    )


def _inside(way: Floats, ball: float) -> Bools:
    """Which points of a way do not lie near its mouth, where it flares?"""
    gap = np.linalg.norm(way - way[-1], axis=1)
    inside: Bools = gap >= min(ball, 0.5 * float(gap.max(initial=0.0)))
    return inside


def _lasting(way: Floats, width: Floats, apart: float) -> float:
    """mm, the width of the widest part of a way: as wide as half of it is or wider."""
    at = np.append(0.0, np.cumsum(np.linalg.norm(np.diff(way, axis=0), axis=1)))
    part = min(max(_LASTING * at[-1], _LASTING_APART * apart), at[-1] / 2)
    last = np.searchsorted(at, at + part, side="right")
    begins = np.flatnonzero(at + part <= at[-1]).tolist()
    lasting = max(float(np.median(width[row : last[row]])) for row in begins)
    return float(width[width <= _HARDLY_WIDER * lasting].max())


def _turned(way: Floats) -> float:
    """How much do unit vectors along a way change? By so much it is longer where its bends are off.

    A bend that lies aside of the nearest one, by up to half the distance of places, makes the way
    longer by that times the change.
    """
    step = np.diff(way, axis=0)
    step = step / np.maximum(np.linalg.norm(step, axis=1, keepdims=True), 1e-300)
    return float(np.linalg.norm(np.diff(step, axis=0), axis=1).sum())


def _past_bottom(way: Floats, width: Floats) -> Bools:
    """Which points of a way are no part of the corner that it starts in?"""
    past = np.linalg.norm(way - way[0], axis=1) >= width.max() / 2
    past[-1] = True
    return past


def _pulled(scene: RayScene, way: Floats) -> Floats:
    """A way with every bend left out that it sees past."""
    rows = list(range(len(way)))
    step = 1
    while step < len(rows):
        step *= 2
    while step >= 1:
        kept, at = [rows[0]], 0
        while at < len(rows) - 1:
            ahead = min(at + step, len(rows) - 1)
            is_seen = ahead - at > 1 and bool(
                sees(scene, way[rows[at]][None], way[rows[ahead]][None])[0]
            )
            at = ahead if is_seen else at + 1
            kept.append(rows[at])
        rows, step = kept, step // 2
    return way[rows]


def _length(way: Floats) -> float:
    return float(np.linalg.norm(np.diff(way, axis=0), axis=1).sum())
