"""Which plane, or bent base, does nearly all the area round a foot lie on?

Roundings at a foot leave strips on a base: many corners with little area. A fit that counts corners
runs through them. Here area alone counts, in turn: half of it lies near the right base, and then on
it. Lengths in mm. Guarded by tests/geometry/test_relief_base.py.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from lint3d.geometry.relief_base import (
    POINTS,
    Base,
    fit_base,
    frame,
    holds_most,
    of_most_area,
    quantile,
    robust,
    terms_of,
    trust_of,
)

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

#: So often what most of the area lies on is looked for.
ROUNDS = 20
#: The degree of a bent one: that holds drums and saddles.
DEGREE = 4


def plane_of_most(
    points: Floats, area: Floats, origin: Floats, normal: Floats, noise_mm: float
) -> Base | None:
    """The plane that nearly all the area lies on, whatever stands beside it.

    Parameters as for `fit_base`; None where there is no such plane.
    """
    if len(points) < 3:
        return None
    axes = frame(normal)
    u, v, w = ((points - origin) @ axes.T).T
    scale = float(max(np.hypot(u, v).max(), 1e-9))
    at = (u / scale, v / scale, w)
    off = _off_most(terms_of(*at[:2], 1), w, area, noise_mm)[0]
    on = off <= noise_mm
    if on.sum() < POINTS or not holds_most(off, area, noise_mm):
        return None
    coefficient, residual = robust((at[0][on], at[1][on], w[on]), trust_of(area[on]), 1, noise_mm)
    if residual > noise_mm:
        return None
    return Base(origin, axes, scale, 1, coefficient, residual, is_of_most=True)


def polynomial_of_most(
    points: Floats, area: Floats, origin: Floats, normal: Floats, noise_mm: float, within_mm: float
) -> Base | None:
    """The polynomial that nearly all the area lies near, whatever stands beside it.

    Where the base bends and is no drum, cone or ball. Parameters as for `fit_base`.

    Parameters
    ----------
    within_mm : so near

    Returns
    -------
    Base, or None where there is none
    """
    enough = POINTS * (DEGREE + 1) * (DEGREE + 2) / 2
    if len(points) < enough:
        return None
    points, area = of_most_area(points, area)
    u, v, w = ((points - origin) @ frame(normal).T).T
    scale = float(max(np.hypot(u, v).max(), 1e-9))
    on = _off_most(terms_of(u / scale, v / scale, DEGREE), w, area, noise_mm)[1]
    if on.sum() < enough:
        return None
    found = fit_base(points[on], area[on], origin, normal, noise_mm)
    if found is None or found.residual > within_mm:
        return None
    if not holds_most(found.height(points), area, within_mm):
        return None
    return replace(found, is_of_most=True)


def _off_most(terms: Floats, w: Floats, area: Floats, noise_mm: float) -> tuple[Floats, Bools]:
    """(n,) how far points are off what most of the area lies on, mm, and which follow it."""
    on = np.ones(len(w), bool)
    weight = area / max(float(area.max()), 1e-300)
    for _ in range(ROUNDS):
        root = np.sqrt(weight * on)
        off = np.abs(w - terms @ np.linalg.lstsq(terms * root[:, None], w * root, rcond=None)[0])
        last, on = on, off <= max(noise_mm, 2.0 * quantile(off, weight, 0.5))
        if (last == on).all():
            break
    return off, on
