"""What do bodies enclose together that stand rather far apart?

Bodies are looked at together only where a gap between them surely matters. For a single opening a
wider gap is in doubt as well: bodies that stand no farther apart than that are looked at once more,
on a coarser grid, and only for openings between bodies that were not looked at together before.
Lengths in mm. Guarded by tests/plugins/test_drain_apart.py.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

import numpy as np

from lint3d import LeftOut
from lint3d_plugins.drain_hollows import Hollow, Hollows, find_hollows

if TYPE_CHECKING:
    from lint3d.geometry.throats import Throat

#: An opening is between bodies no farther from its middle than this, times its radius.
_TOUCHES = 1.1


def find_apart(hollows: Hollows, low: float, near: float, limits: tuple[float, ...]) -> Hollows:
    """Hollows between bodies that were not looked at together.

    Parameters
    ----------
    hollows : what was found before
    low : mm, width that the grid resolves
    near : mm, bodies no farther apart than this are looked at together
    limits : mm, widths that openings will be compared with
    """
    from lint3d.geometry.voids_near import near_groups

    number = {body: i for i, hollow in enumerate(hollows.found) for body in hollow.group.bodies}
    bodies = list(number)
    if len(hollows.found) < 2:
        return Hollows((), low, hollows.told_apart)
    label = near_groups([body.vertices for body in bodies], near)
    found: list[Hollow] = []
    for one in range(int(label.max()) + 1):
        some = [body for body, own in zip(bodies, label.tolist(), strict=True) if own == one]
        if len({number[body] for body in some}) > 1:
            found += find_hollows(some, low, hollows.told_apart, limits, near).found
    return Hollows(tuple(found), low, hollows.told_apart)


def unseen_apart(hollows: Hollows, apart: Hollows) -> Iterator[LeftOut]:
    """Where the grid of such bodies had to be too coarse; the rest was seen before, and finer."""
    said = {gap.reason for hollow in hollows.found for gap in hollow.voids.left_out}
    for hollow in apart.found:
        for gap in hollow.voids.left_out:
            if gap.position is None and gap.reason not in said and not hollow.group.open_bodies:
                yield LeftOut(gap.reason, of=hollow.group.bodies[0])


def is_between(hollows: Hollows, hollow: Hollow, throat: Throat) -> bool:
    """Is an opening between bodies that were not looked at together before?

    Parameters
    ----------
    hollows : what was found before
    hollow : from `find_apart`
    throat : one of its openings
    """
    from lint3d.geometry.throats_clearance import Clearance

    number = {body: i for i, one in enumerate(hollows.found) for body in one.group.bodies}
    place, reach = throat.position, _TOUCHES * throat.upper / 2
    touched = set()
    for body in hollow.group.bodies:
        points = body.vertices
        near = np.all((points.min(axis=0) <= place + reach) & (points.max(axis=0) >= place - reach))
        if near and Clearance(points, body.faces).at(place[None])[0] <= reach:
            touched.add(number[body])
    return len(touched) > 1
