"""Can a body leave another by a straight move?

It can if there is a direction along which it may be pushed without end and never meets the other.
`captive_sweep.py` tells exactly whether a direction is free. Directions looked at:
those that the facing faces leave free (the lines of all pairs of their planes, their common axis,
their normals), long edges, main axes, and every way out that rays from inside the body find among
some thousands spread over the sphere.

What this cannot see: ways out that need a turn, a screw or two moves one after the other (such a
body is told as captive), a free cone narrower than about 2 degrees that lies along none of the
directions above, and bodies held by two others together. Lengths in mm. Guarded by
tests/geometry/test_captive.py.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from lint3d.geometry.captive_sweep import is_free
from lint3d.geometry.clearance import Surface
from lint3d.geometry.components import connected_groups
from lint3d.geometry.rays import RayScene

Floats = NDArray[np.float64]

_SPHERE = 4096  # directions spread over the sphere: 3 degrees apart
_NEIGHBOURS = 0.09  # directions nearer than this on the sphere are of one window
_MOST_FREE = 64  # of those that rays find, the ones that are tried exactly
_MOST_NORMALS = 12
_PROBES = 24


def way_out(one: Surface, two: Surface, facing: Floats) -> Floats | None:
    """A direction along which the second body leaves the first, if one was found.

    Parameters
    ----------
    one, two : closed bodies that do not overlap
    facing : (k, 3) float64, unit normals of faces that lie near the other body; may be empty

    Returns
    -------
    (3,) float64, unit vector, or None: the second body is captive in the first (and the other way
    round: what matters is how one moves against the other)
    """
    tolerance = 4 * (one.uncertainty_mm + two.uncertainty_mm)
    apart = _boxes_apart(one, two, tolerance)
    if apart is not None:
        return apart
    if np.ptp([one.low, one.high], axis=0).prod() < np.ptp([two.low, two.high], axis=0).prod():
        # The smaller one moves: rays from inside it find windows. The larger goes the other way.
        way = _way_of_smaller(two, one, facing, tolerance)
        return None if way is None else -way
    return _way_of_smaller(one, two, facing, tolerance)


def _way_of_smaller(one: Surface, two: Surface, facing: Floats, tolerance: float) -> Floats | None:
    """A direction along which the second body gets free, if one is found."""
    origin = 0.5 * (two.low + two.high)
    still, moving = one.corners - origin, two.corners - origin
    for directions in (_likely, _ways_of_rays):
        for direction in directions(still, moving, facing):
            if is_free(still, moving, direction, tolerance):
                found: Floats = direction
                return found
    return None


def _boxes_apart(one: Surface, two: Surface, tolerance: float) -> Floats | None:
    """The axis along which the boxes do not overlap, if there is one."""
    below, above = two.high - one.low, one.high - two.low
    for axis in range(3):
        for room, sense in ((below[axis], -1.0), (above[axis], 1.0)):
            if room <= tolerance:
                return sense * np.eye(3)[axis]
    return None


def _likely(still: Floats, moving: Floats, facing: Floats) -> Floats:
    """(k, 3) directions in which a body is likely to get free, each with its opposite."""
    away = moving.mean(axis=(0, 1)) - still.mean(axis=(0, 1))
    found = [away[None] / max(float(np.linalg.norm(away)), 1e-30), np.eye(3)]
    found += [_main_axes(moving), _main_axes(still)]
    if len(facing):
        found.append(np.linalg.eigh(facing.T @ facing)[1].T)
        few = _spread(facing, _MOST_NORMALS)
        first, second = np.triu_indices(len(few), 1)
        found += [np.cross(few[first], few[second]), few]
    directions = np.concatenate(found)
    length = np.linalg.norm(directions, axis=1)
    directions = directions[length > 1e-3 * length.max()]
    directions /= np.linalg.norm(directions, axis=1)[:, None]
    return _distinct(np.concatenate([directions, -directions]))


def _main_axes(corners: Floats) -> Floats:
    """(6, 3) axes of the longest edges and of the faces' normals."""
    edge = (np.roll(corners, -1, axis=1) - corners).reshape(-1, 3)
    weight = np.einsum("ij,ij->i", edge, edge)
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    area = np.linalg.norm(normal, axis=1)
    unit = normal / np.where(area > 0, area, 1)[:, None]
    return np.concatenate(
        [
            np.linalg.eigh((edge * weight[:, None]).T @ edge)[1].T,
            np.linalg.eigh((unit * area[:, None]).T @ unit)[1].T,
        ]
    )


def _spread(vectors: Floats, most: int) -> Floats:
    """Up to `most` of the vectors, each as far from the others as can be (up to its sign)."""
    chosen = [0]
    nearest = np.abs(vectors @ vectors[0])
    while len(chosen) < most:
        row = int(nearest.argmin())
        if nearest[row] > 0.999:
            break
        chosen.append(row)
        nearest = np.maximum(nearest, np.abs(vectors @ vectors[row]))
    return vectors[chosen]


def _distinct(directions: Floats) -> Floats:
    """The directions without repetitions, in their order."""
    first = np.unique(np.round(directions, 9) + 0.0, axis=0, return_index=True)[1]
    return directions[np.sort(first)]


def _ways_of_rays(still: Floats, moving: Floats, _: Floats) -> Floats:
    """(k, 3) directions in which no ray from some points of the moving body meets the other.

    The middle of each window first, the largest window first; then the free directions themselves,
    spread out.
    """
    directions = _sphere(_SPHERE)
    rows = np.linspace(0, len(moving) - 1, min(len(moving), _PROBES)).astype(int)
    points = np.concatenate([moving.mean(axis=(0, 1))[None], moving[np.unique(rows)].mean(axis=1)])
    scene = RayScene(still.reshape(-1, 3), np.arange(3 * len(still)).reshape(-1, 3))
    reach = float(np.linalg.norm(np.ptp(np.concatenate([still, moving]), axis=(0, 1)))) * 2
    for point in points:
        met = scene.first_facet(np.repeat(point[None], len(directions), 0), directions, reach)
        directions = directions[met < 0]
    if len(directions) == 0:
        return directions
    near = cKDTree(directions).query_pairs(_NEIGHBOURS, output_type="ndarray")
    window = connected_groups(len(directions), near[:, 0], near[:, 1])
    count = int(window.max()) + 1
    middles = np.stack(
        [np.bincount(window, axis, minlength=count) for axis in directions.T], axis=1
    )
    length = np.linalg.norm(middles, axis=1)
    order = np.argsort(-length, kind="stable")[:_MOST_FREE]
    order = order[length[order] > 1e-6]
    rows = np.linspace(0, len(directions) - 1, min(len(directions), _MOST_FREE)).astype(int)
    return np.concatenate([middles[order] / length[order, None], directions[rows]])


def _sphere(count: int) -> Floats:
    """Directions spread evenly (Fibonacci's spiral)."""
    row = np.arange(count) + 0.5
    z = 1 - 2 * row / count
    angle = np.pi * (1 + 5**0.5) * row
    ring = np.sqrt(1 - z * z)
    return np.stack([ring * np.cos(angle), ring * np.sin(angle), z], axis=1)
