"""By which angle does a line of letters lean against the steps from one to the next?

The middles of letters lie at unlike heights; their feet, heads and strokes tell the way of reading
better. Lengths in mm. Guarded by tests/geometry/test_reliefs.py.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lint3d.geometry.relief_circles import near_pairs, off_line

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

#: The steps between the middles of letters lean by no more than this against their line, degrees.
MOST_LEAN = 32
#: Those of two no more than that, unless their feet and heads together are off by less than this
#: share of their size.
LEAN_OF_TWO, BOTH_LINES = 10, 0.04
#: Lines that are shared weigh so much, and low extents: each by itself, or both.
LINES, HEIGHTS, LINES_AND_HEIGHTS = (1.0, 0.0), (0.0, 1.0), (2.0, 1.0)
#: Lines by themselves are asked where letters are off them by less than this share of their size.
ON_LINES = 0.01
#: The steps of the last searches, degrees.
FINER = (0.1, 0.01, 0.001)
#: Turned by so much, radians, a letter that stands on a side grows as half that side reaches; it is
#: longer than twice this share of the letter's size.
FLAT_TURN, FLAT_SIDE = np.radians(0.5), 0.02


def best_lean(flat: list[Floats], place: Floats, size: float, *, is_round: bool) -> float:
    """By which angle to turn the way, so that characters stand on a line and are low, radians.

    Parameters
    ----------
    flat : (n, 2) mm of each letter, along and across the way, from its middle
    place : (k, 2) mm, where the middles lie
    size : mm, of the letters
    is_round : the way runs round a circle
    """
    # A slender stroke (I, a slash) is least tall when it leans.
    upright = np.array([_slenderness(points) < 3.0 for points in flat])
    if not upright.any() and len(flat) < 3:
        return 0.0
    letters = _Letters(flat, upright, place, near_pairs(place, size), size, is_round)
    if len(flat) > 2:
        best = letters.least_lean(0.0, 1.0, MOST_LEAN, LINES_AND_HEIGHTS)
    else:
        best = _lean_of_two(letters)
    # The last of it is told by the letters themselves: their places are steps summed over a bent
    # base.
    if upright.any():
        start = best
        for step in FINER:
            best = letters.least_lean(best, step, 10, HEIGHTS)
        if len(letters.pairs) and not letters.have_a_flat_end(best):
            # Round letters are about as tall when they lean a little, slanted ones less.
            for step in FINER:
                start = letters.least_lean(start, step, 10, LINES)
            if letters.off_lines(start) <= ON_LINES * size:
                best = start
    return best


def _lean_of_two(letters: _Letters) -> float:
    """Two share a foot line some way or other, letters or not: both lines tell, or none does."""
    best = letters.least_lean(0.0, 1.0, MOST_LEAN, LINES_AND_HEIGHTS)
    if letters.off_lines(best, both=True) <= BOTH_LINES * letters.size:
        return best
    return letters.least_lean(0.0, 1.0, LEAN_OF_TWO, HEIGHTS)


@dataclass(frozen=True, eq=False)
class _Letters:
    """The larger ones of a group, in the plane of each, to be turned by small angles."""

    flat: list[Floats]
    """(n, 2) mm of each, along and across"""
    upright: Bools
    """(k,) those that are least tall when they stand upright"""
    place: Floats
    """(k, 2) mm"""
    pairs: Ints
    size: float
    is_round: bool

    def least_lean(
        self, best: float, step_deg: float, count: int, weight: tuple[float, float]
    ) -> float:
        """The angle round another one in which letters stand on lines, side by side, and in which
        they are low, radians: how much either weighs."""
        angles = best + np.radians(step_deg) * np.arange(-count, count + 1)
        across = np.stack([-np.sin(angles), np.cos(angles)])
        low, high = self._extents(across)
        of_lines, of_heights = weight
        total = of_heights * (high - low)[self.upright].sum(axis=0)
        if of_lines:
            along = np.stack([np.cos(angles), np.sin(angles)])
            beside, at = self.place @ along, self.place @ across
            if self.is_round:
                beside, at = (np.repeat(self.place[:, [k]], len(angles), axis=1) for k in (0, 1))
            # Two alone share a foot line some way or other, letters or not: both lines tell.
            both = len(self.flat) == 2
            off = off_line(at + low, at + high, self.pairs, self.size, both=both)
            left, right = self._extents(along)
            boxes = (beside + left, at + low), (beside + right, at + high)
            total += of_lines * off.sum(axis=0) + _in_each_other(*boxes, self.pairs).sum(axis=0)
        return float(angles[total.argmin()])

    def off_lines(self, lean: float, *, both: bool = False) -> float:
        """How far two letters are from standing on one line, or hanging from one, on average, mm;
        `both`: from doing both, in all."""
        if not len(self.pairs):
            return 0.0
        across = np.array([[-np.sin(lean)], [np.cos(lean)]])
        low, high = self._extents(across)
        at = self.place[:, [1]] if self.is_round else self.place @ across
        return float(off_line(at + low, at + high, self.pairs, self.size, both=both).mean())

    def have_a_flat_end(self, lean: float) -> bool:
        """Does an upright one grow at once when it is turned? It stands on a side."""
        angles = lean + np.array([-FLAT_TURN, 0.0, FLAT_TURN])
        low, high = self._extents(np.stack([-np.sin(angles), np.cos(angles)]))
        tall = (high - low)[self.upright]
        rise = np.minimum(tall[:, 0], tall[:, 2]) - tall[:, 1]
        return bool((rise > FLAT_SIDE * FLAT_TURN * self.size).any())

    def _extents(self, ways: Floats) -> tuple[Floats, Floats]:
        """(k, w) lowest and highest of each letter along (2, w) ways."""
        reach = [points @ ways for points in self.flat]
        return np.array([x.min(axis=0) for x in reach]), np.array([x.max(axis=0) for x in reach])


def _in_each_other(low: tuple[Floats, Floats], high: tuple[Floats, Floats], pairs: Ints) -> Floats:
    """(p, ...) mm by which the boxes of pairs of letters run into each other: hardly, on a line."""
    common = [
        np.minimum(top[pairs[:, 0]], top[pairs[:, 1]])
        - np.maximum(bottom[pairs[:, 0]], bottom[pairs[:, 1]])
        for bottom, top in zip(low, high, strict=True)
    ]
    least: Floats = np.maximum(np.minimum(*common), 0.0)
    return least


def _slenderness(points: Floats) -> float:
    spread = np.linalg.eigvalsh(np.cov(points.T))
    return float(np.sqrt(spread[1] / max(spread[0], 1e-12)))
