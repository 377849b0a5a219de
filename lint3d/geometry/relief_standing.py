"""What grouping needs of an island, and how far apart two of them stand.

Lengths in mm. Guarded by tests/geometry/test_relief_groups.py.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

#: What is smaller than this share of the largest of a group is a stop or an accent, and no letter.
LETTER = 0.5
#: So many points of each cap are looked at.
_MOST_POINTS = 48


@dataclass(frozen=True, eq=False)
class Standing:
    """What grouping needs of an island."""

    raised: bool
    height: float
    slack: float
    """mm, half the interval of the height"""
    centre: Floats
    normal: Floats
    cap: Floats
    """(k, 3) mm, points of the cap"""
    over_edge: bool = False
    """Does it stand on several faces?"""

    @cached_property
    def size(self) -> float:
        """Across the cap: twice the farthest point from its middle, less a fifth, mm.

        The height of an I, and about that of an O; the same in every frame.
        """
        return 1.7 * float(np.linalg.norm(self.cap - self.centre, axis=1).max())


def are_letters(islands: Sequence[Standing]) -> Bools:
    """(k,) which are as large as letters are beside the largest of them."""
    size = np.array([one.size for one in islands])
    letters: Bools = size >= LETTER * size.max(initial=0.0)
    return letters


def gap_between(one: Standing, two: Standing) -> float:
    """Distance between points of two caps, mm."""
    return _gap(_thinned(one.cap), _thinned(two.cap))


def gaps_between(islands: Sequence[Standing], pairs: Ints) -> Floats:
    """(p,) mm, distances between points of the caps of (p, 2) rows of islands."""
    caps = [_thinned(island.cap) for island in islands]
    return np.array([_gap(caps[i], caps[j]) for i, j in pairs.tolist()], np.float64)


def _thinned(points: Floats) -> Floats:
    step = max(1, len(points) // _MOST_POINTS)
    return points[::step]


def _gap(one: Floats, two: Floats) -> float:
    square = (one**2).sum(axis=1)[:, None] + (two**2).sum(axis=1) - 2 * one @ two.T
    return float(np.sqrt(max(square.min(), 0.0)))
