"""Do letters stand on a circle, and on which one?

Their middles lie at unlike heights; what stands on a line or a circle are their feet, or what hangs
from it are their heads. Lengths in mm. Guarded by tests/geometry/test_relief_groups.py.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize
from scipy.spatial import cKDTree

from lint3d.geometry.relief_standing import Standing, are_letters

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

#: Feet or heads of neighbours that differ by more than this share of their size are on no line.
OFF_LINE = 0.1
#: Middles of neighbours along a line are no farther apart than so many sizes.
NEIGHBOURS = 2.5
#: Radii of the circles that are tried, in lengths of the line.
BENDS = (0.3, 0.5, 0.8, 1.3, 2.2, 4.0)
#: The base is flat if middles lie off its plane by no more than this share of their extent.
FLAT = 0.05
#: Middles that stray so far from a straight line (in sizes), and by no more than that share of it
#: from a circle, lie on a circle.
STRAY, ROUND = 0.4, 0.5
#: A cap is looked at from so many sides.
SIDES = 48


@dataclass(frozen=True)
class Circle:
    """A circle in a flat base."""

    middle: Floats
    axis: Floats
    radius: float
    is_plain: bool
    """Do the middles of the letters tell it from a straight line by themselves?"""


def circle_through(islands: Sequence[Standing], size: float) -> Circle | None:
    """The circle that letters stand on better than on any other, if there are four on a flat base.

    Whether they stand on a straight line better is not asked. Dots and stops are not letters.
    """
    islands = [islands[i] for i in np.flatnonzero(are_letters(islands)).tolist()]
    if len(islands) < 4:
        return None
    centre = np.array([one.centre for one in islands])
    mean = np.mean([one.normal for one in islands], axis=0)
    normal = mean / max(float(np.linalg.norm(mean)), 1e-12)
    origin = centre.mean(axis=0)
    way = centre[0] - origin
    way = way - (way @ normal) * normal
    if np.linalg.norm(way) < 1e-9:
        return None
    way /= np.linalg.norm(way)
    if np.abs((centre - origin) @ normal).max() > FLAT * np.ptp(centre, axis=0).max():
        return None
    axes = np.stack([way, np.cross(normal, way)])
    flat = (centre - origin) @ axes.T
    along, over = np.linalg.svd(flat, full_matrices=False)[2]
    first, radius = _circle_of(flat)
    line_error = np.abs(flat @ over).max()
    error = np.abs(np.linalg.norm(flat - first, axis=1) - radius).max()
    length = float(np.ptp(flat @ along))
    bends = np.array([[side * share * length] for share in BENDS for side in (-1, 1)])
    caps = [_outermost((one.cap - origin) @ axes.T) for one in islands]
    middle = _stood_on(np.vstack([first, bends * over]), flat, caps, size)
    return Circle(
        middle=origin + middle @ axes,
        axis=normal,
        radius=float(np.linalg.norm(flat - middle, axis=1).mean()),
        # The middles of letters on a straight line lie up to a fifth of their size beside it.
        is_plain=bool(line_error >= STRAY * size and error <= ROUND * line_error),
    )


def _circle_of(flat: Floats) -> tuple[Floats, float]:
    """Middle and radius of the circle through points, least squares of squared distances."""
    terms = np.column_stack([2 * flat, np.ones(len(flat))])
    a, b, c = np.linalg.lstsq(terms, (flat**2).sum(axis=1), rcond=None)[0]
    return np.array([a, b]), float(np.sqrt(max(c + a * a + b * b, 0.0)))


def _outermost(points: Floats) -> Floats:
    """Those of some points that are farthest to some side."""
    angle = np.linspace(0, 2 * np.pi, SIDES, endpoint=False)
    rows = (points @ np.stack([np.cos(angle), np.sin(angle)])).argmax(axis=0)
    return points[np.unique(rows)]


def _stood_on(guesses: Floats, centre: Floats, caps: Sequence[Floats], size: float) -> Floats:
    """(2,) the middle of the circle that most letters share with a neighbour, from guesses."""
    pairs = near_pairs(centre, size)
    if not len(pairs):
        return guesses[0]
    points = np.vstack(caps)
    first = np.cumsum([0, *[len(cap) for cap in caps[:-1]]])
    owner = np.repeat(np.arange(len(caps)), [len(cap) for cap in caps])

    def off(at: Floats) -> float:
        arm = centre - at
        far = np.linalg.norm(arm, axis=1)
        arm = arm / np.maximum(far, 1e-12)[:, None]
        level = ((points - centre[owner]) * arm[owner]).sum(axis=1)
        low = far + np.minimum.reduceat(level, first)
        high = far + np.maximum.reduceat(level, first)
        return float(off_line(low, high, pairs, size).sum())

    best = min(guesses, key=off)
    # A third of a letter, at the ends of the line.
    far = np.linalg.norm(centre - best, axis=1).mean() / np.ptp(centre, axis=0).max()
    step = 0.3 * size * max(float(far), 0.3)
    simplex = best + step * np.array([[-1.0, -1.0], [1.0, -1.0], [0.0, 1.0]])
    options = {"initial_simplex": simplex, "maxiter": 200}
    found = minimize(off, best, method="Nelder-Mead", options=options)
    middle: Floats = found.x if found.fun < off(best) else best
    return middle


def near_pairs(place: Floats, size: float) -> Ints:
    """(p, 2) rows of what may be neighbours on a line."""
    pairs = cKDTree(place).query_pairs(NEIGHBOURS * size, output_type="ndarray")
    return pairs.astype(np.int64)


def off_line(low: Floats, high: Floats, pairs: Ints, size: float, *, both: bool = False) -> Floats:
    """How far pairs of letters are from standing on one line, or hanging from one, mm.

    Parameters
    ----------
    low, high : (k, ...) mm, their feet and heads across the line
    pairs : (p, 2)
    size : mm, of the letters; beyond a share of it, how far makes no difference
    both : from standing on one line and hanging from one

    Returns
    -------
    (p, ...) mm
    """
    most = OFF_LINE * size
    foot = np.abs(low[pairs[:, 0]] - low[pairs[:, 1]])
    head = np.abs(high[pairs[:, 0]] - high[pairs[:, 1]])
    if both:
        sum_of_both: Floats = np.minimum(foot, most) + np.minimum(head, most)
        return sum_of_both
    least: Floats = np.minimum(np.minimum(foot, head), most)
    return least
