"""How near do two facets come straight across, from one square onto the other?

Where sides taper by more than 15 degrees their nearest points lean too much to count, as at a
cut-off end that is askew. The distance straight across is then the span. Over the part of a facet
that lies straight across from another it changes evenly, so that it is least at a corner of that
part. Lengths in mm. Tested by tests/geometry/test_spans_straight.py.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lint3d.geometry.spans_across import ACCEPT_COS
from lint3d.geometry.spans_behind import tapers_to_edge
from lint3d.geometry.spans_knife import KnifeEdges
from lint3d.geometry.spans_pairs import dot
from lint3d.geometry.spans_surface import SpanSurface
from lint3d.geometry.spans_zoom import Contacts
from lint3d.geometry.vectors import cross_product

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

CLOSE = 1e-9  # how far beside a facet is on it, as a share of its longest side


def nearest_straight(
    surface: SpanSurface, inward: Floats, edges: KnifeEdges, pair: Ints
) -> Contacts:
    """The least distance straight across between facets, square to the one or to the other.

    Parameters
    ----------
    inward : (k, 3) float64, unit normals into the space measured
    pair : (j, 2) int64

    Returns
    -------
    Contacts : (j,); `counts` where a part of the one lies straight across from the other, on its
        inner side, and the two turn by no more than 30 degrees. Distance inf where none does.
    """
    best = np.full(len(pair), np.inf)
    point, contact = np.zeros((len(pair), 3)), np.zeros((len(pair), 3))
    for own, other in ((0, 1), (1, 0)):
        begin, end, far = _square_to_first(surface, inward, pair[:, own], pair[:, other])
        row = np.arange(len(pair))
        least = far.argmin(axis=0)
        nearer = far[least, row] < best
        best[nearer] = far[least, row][nearer]
        ends = (begin[least, row][nearer], end[least, row][nearer])
        point[nearer], contact[nearer] = ends if own == 0 else ends[::-1]
    facing = -dot(inward[pair[:, 0]], inward[pair[:, 1]])
    counts = np.isfinite(best) & (facing >= ACCEPT_COS)
    knife = np.zeros(len(pair), dtype=bool)
    rows = np.flatnonzero(counts)
    knife[rows] = tapers_to_edge(surface, inward, edges, pair[rows], point[rows], contact[rows])
    return Contacts(pair, point, contact, best, counts & ~knife, knife)


def _square_to_first(
    surface: SpanSurface, inward: Floats, first: Ints, second: Ints
) -> tuple[Floats, Floats, Floats]:
    """Corners of the part of the first that lies across from the second: fifteen ways of them.

    Returns
    -------
    begin, end : (15, j, 3) float64, mm, on the first and on the second
    distance : (15, j) float64, mm; inf where a way gives no corner
    """
    way, other_way = inward[first], inward[second]
    corners = surface.corners[first].transpose(1, 0, 2)
    others = surface.corners[second].transpose(1, 0, 2)
    close = CLOSE * np.maximum(surface.longest[first], surface.longest[second])
    slope = dot(way, other_way)
    slope = np.where(np.abs(slope) > 1e-9, slope, np.nan)
    rise = np.einsum("cij,ij->ci", others[0] - corners, other_way) / slope
    begins, ends = [corners], [corners + way * rise[..., None]]
    fits = [_holds(others, ends[0], way, close)]
    height = np.einsum("cij,ij->ci", others - corners[0], way)
    begins.append(others - way * height[..., None])
    ends.append(others)
    fits.append(_holds(corners, begins[1], way, close))
    for i in range(3):
        for j in range(3):
            begin, end, crosses = _crossing(
                corners[i], corners[(i + 1) % 3], others[j], others[(j + 1) % 3], way
            )
            begins.append(begin[None])
            ends.append(end[None])
            fits.append(crosses[None])
    begin, end, fit = np.concatenate(begins), np.concatenate(ends), np.concatenate(fits)
    distance = np.einsum("cij,ij->ci", end - begin, way)
    distance = np.where(fit & (distance > 0), distance, np.inf)
    return begin, end, distance


def _holds(corners: Floats, points: Floats, way: Floats, close: Floats) -> Bools:
    """Do points (c, j, 3) lie within triangles (3, j, 3), seen along a direction?"""
    turn = np.empty((3, *points.shape[:2]))
    for i in range(3):
        side = corners[(i + 1) % 3] - corners[i]
        length = np.linalg.norm(side, axis=1)
        turn[i] = np.einsum("cij,ij->ci", cross_product(side, points - corners[i]), way)
        turn[i] /= np.maximum(length, 1e-300)
    holds: Bools = np.logical_or((turn >= -close).all(axis=0), (turn <= close).all(axis=0))
    return holds


def _crossing(
    one: Floats, two: Floats, three: Floats, four: Floats, way: Floats
) -> tuple[Floats, Floats, Bools]:
    """Where two sides cross, seen along a direction: the point of each, and whether they do."""
    along, other = two - one, four - three
    apart = three - one
    whole = dot(cross_product(along, other), way)
    with np.errstate(divide="ignore", invalid="ignore"):
        share = dot(cross_product(apart, other), way) / whole
        of_other = dot(cross_product(apart, along), way) / whole
    crosses: Bools = (share >= 0) & (share <= 1) & (of_other >= 0) & (of_other <= 1)
    share, of_other = np.where(crosses, share, 0.0), np.where(crosses, of_other, 0.0)
    return one + along * share[:, None], three + other * of_other[:, None], crosses
