"""Is a surface so rough that relief on it cannot be told from noise?

*Unsettled* are faces that turn against all their neighbours, and not all the same way, as on a ball
of few facets. On a noisy scan no two of them look alike; on a screw thread or a knurl each looks as
others of its kind do, and that is structure. A little noise hides small letters and not large ones:
so there are two limits, one beyond which nothing is looked for, and one beyond which "nothing
found" says nothing. Angles in radians. Guarded by tests/geometry/test_relief_roughness.py.
"""

from __future__ import annotations

from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from lint3d.geometry.patches import Cut, Folds, lonely_share

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

#: A surface of so many faces is rough if this share of it lies in faces that turn against all their
#: neighbours. common practice, no source
ROUGH_FACES, MOST_LONELY, ROUGH_TURN = 2000, 0.4, Cut(np.radians(12.0))
#: An unsettled face turns by this much on all sides. With noise of 50 um letters of 8 mm were lost
#: at a share of 0.10 (faces of 1.5 mm) to 0.53 (0.3 mm); CAD parts have less than 0.03 of faces
#: that do not repeat.
UNSETTLED, MOST_UNSETTLED = np.radians(5.0), 0.08
#: A face repeats if the turns round it and its neighbours agree this well with those of another
#: face (distance over length, of 12 angles). Of noise the median is 0.2 to 0.3, of threads 0.00.
ALIKE = 0.05
#: A surface has structure if this share of its unsettled faces repeats. Noise has 0 to 0.05 where
#: there is enough of it to matter, threads 0.99, CAD parts 0.25 and more.
LEAST_ALIKE = 0.15
#: So many faces are compared, and so many of them looked up. The order of faces decides which.
MOST_COMPARED, MOST_ASKED = 20_000, 2_000


class Roughness:
    """How rough a surface is; worked out once, when first asked for."""

    def __init__(self, folds: Folds) -> None:
        """
        Parameters
        ----------
        folds : angles of a surface
        """
        self._folds = folds

    @cached_property
    def is_rough(self) -> bool:
        """Is it no use to look for relief? False for few faces, and for steep ones that repeat."""
        folds = self._folds
        if len(folds.faces) <= ROUGH_FACES or lonely_share(folds, ROUGH_TURN) <= MOST_LONELY:
            return False
        return self.noise_share > MOST_UNSETTLED

    @cached_property
    def may_hide_relief(self) -> bool:
        """Is there so much noise that letters may be there where none are found?"""
        return len(self._folds.faces) > ROUGH_FACES and self.noise_share > MOST_UNSETTLED

    @cached_property
    def noise_share(self) -> float:
        """Area of the unsettled faces as a share of the surface; 0 if they repeat."""
        return noise_share(self._folds)


def noise_share(folds: Folds) -> float:
    """Area of the unsettled faces as a share of the surface; 0 if they repeat.

    Parameters
    ----------
    folds : angles of a surface
    """
    turn, beyond = _round_each_face(folds)
    is_unsettled = (beyond >= 0).all(axis=1) & (np.abs(turn) >= UNSETTLED).all(axis=1)
    is_unsettled &= (turn[:, 0] < 0) & (turn[:, 2] > 0)
    share = float(folds.area[is_unsettled].sum() / max(folds.area.sum(), 1e-300))
    if share <= MOST_UNSETTLED:
        return share
    rows = _spread(np.flatnonzero(is_unsettled), MOST_COMPARED)
    # Own turns, ascending, then those of each neighbour in the same order: nothing depends on which
    # corner of a face comes first.
    looks = turn[np.column_stack([rows, beyond[rows]])].reshape(len(rows), -1)
    return 0.0 if _repeating_share(looks) >= LEAST_ALIKE else share


def _repeating_share(looks: Floats) -> float:
    """Share of the rows that have another one like them."""
    if len(looks) < 2:
        return 0.0
    asked = looks[_spread(np.arange(len(looks)), MOST_ASKED)]
    distance = cKDTree(looks).query(asked, 2)[0][:, 1]
    return float((distance <= ALIKE * np.linalg.norm(asked, axis=1)).mean())


def _round_each_face(folds: Folds) -> tuple[Floats, Ints]:
    """(m, 3) turns at the sides of each face, ascending, and (m, 3) the faces beyond; -1: none."""
    turn = np.full((len(folds.faces), 3), np.inf)
    beyond = np.full((len(folds.faces), 3), -1)
    mine = folds.face.T.ravel()
    order = np.argsort(mine, kind="stable")
    count = np.bincount(mine, minlength=len(folds.faces))
    side = np.arange(len(mine)) - np.repeat(np.cumsum(count) - count, count)
    turn[mine[order], side] = np.tile(folds.turn, 2)[order]
    beyond[mine[order], side] = folds.face[:, ::-1].T.ravel()[order]
    ascending = np.argsort(turn, axis=1, kind="stable")
    turn = np.take_along_axis(turn, ascending, axis=1)
    return np.where(np.isinf(turn), 0.0, turn), np.take_along_axis(beyond, ascending, axis=1)


def _spread(rows: Ints, most: int) -> Ints:
    """No more than so many of the rows, from everywhere."""
    step = -(-len(rows) // most)
    return rows[:: max(step, 1)]
