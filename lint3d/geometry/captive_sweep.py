"""May a body be pushed along a direction without end and never meet the other?

Blocked is proved by a face that moves ahead and a face of the other that it must run into: one over
the other as seen along the direction. Lengths in mm. Guarded by tests/geometry/test_captive.py.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lint3d.geometry.clearance_tree import BoxTree, split_nodes
from lint3d.geometry.portions import chunks
from lint3d.geometry.vectors import cross_product

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

_PROBES = 24
_PAIRS_AT_ONCE = 1 << 15
_MOST_PAIRS = 20_000_000


def is_free(still: Floats, moving: Floats, direction: Floats, tolerance: float) -> bool:
    """Does nothing of one body stand before the other along a direction?

    Of closed bodies it is enough to look at the faces that look ahead and at the faces of the other
    that look back at them.

    Parameters
    ----------
    still, moving : (m, 3, 3) and (n, 3, 3) float64, mm, corners
    direction : (3,) float64, unit vector
    tolerance : mm, faces that overlap by less, seen along the direction, slide past each other
    """
    frame = _frame(direction)
    ahead, back = moving @ frame, still @ frame
    if ahead[..., 2].min() >= back[..., 2].max() - tolerance:
        return True
    ahead = ahead[_cross_z(ahead) > 0]
    back = back[_cross_z(back) < 0]
    if len(ahead) == 0 or len(back) == 0:
        return True
    if _probe_hits(ahead, back, tolerance):
        return False
    return not _any_over(ahead, back, tolerance)


def _frame(direction: Floats) -> Floats:
    """(3, 3) a frame whose third column is the direction."""
    helper = np.eye(3)[int(np.abs(direction).argmin())]
    x = cross_product(direction, helper)
    x /= np.linalg.norm(x)
    return np.stack([x, cross_product(direction, x), direction], axis=1)


def _cross_z(corners: Floats) -> Floats:
    """Twice the signed area of each triangle seen along z; 0 for those seen edge-on."""
    u, v = corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]
    area: Floats = u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0]
    whole = np.linalg.norm(cross_product(u, v), axis=1)
    return np.where(np.abs(area) > 1e-9 * whole, area, 0.0)


def _probe_hits(ahead: Floats, back: Floats, tolerance: float) -> bool:
    """Do a few triangles of the one already run into the other? (Quick, and mostly the answer.)"""
    order = np.argsort(-_cross_z(ahead), kind="stable")
    rows = order[np.linspace(0, len(order) - 1, min(len(order), _PROBES)).astype(int)]
    low, high = back.min(axis=1), back.max(axis=1)
    for row in np.unique(rows):
        one = ahead[row]
        meets = (low[:, :2] <= one.max(axis=0)[:2]) & (high[:, :2] >= one.min(axis=0)[:2])
        other = np.flatnonzero(meets.all(axis=1) & (high[:, 2] >= one[:, 2].min()))[:20_000]
        if (
            len(other)
            and _is_over(np.repeat(one[None], len(other), 0), back[other], tolerance).any()
        ):
            return True
    return False


def _any_over(ahead: Floats, back: Floats, tolerance: float) -> bool:
    """Walk the trees of both sides for a pair of faces that meet along z."""
    one, two = BoxTree(ahead), BoxTree(back)
    stack = [(one.top, two.top, np.zeros(1, np.int64), np.zeros(1, np.int64))]
    looked_at = 0
    while stack:
        a, b, first, second = stack.pop()
        if len(first) > _PAIRS_AT_ONCE:
            stack += [(a, b, first[p], second[p]) for p in chunks(len(first), _PAIRS_AT_ONCE)]
            continue
        looked_at += len(first)
        if looked_at > _MOST_PAIRS:
            return True  # not shown to be free
        overlap = np.minimum(one.high[a][first], two.high[b][second]) - np.maximum(
            one.low[a][first], two.low[b][second]
        )
        keep = (overlap[:, :2] >= 0).all(axis=1)
        keep &= two.high[b][second][:, 2] >= one.low[a][first][:, 2]
        first, second = first[keep], second[keep]
        if len(first) == 0:
            continue
        if a == 0 and b == 0:
            if _is_over(ahead[one.order[first]], back[two.order[second]], tolerance).any():
                return True
        elif a > 0 and (b == 0 or a >= b):
            stack.append((a - 1, b, *split_nodes(first, second, len(one.low[a - 1]))))
        else:
            down = split_nodes(second, first, len(two.low[b - 1]))
            stack.append((a, b - 1, down[1], down[0]))
    return False


def _is_over(one: Floats, two: Floats, tolerance: float) -> Bools:
    """Does the second triangle of each pair stand over the first (along z), by more than a graze?

    They overlap as seen along z if no side of either separates them. Two triangles of bodies that
    do not overlap keep their order everywhere, so one common point tells which is ahead.
    """
    overlap = np.full(len(one), np.inf)
    for a, b in ((one, two), (two, one)):
        for side in range(3):
            along = a[:, (side + 1) % 3, :2] - a[:, side, :2]
            normal = np.stack([along[:, 1], -along[:, 0]], axis=1)
            length = np.linalg.norm(normal, axis=1)
            normal /= np.where(length > 0, length, 1)[:, None]
            sa = np.einsum("kij,kj->ki", a[..., :2], normal)
            sb = np.einsum("kij,kj->ki", b[..., :2], normal)
            shared = np.minimum(sa.max(1), sb.max(1)) - np.maximum(sa.min(1), sb.min(1))
            np.minimum(overlap, np.where(length > 0, shared, np.inf), out=overlap)
    over: Bools = overlap > tolerance
    rows = np.flatnonzero(over)
    if len(rows):
        point = _common_point(one[rows, :, :2], two[rows, :, :2])
        ahead = height_over(two[rows], point) - height_over(one[rows], point)
        over[rows] = np.isfinite(ahead) & (ahead > -tolerance)
    return over


def _common_point(one: Floats, two: Floats) -> Floats:
    """(k, 2) a point inside both of two triangles in the plane: the mean of the corners of what
    they share; NaN where rounding finds none."""
    points, is_valid = common_corners(one, two)
    total = np.where(is_valid[..., None], points, 0.0).sum(axis=1)
    count = is_valid.sum(axis=1)
    return np.where(count[:, None] > 0, total / np.maximum(count, 1)[:, None], np.nan)


def common_corners(one: Floats, two: Floats) -> tuple[Floats, Bools]:
    """Corners of what two triangles share in the plane.

    Parameters
    ----------
    one, two : (k, 3, 2) float64, mm

    Returns
    -------
    (k, 15, 2) float64, mm, and (k, 15) which of them are corners of what is shared
    """
    candidates, valid = [], []
    for a, b in ((one, two), (two, one)):
        candidates.append(a)
        valid.append(_inside(a, b))
    for i in range(3):
        for j in range(3):
            p, u = one[:, i], one[:, (i + 1) % 3] - one[:, i]
            q, v = two[:, j], two[:, (j + 1) % 3] - two[:, j]
            turn = u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0]
            away = q - p
            safe = np.where(turn != 0, turn, np.inf)
            s = (away[:, 0] * v[:, 1] - away[:, 1] * v[:, 0]) / safe
            t = (away[:, 0] * u[:, 1] - away[:, 1] * u[:, 0]) / safe
            candidates.append((p + s[:, None] * u)[:, None])
            valid.append(((turn != 0) & (s >= 0) & (s <= 1) & (t >= 0) & (t <= 1))[:, None])
    return np.concatenate(candidates, axis=1), np.concatenate(valid, axis=1)


def _inside(point: Floats, corners: Floats) -> Bools:
    """(k, 3) which corners of the one lie in the other, in the plane."""
    signs = []
    for side in range(3):
        a, along = corners[:, side], corners[:, (side + 1) % 3] - corners[:, side]
        away = point - a[:, None]
        signs.append(along[:, None, 0] * away[..., 1] - along[:, None, 1] * away[..., 0])
    sign = np.stack(signs)
    inside: Bools = np.logical_or((sign >= 0).all(axis=0), (sign <= 0).all(axis=0))
    return inside


def height_over(corners: Floats, point: Floats) -> Floats:
    """(k,) z of the plane of each triangle (k, 3, 3) over a point (k, 2)."""
    u, v = corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]
    normal = cross_product(u, v)
    away = point - corners[:, 0, :2]
    with np.errstate(divide="ignore", invalid="ignore"):
        height: Floats = (
            corners[:, 0, 2]
            - (away[:, 0] * normal[:, 0] + away[:, 1] * normal[:, 1]) / normal[:, 2]
        )
    return height
