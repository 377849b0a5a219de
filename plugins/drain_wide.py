"""Which blind places are wider than anything that openings are looked at for?

Such a place matters only if it is many times deeper than wide, so the part must be large; the grids
about its hollows are made once more, and coarser, for balls that are twice as wide from one to the
next. Lengths in mm. Guarded by tests/plugins/test_drain_wide.py.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

import numpy as np

from lint3d_plugins.drain_hollows import Hollow, Hollows
from lint3d_plugins.drain_recesses import in_file

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from lint3d.geometry.voids_recesses import Recess
    from lint3d.geometry.voids_space import Space

    Floats = NDArray[np.float64]
    Ints = NDArray[np.int64]

#: From one ball to the next, and bytes that a coarse grid may cost.
_WIDER, _BYTES = 2.0, 4e8


def wide_recesses(hollows: Hollows, ball: float, deep: float) -> Iterator[tuple[Hollow, Recess]]:
    """Blind places wider than a ball and deeper than their width times a number.

    Parameters
    ----------
    ball : mm, what is no wider was looked at before
    deep : depth over width from which a place matters
    """
    from lint3d.geometry.voids_recesses import find_unreached, recesses_in

    for hollow in hollows.found:
        clearance, surface = hollow.voids.clearance, hollow.surface
        if clearance is None:
            continue
        for space, balls in _coarse(hollow, surface, ball, deep):
            pockets = _pockets(hollow, space)
            for narrower, wide in zip(balls[:-1], balls[1:], strict=True):
                unreached = find_unreached(
                    surface, space, clearance, wide, deep * narrower, pockets, is_wide=True
                )
                for one in recesses_in(unreached, is_blind=True) if unreached else ():
                    if one.widest > narrower and not pockets.intersection(one.nodes):
                        yield hollow, in_file(hollow, one)


def _coarse(
    hollow: Hollow, surface: tuple[Floats, Ints], ball: float, deep: float
) -> Iterator[tuple[Space, list[float]]]:
    """The grids of a hollow, as coarse as the narrowest place in question allows.

    Yields
    ------
    a grid, and diameters from the one that was looked at up to the widest that may matter, mm
    """
    from lint3d.geometry.voids import choose_grid
    from lint3d.geometry.voids_space import MARGIN, build_space

    spaces: Sequence[Space | None] = hollow.voids.spaces or [None] * len(hollow.grids)
    for (grid, _), space in zip(hollow.grids, spaces, strict=True):
        if space is not None and not _has_room(space, frozenset(hollow.members(space)), ball):
            continue
        last = np.array(grid.shape) - 1 - MARGIN
        box = grid.point(np.full(3, MARGIN)), grid.point(last)
        # No way in it is longer than its three sides together.
        most = float(np.sum(box[1] - box[0])) / deep
        balls = [ball]
        while balls[-1] < min(most, float(np.sort(box[1] - box[0])[1])):
            balls.append(min(_WIDER * balls[-1], most))
        if len(balls) > 1:
            coarse, _ = choose_grid(box, ball, _BYTES)
            yield build_space(*surface, coarse, balls[-1] / 2 + 2 * coarse.pitch), balls


def _has_room(space: Space, pockets: frozenset[int], ball: float) -> bool:
    """May a ball have room anywhere inside a grid but in pockets?

    Not every point is looked at: where it has room, points beside its middle have nearly as much.
    """
    radius = ball / 2 / space.grid.pitch
    step = max(int(radius / 2), 1)
    some = (slice(1, -1, step),) * 3
    # On the grid what is surely outside is infinitely wide.
    wide = space.distance[some] >= radius - step * np.sqrt(3) / 2 - 1
    basin = space.basins.label[some][wide]
    return not np.isin(space.chambers.of_basin[basin[basin >= 0]], list(pockets)).all()


def _pockets(hollow: Hollow, space: Space) -> frozenset[int]:
    """Chambers that pockets lie in, besides the outside's."""
    from lint3d.geometry.voids_reach import chamber_at

    middle = [hollow.to_grids(pocket.position) for pocket in hollow.voids.pockets]
    if not middle:
        return frozenset()
    return frozenset(chamber_at(space, np.array(middle)).tolist()) - {0, -1}
