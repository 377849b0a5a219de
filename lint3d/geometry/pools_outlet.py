"""How must a part be turned so that its pools run out where they run over?

A pool with its outlet at s runs out that way if s is its lowest place: u·(x − s) ≥ 0 for its
corners x. Those are half spaces for the direction u; the direction in the middle of all is found by
least distance programming. Lengths in mm. Guarded by tests/geometry/test_pools_search.py.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import nnls

from lint3d.geometry.pools_sphere import directions, unit
from lint3d.geometry.pools_surface import PoolSurface, Standing

Floats = NDArray[np.float64]

#: Pools that count, the largest; more are let out in later steps.
_MOST_POOLS = 8
#: Corners that stand for a pool: the farthest in each of these directions.
_PROBES = directions(40)


def letting_out(surface: PoolSurface, one: Standing, before: list[Floats]) -> Floats | None:
    """A direction that lets the pools of a position run out; None if there is none.

    Parameters
    ----------
    before : half spaces of earlier steps, which are kept if that is possible; appended to
    """
    found = _half_spaces(surface, one)
    if not found:
        return None
    before.extend(found)
    for rows in (before, found, found[:1]):
        up = _middle(np.concatenate(rows))
        if up is not None:
            return up
    return None


def _half_spaces(surface: PoolSurface, one: Standing) -> list[Floats]:
    """For each pool, the largest first, unit vectors from its outlet to its outermost corners."""
    volume = surface.volumes(one)
    wet = np.flatnonzero(one.height < one.level[one.basin])
    pool = one.group[one.basin[wet]]
    whole = np.bincount(
        one.group[one.group >= 0], weights=volume[one.group >= 0], minlength=len(volume)
    )
    found = []
    for number in np.argsort(-whole, kind="stable")[:_MOST_POOLS]:
        if whole[number] <= 0:
            break
        corner = wet[pool == number]
        if len(corner) == 0:
            continue
        basin = one.basin[corner[0]]
        offset = surface.vertices[corner] - surface.vertices[one.saddle[basin]]
        rows = unit(offset[np.unique((offset @ _PROBES.T).argmax(axis=0))])
        found.append(rows[np.linalg.norm(rows, axis=1) > 0])
    return [rows for rows in found if len(rows)]


def _middle(rows: Floats) -> Floats | None:
    """The unit vector farthest inside all half spaces u·row ≥ 0; None if there is none."""
    system = np.vstack([rows.T, np.ones(len(rows))])
    try:
        weight, rest = nnls(system, np.array([0.0, 0.0, 0.0, 1.0]))
    except RuntimeError:  # too many steps
        return None
    if rest < 1e-6:
        return None
    left = system @ weight - np.array([0.0, 0.0, 0.0, 1.0])
    direction: Floats = unit(-left[:3] / left[3])
    return direction if np.linalg.norm(direction) > 0 else None
