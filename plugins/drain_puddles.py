"""What does not run out by gravity, and how should the part be held?

The sheet's `[cleaning]` may say how the part is held; otherwise the best position is searched for.
Guarded by tests/plugins/test_drain_puddles.py. Lengths in mm, volumes in mm3.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from lint3d import Body, Interest, LeftOut, Place
from lint3d_plugins.drain_hollows import Hollow, Hollows
from lint3d_plugins.drain_liquid import WHILE_MOLTEN
from lint3d_plugins.drain_places import owners

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from lint3d.geometry.pools import Retained
    from lint3d.geometry.throats import Throat

    Floats = NDArray[np.float64]
    Ints = NDArray[np.int64]

#: Openings that are held downward before other positions are tried, the widest first.
_MOST_TRIED = 6
#: Pools that are listed one by one.
_MOST_LISTED = 12
#: Share of the lowest limit below which a position need not be bettered.
_ENOUGH = 0.01
#: An opening looks downward if it lies this near to straight down, as a cosine.
_DOWNWARD = 0.5


@dataclass(frozen=True, eq=False)
class Leftovers:
    """What stays in each group of bodies, in a position of its own."""

    hollows: Hollows
    found: tuple[tuple[Hollow, Retained], ...] = ()


def left_in(
    hollow: Hollow, up: tuple[float, float, float] | None, interest: Interest | None = None
) -> Retained:
    """What stays in a group of bodies.

    Parameters
    ----------
    up : the cleaning position, in the frame of the file; None = the best one
    interest : mm3, the range of limits: what lies well within is not bettered, what lies beyond is
        not proven closer
    """
    from lint3d.geometry.pools import retained_liquid
    from lint3d.geometry.pools_search import Goal

    vertices, faces, is_sound = _one_surface(hollow)
    goal = None
    if interest is not None and 0 < interest.high < np.inf:
        goal = Goal(enough=_ENOUGH * interest.low, passes=interest.low, beyond=interest.high)
    given = None if up is None else np.array(up, np.float64)
    left = retained_liquid(vertices, faces, given, _openings_out(hollow), goal)
    if is_sound:
        return left
    upper = max(2.0 * left.volume, left.volume_upper)
    return replace(left, exact=False, volume_lower=0.0, volume_upper=upper)


def unsure(hollow: Hollow, left: Retained) -> Iterator[LeftOut]:
    """What makes the volume an estimate, unless it is told anyway: an open body."""
    if not left.exact and not hollow.group.open_bodies:
        yield LeftOut(
            "The surface runs through itself, or more than two of its faces share an edge, so "
            "what stays is not known for certain; solid/self-intersection and "
            "solid/non-manifold-edge tell more.",
            of=hollow.group.bodies[0],
        )


def puddle_place(hollow: Hollow, left: Retained) -> Place:
    """A place at the largest pool, or without one if nothing stays."""
    up = [round(float(x), 3) + 0.0 for x in left.up]
    body: Body = hollow.group.bodies[0]
    faces: Ints = np.zeros(0, np.int64)
    position = None
    if left.pools:
        position = left.pools[0].position
        face = hollow.face_at(position)
        body, faces, _ = owners(hollow, face, np.array([face]))
    return Place(
        left.volume,
        lower=left.volume_lower,
        upper=left.volume_upper,
        position=position,
        faces=faces,
        of=body,
        remark=_remark(hollow, left, up),
        distinct=True,
        properties={
            "up": up,
            "is_best_position": left.searched,
            "stays_in_every_position_mm3": left.volume_lower if left.searched else None,
            "is_exact": left.exact,
            "pools": [
                {
                    "volume_mm3": pool.volume,
                    "position_mm": pool.position.tolist(),
                    "outlet_mm": pool.outlet.tolist(),
                }
                for pool in left.pools[:_MOST_LISTED]
            ],
        },
    )


def _remark(hollow: Hollow, left: Retained, up: list[float]) -> str:
    """How the part is held, and what stays then."""
    held = "({:g}, {:g}, {:g}) held upward".format(*up) + _in_words(hollow, left.up)
    position = f"In the best position found, with {held}," if left.searched else f"With {held},"
    # Less than the file's own rounding is nothing.
    if left.volume > left.volume_upper - left.volume:
        text = (
            f"{position} {left.volume:.4g} mm³ of molten support stay in "
            f"{_counted(len(left.pools))}; the largest holds {left.pools[0].volume:.4g} mm³."
        )
        if left.searched and left.volume_lower > 0:
            text += f" In every other position at least {left.volume_lower:.4g} mm³ stay."
        text += f" {WHILE_MOLTEN}"
    else:
        text = f"{position} nothing stays while the support is molten."
    if not left.exact:
        text += " The surface is not sound, so this is an estimate."
    return text


def _in_words(hollow: Hollow, up: Floats) -> str:
    """Which opening looks downward, in words; nothing if none does."""
    lowest = min(_openings(hollow), key=lambda throat: float(throat.direction @ up), default=None)
    if lowest is None or float(lowest.direction @ up) > -_DOWNWARD:
        return ""
    at = "({:.4g}, {:.4g}, {:.4g})".format(*(float(x) + 0.0 for x in lowest.position))
    return f", with the opening at {at} down"


def _openings(hollow: Hollow) -> list[Throat]:
    """Openings of pockets to the outside, the widest first."""
    throats = [
        opening.throat
        for pocket in hollow.voids.pockets
        for opening in pocket.openings
        if opening.to == 0
    ]
    return sorted(throats, key=lambda throat: -throat.diameter)


def _openings_out(hollow: Hollow) -> Floats:
    """(k, 3) directions in which the widest openings lead out."""
    found: list[Floats] = []
    for throat in _openings(hollow):
        if all(float(throat.direction @ other) < 0.99 for other in found):
            found.append(throat.direction)
        if len(found) == _MOST_TRIED:
            break
    return np.array(found, np.float64).reshape(-1, 3)


def _one_surface(hollow: Hollow) -> tuple[Floats, Ints, bool]:
    """The surface of a group, united where it overlaps, and whether that could be done."""
    group = hollow.group
    if not hollow.voids.overlaps:
        return group.vertices, group.faces, True
    from lint3d.geometry.voids_shells import shell_regions
    from lint3d.geometry.voids_union import united

    regions = shell_regions(group.vertices, group.faces)
    joined = united(group.vertices, group.faces, regions.of_face)
    if joined is None or regions.of_face.max() == 0:
        # A single shell that overlaps runs through itself; a union leaves it as it is.
        return group.vertices, group.faces, False
    return (*joined, True)


def _counted(pools: int) -> str:
    return "one pool" if pools == 1 else f"{pools} pools"
