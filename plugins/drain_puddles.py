"""What does not run out by gravity, and how should the part be held?

Guarded by tests/plugins/test_drain.py. Lengths in mm, volumes in mm3.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from lint3d import Body, Place
from lint3d_plugins.drain_hollows import Hollow, Hollows
from lint3d_plugins.drain_places import owners

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from lint3d.geometry.pools import Retained

    Floats = NDArray[np.float64]
    Ints = NDArray[np.int64]

#: Openings that are held downward before other positions are tried, the widest first.
_MOST_TRIED = 6
#: Pools that are listed one by one.
_MOST_LISTED = 12


@dataclass(frozen=True, eq=False)
class Leftovers:
    """What stays in each group of bodies in its best position."""

    hollows: Hollows
    found: tuple[tuple[Hollow, Retained], ...] = ()


def best_position(hollow: Hollow) -> Retained:
    """What stays in the position where the least stays.

    Positions with an opening downward are tried first: only they empty a vessel with a small neck.
    """
    from lint3d.geometry.pools import retained_liquid

    vertices, faces = _one_surface(hollow)
    ways = [pocket.way for pocket in hollow.voids.pockets]
    tried = []
    for up in _openings_down(hollow):
        tried.append(retained_liquid(vertices, faces, up, ways))
        if tried[-1].volume_upper == 0:
            return tried[-1]
    tried.append(retained_liquid(vertices, faces, ways=ways))
    return min(tried, key=lambda one: one.volume)


def puddle_place(hollow: Hollow, left: Retained) -> Place:
    """A place at the largest pool, or without one if nothing stays."""
    up = [round(float(x), 3) + 0.0 for x in left.up]
    held = "({:g}, {:g}, {:g})".format(*up)
    body: Body = hollow.group.bodies[0]
    faces: Ints = np.zeros(0, np.int64)
    position = None
    remark = f"With {held} held upward nothing stays while the support is molten."
    if left.pools:
        position = left.pools[0].position
        face = hollow.face_at(position)
        body, faces, _ = owners(hollow, face, np.array([face]))
        remark = (
            f"In the best position, with {held} held upward, {left.volume:.4g} mm³ of molten "
            f"support stay in {_counted(len(left.pools))}; the largest holds "
            f"{left.pools[0].volume:.4g} mm³."
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
        properties={
            "up": up,
            "is_exact": left.exact,
            "pools": [
                {"volume_mm3": pool.volume, "position_mm": pool.position.tolist()}
                for pool in left.pools[:_MOST_LISTED]
            ],
        },
    )


def _openings_down(hollow: Hollow) -> list[Floats]:
    """Positions that hold the openings of pockets to the outside downward, the widest first."""
    throats = [
        opening.throat
        for pocket in hollow.voids.pockets
        for opening in pocket.openings
        if opening.to == 0
    ]
    throats.sort(key=lambda throat: -throat.diameter)
    found: list[Floats] = []
    for throat in throats:
        up = -throat.direction
        if all(float(up @ other) < 0.99 for other in found):
            found.append(up)
        if len(found) == _MOST_TRIED:
            break
    return found


def _one_surface(hollow: Hollow) -> tuple[Floats, Ints]:
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


def _counted(pools: int) -> str:
    return "one pool" if pools == 1 else f"{pools} pools"
