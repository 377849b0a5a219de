"""What surface did a relief grow from, and how far is a point from it?

A polynomial over the plane of the foot, fitted robustly to the base round it: of degree 1, and
higher as long as that helps. Lengths in mm. Guarded by tests/geometry/test_relief_base.py.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lint3d.geometry.vectors import square_to_one

Floats = NDArray[np.float64]

#: Degrees in turn. Degree 2 errs by 20 um on a drum, degree 4 by 1.4.
DEGREES = (1, 2, 4, 6)
#: A higher degree must reduce the residual to this share.
WORTH = 0.7
#: Points for each coefficient, at least.
POINTS = 4.0
#: What so much of the area lies on is the base.
MOST_AREA = 0.8
#: Of more points than this those with most area are asked.
MOST_POINTS = 1000
_ROUNDS = 6
#: From so many rows on columns are made square here and not by the library; so well.
LONG, SQUARE = 300, 1e-12
#: Points of Gauss-Legendre quadrature on [0, 1], for lengths along the base.
_AT, _WEIGHT = (0.5 + 0.5 * x for x in np.polynomial.legendre.leggauss(4))
_WEIGHT = _WEIGHT - 0.5


@dataclass(frozen=True, eq=False)
class Base:
    """A fitted base: w = polynomial(u, v) in its own frame."""

    origin: Floats
    axes: Floats
    """(3, 3) rows: two directions in the tangent plane, and the normal."""
    scale: float
    """mm to which u and v are divided."""
    degree: int
    coefficient: Floats
    residual: float
    """mm: 95 % of the points it was fitted to lie nearer (those that follow it). More where they
    say little about the middle, that a relief stands on: a ring of them holds no high degree."""
    is_of_most: bool = False
    """Is it what nearly all the area round the foot lies on?"""

    def local(self, points: Floats) -> Floats:
        """(n, 3) u, v, w of points, mm."""
        return (points - self.origin) @ self.axes.T

    def height(self, points: Floats) -> Floats:
        """(n,) mm: distance from the base along its normal, positive outside."""
        return self.foot(points)[1]

    def foot(self, points: Floats) -> tuple[Floats, Floats, Floats]:
        """Where the normal through each point starts: (n, 2) u v mm, (n,) height, (n, 3) normal."""
        u0, v0, w0 = self.local(points).T
        if self.degree == 1:
            a, b, c = self.coefficient
            fu, fv = b / self.scale, c / self.scale
            root = np.sqrt(1 + fu * fu + fv * fv)
            height = (w0 - (a + fu * u0 + fv * v0)) / root
            normal = np.array([-fu, -fv, 1.0]) / root
            uv = np.column_stack([u0, v0]) - height[:, None] * normal[:2]
            return uv, height, np.broadcast_to(normal @ self.axes, (len(u0), 3))
        u, v = u0, v0
        for _ in range(8):
            f, fu, fv = self._value(u, v)
            # Gauss-Newton: what is nearest on a steep slope is not found by going back and forth.
            du, dv = u0 + (w0 - f) * fu - u, v0 + (w0 - f) * fv - v
            along = (fu * du + fv * dv) / (1 + fu * fu + fv * fv)
            u, v = u + du - along * fu, v + dv - along * fv
        f, fu, fv = self._value(u, v)
        root = np.sqrt(1 + fu * fu + fv * fv)
        normal = np.column_stack([-fu, -fv, np.ones(len(u))]) / root[:, None]
        return np.column_stack([u, v]), (w0 - f) * root, normal @ self.axes

    def slopes(self, uv: Floats) -> tuple[Floats, Floats, Floats]:
        """Value and both slopes of the polynomial at (n, 2) u v."""
        return self._value(uv[:, 0], uv[:, 1])

    def unrolled(self, points: Floats) -> Floats:
        """(n, 2) mm: where points stand on the base, with distances along it from its origin."""
        uv, _, _ = self.foot(points)
        far = np.hypot(uv[:, 0], uv[:, 1])
        if self.degree == 1:
            _, fu, fv = self.slopes(uv[:1])
            # The plane of the fit leans a little from the frame's.
            rise = uv[:, 0] * fu[0] + uv[:, 1] * fv[0]
            stretch = np.sqrt(far**2 + rise**2) / np.maximum(far, 1e-12)
            return uv * np.where(far > 1e-12, stretch, 1.0)[:, None]
        along = uv / np.maximum(far, 1e-12)[:, None]
        stretch = np.zeros(len(uv))
        for at, weight in zip(_AT, _WEIGHT, strict=True):
            _, fu, fv = self.slopes(at * uv)
            slope = along[:, 0] * fu + along[:, 1] * fv
            stretch += weight * np.sqrt(1 + slope**2)
        return uv * stretch[:, None]

    def _value(self, u: Floats, v: Floats) -> tuple[Floats, Floats, Floats]:
        x = np.clip(u / self.scale, -1.5, 1.5)
        y = np.clip(v / self.scale, -1.5, 1.5)
        powers = _powers(self.degree)
        px, py = _ladder(x, self.degree), _ladder(y, self.degree)
        f = np.zeros(len(u))
        fu, fv = np.zeros(len(u)), np.zeros(len(u))
        for c, (i, j) in zip(self.coefficient, powers, strict=True):
            f += c * px[i] * py[j]
            if i:
                fu += c * i * px[i - 1] * py[j]
            if j:
                fv += c * j * px[i] * py[j - 1]
        return f, fu / self.scale, fv / self.scale


def _powers(degree: int) -> list[tuple[int, int]]:
    return [(n - j, j) for n in range(degree + 1) for j in range(n + 1)]


def _ladder(x: Floats, degree: int) -> list[Floats]:
    rows = [np.ones(len(x))]
    for _ in range(degree):
        rows.append(rows[-1] * x)
    return rows


def fit_base(
    points: Floats,
    area: Floats,
    origin: Floats,
    normal: Floats,
    noise_mm: float,
    degrees: tuple[int, ...] = DEGREES,
) -> Base | None:
    """Fit the base.

    Parameters
    ----------
    points : (n, 3) mm, on the base round the foot; some may be on something else
    area : (n,) mm2 of base round each point: small facets are seldom those of the base
    origin, normal : (3,) middle of the foot, and roughly the base's normal there
    noise_mm : residuals below this are not worth a higher degree
    degrees : to be tried in turn

    Returns
    -------
    Base, or None if there are fewer than three points
    """
    if len(points) < 3:
        return None
    axes = frame(normal)
    u, v, w = ((points - origin) @ axes.T).T
    scale = float(max(np.hypot(u, v).max(), 1e-9))
    trust = trust_of(area)
    best: Base | None = None
    for degree in degrees:
        terms = (degree + 1) * (degree + 2) // 2
        if degree > 1 and len(points) < POINTS * terms:
            break
        coefficient, residual = robust((u / scale, v / scale, w), trust, degree, noise_mm)
        if best is not None and residual > WORTH * best.residual:
            # A saddle or a drum may need the next degree but one.
            if degree == 2:
                continue
            break
        best = Base(origin, axes, scale, degree, coefficient, residual)
        if residual <= noise_mm:
            break
    return best


def trust_of(area: Floats) -> Floats:
    """(n,) up to 1, what each point counts for in a fit, by the area round it, mm2."""
    # The largest faces reach far beyond the foot, and must not be all that counts.
    area = np.minimum(area, 4 * np.median(area)) + 1e-3 * float(np.mean(area)) + 1e-300
    trust: Floats = np.sqrt(area / area.max())
    return trust


def of_most_area(points: Floats, area: Floats) -> tuple[Floats, Floats]:
    """Points and the area of each, without the least ones if they are very many."""
    if len(points) <= MOST_POINTS:
        return points, area
    largest = np.argsort(-area, kind="stable")[:MOST_POINTS]
    return points[largest], area[largest]


def holds_most(off: Floats, area: Floats, within_mm: float) -> bool:
    """Does nearly all the area lie so near? Off: (n,) mm, how far each point is."""
    return bool(area[np.abs(off) <= within_mm].sum() >= MOST_AREA * area.sum())


def terms_of(x: Floats, y: Floats, degree: int) -> Floats:
    """(n, k) products of powers of x and y (n,), up to a degree in all."""
    px, py = _ladder(x, degree), _ladder(y, degree)
    return np.stack([px[i] * py[j] for i, j in _powers(degree)], axis=1)


def frame(normal: Floats) -> Floats:
    """(3, 3) rows: two directions square to the normal, and the normal."""
    n = normal / np.linalg.norm(normal)
    return np.concatenate([square_to_one(n), n[None]])


def robust(
    point: tuple[Floats, Floats, Floats], trust: Floats, degree: int, noise_mm: float
) -> tuple[Floats, float]:
    """Coefficients by least squares, far points counting less and less; 95 % residual."""
    x, y, w = point
    terms = terms_of(x, y, degree)
    # A touch of damping keeps directions in check that the points say nothing about.
    damp = 1e-7 * np.sqrt(len(x)) * np.eye(terms.shape[1])
    # Square terms once: then normal equations lose no digits, whatever points count for in turn.
    square, back = square_columns(np.concatenate([terms * trust[:, None], damp]))
    spread_terms, kept = square[: len(x)] / trust[:, None], square[len(x) :]
    weight = trust
    for _ in range(_ROUNDS):
        rows = spread_terms * weight[:, None]
        told = np.linalg.solve(rows.T @ rows + kept.T @ kept, rows.T @ (w * weight))
        off = np.abs(w - spread_terms @ told)
        spread = max(1.5 * quantile(off, trust**2, 0.5), noise_mm)
        new = trust / (1 + (off / (3 * spread)) ** 2)
        if np.allclose(new, weight, atol=1e-3):
            break
        weight = new
    coefficient: Floats = np.linalg.solve(back, told)
    follows = weight > 0.3 * trust
    # Every coefficient takes a point's worth of freedom from the residual.
    free = max(int(follows.sum()) - terms.shape[1], 1)
    spare = float(np.sqrt(max(int(follows.sum()), 1) / free))
    # By how much the points' errors come back, larger or smaller, in the middle.
    rows = np.concatenate([terms * weight[:, None], damp])
    echo = float(np.sqrt(np.linalg.pinv(rows.T @ rows, hermitian=True)[0, 0]))
    residual = quantile(off[follows], trust[follows] ** 2, 0.95)
    # What the points themselves may be off comes back, however well the base follows them.
    return coefficient, spare * (echo * max(residual, noise_mm) if echo > 1 else residual)


def square_columns(terms: Floats) -> tuple[Floats, Floats]:
    """Columns square to each other and of unit length, and what makes the given ones of them.

    As `numpy.linalg.qr`, which takes fifty times as long for a thousand rows of fifteen: there
    threads wait for each other. Here rounding is undone by doing all twice (Yamamoto, Nakatsukasa,
    Yanagisawa and Fukaya 2015, Cholesky QR 2; from memory); columns too alike go to the library.

    Parameters
    ----------
    terms : (n, k), n >= k

    Returns
    -------
    (n, k) and (k, k) upper triangular : their product is `terms`
    """
    square, back = terms, np.eye(terms.shape[1])
    if len(terms) >= LONG:
        try:
            for _ in range(2):
                own = np.linalg.cholesky(square.T @ square).T
                square, back = square @ np.linalg.inv(own), own @ back
        except np.linalg.LinAlgError:
            pass
        else:
            off = square.T @ square - np.eye(len(back))
            if np.abs(off).max() <= SQUARE:
                return square, back
    found = np.linalg.qr(terms)
    return found[0], found[1]


def quantile(values: Floats, weight: Floats, share: float) -> float:
    """The value below which this share of the weight lies; 0 if there is none."""
    if not len(values):
        return 0.0
    order = np.argsort(values)
    total = np.cumsum(weight[order])
    row = int(np.searchsorted(total, share * total[-1]))
    return float(values[order[min(row, len(order) - 1)]])
