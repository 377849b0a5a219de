"""How deep is a blind place that is about as deep, for its width, as it may be?

The grid of a hollow is as fine as openings ask for, and its points tell where the surface is
looked at: a gap far narrower than that is known only roughly in depth. About one such place a finer
grid is made. Lengths in mm. Guarded by tests/geometry/test_voids_nearer.py.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lint3d.geometry.voids_recesses import Recess, Unreached, find_unreached, recesses_in
from lint3d.geometry.voids_space import POINTS_PER_WIDTH, build_space

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

#: What is left between depth and limit, over the distance of places: both ends of an interval lie
#: a little more than one of these off.
_FINER = 4.0
#: A way along neighbours is longer than the nearest one by about this share: no place that is so
#: near to the limit can be settled.
_LONGER = 0.02
#: Bytes that such a grid may cost; it must be finer than the other by this.
_BYTES, _MUCH_FINER = 4e7, 0.7
#: The least depth asked for over the distance of places: the finer grid is not looked past.
_PLACES_DEEP = 6


def looked_at_nearer(
    surface: tuple[Floats, Ints], unreached: Unreached, recess: Recess, limit: float
) -> Recess:
    """The same place, its depth known better if its depth over width may lie on either side.

    Parameters
    ----------
    surface : vertices (n, 3) mm and faces (m, 3), as for `find_unreached`
    unreached : what the place was found in
    limit : depth over width that it is compared with
    """
    from lint3d.geometry.voids import choose_grid  # here: it looks at recesses, too

    lower, upper = recess.depth_lower / recess.width, recess.depth_upper / recess.width
    margin = abs(recess.ratio - limit) * recess.width
    if recess.box is None or not lower <= limit <= upper or margin < _LONGER * recess.depth:
        return recess
    ball = unreached.ball
    box = recess.box[0] - ball, recess.box[1] + ball
    grid, _ = choose_grid(box, POINTS_PER_WIDTH * margin / _FINER, _BYTES)
    if grid.pitch > _MUCH_FINER * unreached.apart:
        return recess
    space = build_space(*surface, grid, ball / 2 + 2 * grid.pitch)
    least = _PLACES_DEEP * grid.pitch
    finer = find_unreached(surface, space, unreached.clearance, ball, least)
    found = [
        one
        for one in (recesses_in(finer) if finer is not None else [])
        if _is_same(recess, one) and _doubt(one) < _doubt(recess)
    ]
    return max(found, key=lambda one: one.depth, default=recess)


def _doubt(recess: Recess) -> float:
    return recess.depth_upper - recess.depth_lower


def _is_same(recess: Recess, other: Recess) -> bool:
    """Is it the place that was found before, and no other beside it?"""
    assert recess.box is not None
    inside = (other.position >= recess.box[0]).all() and (other.position <= recess.box[1]).all()
    return bool(inside and recess.depth_lower <= other.depth <= recess.depth_upper)
