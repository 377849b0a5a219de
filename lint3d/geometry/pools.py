"""How much liquid stays in a part, in a given position or in the best one?

A *pool* is what cannot run out because every way out rises above it. In one position the answer is
exact (`pools_surface.py`); the best position is searched for, and what stays in every position is
proven as far as the effort allows (`pools_search.py`). Hollows that nothing leads to are not
counted: they are sealed pockets. Lengths in mm, volumes in mm3. Guarded by
tests/geometry/test_pools.py.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lint3d.geometry.pools_search import Goal, best_position
from lint3d.geometry.pools_surface import PoolSurface, Standing

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class Pool:
    """Liquid that stays in one place."""

    volume: float
    position: Floats
    """(3,) mm, its lowest corner"""
    level: float
    """mm along the up direction, where it would run over"""
    outlet: Floats
    """(3,) mm, the corner over which it would run out"""


@dataclass(frozen=True, eq=False)
class Retained:
    """What stays in a position.

    Attributes
    ----------
    up : (3,) unit vector: this way up
    volume, volume_lower, volume_upper : mm3. In a given position the bounds hold the rounding of
        the file. For the best position the lower bound is what stays in every position for
        certain; the upper one is what stays in the position found.
    pools : by falling volume
    exact : False: the surface is not closed, and the volume an estimate
    searched : the position was searched for, and not given
    """

    up: Floats
    volume: float
    volume_lower: float
    volume_upper: float
    pools: list[Pool]
    exact: bool
    searched: bool


def retained_liquid(
    vertices: Floats,
    faces: Ints,
    up: Floats | None = None,
    openings: Floats | None = None,
    goal: Goal | None = None,
) -> Retained:
    """How much liquid stays, in the given position or in the best one?

    Parameters
    ----------
    vertices, faces : mm; a sound solid, faces look out of the material; bodies that overlap are
        united before
    up : (3,) which way is up, of any length but 0; None = the best position
    openings : (k, 3) directions in which openings lead out of the part; they are held downward
        before other positions are tried
    goal : what need not be known any closer

    Raises
    ------
    ValueError : `up` has no direction

    Examples
    --------
    A cube keeps nothing:

    >>> import trimesh
    >>> cube = trimesh.creation.box((10, 10, 10))
    >>> retained_liquid(cube.vertices, cube.faces).volume
    0.0
    """
    surface = PoolSurface(vertices, faces)
    searched = up is None
    proven: float | None = None
    if len(surface.faces) == 0:
        return Retained(np.array([0.0, 0.0, 1.0]), 0.0, 0.0, 0.0, [], False, searched)
    if up is None:
        down = np.zeros((0, 3)) if openings is None else np.asarray(openings, np.float64)
        up, proven = best_position(surface, down, goal)
    elif not np.linalg.norm(up) > 0 or not np.isfinite(up).all():
        raise ValueError("The direction that is up must be three numbers that are not all 0.")
    one = surface.standing(np.asarray(up, np.float64))
    pools = _pools(surface, one)
    volume = sum(pool.volume for pool in pools)
    doubt = surface.doubt(one)
    if not surface.is_closed:
        return Retained(one.up, volume, 0.0, 2.0 * volume + doubt, pools, False, searched)
    lower = max((volume if proven is None else min(proven, volume)) - doubt, 0.0)
    return Retained(one.up, volume, lower, volume + doubt, pools, True, searched)


def _pools(surface: PoolSurface, one: Standing) -> list[Pool]:
    """Basins that run together, as one pool each."""
    rows = np.flatnonzero(one.group >= 0)
    volume = surface.volumes(one)
    shift = float(surface.middle @ one.up)
    found = []
    for number in np.unique(one.group[rows]):
        basins = rows[one.group[rows] == number]
        first = basins[np.argmin(one.height[one.lowest[basins]])]
        whole = float(volume[basins].sum())
        if whole > 0:
            found.append(
                Pool(
                    whole,
                    surface.vertices[one.lowest[first]],
                    float(one.level[first]) + shift,
                    surface.vertices[one.saddle[first]],
                )
            )
    return sorted(found, key=lambda pool: (-pool.volume, *pool.position))
