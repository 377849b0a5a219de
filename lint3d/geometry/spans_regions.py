"""Which thin places hang together, how tight is each, and is it a wall or a rod?

A region is a set of thin facets that touch, with the facets across from them. A large facet over
many small thin floors joins them only where the floors themselves touch: a plate is one region,
ten blind holes over one big facet are ten. Lengths in mm.
Tested by tests/geometry/test_spans_regions.py.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from lint3d.geometry.spans import Spans
from lint3d.geometry.spans_connect import connect
from lint3d.geometry.spans_tightest import Tightest, tightest_of_each

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Kind = Literal["wall", "rod"]

ROD_RATIO = 2.0  # thin both ways: at most this many times as broad as thick
PROBES = 48  # places of a region at which its breadth is felt
DIRECTIONS = 8  # across each of them, over half a turn


@dataclass(frozen=True, eq=False)
class ThinRegion:
    """A connected thin region.

    Attributes
    ----------
    kind : "wall" or "rod" (thin both ways; outward: a slot or a hole)
    value : mm, the tightest span
    lower, upper : mm, the truth lies within
    point, contact_point : (3,) mm, where
    face, contact_face : rows of the mesh, the worst first
    faces : (f,) int64, all rows of the mesh in the region, the worst first
    box : (2, 3) mm; extent : mm, its longest side; area : mm2, one side, roughly
    breadth : mm, median width across the thickness, the narrower way; inf if beyond what was felt
    axis : (3,) unit, the long way; length : mm along it
    """

    kind: Kind
    value: float
    lower: float
    upper: float
    point: Floats
    contact_point: Floats
    face: int
    contact_face: int
    faces: Ints
    box: Floats
    extent: float
    area: float
    breadth: float
    axis: Floats
    length: float


def thin_regions(spans: Spans, limit: float | None = None) -> list[ThinRegion]:
    """Connected regions with a span below a limit, tightest first, knife edges left out.

    Parameters
    ----------
    spans : Spans
    limit : mm; the top of the range of interest if None. A region is told when it may lie
        below it, uncertainty included.
    """
    limit = spans.high if limit is None else min(limit, spans.high)
    rows = np.flatnonzero(spans.measured & ~spans.knife & (spans.interval[:, 0] < limit))
    if not len(rows):
        return []
    graph = connect(spans, rows)
    best = tightest_of_each(spans, rows, graph)
    order = np.argsort(graph.of_row, kind="stable")
    cuts = np.searchsorted(graph.of_row[order], np.arange(graph.count + 1))
    regions = [
        _region(spans, rows[order[cuts[i] : cuts[i + 1]]], best, i)
        for i in range(graph.count)
    ]
    return sorted(
        (region for region in regions if region.lower < limit),
        key=lambda region: (region.value, region.face),
    )


def tightest(spans: Spans) -> ThinRegion | None:
    """The tightest region within the range of interest, for a rule that passes."""
    regions = thin_regions(spans)
    return regions[0] if regions else None


def _region(spans: Spans, rows: Ints, best: Tightest, number: int) -> ThinRegion:
    """All there is to say about one region."""
    surface = spans.surface
    pair = spans.pair[rows]
    worst = best.contacts.pair[number]
    touched = np.zeros(len(surface.faces), dtype=bool)
    touched[pair.ravel()] = True
    facets = np.flatnonzero(touched)
    lower, upper = float(best.lower[number]), float(best.upper[number])
    distance = float(best.contacts.distance[number])
    # Midway between the distance and the ball, which are one except where both sides taper.
    value = (distance + max(upper - spans.floor_mm, distance)) / 2
    cloud = _cloud(spans, rows, facets)
    box = np.stack([cloud.min(0), cloud.max(0)])
    breadth, ratio = _breadth(spans, rows)
    axis, length = _long_way(cloud)
    faces = surface.face_ids[np.concatenate([worst, facets[~np.isin(facets, worst)]])]
    # A large facet's point stands for no more than what lies across from it. Two sides: half.
    share = np.minimum(spans.area[rows], surface.areas[pair[:, 1]])
    return ThinRegion(
        "rod" if ratio <= ROD_RATIO else "wall",
        value, lower, upper,
        best.contacts.point[number], best.contacts.contact[number],
        int(faces[0]), int(faces[1]), faces,
        box, float(np.ptp(box, axis=0).max()), float(share.sum() / 2), breadth, axis, length,
    )


def _cloud(spans: Spans, rows: Ints, facets: Ints) -> Floats:
    """Points that fill a region: corners of facets thin all over, and points of the others."""
    surface = spans.surface
    first = spans.pair[rows, 0]
    here = np.bincount(first[spans.area[rows] > 0], minlength=len(surface.faces))[facets]
    full = np.zeros(len(surface.faces), dtype=bool)
    full[facets[(here > 0) & (here >= spans.samples_each[facets])]] = True
    corner = np.zeros(len(surface.vertices), dtype=bool)
    corner[surface.faces[full].ravel()] = True
    part = ~full[spans.pair[rows]]
    cloud: Floats = np.concatenate(
        [
            surface.vertices[corner],
            spans.point[rows[part[:, 0]]],
            spans.contact_point[rows[part[:, 1]]],
        ]
    )
    return cloud


def _breadth(spans: Spans, rows: Ints) -> tuple[float, float]:
    """Median width across the thickness, the narrower way, in mm and over the thickness."""
    picked = rows[np.unique(np.linspace(0, len(rows) - 1, PROBES).astype(np.int64))]
    step = spans.contact_point[picked] - spans.point[picked]
    thick = np.linalg.norm(step, axis=1)
    picked, step, thick = picked[thick > 0], step[thick > 0], thick[thick > 0]
    if not len(picked):
        return float("inf"), float("inf")
    towards = step / thick[:, None]
    helper = np.eye(3)[np.abs(towards).argmin(1)]
    one = np.cross(towards, helper)
    one /= np.linalg.norm(one, axis=1)[:, None]
    two = np.cross(towards, one)
    middle = (spans.point[picked] + spans.contact_point[picked]) / 2
    scene = spans.surface.scene
    width = np.full(len(picked), np.inf)
    for turn in np.arange(DIRECTIONS) * np.pi / DIRECTIONS:
        way = one * np.cos(turn) + two * np.sin(turn)
        chord = np.zeros(len(picked))
        for sense in (way, -way):
            facet = scene.first_facet(middle, sense, 4 * ROD_RATIO * thick)
            chord += scene.distance(middle, sense, facet)
        width = np.minimum(width, chord)
    return float(np.median(width)), float(np.median(width / thick))


def _long_way(cloud: Floats) -> tuple[Floats, float]:
    """Direction in which a cloud of points is longest, and how long it is."""
    centred = cloud - cloud.mean(0)
    axis = np.linalg.svd(centred.T @ centred)[0][:, 0]
    axis = axis * (1.0 if axis[np.abs(axis).argmax()] > 0 else -1.0)
    return axis, float(np.ptp(centred @ axis))
