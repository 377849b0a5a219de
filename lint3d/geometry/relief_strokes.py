"""How wide are the strokes of an outline, and the spaces closed in by it?

The width at a point of the outline is the diameter of the largest circle that touches it there from
inside and the other side of the stroke. Only sides that face each other bound a stroke: a corner or
the tip of a serif does not. Lengths in mm. Guarded by tests/geometry/test_relief_strokes.py.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from lint3d.geometry.relief_outline import Outline

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

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
#: The largest circle is known to this share of its radius, unless a space is so long and narrow
#: that this many squares may hold its middle.
CLOSE, MOST_HALVINGS, MOST_SQUARES = 5e-4, 24, 20_000
#: Chords of a curve turn by less: along them the way inward turns as that of the curve does.
CURVED = np.radians(30.0)


@dataclass(frozen=True)
class Widths:
    """Widths of the strokes of one island, mm; NaN where no two sides face each other."""

    narrowest: float
    usual: float
    """Half of all sides belong to narrower strokes."""


def stroke_widths(outline: Outline, noise_mm: float = 0.0) -> Widths:
    """Widths inside an outline; what is narrower than noise is a dent in its side, and no stroke.

    A stroke that is narrower for the most part is told, however.
    """
    point, inward, length = spread_points(outline, smooth=True)
    width = _across(outline, point, inward)
    good = np.isfinite(width)
    wide = good & (width > noise_mm)
    if length[wide].sum() > 0.5 * length[good].sum():
        good = wide
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
        found.append(_largest_circle(turned))
    return np.asarray(found)


def spread_points(outline: Outline, *, smooth: bool = False) -> tuple[Floats, Floats, Floats]:
    """Points spread along the outline, the way inward there, and the length each stands for.

    `smooth` turns the way inward along the chords of a curve: square to a chord near its end, it
    meets the other side aslant, and a disc of 32 sides reads 2 % too narrow.
    """
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
    if smooth:
        lean = _lean(start, along, length, row, share)
        c, s = np.cos(lean), np.sin(lean)
        inward = np.column_stack(
            [c * inward[:, 0] - s * inward[:, 1], s * inward[:, 0] + c * inward[:, 1]]
        )
    weight = (length / pieces)[row]
    if len(point) > MOST_POINTS:
        take = np.linspace(0, len(point) - 1, MOST_POINTS).astype(np.int64)
        point, inward, weight = point[take], inward[take], weight[take]
    return point, inward, weight


def _lean(start: Floats, along: Floats, length: Floats, row: Ints, share: Floats) -> Floats:
    """(n,) radians: how far a curve's normal has turned from its chord's, at points on chords.

    Within a neighbour's length of an end it turns by half the angle there.
    """
    after = cKDTree(start).query(start + length[:, None] * along)
    joins, after = after[0] <= 1e-6 * length.max(), after[1]
    angle = np.arctan2(
        along[:, 0] * along[after, 1] - along[:, 1] * along[after, 0],
        (along * along[after]).sum(axis=1),
    )
    angle = np.where(joins & (np.abs(angle) < CURVED), angle, 0.0)
    at_start, short = np.zeros(len(start)), length.copy()
    at_start[after], short[after] = angle, length
    near_start = np.minimum(short, length)[row] / 2
    near_end = np.minimum(length[after], length)[row] / 2
    on = share * length[row]
    before = np.clip(1 - on / near_start, 0.0, 1.0)
    beyond = np.clip(1 - (length[row] - on) / near_end, 0.0, 1.0)
    lean: Floats = (beyond * angle[row] - before * at_start[row]) / 2
    return lean


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


def _largest_circle(outline: Outline) -> float:
    """Diameter of the largest circle inside a closed line.

    Squares that may hold a better middle than the best so far are cut in four: no middle lies
    farther from the line than its square's does, and half the square's diagonal.
    """
    sides = _sides(outline)
    low, high = outline.start.min(axis=0), outline.start.max(axis=0)
    half = float((high - low).max()) / 2
    if half <= 0:
        return 0.0
    middle = ((low + high) / 2)[None]
    best = 0.0
    corners = np.array([[-1, -1], [-1, 1], [1, -1], [1, 1]], float)
    for _ in range(MOST_HALVINGS):
        half /= 2
        middle = (middle[:, None] + half * corners).reshape(-1, 2)
        room = np.where(_is_inside(middle, outline), 1.0, -1.0) * _distance(middle, sides)
        best = max(best, float(room.max()))
        reach = half * np.sqrt(2)
        middle = middle[room + reach > best * (1 + CLOSE)]
        if not len(middle) or len(middle) > MOST_SQUARES or reach < CLOSE * best:
            break
    return 2 * best


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
