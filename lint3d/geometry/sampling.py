"""Where on a triangle mesh should one measure?

Points spread evenly over triangles: a grid of sub-triangles on stout ones, a row along the
longest side of slivers. Each point stands for the area of its sub-triangle. Lengths in mm.
Tested by tests/geometry/test_spans_sampling.py.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from lint3d.geometry.side_by_side import side_by_side

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

ROW_MOST = 16  # points along a sliver
GOLDEN = (5**0.5 - 1) / 2  # multiples of it, less whole numbers, fill 0 to 1 evenly
TIP = 0.02  # share of its stretch of the side that a point keeps off both ends
ROWS_AT_ONCE = 30_000  # slivers whose points are worked out together, in the processor's cache
GRID_MOST = 8  # sub-triangles along a side of a stout triangle: 64 points


def spread_points(
    corners: Floats, areas: Floats, longest: Floats, step: float, most: int
) -> tuple[Floats, Ints, Floats]:
    """Points spread over triangles, about `step` apart.

    Parameters
    ----------
    corners : (m, 3, 3) float64, mm
    areas, longest : (m,) float64, mm2 and mm
    step : mm
    most : wider steps are taken where there would be more points; at least one a triangle

    Returns
    -------
    point : (k, 3) float64, mm
    triangle : (k,) int64, ascending
    area : (k,) float64, mm2, what each point stands for
    """
    along = np.clip(np.ceil(longest / step), 1, ROW_MOST).astype(np.int64)
    is_row = 2 * areas < step * longest
    along[~is_row] = np.minimum(along[~is_row], GRID_MOST)
    # Narrower slivers than that cover each other: fewer points each, at a turn of their own.
    enough = np.ceil(4 * areas / step**2).astype(np.int64)
    is_thinned = is_row & (enough < along)
    along[is_thinned] = enough[is_thinned].clip(1)
    # Off the tips, but by no more than an eighth of a step: others fill in what one leaves out.
    margin = np.minimum(TIP, 0.125 * step * along / np.maximum(longest, 1e-300))
    turn = np.mod(GOLDEN * np.arange(len(areas)), 1 - 2 * margin) + margin
    # Those of long narrow slivers lie far apart on each; beside each other they fill in, too.
    is_turned = is_thinned | (is_row & (longest > ROW_MOST * step) & (4 * areas < step * longest))
    phase = np.where(is_turned, turn, 0.5)
    while along.max(initial=1) > 1 and np.where(is_row, along, along**2).sum() > most:
        along = np.maximum(along // 2, 1)
    single = np.flatnonzero((along == 1) & ~is_thinned)
    if len(single) == len(corners):
        return _middles(corners), single, areas.copy()
    # Each writes into its own rows: no need to put millions of points in order afterwards.
    number = np.where(is_row, along, along**2)
    ends = np.cumsum(number)
    first, total = ends - number, int(ends[-1])
    point, share = np.empty((total, 3)), np.empty(total)
    point[first[single]], share[first[single]] = _middles(corners[single]), areas[single]
    for count in np.unique(along[(along > 1) | is_thinned]):
        every = np.flatnonzero(is_row & (along == count) & ((along > 1) | is_thinned))

        def fill(start: int, every: Ints = every, count: int = int(count)) -> None:
            rows = every[start : start + ROWS_AT_ONCE]
            place, part = points_in_rows(corners.take(rows, 0), count, phase[rows])
            own = (first[rows, None] + np.arange(count)).ravel()
            point[own], share[own] = place.reshape(-1, 3), (part * areas[rows, None]).ravel()

        side_by_side(fill, range(0, len(every), ROWS_AT_ONCE))
        rows = np.flatnonzero(~is_row & (along == count) & (along > 1))
        weights = grid_weights(int(count))
        own = (first[rows, None] + np.arange(len(weights))).ravel()
        point[own] = np.einsum("wc,tcx->twx", weights, corners[rows]).reshape(-1, 3)
        share[own] = np.repeat(areas[rows] / len(weights), len(weights))
    return point, np.repeat(np.arange(len(corners)), number), share


def _middles(corners: Floats) -> Floats:
    """(m, 3) float64, mm; much quicker than numpy's mean along so short an axis."""
    middle = corners[:, 0] + corners[:, 1]
    middle += corners[:, 2]
    middle /= 3
    return middle


def points_in_rows(
    corners: Floats, count: int, phase: Floats | float = 0.5
) -> tuple[Floats, Floats]:
    """Points in a row along the longest side of each triangle, halfway up.

    Parameters
    ----------
    phase : (m,) or scalar, 0 to 1, where in its stretch of the side each point lies

    Returns
    -------
    point : (m, count, 3) float64, mm, evenly spaced along the side
    share : (m, count) float64, of the area of the triangle, by the height there
    """
    turned = _longest_side_first(corners)
    begin, side = turned[:, 0], turned[:, 1] - turned[:, 0]
    tip = turned[:, 2] - begin
    foot = np.einsum("ij,ij->i", tip, side) / np.einsum("ij,ij->i", side, side)
    rise = tip - foot[:, None] * side
    at = (np.arange(count) + np.broadcast_to(phase, len(corners))[:, None]) / count
    with np.errstate(divide="ignore", invalid="ignore"):
        height = np.fmin(at / foot[:, None], (1 - at) / (1 - foot[:, None])).clip(0, 1)
    point = (
        begin[:, None] + at[:, :, None] * side[:, None] + (height / 2)[:, :, None] * rise[:, None]
    )
    return point, height / height.sum(1)[:, None]


@lru_cache(maxsize=64)
def grid_weights(count: int) -> Floats:
    """Barycentric weights (count ** 2, 3) of the middles of equal sub-triangles."""
    upright = [(i + 1 / 3, j + 1 / 3) for i in range(count) for j in range(count - i)]
    turned = [(i + 2 / 3, j + 2 / 3) for i in range(count - 1) for j in range(count - 1 - i)]
    first = np.array(upright + turned).reshape(-1, 2) / count
    weights = np.column_stack([first, 1 - first.sum(1)])
    weights.setflags(write=False)
    return weights


def _longest_side_first(corners: Floats) -> Floats:
    """Corners turned so that the longest side runs from corner 0 to corner 1."""
    lengths = []
    for side in range(3):
        x, y, z = (corners[:, (side + 1) % 3] - corners[:, side]).T
        lengths.append(np.sqrt(x * x + y * y + z * z))
    first, second, third = lengths
    longest = np.where(second > first, 1, 0)
    longest[third > np.maximum(first, second)] = 2
    # Rows of three numbers are taken, not chosen one by one: several times faster.
    flat, at = corners.reshape(-1, 3), 3 * np.arange(len(corners))
    turned = np.empty(corners.shape)
    for i in range(3):
        turned[:, i] = flat.take(at + (longest + i) % 3, 0)
    return turned
