"""How tight does a tapering place get before its contact ends?

Between facets that tilt against each other the span falls towards a side, where the exact
contact of the two may lean too far to count. From the tightest samples the search creeps along
the facet while the span straight across falls, with steps that shrink. Lengths in mm.
Tested by tests/geometry/test_spans_steps.py.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lint3d.geometry.spans_across import ACCEPT_COS, is_inside, straight_across
from lint3d.geometry.spans_behind import tapers_to_edge
from lint3d.geometry.spans_knife import KnifeEdges
from lint3d.geometry.spans_surface import SpanSurface
from lint3d.geometry.vectors import cross_product

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

ROUNDS = 24
WAYS = 12  # directions tried from each place in a round


@dataclass(eq=False)
class Crept:
    """Where the search ended, one row a start.

    Attributes
    ----------
    pair : (k, 2) int64
    point, contact : (k, 3) float64, mm
    value, above : (k,) float64, mm, the span and the distance straight across
    step : (k,) float64, mm, the last step: what is left to find lies within it
    """

    pair: Ints
    point: Floats
    contact: Floats
    value: Floats
    above: Floats
    step: Floats


def creep(
    surface: SpanSurface, inward: Floats, edges: KnifeEdges, start: Crept, reach: float
) -> Crept:
    """Creep from samples to the tightest span on their facet.

    Parameters
    ----------
    start : samples, with `step` about the spacing of samples there; changed in place
    reach : mm
    """
    facet = start.pair[:, 0]
    corners, normal = surface.corners[facet], surface.normals[facet]
    one = corners[:, 1] - corners[:, 0]
    one /= np.linalg.norm(one, axis=1)[:, None]
    two = cross_product(normal, one)
    for number in range(ROUNDS):
        # The directions turn from round to round, so that no corner is missed for ever.
        angle = (np.arange(WAYS) + 0.618 * number) * 2 * np.pi / WAYS
        way = one[:, None] * np.cos(angle)[:, None] + two[:, None] * np.sin(angle)[:, None]
        there = start.point[:, None] + start.step[:, None, None] * way
        trial = _held_inside(corners, normal, there)
        owner = np.repeat(np.arange(len(facet)), WAYS)
        points = trial.reshape(-1, 3)
        # Drawn back to one side a point may still lie beyond another, in a sharp corner.
        inside = is_inside(surface, facet[owner], points)
        owner, points = owner[inside], points[inside]
        met = straight_across(surface, inward, points, facet[owner], reach)
        pair = np.stack([facet[owner], met.facet], axis=1)
        good = np.flatnonzero(
            (met.facet >= 0) & (met.facing >= ACCEPT_COS) & (met.value < start.value[owner] - 1e-9)
        )
        good = good[
            ~tapers_to_edge(surface, inward, edges, pair[good], points[good], met.contact[good])
        ]
        order = good[np.lexsort((met.value[good], owner[good]))]
        first = order[np.unique(owner[order], return_index=True)[1]]
        where = owner[first]
        start.pair[where], start.point[where] = pair[first], points[first]
        start.contact[where], start.value[where] = met.contact[first], met.value[first]
        start.above[where] = met.distance[first]
        still = np.ones(len(facet), dtype=bool)
        still[where] = False
        start.step[still] /= 2
    return start


def _held_inside(corners: Floats, normal: Floats, points: Floats) -> Floats:
    """Points (k, w, 3) in the planes of triangles, drawn back to their sides where outside."""
    for side in range(3):
        begin = corners[:, side]
        along = corners[:, (side + 1) % 3] - begin
        out = cross_product(along, normal)
        out /= np.linalg.norm(out, axis=1)[:, None]
        over = np.einsum("kwi,ki->kw", points - begin[:, None], out)
        margin = 1e-6 * np.linalg.norm(along, axis=1)[:, None]
        points = points - np.maximum(over + margin, 0)[:, :, None] * out[:, None]
    held: Floats = points
    return held
