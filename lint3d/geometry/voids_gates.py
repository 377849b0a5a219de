"""Which squares between points of the grid may hold the middle of a larger ball?

A square holds one in the free space, or it does not: squares are quartered until that is known, so
a gap far narrower than the grid's pitch counts as what it is. Lengths in mm. Guarded by
tests/geometry/test_voids_border.py.
"""

from __future__ import annotations

import igl
import numpy as np
from numpy.typing import NDArray

from lint3d.geometry.raster import Grid
from lint3d.geometry.throats_clearance import Clearance
from lint3d.geometry.voids_between import most_between
from lint3d.geometry.voids_cut import Squares

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

#: Squares are not yet bounded by the walls beside them if they are longer than this, times the
#: radius.
_WORTH_BOUNDING = 3.0
_ROOT_HALF = float(np.sqrt(0.5))


class Gates:
    """Steps from point to point, asked which of them a ball may take.

    Parameters
    ----------
    clearance : of every facet
    grid : whose points the steps join
    free : (nx, ny, nz) which of them lie in the free space
    most : squares that may be looked at; beyond, a ball counts as one that may pass
    """

    def __init__(self, clearance: Clearance, grid: Grid, free: Bools, most: int) -> None:
        self.clearance, self.grid, self.most = clearance, grid, most
        self.looked_at = 0
        """squares so far"""
        self._free = free.reshape(-1)
        self._tree: igl.FastWindingNumberBVH | None = None

    @property
    def is_tired(self) -> bool:
        """Have more squares been looked at than may be?"""
        return self.looked_at > self.most

    def open(self, steps: Ints, radius: float) -> tuple[Ints, Floats]:
        """Those steps whose squares may hold the middle of a larger ball, and (k, 3) mm, where.

        Of the others it is sure that they do not.
        """
        may = np.zeros(len(steps), bool)
        owner, squares = np.arange(len(steps)), Squares.of_steps(self.grid, steps)
        place = squares.middle.copy()
        while len(squares):
            self.looked_at += len(squares)
            if self.is_tired:
                may[owner] = True
                break
            half = _ROOT_HALF * squares.side
            value, face, foot = self.clearance.nearest(squares.middle)
            alive = value + half > radius
            told = np.flatnonzero(alive & (value > min(radius, half)))
            free = self._is_free(squares.middle[told], value[told], steps[owner[told]])
            holds = told[free & (value[told] > radius)]
            may[owner[holds]] = True
            place[owner[holds]] = squares.middle[holds]
            alive[told[~free & (value[told] > half)]] = False
            alive &= ~may[owner]
            rows = np.flatnonzero(alive)
            if squares.side < _WORTH_BOUNDING * radius:
                some = Squares(squares.middle[rows], squares.across[rows], squares.side)
                most = most_between(self.clearance, some, value[rows], face[rows], foot[rows])
                alive[rows[most <= radius]] = False
            owner, squares = np.repeat(owner[alive], 4), squares.quarters(alive)
        return steps[may], place[may]

    def _is_free(self, point: Floats, value: Floats, steps: Ints) -> Bools:
        """Which points, with the clearance that they have, lie in the free space?"""
        if len(point) == 0:
            return np.zeros(0, bool)
        ends = self.grid.point(np.stack(np.unravel_index(steps, self.grid.shape), axis=-1))
        gap = np.linalg.norm(ends - point[:, None], axis=2)
        nearer = np.argmin(gap, axis=1)
        row = np.arange(len(point))
        # No facet stands between a point and what is nearer than the facets are.
        free = self._free[steps[row, nearer]]
        open_ones = np.flatnonzero(gap[row, nearer] >= value)
        if len(open_ones):
            free[open_ones] = self._winding(point[open_ones]) < 0.5
        return free

    def _winding(self, point: Floats) -> Floats:
        """(n,) how often the surface winds round points, nearly."""
        if self._tree is None:
            corner = (self.clearance.corners - self.clearance.middle).reshape(-1, 3)
            faces = np.arange(len(corner)).reshape(-1, 3)
            self._tree = igl.FastWindingNumberBVH()
            self._tree.init(np.ascontiguousarray(corner), faces)
        found: Floats = self._tree.winding_number(point - self.clearance.middle)
        return found
