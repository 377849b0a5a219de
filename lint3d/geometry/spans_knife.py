"""Where are the sharp edges and tips at which thickness tapers to nothing?

A knife edge is a side whose two facets enclose at most 30 degrees of the space measured; seen
outward the same is a crevice. Lengths in mm.
Tested by tests/geometry/test_spans_sharp.py and test_spans_steps.py.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from lint3d.geometry.spans_pairs import dot
from lint3d.geometry.spans_surface import SpanSurface

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

KNIFE_COS = float(np.cos(np.radians(30.5)))
#: Sides that enclose more are ordinary corners, but where round faces meet at one up to this, those
#: behind it enclose less, and are no wall either.
BLUNT_COS = float(np.cos(np.radians(45.0)))
POINTS_MOST = 2_000_000


@dataclass(eq=False)
class KnifeEdges:
    """Sharp sides and tips of the space measured.

    Attributes
    ----------
    facet, other : (e,) int64, the two facets of each sharp side
    angle : (e,) float64, degrees they enclose
    ends : (e, 2) int64, vertices
    tips : (t,) int64, vertices where facets across from each other meet in a point
    spacing : mm, between the points of `tree`
    tree : points along the sharp sides, then the tips; None if there are none
    owner : (p,) int64, which side each point of the tree is on; e + i for tip i
    blunt : points along sides that enclose up to 45 degrees; None if there are none
    blunt_facets : (q, 2) int64, the facets of the side that each of these is on
    """

    facet: Ints
    other: Ints
    angle: Floats
    ends: Ints
    tips: Ints
    spacing: float
    tree: cKDTree | None
    owner: Ints
    blunt: cKDTree | None
    blunt_facets: Ints


def knife_edges(
    surface: SpanSurface, inward: Floats, outward_look: bool, tips: Ints, spacing: float
) -> KnifeEdges:
    """Find the sharp sides, and make them ready to be looked up.

    Parameters
    ----------
    tips : (t,) int64, vertices known to be tips (a cone's)
    spacing : mm, about half the smallest thickness of interest
    """
    turns = surface.turns
    enclosed = -dot(inward[turns.facet], inward[turns.other])
    keep = (enclosed >= BLUNT_COS) & (turns.rise > 0 if outward_look else turns.rise < 0)
    keep[keep] = _fold(surface, turns.facet[keep], turns.side[keep], turns.other[keep])
    is_sharp = enclosed >= KNIFE_COS
    blunt, sharp = np.flatnonzero(keep & ~is_sharp), np.flatnonzero(keep & is_sharp)
    facet, other, ends = turns.facet[sharp], turns.other[sharp], _ends_of(surface, sharp)
    tips = np.setdiff1d(tips, ends.ravel())
    points, owner, sharp_spacing = _along(surface, ends, spacing)
    points = np.concatenate([points, surface.vertices[tips]])
    owner = np.concatenate([owner, len(facet) + np.arange(len(tips))])
    angle = np.degrees(np.arccos(np.clip(enclosed[sharp], -1, 1)))
    blunt_points, side, blunt_spacing = _along(surface, _ends_of(surface, blunt), spacing)
    both = np.stack([turns.facet[blunt], turns.other[blunt]], axis=1)[side]
    spacing = max(sharp_spacing, blunt_spacing)
    trees = [_tree_of(some) if len(some) else None for some in (points, blunt_points)]
    return KnifeEdges(facet, other, angle, ends, tips, spacing, trees[0], owner, trees[1], both)


def _ends_of(surface: SpanSurface, rows: Ints) -> Ints:
    """Vertices (k, 2) of some sides at which two facets turn."""
    facet, side = surface.turns.facet[rows], surface.turns.side[rows]
    return np.stack([surface.faces[facet, side], surface.faces[facet, (side + 1) % 3]], axis=1)


def _along(surface: SpanSurface, ends: Ints, spacing: float) -> tuple[Floats, Ints, float]:
    """Points along some sides, which side each is on, and how far apart they are."""
    begin = surface.vertices[ends[:, 0]]
    along = surface.vertices[ends[:, 1]] - begin
    length = np.linalg.norm(along, axis=1)
    spacing = max(spacing, float(length.sum()) / POINTS_MOST)
    count = np.ceil(length / spacing).astype(np.int64) + 1
    owner = np.repeat(np.arange(len(ends)), count)
    place = np.arange(len(owner)) - np.repeat(np.cumsum(count) - count, count)
    share = (place / np.maximum(count[owner] - 1, 1))[:, None]
    return begin[owner] + along[owner] * share, owner, spacing


def _tree_of(points: Floats) -> cKDTree:
    """Points ready to be looked up, also from the middle of a ring of them.

    Nodes that are drawn in to their points make that a hundred times slower.
    """
    return cKDTree(points, compact_nodes=False, balanced_tree=False)


def _fold(surface: SpanSurface, facet: Ints, side: Ints, other: Ints) -> Bools:
    """Do two facets lie on the same hand of the side that they share?

    Where more than two meet, or one is turned over, two that go on from each other may look
    opposite ways.
    """
    begin = surface.vertices[surface.faces[facet, side]]
    along = surface.vertices[surface.faces[facet, (side + 1) % 3]] - begin
    along /= np.maximum(np.linalg.norm(along, axis=1), 1e-300)[:, None]
    away = []
    for one in (facet, other):
        # Of the corners two lie on the side: their mean lies to the hand of the third.
        step = surface.corners[one].mean(axis=1) - begin
        step -= along * dot(step, along)[:, None]
        away.append(step)
    fold: Bools = dot(away[0], away[1]) > 0
    return fold
