"""Is nothing in front of the surface deep, as far as few balls can tell?

Where everything that is tight lies beside a ball that comes from outside there is no deep place,
and the full search, with a ball for each place, is spared. Lengths in mm. Guarded by
tests/geometry/test_voids_recesses.py.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from lint3d.geometry.components import connected_groups
from lint3d.geometry.rays import RayScene
from lint3d.geometry.throats_clearance import Clearance
from lint3d.geometry.voids_reach import (
    FULL,
    HARDLY_NARROWER,
    OVERLAP,
    Balls,
    balls_from_outside,
    chamber_at,
    chamber_of,
    index_in,
    links_between,
    not_reached,
    sees,
)
from lint3d.geometry.voids_space import Space
from lint3d.geometry.voids_tight import Places, grown

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

#: A place this near to such a ball, times its radius, is part of nothing deep; and how far off the
#: wall it looks for it.
_BESIDE, _OFF_THE_WALL = 0.5, 1e-3
#: Such balls are looked for where they are fewer than the places by this, and moved until there is
#: so much room. The best of so many is taken for each place.
_FEWER, _MUCH_ROOM, _CANDIDATES = 2, 1.2, 4
#: Balls that surely come from outside are taken about so far from each other then, times radius.
_SEEDS_APART = 0.25
#: Half radii that a ball is slid straight at most.
_MOST_SLID = 16


def is_nothing_deep(
    scene: RayScene,
    clearance: Clearance,
    space: Space,
    tight: Places,
    roomy: Places,
    ball: tuple[float, float],
    ignored: frozenset[int],
) -> bool:
    """Is every tight place beside a ball that comes from outside, or in a hollow that is ignored?

    Each place is looked at from the widest grid point up from it: many places have the same one.
    What sees a ball that gets there, and lies so near to it, is nowhere deep. A few balls do for
    that, where one for each place would be needed to tell how deep something is.

    Parameters
    ----------
    tight, roomy : places without and with room by the grid
    ball : radius, and distance of places, mm
    ignored : chambers that do not matter, nor what hangs together with them
    """
    radius, apart = ball
    # Whatever is free beyond the grid is outside.
    middle = tight.point + tight.normal * radius
    left = index_in(space, middle)[1]
    left[~left] = clearance.at(middle[~left]) < FULL * radius
    tight = tight[left]
    front, is_inside = index_in(space, tight.point + tight.normal * space.grid.pitch)
    chamber = chamber_of(space, front)
    if not is_inside.all() or (chamber < 0).any():
        return False
    if np.isin(chamber, list(ignored)).all():
        return True
    flat = np.ravel_multi_index(tuple(front.T), space.grid.shape)
    top = np.unique(_climbed(space, flat, radius / space.grid.pitch + 1.0))
    if len(top) * _FEWER > len(tight):
        return False
    centre = space.points(top)
    room = clearance.at(centre)
    moved, more = grown(clearance, centre, room, _MUCH_ROOM * radius)
    centre, room = np.vstack([centre, moved]), np.concatenate([room, more])
    near = cKDTree(centre).query(tight.point, k=_CANDIDATES)[1]
    near = np.minimum(near, len(centre) - 1)
    beyond = np.linalg.norm(tight.point[:, None] - centre[near], axis=2) - room[near]
    beyond /= np.minimum(room, radius)[near]
    row = np.arange(len(near))
    which = near[row, np.argmin(beyond, axis=1)]
    start = tight.point + _OFF_THE_WALL * radius * tight.normal
    beside = (beyond.min(axis=1) <= _BESIDE) & sees(scene, start, centre[which])
    # The others must have room for a ball of their own.
    own = tight.point[~beside] + tight.normal[~beside] * radius
    if (clearance.at(own) < FULL * radius).any():
        return False
    kept = (np.arange(len(room)) >= len(top)) | (room >= radius)
    centre = np.vstack([centre[kept], own])
    room = np.append(np.minimum(room, radius)[kept], np.full(len(own), radius))
    balls = Balls(centre, room, chamber_at(space, centre))
    few = max(int((radius / space.grid.pitch * _SEEDS_APART) ** 2), 1)
    seeds = balls_from_outside(space, roomy[::few], balls, radius, apart)
    hidden, reached = not_reached(scene, clearance, space, balls, seeds, radius, apart)
    links = links_between(scene, hidden.centre, apart)
    group = connected_groups(len(hidden), links[:, 0], links[:, 1])
    hidden = hidden[~np.isin(group, group[np.isin(hidden.chamber, list(ignored))])]
    return _all_slide_to(clearance, hidden, reached, radius)


def _all_slide_to(clearance: Clearance, hidden: Balls, start: Balls, radius: float) -> bool:
    """Does a ball of each group that overlaps well slide straight to one of some others?"""
    if len(hidden) == 0 or len(start) == 0 or hidden.radius.min() < FULL * radius:
        return len(hidden) == 0
    links = cKDTree(hidden.centre).query_pairs(OVERLAP * radius, output_type="ndarray")
    group = connected_groups(len(hidden), links[:, 0], links[:, 1])
    gap, near = cKDTree(start.centre).query(hidden.centre)
    order = np.lexsort((gap, group))
    nearest = order[np.flatnonzero(np.diff(group[order], prepend=-1))]
    count = int(np.ceil(2 * gap[nearest].max() / radius)) + 1
    if count > _MOST_SLID:
        return False
    share = np.linspace(0.0, 1.0, count)[:, None]
    begin, end = hidden.centre[nearest, None], start.centre[near[nearest], None]
    fits = clearance.at(begin + share * (end - begin)) >= HARDLY_NARROWER * radius
    return bool(fits.all())


def _climbed(space: Space, flat: Ints, enough: float) -> Ints:
    """(n,) flat numbers of the tops up from some grid points, or of the first with enough room.

    Parameters
    ----------
    flat : numbers of free points
    enough : voxels
    """
    level = space.distance.reshape(-1)
    steps = np.stack(np.meshgrid(*[[-1, 0, 1]] * 3, indexing="ij"), axis=-1).reshape(-1, 3)
    step = steps @ np.array(space.grid.strides)
    flat, back = np.unique(flat, return_inverse=True)
    busy = np.arange(len(flat))
    for _ in range(int(enough) + 2):
        busy = busy[level[flat[busy]] < enough]
        point, row = np.unique(flat[busy], return_inverse=True)
        near = (point[:, None] + step).clip(0, len(level) - 1)
        higher = near[np.arange(len(near)), np.argmax(level[near], axis=1)]
        is_up = (level[higher] > level[point])[row]
        flat[busy[is_up]] = higher[row[is_up]]
        busy = busy[is_up]
    return flat[back]
