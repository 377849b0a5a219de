"""What do rays in many ways from the same places meet, and how long are chords through those?

The rays of a fan lie in one plane, given by two unit vectors. They are sent together: one call for
each way costs more than the rays themselves where places are few. Lengths in mm.
Tested by tests/geometry/test_ray_fans.py.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from lint3d.geometry.rays import RAYS_AT_ONCE, RayScene
from lint3d.geometry.side_by_side import THREADS

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


def fan(
    scene: RayScene, place: Floats, one: Floats, two: Floats, turns: Floats, reach: Floats
) -> Ints:
    """The facet that each ray of a fan meets first.

    Parameters
    ----------
    place : (k, 3) float64, mm
    one, two : (k, 3) float64, unit and square to each other: a ray turned by `t` leaves along
        `one cos t + two sin t`
    turns : (w,) float64, radians
    reach : (k,) float64, mm

    Returns
    -------
    (k, w) int64 : -1 where nothing is met
    """
    met = np.empty((len(place), len(turns)), dtype=np.int64)
    for rows, origins, ways in _rays(place, one, two, turns):
        far = np.repeat(reach[rows], len(turns))
        met[rows] = scene.first_facet(origins, ways, far).reshape(-1, len(turns))
    return met


def chords(
    scene: RayScene,
    place: Floats,
    one: Floats,
    two: Floats,
    turns: Floats,
    reach: Floats,
    beyond: Floats | None = None,
) -> Floats:
    """Lengths of chords through each place, both ways to the first facet added up.

    Parameters
    ----------
    beyond : (k,) float64, mm, what stands for a way along which nothing is met within `reach`, and
        the most that any way counts for; inf if None

    Returns
    -------
    (k, w) float64, mm
    """
    length = np.zeros((len(place), len(turns)))
    for rows, origins, ways in _rays(place, one, two, turns):
        far = np.repeat(reach[rows], len(turns))
        for sense in (ways, -ways):
            found = scene.distance(origins, sense, scene.first_facet(origins, sense, far))
            if beyond is not None:
                found = np.minimum(found, np.repeat(beyond[rows], len(turns)))
            length[rows] += found.reshape(-1, len(turns))
    return length


def _rays(
    place: Floats, one: Floats, two: Floats, turns: Floats
) -> Iterator[tuple[slice, Floats, Floats]]:
    """Origins and ways of all rays, by some places at once."""
    across = np.cos(turns)[:, None], np.sin(turns)[:, None]
    some = max(THREADS * RAYS_AT_ONCE // len(turns), 1)
    for start in range(0, len(place), some):
        rows = slice(start, start + some)
        ways = one[rows, None] * across[0] + two[rows, None] * across[1]
        yield rows, np.repeat(place[rows], len(turns), axis=0), ways.reshape(-1, 3)
