"""Which large facets face each other within reach?

One range query over all of them: a tree of boxes with cones of normals, walked against itself
level by level. Two branches part as soon as they are too far apart or cannot face each other,
so that a sound part is cleared in a few steps. Lengths in mm.
Tested by tests/geometry/test_spans_tree.py.
Rows are taken with `take`: the same as by brackets, several times faster for three numbers a row.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lint3d.geometry.spans_pairs import LEAN_COS, dot
from lint3d.geometry.vectors import cross_product

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

LEAN_TAN = float(np.tan(np.arccos(LEAN_COS)))
FANOUT = 4
FACING_COS = 0.5  # facets within 60 degrees of opposite are looked at
BUDGET, BUDGET_EACH, BUDGET_MOST = 4_000_000, 60, 20_000_000
# Pairs handed on, and more for each facet: needles round a hub would otherwise give millions.
PAIRS, PAIRS_EACH, PAIRS_MOST = 100_000, 5, 1_000_000
PAIRS_AT_ONCE = 200_000


@dataclass
class _Level:
    """Nodes of one level: boxes, and cones that hold the normals below."""

    low: Floats
    high: Floats
    axis: Floats
    spread: Floats


def facing_pairs(
    corners: Floats,
    inward: Floats,
    reach: float,
    budget: int | None = None,
    flat: bool = True,
    most: int | None = None,
    facing: tuple[float, float] | None = None,
) -> tuple[Ints, bool]:
    """Pairs of facets that may face each other within reach.

    Parameters
    ----------
    corners : (k, 3, 3) float64, mm
    inward : (k, 3) float64, unit normals into the space that is measured
    reach : mm, pairs farther apart are dropped
    budget : how many pairs of nodes may be looked at; by the number of facets if None
    flat : facets with a plane to test against; False for sides, given as (begin, end, end)
    most : how many pairs may be handed on; by the number of facets if None
    facing : only those whose inward normals are so near to opposite, from and to (cosines)

    Returns
    -------
    pairs : (j, 2) int64, rows of `corners`, first < second
    complete : False if the budget ran out, or too many were found: pairs are then missing
    """
    if len(corners) < 2:
        return np.zeros((0, 2), dtype=np.int64), True
    if budget is None:
        budget = min(BUDGET + BUDGET_EACH * len(corners), BUDGET_MOST)
    by_count = min(PAIRS + PAIRS_EACH * len(corners), PAIRS_MOST)
    most = by_count if most is None else min(most, by_count)
    order = _order(corners.mean(1), inward)
    levels = _levels(corners[order], inward[order])
    # (depth, first nodes, second nodes), the deepest last: kept short by going depth first.
    top = len(levels) - 1
    first, second = np.triu_indices(len(levels[top].low))
    stack, handed_on = [(top, first, second)], 0
    found: list[Ints] = []
    while stack:
        depth, first, second = stack.pop()
        if len(first) > PAIRS_AT_ONCE:
            stack += [
                (depth, first[i : i + PAIRS_AT_ONCE], second[i : i + PAIRS_AT_ONCE])
                for i in range(0, len(first), PAIRS_AT_ONCE)
            ]
            continue
        budget -= len(first)
        if budget < 0 or handed_on > most:
            return _finish(found, order), False
        keep = _may_face(levels[depth], first, second, reach)
        first, second = first[keep], second[keep]
        if depth == 0:
            rows = np.flatnonzero(first != second)
            if flat:
                rows = _prisms_meet(corners, inward, order[first], order[second], reach, facing)
            handed_on += len(rows)
            found.append(np.stack([first[rows], second[rows]], axis=1))
        elif len(first):
            stack.append((depth - 1, *_children(first, second, len(levels[depth - 1].low))))
    return _finish(found, order), True


def _finish(found: list[Ints], order: Ints) -> Ints:
    pairs = np.concatenate([np.zeros((0, 2), dtype=np.int64), *found])
    return np.sort(order[pairs], axis=1)


def _order(middles: Floats, inward: Floats) -> Ints:
    """Facets that point alike and lie near each other come next to each other."""
    size = np.maximum(np.ptp(middles, axis=0).max(), 1e-30)
    cell = ((middles - middles.min(0)) / size * 1023).astype(np.int64)
    # Two places are made between one bit and the next (Morton order).
    for shift, mask in ((16, 0x30000FF), (8, 0x300F00F), (4, 0x30C30C3), (2, 0x9249249)):
        cell = (cell | (cell << shift)) & mask
    code = cell[:, 0] | (cell[:, 1] << 1) | (cell[:, 2] << 2)
    main = np.abs(inward).argmax(1)
    sense = np.take_along_axis(inward, main[:, None], 1)[:, 0] > 0
    return np.argsort(code + ((2 * main + sense) << 30))


def _levels(corners: Floats, inward: Floats) -> list[_Level]:
    """Leaves first, the root's level last."""
    low, high = corners.min(1), corners.max(1)
    levels = [_Level(low, high, inward, np.zeros(len(low)))]
    width = 1
    while len(levels[-1].low) > 8:
        below = levels[-1]
        starts = np.arange(0, len(below.low), FANOUT)
        width *= FANOUT
        axis = np.add.reduceat(inward, np.arange(0, len(inward), width), axis=0)
        length = np.linalg.norm(axis, axis=1)
        axis = np.where(length[:, None] > 1e-9, axis / np.maximum(length, 1e-9)[:, None], inward[0])
        cosine = dot(inward, np.repeat(axis, width, axis=0)[: len(inward)])
        least = np.minimum.reduceat(cosine, np.arange(0, len(inward), width))
        levels.append(
            _Level(
                np.minimum.reduceat(below.low, starts, axis=0),
                np.maximum.reduceat(below.high, starts, axis=0),
                axis,
                np.arccos(np.clip(least, -1, 1)),
            )
        )
    return levels


def _may_face(level: _Level, first: Ints, second: Ints, reach: float) -> Bools:
    """Are two nodes near enough, each before the other, and can normals be opposite?"""
    low, high, axis = level.low, level.high, level.axis
    gap = np.maximum(
        low.take(first, 0) - high.take(second, 0), low.take(second, 0) - high.take(first, 0)
    )
    np.maximum(gap, 0, out=gap)
    keep = dot(gap, gap) <= reach * reach
    rows = np.flatnonzero(keep)
    a, b = first[rows], second[rows]
    apart = np.arccos(np.clip(-dot(axis.take(a, 0), axis.take(b, 0)), -1, 1))
    keep[rows] = apart <= np.arccos(FACING_COS) + level.spread[a] + level.spread[b] + 1e-6
    rows = np.flatnonzero(keep)
    a, b = first[rows], second[rows]
    keep[rows] = _may_lie_before(level, a, b) & _may_lie_before(level, b, a)
    return keep


def _may_lie_before(level: _Level, a: Ints, b: Ints) -> Bools:
    """Can anything of b lie on the side of something of a that its normal points to?

    In a thin bar the sides across lie near and look opposite ways, but out of the bar.
    """
    low = level.low.take(b, 0) - level.high.take(a, 0)
    high = level.high.take(b, 0) - level.low.take(a, 0)
    axis = level.axis.take(a, 0)
    farthest = np.maximum(low * axis, high * axis).sum(axis=1)
    step = np.maximum(-low, high)
    turned = np.sqrt(dot(step, step)) * np.sin(np.minimum(level.spread[a], np.pi / 2))
    before: Bools = farthest + turned >= 0
    return before


def _children(first: Ints, second: Ints, count: int) -> tuple[Ints, Ints]:
    """Pairs of children, each once."""
    step = np.arange(FANOUT)
    a = (first[:, None] * FANOUT + np.repeat(step, FANOUT)).ravel()
    b = (second[:, None] * FANOUT + np.tile(step, FANOUT)).ravel()
    keep = (a < count) & (b < count) & (a <= b)
    # Children of two different nodes keep their order, those of one node are met twice.
    return a[keep], b[keep]


def _prisms_meet(
    corners: Floats,
    inward: Floats,
    first: Ints,
    second: Ints,
    reach: float,
    facing: tuple[float, float] | None,
) -> Ints:
    """Rows of the pairs where each lies before the other, not beside it or behind it."""
    rows = np.flatnonzero(first != second)
    if facing is not None:
        along = -dot(inward.take(first[rows], 0), inward.take(second[rows], 0))
        rows = rows[(along >= facing[0]) & (along < facing[1])]
    for a, b in ((first, second), (second, first)):
        rows = rows[_reaches_over(corners, inward, a[rows], b[rows], reach)]
    return rows


def _reaches_over(corners: Floats, inward: Floats, a: Ints, b: Ints, reach: float) -> Bools:
    """Does facet b reach into the prism that stands on facet a, widened as the two tilt?"""
    base, other, normal = corners.take(a, 0), corners.take(b, 0), inward.take(a, 0)
    height = np.einsum("ijk,ik->ij", other - base[:, :1], normal)
    top, bottom = _most(height), -_most(-height)
    keep = (top > 0) & (bottom <= reach)
    rows = np.flatnonzero(keep)
    base, other, normal = base.take(rows, 0), other.take(rows, 0), normal.take(rows, 0)
    # A line that counts leans by so much at most, be the planes parallel or not.
    wider = reach * LEAN_TAN - 1e-9 * np.maximum(top, -bottom)[rows]
    for side in range(3):
        along = base[:, (side + 1) % 3] - base[:, side]
        out = cross_product(along, normal)
        # Both windings occur (walls and gaps): out points away from the third corner.
        third = dot(base[:, (side + 2) % 3] - base[:, side], out)
        out *= np.where(third > 0, -1.0, 1.0)[:, None]
        out /= np.maximum(np.linalg.norm(out, axis=1), 1e-300)[:, None]
        beyond = -_most(-np.einsum("ijk,ik->ij", other - base[:, side : side + 1], out))
        meets = beyond <= wider
        keep[rows[~meets]] = False
        rows, base, other = rows[meets], base[meets], other[meets]
        normal, wider = normal[meets], wider[meets]
    return keep


def _most(three: Floats) -> Floats:
    """Largest of the three numbers of each row: numpy's own way is slow on short rows."""
    most: Floats = np.maximum(np.maximum(three[:, 0], three[:, 1]), three[:, 2])
    return most
