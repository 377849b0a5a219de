"""Which things hang together, and by which line?

Connected groups of numbered things, and of faults that lie next to each other on a mesh. Group
numbers follow the lowest member, so they depend on the order of the things and on nothing else.
Guarded by tests/geometry/test_components.py.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

Ints = NDArray[np.int64]

FEW = 2_000  # things and links


def connected_groups(count: int, one: NDArray[Any], two: NDArray[Any]) -> Ints:
    """Which of `count` things are linked, directly or through others?

    Parameters
    ----------
    count : how many things there are
    one, two : (links,) int, the two ends of each link

    Returns
    -------
    (count,) int64 : group of each thing, numbered from 0 by lowest member

    Examples
    --------
    >>> connected_groups(4, np.array([3]), np.array([1]))
    array([0, 1, 2, 1])
    """
    if count == 0:
        return np.zeros(0, np.int64)
    if len(one) == 0:
        return np.arange(count, dtype=np.int64)
    if count + len(one) <= FEW:
        return _few_linked(count, one, two)
    # Half of what the command takes to start, and needed for many things only.
    from scipy.sparse import csr_array
    from scipy.sparse.csgraph import connected_components

    graph = csr_array((np.ones(len(one), np.int8), (one, two)), shape=(count, count))
    group: Ints = connected_components(graph, directed=False)[1].astype(np.int64)
    return _numbered_by_first(group)


def _few_linked(count: int, one: NDArray[Any], two: NDArray[Any]) -> Ints:
    """The same for few things, without the making of a graph, which takes longer than they do."""
    lowest = np.arange(count, dtype=np.int64)
    while True:
        least = np.minimum(lowest[one], lowest[two])
        if (lowest[one] == lowest[two]).all():
            break
        np.minimum.at(lowest, one, least)
        np.minimum.at(lowest, two, least)
        # Each takes the lowest that its own lowest knows of, so that long chains end soon.
        lowest = lowest[lowest]
    return np.unique(lowest, return_inverse=True)[1].ravel()


def _numbered_by_first(group: Ints) -> Ints:
    """Renumber groups so that they appear in ascending order (mostly they do already)."""
    highest = np.maximum.accumulate(group)
    step = np.diff(highest, prepend=-1)
    if np.all(step <= 1):
        return group
    _, first, inverse = np.unique(group, return_index=True, return_inverse=True)
    rank = np.empty(len(first), np.int64)
    rank[np.argsort(first)] = np.arange(len(first))
    return rank[inverse]


def line_back(before: NDArray[Any], end: int) -> list[int]:
    """From a thing back to where a search through a graph began, or as far as it goes.

    Parameters
    ----------
    before : (n,) int, the thing that each was reached from; below 0 where it was from none
    """
    line = [end]
    while before[line[-1]] >= 0:
        line.append(int(before[line[-1]]))
    return line
