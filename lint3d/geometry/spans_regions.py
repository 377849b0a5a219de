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

from lint3d.geometry.spans import Spans, spans_at
from lint3d.geometry.spans_between import filled_in
from lint3d.geometry.spans_breadth import breadths
from lint3d.geometry.spans_connect import Connected, connect, same_place
from lint3d.geometry.spans_effort import effort_of_step
from lint3d.geometry.spans_ledge import without_ledges
from lint3d.geometry.spans_tightest import Tightest, tightest_of_each

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]
Kind = Literal["wall", "rod"]

ROD_RATIO = 2.0  # thin both ways: at most this many times as broad as thick
SAME_PLACE = 0.02  # regions whose tightest places are this near are one, as a share of low
PROBES = 48  # places of a region at which its breadth is felt
OFF_EDGE = 0.25  # of the thickness: from so far inside an edge the breadth is felt
FEW_AMONG = 20  # points spread over facets, one in so many contacts, that say little of a region
BESIDE, INSIDE = 0.5, 0.002  # of the way to each corner of a facet, then to its middle
PROBES_LEAST, PROBE_RAYS = 3, 4 * 16  # each sends 16 rays: a quarter of what may be sent


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
    return tightest_regions(spans, limit)[0]


def tightest_regions(
    spans: Spans, limit: float | None = None, most: int | None = None
) -> tuple[list[ThinRegion], dict[Kind, int]]:
    """The same, no more than so many of a kind, and how many more there are of each.

    Parameters
    ----------
    most : any number if None: a body of a million needles may have as many thin places
    """
    limit = spans.high if limit is None else min(limit, spans.high)
    effort = effort_of_step(spans.surface)
    spans = without_ledges(filled_in(spans, limit, effort), limit)
    rows = np.flatnonzero(spans.thinner_than(limit))
    if not len(rows):
        return [], {"wall": 0, "rod": 0}
    graph = connect(spans, rows, effort)
    best = tightest_of_each(spans, rows, graph, effort)
    middle = (best.contacts.point + best.contacts.contact) / 2
    joined = same_place(graph, best.contacts.pair, middle, SAME_PLACE * spans.low)
    if joined.count < graph.count:
        graph, best = joined, _tightest_of_joined(best, graph, joined)
    # By region; points spread over facets before exact contacts.
    order = np.lexsort((spans.area[rows] == 0, graph.of_row))
    rows, label = rows[order], graph.of_row[order]
    cuts = np.searchsorted(label, np.arange(graph.count + 1))
    full = _thin_all_over(spans, rows, label)
    beside, beside_cuts = _without_points(spans, rows, label, graph.count)
    probes = max(PROBES_LEAST, min(PROBES, effort.rays // (PROBE_RAYS * graph.count)))
    breadth = _breadth_of_each(spans, rows, cuts, probes, limit)
    chosen, more = _worst_of_each_kind(best.lower < limit, _values(spans, best), breadth, most)
    regions = [
        _region(
            spans,
            rows[cuts[i] : cuts[i + 1]],
            beside[beside_cuts[i] : beside_cuts[i + 1]],
            full,
            best,
            i,
            breadth[i],
        )
        for i in chosen.tolist()
    ]
    return sorted(regions, key=lambda region: (region.value, region.face)), more


def _worst_of_each_kind(
    may_be_thin: Bools, value: Floats, breadth: Floats, most: int | None
) -> tuple[Ints, dict[Kind, int]]:
    """Which regions are told, ascending, and how many more there are of each kind."""
    is_rod = breadth[:, 1] <= ROD_RATIO
    chosen: list[Ints] = []
    more: dict[Kind, int] = {}
    kinds: tuple[tuple[Kind, Bools], ...] = (("wall", ~is_rod), ("rod", is_rod))
    for kind, mine in kinds:
        told = np.flatnonzero(may_be_thin & mine)
        chosen.append(told[np.argsort(value[told], kind="stable")][:most])
        more[kind] = len(told) - len(chosen[-1])
    return np.sort(np.concatenate(chosen)), more


def _tightest_of_joined(best: Tightest, apart: Connected, joined: Connected) -> Tightest:
    """The tightest contact of each joined region, with the lowest lower bound of its parts."""
    label = np.empty(apart.count, dtype=np.int64)
    label[apart.of_row] = joined.of_row
    order = np.lexsort((best.contacts.distance, label))
    first = order[np.unique(label[order], return_index=True)[1]]
    lower = np.full(joined.count, np.inf)
    np.minimum.at(lower, label, best.lower)
    return Tightest(best.contacts.take(first), lower, best.upper[first])


def tightest(spans: Spans) -> ThinRegion | None:
    """The tightest region within the range of interest, for a rule that passes."""
    regions = thin_regions(spans)
    return regions[0] if regions else None


def _values(spans: Spans, best: Tightest, rows: slice = slice(None)) -> Floats:
    """Midway between the distance and the ball, which are one except where both sides taper."""
    distance = best.contacts.distance[rows]
    value: Floats = (distance + np.maximum(best.upper[rows] - spans.floor_mm, distance)) / 2
    return value


def _region(
    spans: Spans,
    rows: Ints,
    beside: Ints,
    full: Bools,
    best: Tightest,
    number: int,
    breadth: Floats,
) -> ThinRegion:
    """All there is to say about one region."""
    surface = spans.surface
    pair = spans.pair[rows]
    worst = best.contacts.pair[number]
    lower, upper = float(best.lower[number]), float(best.upper[number])
    value = float(_values(spans, best, slice(number, number + 1))[0])
    facets = _each_once(pair, len(surface.faces))
    cloud = _cloud(spans, rows, full, facets)
    box = np.stack([cloud.min(0), cloud.max(0)])
    axis, length = _long_way(cloud)
    if len(beside):
        facets = _each_once(np.concatenate([facets, beside]), len(surface.faces))
    others = facets[(facets != worst[0]) & (facets != worst[1])]
    faces = surface.face_ids[np.concatenate([worst, others])]
    return ThinRegion(
        "rod" if breadth[1] <= ROD_RATIO else "wall",
        value,
        lower,
        upper,
        best.contacts.point[number],
        best.contacts.contact[number],
        int(faces[0]),
        int(faces[1]),
        faces,
        box,
        float(np.ptp(box, axis=0).max()),
        _area(spans, rows, full),
        float(breadth[0]),
        axis,
        length,
    )


def _area(spans: Spans, rows: Ints, full: Bools) -> float:
    """mm2, of one side of a region."""
    here, there = full[spans.pair[rows]].T
    own, across = spans.area[rows], spans.surface.areas[spans.pair[rows, 1]]
    # Two sides: each point counts half. Of a facet that is thin in part few points may tell: what
    # lies across from it counts for both where that is thin all over, and its points no more than
    # the facet across from them is large.
    share = np.where(here, own * np.where(there, 0.5, 1.0), 0.5 * np.minimum(own, across))
    return float(share[here | ~there].sum())


def _without_points(spans: Spans, rows: Ints, label: Ints, count: int) -> tuple[Ints, Ints]:
    """Needles without a point of their own, by the region of the point that stands for them."""
    facet, row = spans.stands_for.T
    of_row = np.full(len(spans.value), -1, dtype=np.int64)
    of_row[rows] = label
    mine = of_row[row]
    order = np.argsort(mine, kind="stable")
    return facet[order], np.searchsorted(mine[order], np.arange(count + 1))


def _each_once(numbers: Ints, most: int) -> Ints:
    """Which numbers below `most` occur, ascending."""
    if numbers.size < most // 16:
        return np.unique(numbers)
    occurs = np.zeros(most, dtype=bool)
    occurs[numbers.ravel()] = True
    return np.flatnonzero(occurs)


def _thin_all_over(spans: Spans, rows: Ints, label: Ints) -> Bools:
    """(k,) bool : facets of the surface that are thin, and in one region, at all their points."""
    count = len(spans.surface.faces)
    spread = spans.area[rows] > 0
    first, label = spans.pair[rows[spread], 0], label[spread]
    here = np.bincount(first, minlength=count)
    some = np.zeros(count, dtype=label.dtype)
    some[first] = label
    mixed = np.zeros(count, dtype=bool)
    mixed[first[some[first] != label]] = True
    full: Bools = (here > 0) & (here >= spans.samples_each) & ~mixed
    return full


def _cloud(spans: Spans, rows: Ints, full: Bools, facets: Ints) -> Floats:
    """Points that fill a region: corners of facets thin all over, and points of the others."""
    surface = spans.surface
    corners = _each_once(surface.faces[facets[full[facets]]], len(surface.vertices))
    part = ~full[spans.pair[rows]]
    cloud: Floats = np.concatenate(
        [
            surface.vertices[corners],
            spans.point[rows[part[:, 0]]],
            spans.contact_point[rows[part[:, 1]]],
        ]
    )
    return cloud


def _breadth_of_each(spans: Spans, rows: Ints, cuts: Ints, probes: int, limit: float) -> Floats:
    """Median breadth of each region (c, 2): in mm, and over the thickness."""
    # Exact contacts lie at the ends of things; where there are others those are left out. But of a
    # few among very many, as along the thin end of a wedge, all may lie in its corners.
    spread = np.add.reduceat(spans.area[rows] > 0, cuts[:-1], dtype=np.int64)
    size = np.diff(cuts)
    size = np.where(spread * FEW_AMONG > size, spread, size)
    count = np.minimum(size, probes)
    owner = np.repeat(np.arange(len(size)), count)
    turn = np.arange(len(owner)) - np.repeat(np.cumsum(count) - count, count)
    picked = rows[cuts[owner] + turn * size[owner] // count[owner]]
    point, contact = _off_their_edges(spans, picked)
    # Where there is no other at all, places farther along the same facets, if they are thin, too.
    alone = np.flatnonzero(spread[owner] == 0)
    more_point, more_contact, of = _thin_beside(spans, picked[alone], limit)
    more = owner[alone[of]]
    stays = ~np.isin(owner, more)
    owner = np.concatenate([owner[stays], more])
    point = np.concatenate([point[stays], more_point])
    contact = np.concatenate([contact[stays], more_contact])
    width = breadths(spans.surface.scene, point, contact)
    thick = np.linalg.norm(contact - point, axis=1)
    ratio = width / np.maximum(thick, 1e-300)
    count = np.bincount(owner)
    middle = np.cumsum(count) - count + count // 2
    return np.stack(
        [column[np.lexsort((column, owner))][middle] for column in (width, ratio)], axis=1
    )


def _thin_beside(spans: Spans, rows: Ints, limit: float) -> tuple[Floats, Floats, Ints]:
    """Both ends of places on the facets of exact contacts, halfway to their corners, that are thin.

    The third tells the row of each. All that is thin at the cut-off end of a wedge is its edge,
    and all contacts there lie in the corners.
    """
    facet = spans.pair[rows]
    ends = np.stack([spans.point[rows], spans.contact_point[rows]], axis=1)
    corners = spans.surface.corners[facet]
    step = BESIDE * (corners - ends[:, :, None])
    place = ends[:, :, None] + step
    place += INSIDE * (corners.mean(axis=2)[:, :, None] - place)
    thick = np.linalg.norm(ends[:, 0] - ends[:, 1], axis=1)
    apart = np.linalg.norm(step, axis=3) > OFF_EDGE * thick[:, None, None]
    owner = np.nonzero(apart)[0]
    point, facet = place[apart], np.repeat(facet[:, :, None], 3, axis=2)[apart]
    value, _, across = spans_at(spans.surface, point, facet, spans.high, spans.look)
    thin = (across >= 0) & (value < limit)
    contact = point[thin] + spans.inward[facet[thin]] * value[thin, None]
    return point[thin], contact, owner[thin]


def _off_their_edges(spans: Spans, rows: Ints) -> tuple[Floats, Floats]:
    """Both ends of some spans; those of exact contacts, which lie on edges, moved into the facets.

    On the rim of a pin no ray across it meets anything.
    """
    ends = np.stack([spans.point[rows], spans.contact_point[rows]])
    exact = np.flatnonzero(spans.area[rows] == 0)
    thick = np.linalg.norm(ends[1] - ends[0], axis=1)[exact]
    for i, facet in enumerate(spans.pair[rows[exact]].T):
        step = spans.surface.corners[facet].mean(axis=1) - ends[i, exact]
        far = np.linalg.norm(step, axis=1)
        most = OFF_EDGE * np.minimum(thick, far)
        ends[i, exact] += step * (most / np.maximum(far, 1e-300))[:, None]
    return ends[0], ends[1]


def _long_way(cloud: Floats) -> tuple[Floats, float]:
    """Direction in which a cloud of points is longest, and how long it is."""
    centred = cloud - cloud.mean(0)
    axis = np.linalg.svd(centred.T @ centred)[0][:, 0]
    axis = axis * (1.0 if axis[np.abs(axis).argmax()] > 0 else -1.0)
    return axis, float(np.ptp(centred @ axis))
