"""What stays for certain in every position near one?

Liquid at x leaves only over the surface of its pool, at some y. With the part turned by an angle t
y still lies higher than x if the pool's surface stood higher above x than tan t times the level
distance of x and y. So what lies deeper than that stays in all positions within t. Lengths in mm,
volumes in mm3. Guarded by tests/geometry/test_pools_search.py.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lint3d.geometry.pools_surface import PoolSurface, Standing

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


def stays_near(surface: PoolSurface, one: Standing, angle: float) -> float:
    """mm3 that stays in each position within `angle` (rad) of one."""
    wide = _breadth(surface, one)
    if len(wide) == 0:
        return 0.0
    lowered = one.level.copy()
    rows = np.flatnonzero(one.group >= 0)
    pool = np.unique(one.group[rows], return_inverse=True)[1]
    lowered[rows] -= np.tan(angle) * wide[pool] + surface.step
    return max(float(surface.volumes(one, lowered).sum()), 0.0)


def _breadth(surface: PoolSurface, one: Standing) -> Floats:
    """(p,) mm, for each pool how far apart, on the level, a point in it and one of its surface lie.

    At most: from boxes, and from circles about their middles.
    """
    pools = np.unique(one.group[one.group >= 0])
    count = len(pools)
    if count == 0:
        return np.zeros(0)
    wet, rim = _outline(surface, one)
    corner_pool = np.searchsorted(pools, one.group[one.basin[wet]])
    rim_pool = np.searchsorted(pools, one.group[one.basin[rim[0]]])
    top = rim[1]
    plan = np.concatenate([surface.plan(one.up)[wet], top])
    number = np.concatenate([corner_pool, rim_pool])
    low, high = _boxes(plan, number, count)
    rim_low, rim_high = _boxes(top, rim_pool, count)
    middle = (low + high) / 2
    box = np.linalg.norm(np.maximum(rim_high - low, high - rim_low), axis=1)
    reach = np.zeros(count)
    np.maximum.at(reach, number, np.linalg.norm(plan - middle[number], axis=1))
    rim_reach = np.zeros(count)
    np.maximum.at(rim_reach, rim_pool, np.linalg.norm(top - middle[rim_pool], axis=1))
    return np.minimum(box, reach + rim_reach)


def _outline(surface: PoolSurface, one: Standing) -> tuple[Ints, tuple[Ints, Floats]]:
    """Corners in pools; and where edges leave pools: the corner below, the place on the level."""
    level = one.level[one.basin]
    wet = np.flatnonzero(one.height < level)
    start, stop = surface.edges_rising(one.height)
    out = (one.height[start] < level[start]) & (one.height[stop] >= level[start])
    start, stop = start[out], stop[out]
    share = (level[start] - one.height[start]) / (one.height[stop] - one.height[start])
    plan = surface.plan(one.up)
    return wet, (start, plan[start] + share[:, None] * (plan[stop] - plan[start]))


def _boxes(plan: Floats, number: Ints, count: int) -> tuple[Floats, Floats]:
    low, high = np.full((count, 2), np.inf), np.full((count, 2), -np.inf)
    np.minimum.at(low, number, plan)
    np.maximum.at(high, number, plan)
    return low, high
