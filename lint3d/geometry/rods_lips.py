"""Where does a hole end whose lips are slanting?

Its length is that of its axis, not that to the far tip of a slanting lip. The rim of its sides at
either end is a loop of edges; the axis ends at the mean of the loop. Facets at the tip of a lip may
have nothing across from them, but lie on the same sides. Lengths in mm. Tested by
tests/geometry/test_rods_lips.py. The method was made for this project; no source.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lint3d.geometry.components import connected_groups
from lint3d.geometry.rods_sides import with_sides_beside
from lint3d.geometry.spans_surface import SpanSurface

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

_NEAR = 1e-3  # of the radius: how much farther from the axis a side may be
_FLAT = 0.15  # of its narrower half breadth, as a standard deviation: how far a loop leaves a plane


def lips(surface: SpanSurface, facets: Ints, axis: Floats) -> tuple[float | None, float | None]:
    """How far along the axis do a hole's sides begin and end, on the mean all round?

    Parameters
    ----------
    facets : (f,) int64, rows of the surface, all sides of the hole
    axis : (3,) unit

    Returns
    -------
    low, high : mm along the axis; None for an end that is no loop by itself, or not nearly in one
        plane: there another hole may cross
    """
    none = np.zeros(len(facets), np.int64)
    facets = with_sides_beside(surface, facets, none, axis[None], 1 + _NEAR)[0]
    is_rim = ~np.isin(surface.neighbours[facets], facets)
    row, side = np.nonzero(is_rim)
    if not len(row):
        return None, None
    corner = surface.faces[facets]
    one, two = corner[row, side], corner[row, (side + 1) % 3]
    used, ends = np.unique(np.concatenate([one, two]), return_inverse=True)
    ends = ends.reshape(2, -1)
    loop = connected_groups(len(used), ends[0], ends[1])[ends[0]]
    place = surface.vertices[np.stack([one, two])]
    along = place @ axis
    first, last = loop[along.min(axis=0).argmin()], loop[along.max(axis=0).argmax()]
    if first == last:
        return None, None
    low, high = (_mean_of(place[:, loop == which], axis) for which in (first, last))
    return low, high


def _mean_of(place: Floats, axis: Floats) -> float | None:
    """The mean along the axis of a loop's edges (2, e, 3), if they lie in one plane."""
    step = place[1] - place[0]
    # Seen along the axis: what runs along it is no part of the rim.
    turn = np.linalg.norm(step - (step @ axis)[:, None] * axis, axis=1)
    around = float(turn.sum())
    size, ways = np.linalg.eigh(np.cov(place.reshape(-1, 3), rowvar=False))
    height = place @ ways[:, 0]
    aside = np.sqrt(max(float(size[1]), 0.0))
    if around == 0.0 or np.ptp(height) > _FLAT * aside:
        return None
    return float((place @ axis).mean(axis=0) @ turn) / around
