"""Where does the material (or the gap) taper to nothing, and how deep is the strip that is thin?

Knife edges looking inward, crevices looking outward. The smallest sample near such an edge only
tells how near one sampled; what can be said is the angle and the depth of the strip thinner
than a limit: limit / (2 tan(angle / 2)) in a plain wedge. Lengths in mm.
Tested by tests/geometry/test_spans_sharp.py.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from lint3d.geometry.spans import Spans
from lint3d.geometry.spans_knife import KNIFE_COS
from lint3d.geometry.spans_pairs import dot
from lint3d.geometry.spans_strip import strip_depths, tip_depths

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

SKEW_MOST = 2.0  # times the distance to a tip square to the line in which two planes meet
FAR = 1.5  # times as deep as behind flat sides of the same angle: between round sides it may be so
NEAREST_EACH = 8  # points along sides, the nearest, of which the nearest side is on one
LINES_EACH = 8  # lines along which the strip behind a tip is felt


@dataclass(frozen=True, eq=False)
class SharpRegion:
    """Knife edges, or crevices, that hang together; or the tip of a cone.

    Attributes
    ----------
    angle : degrees that the sharpest side encloses
    depth : mm, of the strip thinner than the limit, where it is deepest
    lower, upper : mm, the truth lies within; at a tip that of a plain cone does, too
    point : (3,) mm, on the edge where the strip is deepest
    face : row of the mesh at that place
    faces : (f,) int64, rows of the mesh in the strip, the worst first
    length : mm, of the edges; 0 for a tip
    box : (2, 3) mm; extent : mm, its longest side
    """

    angle: float
    depth: float
    lower: float
    upper: float
    point: Floats
    face: int
    faces: Ints
    length: float
    box: Floats
    extent: float


def sharp_regions(spans: Spans, limit: float) -> list[SharpRegion]:
    """Connected knife edges with the depth of the strip thinner than a limit, deepest first.

    Parameters
    ----------
    spans : Spans
    limit : mm, at most the top of the range of interest for a depth that is measured
    """
    return deepest_regions(spans, limit)[0]


def deepest_regions(
    spans: Spans, limit: float, most: int | None = None
) -> tuple[list[SharpRegion], int]:
    """The same, no more than so many of them, and how many more there are.

    Parameters
    ----------
    most : any number if None
    """
    edges = spans.edges
    if edges.tree is None:
        return [], 0
    groups, angle = _strips(spans)
    row, owner, away = _rows_of(spans, limit)
    kept = _tapers_there(spans, row, owner, away)
    row, owner, away = row[kept], owner[kept], away[kept]
    # Samples end short of where the strip does.
    sides = (edges.facet, edges.other, edges.ends)
    felt = strip_depths(spans.surface, spans.inward, sides, limit)
    # A sample whose nearest sharp side is far off belongs to no strip behind that side.
    plain = limit / (2 * np.tan(np.radians(np.maximum(angle, 0.5)) / 2))
    plain[len(felt) :] = np.inf
    depth = np.zeros(len(angle))
    np.maximum.at(depth, owner, np.where(away <= FAR * plain[owner], away, 0.0))
    # A strip that bends leaves the line along which it is felt.
    depth[: len(felt)] = np.maximum(depth[: len(felt)], felt)
    behind = _felt_behind_tips(spans, row, owner, away, limit)
    is_felt = np.concatenate([felt > 0, behind > 0])
    depth[len(felt) :] = np.maximum(depth[len(felt) :], behind)
    order = np.argsort(groups, kind="stable")
    cuts = np.searchsorted(groups[order], np.arange(groups.max() + 2))
    by_group = np.argsort(groups[owner], kind="stable")
    row_cuts = np.searchsorted(groups[owner][by_group], np.arange(groups.max() + 2))
    # Without those where facets meet in a corner, but in no tip.
    told = np.flatnonzero((order[cuts[:-1]] < len(edges.facet)) | (np.diff(row_cuts) > 0))
    deepest = np.maximum.reduceat(depth[order], cuts[:-1])
    chosen = told[np.argsort(-deepest[told], kind="stable")][:most]
    regions = [
        _region(
            spans,
            order[cuts[i] : cuts[i + 1]],
            row[by_group[row_cuts[i] : row_cuts[i + 1]]],
            limit,
            angle,
            depth,
            is_felt,
        )
        for i in chosen.tolist()
    ]
    regions.sort(key=lambda region: (-region.depth, region.face))
    return regions, len(told) - len(chosen)


def _strips(spans: Spans) -> tuple[Ints, Floats]:
    """For each sharp side, then each tip: group, and angle."""
    edges, surface = spans.edges, spans.surface
    count, tips = len(edges.facet), len(edges.tips)
    ends = np.concatenate([edges.ends, np.stack([edges.tips, edges.tips], axis=1)])
    member = np.arange(count + tips)
    vertices = len(surface.vertices)
    links = (np.concatenate([member, member]), ends.T.ravel() + count + tips)
    total = count + tips + vertices
    graph = coo_array((np.ones(2 * len(member), dtype=np.int8), links), shape=(total, total))
    label = connected_components(graph, directed=False)[1][member]
    groups = np.unique(label, return_inverse=True)[1]
    angle = np.concatenate([edges.angle, np.full(tips, np.nan)])
    return groups, angle


def _rows_of(spans: Spans, limit: float) -> tuple[Ints, Ints, Floats]:
    """Measured places in a strip thinner than the limit: row, nearest side or tip, how far off."""
    edges = spans.edges
    row = np.flatnonzero(spans.measured & spans.knife & (spans.value < limit))
    middle = (spans.point[row] + spans.contact_point[row]) / 2
    if edges.tree is None or not len(row):
        return row, np.zeros(len(row), dtype=np.int64), np.zeros(len(row))
    count = min(NEAREST_EACH, edges.tree.n)
    away, nearest = (one.reshape(len(row), count) for one in edges.tree.query(middle, k=count))
    owner = edges.owner[nearest]
    side = np.nonzero(owner < len(edges.facet))
    # To a side the distance is square to it, not to the nearest of the points along it.
    begin = spans.surface.vertices[edges.ends[owner[side], 0]]
    along = spans.surface.vertices[edges.ends[owner[side], 1]] - begin
    share = np.clip(dot(middle[side[0]] - begin, along) / dot(along, along), 0, 1)
    away[side] = np.linalg.norm(middle[side[0]] - begin - along * share[:, None], axis=1)
    best = (np.arange(len(row)), away.argmin(axis=1))
    away, owner = away[best], owner[best]
    if edges.blunt is not None:
        # The strip behind a blunt side is no wall, but not told either.
        told = away <= edges.blunt.query(middle)[0]
        row, owner, away = row[told], owner[told], away[told]
    return row, owner, away


def _tapers_there(spans: Spans, row: Ints, owner: Ints, away: Floats) -> Bools:
    """Is a place in the strip behind what is nearest to it? Always so behind a side.

    Behind a tip its two facets enclose a sharp angle and are as far apart as that angle makes them
    so far off. Facets that meet in a corner elsewhere, and the ends of a valley whose floor narrows
    to a point, are none.
    """
    first, second = spans.pair[row].T
    facing = -dot(spans.inward[first], spans.inward[second])
    with np.errstate(divide="ignore"):
        plain = spans.value[row] / (2 * np.sqrt((1 - facing).clip(0) / (1 + facing)))
    there: Bools = (facing >= KNIFE_COS) & (away <= SKEW_MOST * plain)
    return there | (owner < len(spans.edges.facet))


def _felt_behind_tips(spans: Spans, row: Ints, owner: Ints, away: Floats, limit: float) -> Floats:
    """(tips,) depth behind each tip, along lines through the places farthest off it."""
    edges, count = spans.edges, len(spans.edges.facet)
    mine = np.flatnonzero(owner >= count)
    mine = mine[np.lexsort((-away[mine], owner[mine]))]
    each = np.unique(owner[mine], return_counts=True)[1]
    place = np.arange(len(mine)) - np.repeat(np.cumsum(each) - each, each)
    mine = mine[place < LINES_EACH]
    tip = owner[mine] - count
    middle = (spans.point[row[mine]] + spans.contact_point[row[mine]]) / 2
    at = spans.surface.vertices[edges.tips[tip]]
    felt = tip_depths(spans.surface, spans.inward, at, middle, spans.pair[row[mine]], limit)
    depth = np.zeros(len(edges.tips))
    np.maximum.at(depth, tip, felt)
    return depth


def _region(
    spans: Spans,
    members: Ints,
    rows: Ints,
    limit: float,
    angle: Floats,
    depth: Floats,
    is_felt: Bools,
) -> SharpRegion:
    """All there is to say about one group."""
    edges, surface = spans.edges, spans.surface
    count = len(edges.facet)
    worst = members[depth[members].argmax()]
    sides = members[members < count]
    if worst < count:
        ends = surface.vertices[edges.ends[worst]]
        first = [edges.facet[worst], edges.other[worst]]
    else:
        ends = surface.vertices[edges.tips[[worst - count]]]
        start, around = surface.incidence
        first = [around[start[edges.tips[worst - count]]]]
    facets = np.unique(
        np.concatenate([edges.facet[sides], edges.other[sides], spans.pair[rows].ravel()])
    )
    faces = surface.face_ids[np.concatenate([first, facets[~np.isin(facets, first)]])]
    tips = edges.tips[members[members >= count] - count]
    corners = surface.vertices[np.concatenate([edges.ends[sides].ravel(), tips])]
    cloud = np.concatenate([corners, spans.point[rows], spans.contact_point[rows]])
    box = np.stack([cloud.min(0), cloud.max(0)])
    length = np.diff(surface.vertices[edges.ends[sides]], axis=1)[:, 0]
    narrow = angle[sides].min() if len(sides) else _tip_angle(spans, rows)
    steep = 2 * np.tan(np.radians(max(narrow, 0.05)) / 2)
    margin = float(spans.floor_mm / steep)
    deep = float(depth[worst])
    # Round a tip samples end short of where the strip does; a skew one reaches farther.
    plain = float(limit / steep) if worst >= count and not is_felt[worst] else deep
    return SharpRegion(
        float(narrow),
        deep,
        max(min(deep, plain) - margin, 0.0),
        max(deep, plain) + margin,
        ends.mean(0),
        int(faces[0]),
        faces,
        float(np.linalg.norm(length, axis=1).sum()),
        box,
        float(np.ptp(box, axis=0).max()),
    )


def _tip_angle(spans: Spans, rows: Ints) -> float:
    """Degrees between the sides across from each other at a tip."""
    first, second = spans.pair[rows].T
    facing = -dot(spans.inward[first], spans.inward[second])
    return float(np.degrees(np.arccos(np.clip(facing, -1, 1))).max())
