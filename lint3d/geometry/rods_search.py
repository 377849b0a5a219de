"""Which facets of a large surface are worth feeling for bars?

A small surface is felt all over. Of a large one every so-manieth facet is felt, in an order that
keeps together what lies together, with the largest and the longest (a slender bar of few facets has
long ones); then, round facets that turn out thin both ways, those between and beside them, until
nothing more is thin. So a bar is felt all over or not at all, and the time goes with its facets.
Lengths in mm. Tested by tests/geometry/test_rods_search.py.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from lint3d.geometry.each_once import distinct
from lint3d.geometry.spans_surface import SpanSurface

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

ALL_OF = 50_000  # a surface of no more facets is felt all over
SAMPLED = 24_000  # facets of a larger one that are felt first
LARGEST = 8_000  # and so many of the largest, and of the longest
RINGS_MOST = 4_000  # rounds of neighbours: a bar's length in facets


def searched(surface: SpanSurface, is_thin: Callable[[Ints, Ints], Bools]) -> None:
    """Call `is_thin` with facets, none twice, until all bars have been met.

    Parameters
    ----------
    is_thin : given (k,) facets and for each one near it that is known to be thin, or -1, says
        which of them are thin both ways
    """
    count = len(surface.faces)
    if count <= ALL_OF:
        is_thin(np.arange(count), np.full(count, -1))
        return
    order = surface.walk
    place = np.empty(count, dtype=np.int64)
    place[order] = np.arange(count)
    step = -(-count // SAMPLED)
    known = np.zeros(count, dtype=bool)
    leader = np.full(count, -1)

    def feel(facets: Ints, near: Ints) -> Ints:
        new = ~known[facets]
        leader[facets[new]] = near[new]
        facets = distinct(facets[new])
        known[facets] = True
        return facets[is_thin(facets, leader[facets])] if len(facets) else facets

    most = count - LARGEST
    sizes = (surface.areas, surface.longest)
    large = [np.argpartition(size, most)[most:] for size in sizes]
    first = np.concatenate([order[::step], *large])
    every = [feel(first, np.full(len(first), -1))]
    while step > 1:
        gap, step = step, max(step // 4, 1)
        thin = np.concatenate(every)
        aside = np.arange(-gap, gap + 1, step)
        near, from_thin = (place[thin][:, None] + aside).ravel(), np.repeat(thin, len(aside))
        inside = (near >= 0) & (near < count)
        every.append(feel(order[near[inside]], from_thin[inside]))
    front = np.concatenate(every)
    for _ in range(RINGS_MOST):
        if not len(front):
            break
        beside, from_front = surface.neighbours[front].ravel(), np.repeat(front, 3)
        front = feel(beside[beside >= 0], from_front[beside >= 0])
