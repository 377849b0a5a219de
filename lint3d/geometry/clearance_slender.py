"""Which pairs of small bodies are surely apart, although their boxes overlap?

Needles that lie aslant have boxes full of air: in a heap of them nearly every pair of boxes
overlaps and hardly a pair of needles is near. Planes between the two tell (separating axes of
oriented boxes: Gottschalk, Lin & Manocha 1996, but the corners themselves are measured along each
axis, so that what is left out is surely apart). Guarded by
tests/geometry/test_clearance_slender.py.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from lint3d.geometry.portions import chunks

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

#: Bodies with more corners are not looked at: their own trees tell as quickly.
MOST_CORNERS = 64
#: Rounding of a product of coordinates with a direction, times the largest coordinate.
_ROUNDING = 1e-14


def perhaps_near(bodies: Sequence[Floats], pairs: Ints, reach: float) -> Ints:
    """The pairs less those that a plane parts by more than the reach.

    Parameters
    ----------
    bodies : (n, 3) float64, mm, corners of each body
    pairs : (k, 2) rows of `bodies`
    reach : mm

    Returns
    -------
    (j, 2) int64 : in the order in which they came; pairs with a body of more than `MOST_CORNERS`
        are all kept

    Examples
    --------
    >>> one = np.array([[0.0, 0, 0], [9, 9, 0], [9, 9, 0.1]])
    >>> perhaps_near([one, one + [1, 0, 0], one + [0.01, 0, 0]], np.array([[0, 1], [0, 2]]), 0.1)
    array([[0, 2]])
    """
    small = np.array([0 < len(body) <= MOST_CORNERS for body in bodies], bool)
    row = np.flatnonzero(small[pairs].all(axis=1))
    if len(row) == 0:
        return pairs
    used, local = np.unique(pairs[row], return_inverse=True)
    corners = _padded([bodies[i] for i in used.tolist()])
    axes = _own_axes(corners)
    local = local.reshape(-1, 2)
    keep = np.ones(len(pairs), bool)
    for part in chunks(len(row), 1 << 14):
        keep[row[part]] = ~_parted(corners, axes, local[part], reach)
    left: Ints = pairs[keep]
    return left


def _padded(bodies: Sequence[Floats]) -> Floats:
    """(n, c, 3) corners of all bodies; the last of each is repeated to fill up."""
    most = max(map(len, bodies))
    filled = [np.concatenate([one, np.repeat(one[-1:], most - len(one), axis=0)]) for one in bodies]
    return np.stack(filled).astype(np.float64, copy=False)


def _own_axes(corners: Floats) -> Floats:
    """(n, 3, 3) directions in which each body is least, second and most extended, in rows."""
    around = corners - corners.mean(axis=1, keepdims=True)
    axes: Floats = np.linalg.eigh(np.swapaxes(around, 1, 2) @ around)[1]
    return np.swapaxes(axes, 1, 2)


def _parted(corners: Floats, axes: Floats, pairs: Ints, reach: float) -> Bools:
    """(k,) does a plane part the two by more than the reach?

    Across both long sides first, which parts most needles; only the rest is tried along the others.
    """
    one, two = pairs[:, 0], pairs[:, 1]
    parted = _gap(corners, pairs, np.cross(axes[one, 2], axes[two, 2])) > reach
    for i in range(4):
        for j in range(4):
            rows = np.flatnonzero(~parted)
            if len(rows) == 0 or (i, j) in ((3, 3), (2, 2)):
                continue
            a, b = one[rows], two[rows]
            if i == 3:
                across = axes[b, j]
            elif j == 3:
                across = axes[a, i]
            else:
                across = np.cross(axes[a, i], axes[b, j])
            parted[rows] = _gap(corners, pairs[rows], across) > reach
    return parted


def _gap(corners: Floats, pairs: Ints, across: Floats) -> Floats:
    """(k,) mm between the two along a direction, no more than there surely is."""
    length = np.linalg.norm(across, axis=1)
    across = across / np.where(length > 1e-6, length, 1.0)[:, None]
    here, there = (np.einsum("kcj,kj->kc", corners[pairs[:, side]], across) for side in range(2))
    largest = np.maximum(np.abs(here).max(axis=1), np.abs(there).max(axis=1))
    size = np.abs(corners[pairs[:, 0], 0]).max(axis=1) + largest
    gap = np.maximum(there.min(axis=1) - here.max(axis=1), here.min(axis=1) - there.max(axis=1))
    sure: Floats = np.where(length > 1e-6, gap - _ROUNDING * size, -np.inf)
    return sure
