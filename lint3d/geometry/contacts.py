"""Which faces of two bodies lie on each other, and do the bodies meet at all?

Bodies made to touch lie on each other in the drawing; in a file their coordinates are rounded, so
that there is a gap or an overlap of a few steps between them. Lengths in mm. Guarded by
tests/geometry/test_contacts.py.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lint3d.geometry.captive_sweep import common_corners, height_over
from lint3d.geometry.clearance import Surface, faces_within
from lint3d.geometry.clearance_tree import BoxTree, TooManyPairs, nearest_faces, split_nodes
from lint3d.geometry.portions import chunks
from lint3d.geometry.vectors import cross_product

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

#: Faces that lie on each other look opposite ways, to within this (cosine): what rounding may turn
#: is small, and a facet of a finer round may lie on one of a coarser.
_OPPOSITE = -0.99
_PAIRS_AT_ONCE = 1 << 17
_MOST_PAIRS = 20_000_000


@dataclass(frozen=True, eq=False)
class Contact:
    """Two bodies that meet, and which of their faces lie on each other."""

    one: Ints
    """(k,) rows of the first body's faces"""
    two: Ints
    """(k,) rows of the second body's faces; pair by pair"""
    is_exact: Bools
    """(k,) do the two lie in one plane to the last digit?"""


def contact(one: Surface, two: Surface, reach: float) -> Contact | None:
    """Do the surfaces of two bodies come within reach, and which faces lie on each other?

    Parameters
    ----------
    reach : mm, how far rounding may have moved faces apart, or into each other

    Returns
    -------
    None where nothing comes within reach; a body wholly inside another has no contact either
    """
    rows = faces_within(one, two, reach)
    if rows is None:
        return None
    here, there = one.corners[rows[0]], two.corners[rows[1]]
    try:
        near = nearest_faces(here, there, np.full(len(here), reach * (1 + 1e-9)), slack=reach / 4)
    except TooManyPairs:
        return None
    if len(near.face) == 0:
        return None
    first = rows[0][near.face]
    found = [np.zeros((3, 0), np.int64)]
    grown = one.corners[first]
    second = rows[1][_boxes_near(there, grown, reach)]
    for a, b in _meeting_boxes(grown, two.corners[second], reach):
        exact, keep = _lie_on(grown[a], two.corners[second[b]], reach)
        found.append(np.stack([one.row[first[a[keep]]], two.row[second[b[keep]]], exact[keep]]))
    pairs = np.concatenate(found, axis=1)
    return Contact(pairs[0], pairs[1], pairs[2].astype(bool))


def _boxes_near(corners: Floats, others: Floats, reach: float) -> Ints:
    """Rows of the triangles that come within reach of the box of all others."""
    low, high = others.min(axis=(0, 1)) - reach, others.max(axis=(0, 1)) + reach
    meets = (corners.min(axis=1) <= high) & (corners.max(axis=1) >= low)
    return np.flatnonzero(meets.all(axis=1))


def _meeting_boxes(one: Floats, two: Floats, reach: float) -> Iterator[tuple[Ints, Ints]]:
    """Pairs of triangles whose boxes come within reach, in portions."""
    if len(one) == 0 or len(two) == 0:
        return
    a_tree, b_tree = BoxTree(one), BoxTree(two)
    stack = [(a_tree.top, b_tree.top, np.zeros(1, np.int64), np.zeros(1, np.int64))]
    looked_at = 0
    while stack:
        a, b, first, second = stack.pop()
        if len(first) > _PAIRS_AT_ONCE:
            stack += [(a, b, first[p], second[p]) for p in chunks(len(first), _PAIRS_AT_ONCE)]
            continue
        looked_at += len(first)
        if looked_at > _MOST_PAIRS:
            return
        gap = np.maximum(
            b_tree.low[b][second] - a_tree.high[a][first],
            a_tree.low[a][first] - b_tree.high[b][second],
        )
        keep = (gap <= reach).all(axis=1)
        first, second = first[keep], second[keep]
        if len(first) == 0:
            continue
        if a == 0 and b == 0:
            yield a_tree.order[first], b_tree.order[second]
        elif a > 0 and (b == 0 or a >= b):
            stack.append((a - 1, b, *split_nodes(first, second, len(a_tree.low[a - 1]))))
        else:
            down = split_nodes(second, first, len(b_tree.low[b - 1]))
            stack.append((a, b - 1, down[1], down[0]))


def _lie_on(one: Floats, two: Floats, reach: float) -> tuple[Bools, Bools]:
    """Of each pair of triangles: do they lie in one plane to the last digit, and on each other?"""
    lies = np.zeros(len(one), bool)
    exact = np.zeros(len(one), bool)
    normal = _unit_normals(one)
    rows = np.flatnonzero(np.einsum("ij,ij->i", normal, _unit_normals(two)) < _OPPOSITE)
    if len(rows):
        a, b = one[rows], two[rows]
        frame = _frames(normal[rows])
        origin = a.mean(axis=1, keepdims=True)
        flat_a, flat_b = (a - origin) @ frame, (b - origin) @ frame
        points, valid = common_corners(flat_a[..., :2], flat_b[..., :2])
        # They share an area, and are near each other all over it.
        shared = _shared_width(points, valid)
        apart = np.stack(
            [
                height_over(flat_b, points[:, i]) - height_over(flat_a, points[:, i])
                for i in range(points.shape[1])
            ],
            axis=1,
        )
        far = np.abs(np.where(valid, apart, 0.0)).max(axis=1)
        lies[rows] = valid.any(axis=1) & (shared > 4 * reach) & (far <= 2 * reach)
        both = np.concatenate([a, b], axis=1)
        exact[rows] = (both.max(axis=1) == both.min(axis=1)).any(axis=1)
    return exact, lies


def _shared_width(points: Floats, valid: Bools) -> Floats:
    """Roughly how broad what two triangles share is, its narrower way, mm."""
    count = valid.sum(axis=1)
    weight = valid / np.maximum(count, 1)[:, None]
    held = np.where(valid[..., None], points, 0.0)
    away = np.where(valid[..., None], held - np.einsum("ki,kij->kj", weight, held)[:, None], 0.0)
    spread = np.einsum("kij,kil,ki->kjl", away, away, weight)
    return 2 * np.sqrt(np.maximum(np.linalg.eigvalsh(spread)[:, 0], 0.0))


def _unit_normals(corners: Floats) -> Floats:
    normal = cross_product(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    length = np.linalg.norm(normal, axis=1)
    unit: Floats = normal / np.where(length > 0, length, 1.0)[:, None]
    return unit


def _frames(normal: Floats) -> Floats:
    """(k, 3, 3) frames whose third column is the normal."""
    helper = np.eye(3)[np.abs(normal).argmin(axis=1)]
    x = cross_product(normal, helper)
    x /= np.linalg.norm(x, axis=1)[:, None]
    return np.stack([x, cross_product(normal, x), normal], axis=2)
