"""What are ways through openings that follow each other, taken as one?

They meet in the middles of chambers. Lengths in mm, widths are diameters. Guarded by
tests/geometry/test_throats_length.py.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from lint3d.geometry.throats import Throat, Way
from lint3d.geometry.throats_length import NECK_FACTOR, NeckLengths, neck_lengths
from lint3d.geometry.throats_route import MOST_FOLDED, lens_between

Floats = NDArray[np.float64]


def in_series(throats: Sequence[Throat]) -> Throat:
    """The narrowest place of ways that follow each other, each from where the last one ends.

    What passes all of them passes the narrowest; a neck may run on from one into the next.
    """
    if len(throats) == 1:
        return throats[0]
    at = int(np.argmin([throat.diameter for throat in throats]))
    throat = throats[at]
    lower = min(one.lower for one in throats)
    way = _joined(throats)
    lengths = throat.lengths
    if throat.diameter > 0 and len(throat.way.width):
        row, radius = int(np.argmin(way.width)), throat.diameter / 2
        lengths = NeckLengths(lambda: neck_lengths(None, way.point, way.width / 2, row, radius))
    return replace(
        throat,
        lower=lower,
        upper=max(min(one.upper for one in throats), throat.diameter),
        lengths=lengths,
        way=way,
    )


def lengths_in_series(throats: Sequence[Throat], at: int) -> NeckLengths:
    """Of one of the throats of ways that follow each other: its neck may run on into the next."""
    throat = throats[at]
    radius = throat.diameter / 2
    if radius <= 0 or not all(len(one.way.width) for one in throats):
        return throat.lengths
    way = _joined(throats)
    row = int(np.argmin(np.linalg.norm(way.point - throat.position, axis=1)))
    # Where a way cuts a corner it may be narrower than what it runs through.
    least = throat.upper if throat.upper <= NECK_FACTOR * throat.diameter else throat.diameter
    radii = np.maximum(way.width, least) / 2
    return NeckLengths(lambda: neck_lengths(None, way.point, radii, row, radius))


def _joined(throats: Sequence[Throat]) -> Way:
    """Ways that follow each other as one."""
    lower = min(one.lower for one in throats)
    way = throats[0].way
    for one in throats[1:]:
        way = _without_fold(way, one.way, lower / 2)
    return way


def _without_fold(one: Way, two: Way, radius: float) -> Way:
    """Two ways that follow each other, without what runs forth and back where they meet.

    They meet in the middle of a chamber, which may be a place in a duct that both run past. Where a
    ball as large as passes both slides straight from one to the other, the rest is left out.

    Parameters
    ----------
    radius : mm, of that ball
    """
    point, width = np.concatenate([one.point, two.point]), np.concatenate([one.width, two.width])
    if min(len(one.width), len(two.width)) > 0 and radius > 0:
        ends, begins = slice(-MOST_FOLDED, None), slice(0, MOST_FOLDED)
        tail, head = one.point[ends][::-1], two.point[begins]
        gap = np.linalg.norm(tail[:, None] - head, axis=2)
        cut = _along(tail)[:, None] + np.linalg.norm(tail[0] - head[0]) + _along(head) - gap
        free = lens_between(gap, one.width[ends][::-1, None] / 2, two.width[begins] / 2) >= radius
        cut[~free] = 0.0
        back, on = np.unravel_index(int(np.argmax(cut)), cut.shape)
        if cut[back, on] > 0:
            kept = np.r_[: len(one.width) - back, len(one.width) + on : len(width)]
            point, width = point[kept], width[kept]
    return Way(point, width)


def _along(line: Floats) -> Floats:
    """(n,) mm, how far along a line each of its points is."""
    steps = np.linalg.norm(np.diff(line, axis=0), axis=1)
    return np.concatenate([[0.0], np.cumsum(steps)])
