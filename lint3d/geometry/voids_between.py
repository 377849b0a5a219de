"""How large a ball has its middle on a square between two walls?

Of each square two facets are known that are near. A ball about a place before both is no larger
than half of what the two distances sum up to, which is the same all over a gap between parallel
walls; one about a place behind the plane of a facet, no larger than the distance to it. Each of
these bounds bends upward, so it is largest at a corner of the piece of the square that it is for.
Lengths in mm. Guarded by tests/geometry/test_voids_border.py.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lint3d.geometry.throats_clearance import Clearance
from lint3d.geometry.vectors import cross_product
from lint3d.geometry.voids_cut import Squares

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

#: How far a point is moved to see the next wall, times its distance.
_NUDGE = 0.02
_SIGNS = np.array([[-1.0, -1.0], [1.0, -1.0], [1.0, 1.0], [-1.0, 1.0]])


def most_between(
    clearance: Clearance, squares: Squares, value: Floats, face: Ints, foot: Floats
) -> Floats:
    """(n,) mm, radius that no ball exceeds whose middle is in the free part of each square.

    Parameters
    ----------
    squares : n of one size
    value, face, foot : (n,), (n,), (n, 3) what is nearest to the middle of each
    """
    if len(squares) == 0:
        return np.zeros(0)
    reach = squares.side * float(np.sqrt(0.5))
    off = (squares.middle - foot) / np.maximum(value, 1e-300)[:, None]
    other = clearance.nearest(squares.middle + (reach + _NUDGE * value)[:, None] * off)[1]
    walls = [(clearance.corners[one], clearance.normals[one]) for one in (face, other)]
    place = _places(squares, walls)
    height = np.stack([_height(place, *wall) for wall in walls])
    near = np.stack(
        [_distance(place, *wall, high) for wall, high in zip(walls, height, strict=True)]
    )
    slack = 1e-9 * squares.side + 1e-12
    before, behind = height >= -slack, height <= slack
    most = np.where(before.all(axis=0), near.mean(axis=0), 0.0)
    most = np.maximum(most, np.where(behind[0], near[0], 0.0))
    most = np.maximum(most, np.where(behind[1] & before[0], near[1], 0.0))
    found: Floats = most.max(axis=1) + slack
    return found


def _places(squares: Squares, walls: list[tuple[Floats, Floats]]) -> Floats:
    """(n, 13, 3) the corners of the pieces that the planes of two facets cut squares into.

    Parameters
    ----------
    walls : of both facets the corners (n, 3, 3) and the normals (n, 3)
    """
    count = len(squares)
    axes = np.array([[1, 2], [0, 2], [0, 1]])[squares.across]
    half = squares.side / 2
    line = []
    for corner, normal in walls:
        at = np.einsum("ij,ij->i", squares.middle - corner[:, 0], normal)
        along = np.take_along_axis(normal, axes, axis=1) * half
        line.append(np.column_stack([at, along]))
    flat = [np.broadcast_to(_SIGNS, (count, 4, 2))]
    begin, end = _SIGNS, np.roll(_SIGNS, -1, axis=0)
    for cut in line:
        heights = cut[:, :1] + cut[:, 1:] @ _SIGNS.T
        after = np.roll(heights, -1, axis=1)
        crosses = (heights < 0) != (after < 0)
        share = np.where(crosses, heights / np.where(crosses, heights - after, 1.0), 0.0)
        flat.append(begin + share[..., None] * (end - begin))
    one, two = line
    turn = one[:, 1] * two[:, 2] - one[:, 2] * two[:, 1]
    safe = np.where(np.abs(turn) > 1e-12 * half**2, turn, np.inf)
    meet = np.column_stack(
        [
            (one[:, 2] * two[:, 0] - one[:, 0] * two[:, 2]) / safe,
            (one[:, 0] * two[:, 1] - one[:, 1] * two[:, 0]) / safe,
        ]
    )
    inside = (np.abs(meet) <= 1).all(axis=1)
    flat.append(np.where(inside[:, None], meet, _SIGNS[0])[:, None])
    shift = np.concatenate(flat, axis=1) * half
    place = np.repeat(squares.middle[:, None], shift.shape[1], axis=1)
    row = np.arange(count)[:, None]
    for side in (0, 1):
        place[row, np.arange(shift.shape[1])[None], axes[:, side, None]] += shift[..., side]
    return place


def _height(place: Floats, corner: Floats, normal: Floats) -> Floats:
    """(n, k) mm, of places (n, k, 3) above the plane of a facet (n, 3, 3)."""
    found: Floats = np.einsum("nki,ni->nk", place - corner[:, None, 0], normal)
    return found


def _distance(place: Floats, corner: Floats, normal: Floats, height: Floats) -> Floats:
    """(n, k) mm, of places (n, k, 3) from a facet (n, 3, 3), as high above it as that."""
    best = np.full(place.shape[:2], np.inf)
    # Of a facet without area the sides tell, which is no less.
    has_plane = np.einsum("ni,ni->n", normal, normal) > 0.25
    above = np.broadcast_to(has_plane[:, None], place.shape[:2]).copy()
    for side in range(3):
        begin = corner[:, side]
        edge = corner[:, (side + 1) % 3] - begin
        arm = place - begin[:, None]
        length = np.maximum(np.einsum("ni,ni->n", edge, edge), 1e-300)
        share = (np.einsum("nki,ni->nk", arm, edge) / length[:, None]).clip(0.0, 1.0)
        gap = arm - share[..., None] * edge[:, None]
        best = np.minimum(best, np.einsum("nki,nki->nk", gap, gap))
        above &= np.einsum("nki,ni->nk", arm, cross_product(normal, edge)) >= 0
    found: Floats = np.where(above, np.abs(height), np.sqrt(best))
    return found
