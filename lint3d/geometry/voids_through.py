"""What lies on a way through from one mouth to another, among what a ball does not reach?

A slot that is open at both ends is rinsed, however narrow; what branches off blind is not. A way
from mouth to mouth leads through if, halfway, no other mouth is nearer: a groove that is open at
its ends is rinsed by them below half its length, and blind if it is less deep than that. Lengths in
mm. Guarded by tests/geometry/test_voids_recesses.py.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import dijkstra
from scipy.spatial import cKDTree

from lint3d.geometry.components import connected_groups
from lint3d.geometry.voids_reach import REACH, Balls

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

#: A ball lies on the way between two places of a mouth if that way is no longer than this times the
#: shortest; which leads through if it gets this share of half its length deep (all of it, but for
#: places that lie apart).
_HARDLY_LONGER, _DEEP = 1.15, 0.88
#: Shorter ways are noise, times the distance of places.
_FAR_APART = 8.0
#: Pieces of a mouth, and parts of what is not reached, between which ways through are looked for.
_MOST_PIECES, _MOST_PARTS = 40, 200


def ways_through(
    hidden: Balls, links: Ints, entries: tuple[Floats, Ints], least_depth: float, apart: float
) -> Floats:
    """Which balls lie on ways from one place of the mouth to another? What flows there rinses them.

    Only ways count that lead deep: between two places of the rim of a blind slot the shortest way
    runs along the rim.

    Returns
    -------
    (n,) mm, how far aside of the nearest shortest way each ball lies, there and back by way of it
    being so much longer; infinite for those on none
    """
    entry, entry_at = entries
    aside = np.full(len(hidden), np.inf)
    depth = farthest(hidden, links, entry, entry_at)[0]
    group = connected_groups(len(hidden), links[:, 0], links[:, 1])
    finite = np.isfinite(depth)
    deep = np.unique(group[finite & (depth >= least_depth)])[:_MOST_PARTS]
    of_group = np.argsort(group, kind="stable")
    ends = np.searchsorted(group[of_group], [deep, deep + 1])
    number = np.zeros(len(hidden), np.int64)
    for one, first, last in zip(deep.tolist(), *ends.tolist(), strict=True):
        mine = np.flatnonzero((group[entry_at] == one) & (entry <= apart))
        if len(mine) < 2:
            continue
        # Ways lead through no other part.
        rows = of_group[first:last]
        number[rows] = np.arange(len(rows))
        own = number[links[group[links[:, 0]] == one]]
        piece = _pieces(hidden.centre[entry_at[mine]], REACH * apart)
        far = _far_from_each(hidden[rows], own, entry[mine], number[entry_at[mine]], piece)
        for off, beside in _between_pieces(far, depth[rows], least_depth, apart):
            of_part = rows[beside]
            aside[of_part] = np.minimum(aside[of_part], off)
    return aside


def _between_pieces(
    far: Floats, depth: Floats, least_depth: float, apart: float
) -> Iterator[tuple[Floats, Bools]]:
    """Of each way that leads through between two pieces of a mouth: how far aside of it what lies
    beside it is, mm, and which balls these are.

    Parameters
    ----------
    far : (k, n) mm, of each ball from each of the pieces
    depth : (n,) mm, of each ball from the mouth
    """
    for i in range(1, len(far)):
        both = far[i] + far[:i]
        between = both.min(axis=1)
        middle = both <= (1.03 * between + apart)[:, None]
        middle &= np.abs(far[i] - far[:i]) <= (0.1 * between + apart)[:, None]
        deep = _DEEP * between / 2
        # More than half of what lies in the middle is deep only if half of it is.
        asked = 2 * (middle & (depth > deep[:, None])).sum(axis=1) >= middle.sum(axis=1)
        asked &= middle.any(axis=1) & (between >= max(least_depth, _FAR_APART * apart))
        for j in np.flatnonzero(asked).tolist():
            if np.median(depth[middle[j]]) > deep[j]:
                near = both[j] <= _HARDLY_LONGER * between[j] + apart
                # There and back.
                yield (both[j, near] - between[j]) / 2, near


def _far_from_each(
    hidden: Balls, links: Ints, entry: Floats, entry_at: Ints, piece: Ints
) -> Floats:
    """(k, n) mm, how far each ball is from each of k pieces of the mouth.

    Parameters
    ----------
    piece : of each entry its number, from 0 on
    """
    count, pieces = len(hidden), int(piece.max()) + 1
    step = np.linalg.norm(hidden.centre[links[:, 0]] - hidden.centre[links[:, 1]], axis=1)
    # One node more stands for each piece; nothing leads back to it.
    ends = np.concatenate([links, links[:, ::-1], np.column_stack([count + piece, entry_at])])
    length = np.maximum(np.concatenate([step, step, entry]), 1e-9)
    graph = coo_array((length, tuple(ends.T)), shape=(count + pieces,) * 2).tocsr()
    far: Floats = dijkstra(graph, indices=count + np.arange(pieces))[:, :count]
    return far


def _pieces(points: Floats, apart: float) -> Ints:
    """(n,) number of the nearest of a few points that lie far from each other on the same rim."""
    links = cKDTree(points).query_pairs(apart, output_type="ndarray")
    rim = connected_groups(len(points), links[:, 0], links[:, 1])
    # Rims stand far apart in a fourth direction.
    points = np.column_stack([points, rim * 10 * np.ptp(points, axis=0).max()])
    chosen = [0]
    gap = np.linalg.norm(points - points[0], axis=1)
    nearest = np.zeros(len(points), np.int64)
    while len(chosen) < min(_MOST_PIECES, len(points)) and gap.max() > 0:
        chosen.append(int(np.argmax(gap)))
        new = np.linalg.norm(points - points[chosen[-1]], axis=1)
        nearest[new < gap] = len(chosen) - 1
        gap = np.minimum(gap, new)
    return np.unique(nearest, return_inverse=True)[1].astype(np.int64)


def farthest(hidden: Balls, links: Ints, entry: Floats, entry_at: Ints) -> tuple[Floats, Ints]:
    """Distance of each ball from the nearest that is reached, and the ball before it on the way."""
    count = len(hidden)
    step = np.linalg.norm(hidden.centre[links[:, 0]] - hidden.centre[links[:, 1]], axis=1)
    # One node more stands for all that is reached.
    graph = coo_array(
        (
            np.maximum(np.concatenate([step, entry]), 1e-9),
            (
                np.concatenate([links[:, 0], np.full(len(entry), count)]),
                np.concatenate([links[:, 1], entry_at]),
            ),
        ),
        shape=(count + 1, count + 1),
    ).tocsr()
    far, before = dijkstra(graph, directed=False, indices=count, return_predecessors=True)
    before = before[:count]
    return far[:count], np.where(before == count, -1, before)
