"""What does cleaning not reach, though it is no pocket?

Slots, gaps and bores of constant width, and folded ducts: space that a ball of a given width does
not get to from the outside. Lengths in mm. Guarded by tests/plugins/test_drain_recesses.py.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from lint3d import Place, Step
from lint3d_plugins.drain_hollows import Hollow, Hollows
from lint3d_plugins.drain_places import owners, width_or_none
from lint3d_plugins.many_places import MANY, point

if TYPE_CHECKING:
    from lint3d.geometry.voids_recesses import Recess, Unreached

#: A recess less deep than this times its own width is none: inner edges and corners are such.
LEAST_RATIO = 3.0
#: A recess is a round hole if so much of its way lies in one.
MOSTLY = 0.6
#: A recess that is at least this share of a ball wide may be wider than the ball.
_FILLED = 1.0 - 1e-6
#: Places about as deep as they may be that are looked at nearer: fins and combs have dozens alike.
#: Of so many that they are told as one, fewer.
_MOST_NEARER, _NEARER_OF_MANY = 8, 2
#: Points of a way that are told.
_MOST_STEPS = 24


@dataclass(frozen=True, eq=False)
class Recesses:
    """Places that a ball does not reach from the outside, the deepest first.

    Attributes
    ----------
    ball : mm
    """

    hollows: Hollows
    ball: float
    found: tuple[tuple[Hollow, Recess], ...] = ()

    def by_hollow(self) -> list[tuple[Hollow, list[Recess]]]:
        """The hollows that have any, each with its own in the same order."""
        hollows = {id(hollow): hollow for hollow, _ in self.found}
        return [
            (hollow, [recess for other, recess in self.found if other is hollow])
            for hollow in hollows.values()
        ]


@dataclass(frozen=True, eq=False)
class Reach:
    """Where a ball does not get, in each hollow.

    Attributes
    ----------
    ball : mm
    least_depth : mm, what is less deep was left out
    """

    hollows: Hollows
    ball: float
    least_depth: float = 0.0
    found: tuple[tuple[Hollow, frozenset[int], Unreached], ...] = ()
    """hollow, chambers that belong to pockets, and what is not reached"""


def reach_of(hollows: Hollows, ball: float, least_depth: float) -> Reach:
    """Where a ball does not get.

    Parameters
    ----------
    ball : mm, diameter
    least_depth : mm, what is less deep is left out
    """
    from lint3d.geometry.voids_recesses import find_unreached

    found = []
    for hollow in hollows.found:
        if hollow.voids.clearance is None:  # nothing was looked at, and `unseen` says why
            continue
        surface = hollow.surface
        for space in hollow.spaces():
            pockets = frozenset(hollow.members(space))
            unreached = find_unreached(
                surface, space, hollow.voids.clearance, ball, least_depth, pockets
            )
            if unreached is not None:
                found.append((hollow, pockets, unreached))
    return Reach(hollows, ball, least_depth, tuple(found))


def recesses_of(
    reach: Reach, is_blind: bool = False, limit: float | None = None, wider_than: float = 0.0
) -> Recesses:
    """What a ball does not reach, less what belongs to pockets.

    Parameters
    ----------
    is_blind : leave out what lies on a way through from one mouth to another
    limit : depth over width; what may lie on either side of it is looked at nearer
    wider_than : mm, what is no wider than this all along is left out
    """
    from lint3d.geometry.voids_nearer import looked_at_nearer
    from lint3d.geometry.voids_recesses import recesses_in

    found = []
    looked = 0
    for hollow, pockets, unreached in reach.found:
        asked = [
            one
            for one in recesses_in(unreached, is_blind, wider_than)
            if one.widest > wider_than and not any(node in pockets for node in one.nodes)
        ]
        most = _MOST_NEARER if len(asked) <= MANY else _NEARER_OF_MANY
        for one in asked:
            if limit is not None and looked < most:
                nearer = looked_at_nearer(hollow.surface, unreached, one, limit)
                looked += nearer is not one
                one = nearer
            found.append((hollow, in_file(hollow, one)))
    found.sort(key=lambda pair: -pair[1].depth)
    return Recesses(reach.hollows, reach.ball, tuple(found))


def told_once(found: Iterable[tuple[float, Hollow, Recess]]) -> list[tuple[Hollow, Recess]]:
    """Each place once, though balls of several sizes do not get there.

    A recess that the ball fits into is as wide as the ball or wider, which that ball cannot tell;
    one that a larger ball found at the same far end has its own width.

    Parameters
    ----------
    found : with the diameter of the ball that does not get there, mm
    """
    every = list(found)
    kept = []
    for ball, hollow, one in every:
        is_filled = one.width >= _FILLED * ball
        if is_filled and any(
            wider > ball
            and other is hollow
            and np.linalg.norm(two.position - one.position) <= two.widest
            for wider, other, two in every
        ):
            continue
        kept.append((hollow, one))
    return kept


def in_file(hollow: Hollow, recess: Recess) -> Recess:
    """A recess in the frame of the file."""
    return replace(
        recess,
        position=hollow.to_file(recess.position),
        mouth=hollow.to_file(recess.mouth),
        way=hollow.to_file(recess.way),
    )


def recess_place(
    hollow: Hollow, recess: Recess, value: tuple[float, float, float], remark: str
) -> Place:
    """A place at the mouth of a recess, with the way from its far end.

    Parameters
    ----------
    value : value, lower, upper
    """
    face, inner = hollow.face_at(recess.mouth), hollow.face_at(recess.position)
    body, faces, other = owners(hollow, face, np.array([face, inner]))
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
        path=_steps(recess),
        distinct=True,
        properties={
            "depth_mm": recess.depth,
            "width_mm": recess.width,
            "throat_mm": recess.throat,
        },
    )


def ratio_bounds(recess: Recess, doubt: float) -> tuple[float, float]:
    """Bounds of depth over width.

    Parameters
    ----------
    doubt : mm, how much wider or narrower than drawn it may be in the file
    """
    narrow = recess.width - doubt
    most = (recess.depth_upper + doubt) / narrow if narrow > 0 else np.inf
    return max(recess.depth_lower - doubt, 0.0) / (recess.width + doubt), most


def is_round_hole(recess: Recess, bars: Iterable[Any]) -> bool:
    """Does the way of a recess run within one of the round straight holes?"""
    return any(_in_bore(recess, bar) for bar in bars)


def _in_bore(recess: Recess, bar: Any) -> bool:
    axis = bar.end - bar.start
    length = float(np.linalg.norm(axis))
    if length == 0 or not bar.is_straight:
        return False
    offset = recess.way - bar.start
    along = offset @ axis / length
    aside = np.linalg.norm(offset - np.outer(along, axis / length), axis=1)
    reach = bar.diameter / 2
    inside = (aside <= reach) & (along >= -reach) & (along <= length + reach)
    return bool(inside.mean() >= MOSTLY)


def _steps(recess: Recess) -> list[Step]:
    count = len(recess.way)
    rows = np.unique(np.linspace(0, count - 1, min(count, _MOST_STEPS)).astype(int)).tolist()
    labels = {count - 1: "mouth", 0: "far end"}
    return [
        Step(point(recess.way[row]), width_or_none(recess.way_width[row]), labels.get(row, ""))
        for row in rows
    ]
