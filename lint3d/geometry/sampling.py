"""Where on a triangle mesh should one measure?

Points spread evenly over triangles: a grid of sub-triangles on stout ones, a row along the
longest side of slivers. Each point stands for the area of its sub-triangle. Lengths in mm.
Tested by tests/geometry/test_spans_sampling.py.
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

ROW_MOST = 16  # points along a sliver
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
    while along.max(initial=1) > 1 and np.where(is_row, along, along**2).sum() > most:
        along = np.maximum(along // 2, 1)
    single = np.flatnonzero(along == 1)
    points, owners = [corners[single].mean(1)], [single]
    for count in np.unique(along[along > 1]):
        for rows, weights in (
            (np.flatnonzero(is_row & (along == count)), row_weights(count)),
            (np.flatnonzero(~is_row & (along == count)), grid_weights(count)),
        ):
            turned = _longest_side_first(corners[rows])
            points.append(np.einsum("wc,tcx->twx", weights, turned).reshape(-1, 3))
            owners.append(np.repeat(rows, len(weights)))
    triangle = np.concatenate(owners)
    order = np.argsort(triangle, kind="stable")
    triangle = triangle[order]
    count_each = np.bincount(triangle, minlength=len(corners))
    return np.concatenate(points)[order], triangle, areas[triangle] / count_each[triangle]


def row_weights(count: int) -> Floats:
    """Barycentric weights (count, 3) of points in a row along the side from corner 0 to 1."""
    cuts = np.linspace(0, 1, count + 1)
    middle = np.array([(a + b) / 2 for a, b in pairwise(cuts)])
    return np.stack([(1 - middle) * 2 / 3, middle * 2 / 3, np.full(count, 1 / 3)], axis=1)


def grid_weights(count: int) -> Floats:
    """Barycentric weights (count ** 2, 3) of the middles of equal sub-triangles."""
    upright = [(i + 1 / 3, j + 1 / 3) for i in range(count) for j in range(count - i)]
    turned = [(i + 2 / 3, j + 2 / 3) for i in range(count - 1) for j in range(count - 1 - i)]
    first = np.array(upright + turned).reshape(-1, 2) / count
    return np.column_stack([first, 1 - first.sum(1)])


def _longest_side_first(corners: Floats) -> Floats:
    """Corners turned so that the longest side runs from corner 0 to corner 1."""
    side = np.linalg.norm(corners[:, [1, 2, 0]] - corners, axis=2).argmax(1)
    turn = (side[:, None] + np.arange(3)) % 3
    turned: Floats = np.take_along_axis(corners, turn[:, :, None], 1)
    return turned
