"""Did a relief grow from a drum, a cone or a ball?

Most bent bases of made parts are one of these, and few numbers say where such a base runs below a
relief that hides most of it; a polynomial that is held by a rim alone may do anything there. What
is none of them gets the polynomial of `relief_base`. Lengths in mm, angles in radians.
Guarded by tests/geometry/test_relief_round.py.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from lint3d.geometry.relief_base import (
    Base,
    fit_base,
    frame,
    holds_most,
    of_most_area,
    quantile,
    trust_of,
)

Floats = NDArray[np.float64]

#: A round base may follow the points by this much worse than a polynomial with more numbers.
AS_GOOD = 1.1
#: Curvatures of a drum or cone, and of a ball: the smaller as a share of the larger.
ONE_WAY, BOTH_WAYS = 0.5, 0.5
#: Slopes of cones, against their axes, from which one that is no drum is looked for.
LIKE_DRUMS, LIKE_FUNNELS = (0.0,), (2.0, -2.0)
#: More points than this are thinned out.
MOST_POINTS = 1000
#: Points for each number, at least.
POINTS = 4
#: A radius beyond so many reaches of the points: that is flat, or noise.
FLATTEST = 200.0
#: Points that follow a surface, by their area; and how far round it any may lie, in quarters.
MOST, FARTHEST = 0.8, 0.95
#: What lies so many times as near as a base may be counts in full.
NEAR = 3.0
_ROUNDS, _PLAIN_ROUNDS = 25, 6


@dataclass(frozen=True, eq=False)
class RoundBase:
    """A drum, a cone or a ball."""

    origin: Floats
    axes: Floats
    """(3, 3) rows: two directions in the tangent plane near the origin (round a drum or cone, and
    along it), and the normal."""
    residual: float
    """mm: 95 % of the points it was fitted to lie nearer (those that follow it)."""
    _centre: Floats
    """Of a ball; else a point of the axis, and of a cone its apex."""
    _axis: Floats
    """(3,) unit, away from a cone's apex; (0, 0, 0) for a ball"""
    _radius: float
    """mm, of a ball or drum"""
    _slant: float
    """radians, half the angle at a cone's apex; 0 for others"""
    _side: float
    """1 where the material is inside, -1 in a bore or bowl"""
    is_round_of_most: bool = False
    """Is it what nearly all the area round the foot lies near?"""

    @property
    def radius(self) -> float:
        """mm, by which it bends near the origin"""
        if not self._slant:
            return self._radius
        return float(self._polar(self.origin[None])[2][0] / np.cos(self._slant))

    def height(self, points: Floats) -> Floats:
        """(n,) mm: distance from the base along its normal, positive outside."""
        return self.foot(points)[1]

    def foot(self, points: Floats) -> tuple[Floats, Floats, Floats]:
        """Where points stand: (n, 2) mm unrolled, (n,) height, (n, 3) normal of the base there."""
        along, radial, away = self._polar(points)
        height = self._side * (away - self._radius)
        normal = self._side * radial
        if self._slant:
            sin, cos = np.sin(self._slant), np.cos(self._slant)
            height = self._side * (away * cos - along * sin)
            normal = self._side * (cos * radial - sin * self._axis)
        return self.unrolled(points), height, normal

    def unrolled(self, points: Floats) -> Floats:
        """(n, 2) mm: where points stand on the base, with distances along it from its origin.

        Of a ball those along great circles through the origin are true, of others all.
        """
        along, radial, away = self._polar(points)
        if not self._axis.any():
            aside = radial @ self.axes[:2].T
            far = np.hypot(aside[:, 0], aside[:, 1])
            angle = np.arctan2(far, self._side * radial @ self.axes[2])
            stretch = np.where(far > 1e-12, angle / np.maximum(far, 1e-12), 1.0)
            flat: Floats = self._radius * stretch[:, None] * aside
            return flat
        sin, cos = np.sin(self._slant), np.cos(self._slant)
        # Radial direction at the origin.
        ahead = self._side * cos * self.axes[2] - sin * self.axes[1]
        angle = np.arctan2(radial @ self.axes[0], radial @ ahead)
        start, _, out = self._polar(self.origin[None])
        if not self._slant:
            return np.column_stack([self._radius * angle, along - start])
        # Rolled flat a cone is a sector; the second axis runs towards its apex.
        far, far_0 = along * cos + away * sin, float(start[0] * cos + out[0] * sin)
        turn = angle * sin
        return np.column_stack([far * np.sin(turn), far_0 - far * np.cos(turn)])

    def _polar(self, points: Floats) -> tuple[Floats, Floats, Floats]:
        """(n,) way along the axis, (n, 3) unit radial direction, (n,) distance from axis."""
        arm = points - self._centre
        along: Floats = arm @ self._axis
        arm = arm - along[:, None] * self._axis
        away = np.linalg.norm(arm, axis=1)
        return along, arm / np.maximum(away, 1e-300)[:, None], away


def base_below(
    points: Floats, area: Floats, origin: Floats, normal: Floats, noise_mm: float
) -> Base | RoundBase | None:
    """Fit what a relief stands on.

    Parameters
    ----------
    points : (n, 3) mm, on the base round the foot; some may be on something else
    area : (n,) mm2 of base round each point
    origin, normal : (3,) middle of the foot, and roughly the base's normal there
    noise_mm : residuals below this are not worth another try

    Returns
    -------
    Base or RoundBase, or None if there are fewer than three points
    """
    flat = fit_base(points, area, origin, normal, noise_mm, degrees=(1,))
    if flat is None or flat.residual <= noise_mm:
        return flat
    step = max(1, len(points) // MOST_POINTS)
    few = points[::step], trust_of(area[::step]), origin, normal, noise_mm
    tried = [_round(*few, LIKE_DRUMS)]
    if tried[0] is not None and tried[0].residual <= noise_mm:
        return tried[0]
    free = fit_base(points, area, origin, normal, noise_mm)
    if free is None or free.residual > noise_mm:
        tried.append(_round(*few, LIKE_FUNNELS))
    best = min((one for one in tried if one is not None), key=_residual, default=None)
    as_good = AS_GOOD * free.residual if free is not None else np.inf
    return best if best is not None and best.residual <= as_good else free


def _residual(base: Base | RoundBase) -> float:
    return base.residual


def round_of_most(
    points: Floats, area: Floats, origin: Floats, normal: Floats, within_mm: float
) -> RoundBase | None:
    """The drum, cone or ball that nearly all the area lies near, whatever stands beside it.

    What `plane_of_most` is to a plane: corners of the narrow bands of a rounding are many, and have
    little area. Parameters as for `base_below`.

    Parameters
    ----------
    within_mm : so near: as much as the facets of such a base may stray from it

    Returns
    -------
    RoundBase, or None where there is none
    """
    points, area = of_most_area(points, area)
    trust = np.sqrt(area / max(float(area.max(initial=0.0)), 1e-300))
    # Large facets may meet the surface in a few corners alone: near enough is as good as on it.
    asked = points, trust, origin, normal, within_mm / NEAR, LIKE_DRUMS
    found = _round(*asked)
    if found is None or found.residual > within_mm:
        return None
    if not holds_most(found.height(points), area, within_mm):
        return None
    return replace(found, is_round_of_most=True)


# --- fitting -------------------------------------------------------------------------------------


@dataclass(frozen=True, eq=False)
class _Guess:
    """A surface in a frame of unit size: a ball, or a cone by radius and slope at `centre`."""

    centre: Floats
    axis: Floats
    radius: float
    slope: float = 0.0


#: Distances (n,) of points, and how they change (n, p) with each number of a guess.
_Look = Callable[[_Guess, Floats], tuple[Floats, Floats]]
_Step = Callable[[_Guess, Floats], _Guess]


def _round(
    points: Floats,
    trust: Floats,
    origin: Floats,
    normal: Floats,
    noise_mm: float,
    slopes: tuple[float, ...],
) -> RoundBase | None:
    axes = frame(normal)
    local = (points - origin) @ axes.T
    scale = float(max(np.hypot(local[:, 0], local[:, 1]).max(), 1e-9))
    at = local / scale
    bend, ways = _bend(at, trust)
    small, large = sorted(bend.tolist(), key=abs)
    if abs(large) < 1 / FLATTEST:
        return None
    radius = 1 / abs(large)
    centre = np.array([0.0, 0.0, np.sign(large) * radius])
    noise = noise_mm / scale
    found: tuple[_Guess, float] | None = None
    if small / large > BOTH_WAYS and slopes == LIKE_DRUMS:
        found = _fitted(_Guess(centre, np.zeros(3), radius), (_ball, _move_ball), at, trust, noise)
    elif abs(small) < ONE_WAY * abs(large):
        axis = np.append(ways[int(np.abs(bend).argmin())], 0.0)
        found = _drum_or_cone(_Guess(centre, axis, radius), at, trust, noise, slopes)
    if found is None:
        return None
    guess, residual = found
    side = -float(np.sign(guess.centre[2] - np.median(at[:, 2])))
    return _in_space(guess, residual, side, origin, axes, scale)


def _drum_or_cone(
    drum: _Guess, at: Floats, trust: Floats, noise: float, slopes: tuple[float, ...]
) -> tuple[_Guess, float] | None:
    found: tuple[_Guess, float] | None = None
    for slope in slopes:
        guess = drum
        if not slope:
            found = _fitted(drum, (_drum, _move_cone), at, trust, noise)
            guess = drum if found is None else found[0]
        else:
            # A cone that is bent as the drum is, with its axis leant out of the tangent plane.
            up = np.array([0.0, 0.0, -np.sign(drum.centre[2])])
            cos = 1 / np.sqrt(1 + slope**2)
            axis = cos * (drum.axis - slope * up)
            radius = drum.radius * cos
            guess = _Guess(-radius * cos * (up + slope * drum.axis), axis, radius, slope)
        if found is None or found[1] > noise:
            cone = _fitted(guess, (_cone, _move_cone), at, trust, noise)
            if cone is not None and (found is None or cone[1] < found[1]):
                found = cone
    return found


def _bend(at: Floats, trust: Floats) -> tuple[Floats, Floats]:
    """Principal curvatures (2,) and their ways (2, 2), positive where the middle lies lowest."""
    x, y, w = at.T
    terms = np.stack([np.ones(len(x)), x, y, x * x, x * y, y * y], axis=1)
    fit = np.linalg.lstsq(terms * trust[:, None], w * trust, rcond=None)[0]
    value, way = np.linalg.eigh(np.array([[2 * fit[3], fit[4]], [fit[4], 2 * fit[5]]]))
    return value, way.T


def _fitted(
    guess: _Guess, kind: tuple[_Look, _Step], at: Floats, trust: Floats, noise: float
) -> tuple[_Guess, float] | None:
    """Least squares, far points counting less and less; and the residual, of unit size."""
    look, move = kind
    weight = trust
    plain = _PLAIN_ROUNDS
    for number in range(_ROUNDS):
        off, slopes = look(guess, at)
        if len(at) < POINTS * slopes.shape[1]:
            return None
        if number >= plain:
            spread = max(1.5 * quantile(np.abs(off), trust**2, 0.5), noise, 1e-12)
            weight = trust / (1 + (off / (3 * spread)) ** 2)
        rows = slopes * weight[:, None]
        # Of normal equations the last digits are lost, which the next round finds again.
        right = rows.T @ (off * weight)
        change: Floats = -np.linalg.lstsq(rows.T @ rows, right, rcond=None)[0].astype(np.float64)
        most = float(np.abs(change).max())
        # Far from the answer the surface bends otherwise than the slopes say.
        guess = move(guess, change * min(1.0, 0.5 * guess.radius / max(most, 1e-300)))
        if not np.isfinite(guess.radius) or not 0.1 < abs(guess.radius) < FLATTEST:
            return None
        if most < max(1e-9, 0.01 * noise):
            if number > plain:
                break
            plain = min(plain, number + 1)
    off, slopes = look(guess, at)
    follows = weight > 0.3 * trust
    free = max(int(follows.sum()) - slopes.shape[1], 1)
    spare = float(np.sqrt(max(int(follows.sum()), 1) / free))
    # By how much the points' errors come back in the middle: they may all lie on a rim.
    middle = look(guess, np.zeros((1, 3)))[1][0]
    rows = slopes * weight[:, None]
    echo = float(np.sqrt(max(middle @ np.linalg.pinv(rows.T @ rows, hermitian=True) @ middle, 0)))
    # A ball through the rim of a dome leaves all else out; and a ring of points lies on many balls.
    if (trust[follows] ** 2).sum() < MOST * (trust**2).sum() or _far_round(guess, at) > FARTHEST:
        return None
    residual = quantile(np.abs(off)[follows], trust[follows] ** 2, 0.95)
    # What the points themselves may be off comes back, however well a surface follows them.
    return guess, spare * (echo * max(residual, noise) if echo > 1 else residual)


def _far_round(guess: _Guess, at: Floats) -> float:
    """How far round a surface points lie, from the place nearest to their middle, in quarters."""
    arm = at - guess.centre
    arm = arm - (arm @ guess.axis)[:, None] * guess.axis
    ahead = -guess.centre + (guess.centre @ guess.axis) * guess.axis
    ahead = ahead / max(float(np.linalg.norm(ahead)), 1e-300)
    along = arm @ ahead
    aside = np.linalg.norm(arm - along[:, None] * ahead, axis=1)
    return float(np.arctan2(aside, along).max() / (np.pi / 2))


def _ball(guess: _Guess, at: Floats) -> tuple[Floats, Floats]:
    arm = at - guess.centre
    away = np.linalg.norm(arm, axis=1)
    slopes = np.column_stack([-arm / np.maximum(away, 1e-300)[:, None], -np.ones(len(at))])
    return away - guess.radius, slopes


def _move_ball(guess: _Guess, change: Floats) -> _Guess:
    return _Guess(guess.centre + change[:3], guess.axis, guess.radius + float(change[3]))


def _cone(guess: _Guess, at: Floats) -> tuple[Floats, Floats]:
    aside = _aside(guess.axis)
    arm = at - guess.centre
    along = arm @ guess.axis
    flat = arm @ aside.T
    away = np.hypot(flat[:, 0], flat[:, 1])
    out = flat / np.maximum(away, 1e-300)[:, None]
    cos = 1 / np.sqrt(1 + guess.slope**2)
    lean = (along + guess.slope * away)[:, None]
    slopes = np.column_stack([-out, -lean * out, -np.ones(len(at)), -along])
    return cos * (away - guess.radius - guess.slope * along), cos * slopes


def _drum(guess: _Guess, at: Floats) -> tuple[Floats, Floats]:
    off, slopes = _cone(guess, at)
    return off, slopes[:, :5]


def _move_cone(guess: _Guess, change: Floats) -> _Guess:
    aside = _aside(guess.axis)
    centre = guess.centre + change[:2] @ aside
    axis = guess.axis + change[2:4] @ aside
    axis = axis / np.linalg.norm(axis)
    # Beside the middle of the points, so that the numbers say different things.
    shift = float(-centre @ axis)
    slope = guess.slope + (float(change[5]) if len(change) > 5 else 0.0)
    radius = guess.radius + float(change[4]) + slope * shift
    return _Guess(centre + shift * axis, axis, radius, slope)


def _aside(axis: Floats) -> Floats:
    return frame(axis)[:2]


def _in_space(
    guess: _Guess, residual: float, side: float, origin: Floats, axes: Floats, scale: float
) -> RoundBase:
    centre = origin + scale * guess.centre @ axes
    axis: Floats = guess.axis @ axes
    slant, radius = 0.0, scale * guess.radius
    if guess.slope:
        # From the apex outward.
        centre = centre - scale * guess.radius / guess.slope * axis
        axis = axis * np.sign(guess.slope)
        slant = float(np.arctan(abs(guess.slope)))
    arm = origin - centre
    radial = arm - (arm @ axis) * axis
    radial = radial / np.linalg.norm(radial)
    if not axis.any():
        own = frame(side * radial)
    else:
        up = side * (np.cos(slant) * radial - np.sin(slant) * axis)
        back = -(np.cos(slant) * axis + np.sin(slant) * radial) if slant else axis
        own = np.stack([np.cross(back, up), back, up])
    return RoundBase(origin, own, scale * residual, centre, axis, radius, slant, side)
