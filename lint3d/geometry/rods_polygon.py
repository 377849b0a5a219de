"""What is the largest circle in a polygon, given by the lines of its sides or by the sides?

It is a linear programme in three unknowns (centre and radius), solved for many polygons at once by
the dual simplex method: three sides that hold the circle are swapped for the side it most breaks
through, until it breaks through none. Lengths in mm. Tested by tests/geometry/test_rods_circle.py
and tests/geometry/test_rods.py.

References
----------
Chebyshev centre of a polyhedron: Boyd & Vandenberghe, Convex Optimization (2004), section 8.5.1.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

SWAPS_MOST = 200
AT_ONCE = 4_000_000  # numbers in one table of sides
TIMES_HELD = 3
WITHIN = 3.0  # radii: sides farther off hold no circle
LIKE = 0.01  # of the radius: what rounding does to planes is less


def lines_cut(corners: Floats, height: Floats) -> Floats:
    """(k, 2, 3) ends of the lines in which a plane cuts triangles, given how far above it they are.

    A triangle that only touches the plane is cut in its nearest corner.
    """
    after = [1, 2, 0]
    crosses = (height < 0) != (height[:, after] < 0)
    with np.errstate(divide="ignore", invalid="ignore"):
        share = np.where(crosses, height / (height - height[:, after]), 0.0)
    every = corners + share[:, :, None] * (corners[:, after] - corners)
    first = np.argsort(~crosses, axis=1, kind="stable")[:, :2]
    touching = ~crosses.any(axis=1)
    first[touching] = np.abs(height[touching]).argmin(axis=1)[:, None]
    ends: Floats = np.take_along_axis(every, first[:, :, None], axis=1)
    return ends


def nearest_held(
    ends: Floats, section: Ints, radius: Floats, middle: Floats
) -> tuple[Floats, Floats, Bools]:
    """Circles again, held by the sides where they are and not by their planes far from there.

    Rounding tilts small facets: where a flat is cut into many, the planes of those at its edge pass
    beside its middle by many steps of the coordinates.

    Parameters
    ----------
    ends : (s, 2, 2) float64, mm, of the sides
    section : (s,) int64, which circle each holds
    radius, middle : (c,) and (c, 2) float64, mm, within the planes of the sides

    Returns
    -------
    radius, middle : unchanged where sides are no part of an outline that bulges
    held : (c,) bool, whether they are
    """
    radius, middle = np.array(radius), np.array(middle)
    live = np.isfinite(radius) & (radius > 0)
    for _ in range(TIMES_HELD):
        rows = live[section]
        again, moved = circles_before(ends[rows], section[rows], radius, middle)
        with np.errstate(invalid="ignore"):
            like = np.abs(again - radius) <= LIKE * radius
            like &= np.linalg.norm(moved - middle, axis=1) <= radius
        live &= like
        radius[live], middle[live] = again[live], moved[live]
    return radius, middle, live


def circles_before(
    ends: Floats, section: Ints, radius: Floats, middle: Floats
) -> tuple[Floats, Floats]:
    """Largest circles, if each side were a line square to the way to it from a middle.

    Parameters
    ----------
    ends, section : as in `nearest_held`
    radius, middle : (c,) and (c, 2) float64, mm, of circles that are known; sides much farther off
        are left out
    """
    centre = middle[section]
    nearest, far = nearest_on_sides(ends, centre)
    near = far <= WITHIN * radius[section]
    normal = (nearest - centre)[near] / np.maximum(far[near], 1e-300)[:, None]
    offset = (normal * nearest[near]).sum(axis=1)
    again, _, moved = largest_circles(normal, offset, section[near], len(radius))
    return again, moved


def nearest_on_sides(ends: Floats, place: Floats) -> tuple[Floats, Floats]:
    """(s, 2) mm, the nearest point of each side (s, 2, 2) to a place (s, 2), and how far it is."""
    begin, along = ends[:, 0], ends[:, 1] - ends[:, 0]
    long = np.maximum((along * along).sum(axis=1), 1e-300)
    share = (((place - begin) * along).sum(axis=1) / long).clip(0, 1)
    nearest = begin + share[:, None] * along
    return nearest, np.linalg.norm(nearest - place, axis=1)


def largest_circles(
    normal: Floats, offset: Floats, section: Ints, count: int
) -> tuple[Floats, Ints, Floats]:
    """Largest circle in each polygon {c : normal c <= offset}: radius, unlike sides, and middle.

    Parameters
    ----------
    normal : (s, 2) float64, unit, out of the polygon
    offset : (s,) float64, mm
    section : (s,) int64, which polygon each side belongs to

    Returns
    -------
    radius : (count,) float64, mm, inf where the sides do not close, 0 where they leave nothing
    sides : (count,) int64
    middle : (count, 2) float64, mm
    """
    order = np.argsort(section, kind="stable")
    normal, offset, section = normal[order], offset[order], section[order]
    size = np.bincount(section, minlength=count)
    start = np.concatenate([[0], np.cumsum(size)])
    radius, sides = np.full(count, np.inf), np.zeros(count, np.int64)
    middle = np.full((count, 2), np.nan)
    by_size = np.argsort(size, kind="stable")
    by_size = by_size[size[by_size] >= 3]
    begin = 0
    while begin < len(by_size):
        stop = begin + 1
        while stop < len(by_size) and (stop - begin + 1) * size[by_size[stop]] <= AT_ONCE:
            stop += 1
        rows = by_size[begin:stop]
        width = int(size[rows[-1]])
        place = np.minimum(np.arange(width), size[rows][:, None] - 1) + start[rows][:, None]
        radius[rows], middle[rows] = _largest(normal[place], offset[place])
        sides[rows] = _unlike(normal[place])
        begin = stop
    return radius, sides, middle


def _largest(normal: Floats, offset: Floats) -> tuple[Floats, Floats]:
    """Radius (g,) and middle (g, 2) of the largest circle within (g, s) sides."""
    groups = len(normal)
    middle = offset.mean(axis=1)
    scale = np.abs(offset - middle[:, None]).max(axis=1) + np.abs(offset).max(axis=1) + 1e-9
    turn = np.radians([90.0, 210.0, 330.0])
    far = np.stack([np.cos(turn), np.sin(turn)], axis=1)
    # Three sides far off hold a circle to begin with; if one stays the polygon is open.
    normal = np.concatenate([np.broadcast_to(far, (groups, 3, 2)), normal], axis=1)
    offset = np.concatenate([np.repeat(1e3 * scale[:, None], 3, axis=1), offset], axis=1)
    row = np.concatenate([normal, np.ones((*normal.shape[:2], 1))], axis=2)
    held = np.tile(np.arange(3), (groups, 1))
    live = np.arange(groups)
    answer = np.full((groups, 3), np.nan)
    for _ in range(SWAPS_MOST):
        matrix = np.take_along_axis(row[live], held[live][:, :, None], axis=1)
        right = np.take_along_axis(offset[live], held[live], axis=1)
        solved = np.linalg.solve(matrix, right[:, :, None])[:, :, 0]
        answer[live] = solved
        excess = np.einsum("gsk,gk->gs", row[live], solved) - offset[live]
        worst = excess.argmax(axis=1)
        index = np.arange(len(live))
        broken = excess[index, worst] > 1e-12 * scale[live]
        live, worst, matrix = live[broken], worst[broken], matrix[broken]
        if not len(live):
            break
        entering = row[live, worst]
        share = np.linalg.solve(matrix.transpose(0, 2, 1), entering[:, :, None])[:, :, 0]
        unit = np.broadcast_to([0.0, 0.0, 1.0], entering.shape)
        weight = np.linalg.solve(matrix.transpose(0, 2, 1), unit[:, :, None])[:, :, 0]
        with np.errstate(divide="ignore", invalid="ignore"):
            ratio = np.where(share > 1e-12, np.maximum(weight, 0) / share, np.inf)
        leaving = ratio.argmin(axis=1)
        held[live, leaving] = worst
    radius = np.maximum(answer[:, 2], 0.0)
    radius[(held < 3).any(axis=1)] = np.inf
    return radius, answer[:, :2]


def _unlike(normal: Floats) -> Ints:
    """(g,) how many sides of unlike direction there are."""
    angle = np.sort(np.mod(np.arctan2(normal[..., 1], normal[..., 0]), 2 * np.pi), axis=1)
    gap = np.diff(angle, axis=1, append=angle[:, :1] + 2 * np.pi)
    count: Ints = (gap > 1e-3).sum(axis=1)
    return count
