"""Which facets run along a bar beside those that are known to be its sides?

A side counts as one where it is thin both ways. The tip of an arm of a star is thin one way only,
and at the tip of a slanting lip nothing is across. Lengths in mm. Tested by
tests/geometry/test_rods_outline.py and test_rods_lips.py. The method was made for this project; no
source.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lint3d.geometry.each_once import distinct, distinct_but
from lint3d.geometry.spans_surface import SpanSurface

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

SQUARE = 1e-3  # sine of the lean of a side
RINGS_MOST = 48  # facets from the sides that are known to the farthest that is looked for


def with_sides_beside(
    surface: SpanSurface, facet: Ints, bar: Ints, axis: Floats, farther: float
) -> tuple[Ints, Ints]:
    """Sides of bars, and which bar each is of, with those beside them that run along it, too.

    Parameters
    ----------
    facet, bar : (f,) int64, known sides of bars; not every bar needs one
    axis : (b, 3) float64, unit
    farther : so many times as far from the middle as those that are known they may be
    """
    size = np.int64(len(surface.faces))
    aside = _aside(surface.corners[facet], axis[bar])
    low, high = np.full((len(axis), 3), np.inf), np.full((len(axis), 3), -np.inf)
    np.minimum.at(low, bar, aside.min(axis=1))
    np.maximum.at(high, bar, aside.max(axis=1))
    low, high = np.where(np.isfinite(low), low, 0.0), np.where(np.isfinite(high), high, 0.0)
    middle, far = (low + high) / 2, np.zeros(len(axis))
    np.maximum.at(far, bar, np.linalg.norm(aside - middle[bar, None], axis=2).max(axis=1))
    far *= farther
    fresh = known = distinct(bar * size + facet)
    for _ in range(RINGS_MOST):
        beside = surface.neighbours[fresh % size]
        owner = np.repeat(fresh // size, 3)[(beside >= 0).ravel()]
        fresh = distinct_but(owner * size + beside[beside >= 0], known)
        facet, bar = fresh % size, fresh // size
        keep = np.abs((surface.normals[facet] * axis[bar]).sum(axis=1)) <= SQUARE
        away = _aside(surface.corners[facet], axis[bar]) - middle[bar, None]
        keep &= (np.linalg.norm(away, axis=2) <= far[bar, None]).all(axis=1)
        fresh = fresh[keep]
        if not len(fresh):
            break
        known = np.concatenate([known, fresh])
    return known % size, known // size


def _aside(corners: Floats, axis: Floats) -> Floats:
    """(k, 3, 3) corners without their way along an axis each."""
    aside: Floats = corners - np.einsum("kij,kj->ki", corners, axis)[..., None] * axis[:, None]
    return aside
