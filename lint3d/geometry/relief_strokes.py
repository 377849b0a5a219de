"""How wide are the strokes of an outline, and the spaces closed in by it?

The width at a point of the outline is the diameter of the largest circle that touches it there from
inside and the other side of the stroke. Only sides that face each other bound a stroke: a corner or
the tip of a serif does not. Lengths in mm. Guarded by tests/geometry/test_relief_strokes.py.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lint3d.geometry.relief_outline import Outline

Floats = NDArray[np.float64]

#: Both sides of a stroke are parallel within 30 degrees ...
FACING = np.cos(np.radians(150.0))
#: ... and the way across leaves at right angles within 15.
ACROSS = np.cos(np.radians(15.0))
#: What is across may not lie farther than this many times what the straight way meets first.
IN_SIGHT = 1.2
#: The narrowest stroke is one that this share of the sides belongs to.
NARROWEST = 0.03
#: Points along an outline, at most: longer ones are looked at less closely.
MOST_POINTS = 900


@dataclass(frozen=True)
class Widths:
    """Widths of the strokes of one island, mm; NaN where no two sides face each other."""

    narrowest: float
    usual: float
    """Half of all sides belong to narrower strokes."""


def stroke_widths(outline: Outline) -> Widths:
    """Widths inside an outline."""
    point, inward, length = spread_points(outline)
    width = _across(outline, point, inward)
    good = np.isfinite(width)
    if not good.any() or length[good].sum() < 0.1 * length.sum():
        return Widths(np.nan, np.nan)
    order = np.argsort(width[good])
    share = np.cumsum(length[good][order]) / length[good].sum()
    low, middle = (
        float(width[good][order[min(int(np.searchsorted(share, s)), len(order) - 1)]])
        for s in (NARROWEST, 0.5)
    )
    return Widths(low, middle)


def counter_widths(outline: Outline) -> Floats:
    """(c,) mm: the diameter of the largest circle that fits into each closed space."""
    found = []
    for loop in np.flatnonzero(outline.is_counter):
        rows = outline.loop == loop
        turned = Outline(
            outline.end[rows], outline.start[rows], np.zeros(rows.sum(), np.int64),
            -outline.area[loop : loop + 1],
        )  # fmt: skip
        point, inward, _ = spread_points(turned)
        found.append(float(_largest_circle(turned, point, inward)))
    return np.asarray(found)


def spread_points(outline: Outline) -> tuple[Floats, Floats, Floats]:
    """Points spread along the outline, the way inward there, and the length each stands for."""
    way = outline.end - outline.start
    length = np.linalg.norm(way, axis=1)
    sound = length > 1e-9 * max(float(length.max(initial=0.0)), 1e-300)
    start, way, length = outline.start[sound], way[sound], length[sound]
    pieces = np.maximum(np.ceil(length / (length.sum() / 300)), 1).astype(np.int64)
    row = np.repeat(np.arange(len(pieces)), pieces)
    number = np.arange(len(row)) - np.repeat(np.cumsum(pieces) - pieces, pieces)
    share = (number + 0.5) / pieces[row]
    along = way / length[:, None]
    point = start[row] + share[:, None] * way[row]
    inward = np.column_stack([-along[:, 1], along[:, 0]])[row]
    weight = (length / pieces)[row]
    if len(point) > MOST_POINTS:
        take = np.linspace(0, len(point) - 1, MOST_POINTS).astype(np.int64)
        point, inward, weight = point[take], inward[take], weight[take]
    return point, inward, weight


def _sides(outline: Outline) -> tuple[Floats, Floats, Floats]:
    """Start, unit way and length of each piece that has a length."""
    way = outline.end - outline.start
    length = np.linalg.norm(way, axis=1)
    sound = length > 1e-9 * max(float(length.max(initial=0.0)), 1e-300)
    return outline.start[sound], way[sound] / length[sound][:, None], length[sound]


def _across(outline: Outline, point: Floats, inward: Floats) -> Floats:
    """(n,) diameter of the circle at each point that meets a facing side; NaN if none does."""
    start, along, length = _sides(outline)
    normal = np.column_stack([-along[:, 1], along[:, 0]])
    out = np.full(len(point), np.nan)
    for rows in _portions(len(point), len(start)):
        p, b = point[rows], inward[rows]
        cosine = b @ normal.T
        # Distance of the point from the line of each side, and how far along it stands.
        off = p @ normal.T - np.einsum("ij,ij->i", start, normal)
        on = p @ along.T - np.einsum("ij,ij->i", start, along)
        drift = b @ along.T
        # The straight way inward meets the line after `ahead`.
        with np.errstate(divide="ignore", invalid="ignore"):
            ahead = off / -cosine
        hit = on + ahead * drift
        meets = (cosine < -1e-9) & (off > 1e-12) & (hit >= -1e-9) & (hit <= length + 1e-9)
        straight = np.where(meets, ahead, np.inf).min(axis=1)
        radius = off / np.maximum(1 - cosine, 1e-12)
        foot = on + radius * drift
        diameter = 2 * radius
        # Beyond an end of the side the circle may meet the end itself.
        at = np.clip(foot, 0.0, length)
        beyond = foot != at
        q_along, q_off = at - on, off
        reach = q_along**2 + q_off**2
        forward = q_along * drift - q_off * cosine
        with np.errstate(divide="ignore", invalid="ignore"):
            diameter = np.where(beyond, reach / forward, diameter)
            square = forward / np.sqrt(reach)
        good = (
            (cosine <= FACING)
            & (off > 1e-12)
            & (forward > 0)
            & (square >= ACROSS)
            & (diameter <= IN_SIGHT * straight[:, None])
        )
        best = np.where(good, diameter, np.inf).min(axis=1)
        out[rows] = np.where(np.isfinite(best), best, np.nan)
    return out


def _largest_circle(outline: Outline, point: Floats, inward: Floats) -> float:
    """Diameter of the largest circle inside a closed line.

    Starts from circles that touch one side, and moves the best one's middle in ever smaller steps.
    """
    sides = _sides(outline)
    across = np.hypot(*np.ptp(outline.start, axis=0))
    steps = np.linspace(0.0, 0.5, 15)[1:] * across
    take = slice(None, None, len(point) // 120 + 1)
    point, inward = point[take], inward[take]
    middle = (point[:, None] + steps[None, :, None] * inward[:, None]).reshape(-1, 2)
    room = _distance(middle, sides)
    # A circle about a middle beyond the far side reaches no farther than back to it.
    room[~_is_inside(middle, outline)] = 0.0
    best, radius = middle[room.argmax()], float(room.max())
    grid = np.stack(np.meshgrid(*2 * [np.linspace(-1, 1, 5)]), axis=-1).reshape(-1, 2)
    step = radius / 2
    while step > 1e-6 * across and radius > 0:
        tried = best + step * grid
        room = _distance(tried, sides)
        best, radius = tried[room.argmax()], float(room.max())
        step *= 0.6
    return 2 * radius


def _distance(points: Floats, sides: tuple[Floats, Floats, Floats]) -> Floats:
    """(n,) to the nearest side."""
    start, along, length = sides
    nearest = np.full(len(points), np.inf)
    for rows in _portions(len(points), len(start)):
        away = points[rows][:, None] - start
        on = np.clip(np.einsum("ijk,jk->ij", away, along), 0.0, length)
        nearest[rows] = np.linalg.norm(away - on[:, :, None] * along, axis=2).min(axis=1)
    return nearest


def _is_inside(points: Floats, outline: Outline) -> NDArray[np.bool_]:
    """(n,) by the number of sides that a way along x crosses."""
    a, b = outline.start, outline.end
    inside = np.zeros(len(points), bool)
    for rows in _portions(len(points), len(a)):
        x, y = points[rows, 0][:, None], points[rows, 1][:, None]
        spans = (a[:, 1] > y) != (b[:, 1] > y)
        rise = np.where(a[:, 1] == b[:, 1], 1.0, b[:, 1] - a[:, 1])
        at = a[:, 0] + (y - a[:, 1]) / rise * (b[:, 0] - a[:, 0])
        inside[rows] = (spans & (at > x)).sum(axis=1) % 2 == 1
    return inside


def _portions(points: int, sides: int) -> list[slice]:
    size = max(1, 200_000 // max(sides, 1))
    return [slice(begin, begin + size) for begin in range(0, points, size)]
