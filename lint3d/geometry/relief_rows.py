"""Do characters stand on lines, as type does, or as hooks, lugs and slots happen to be set out?

Lengths in mm. Guarded by tests/geometry/test_relief_rows.py.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from lint3d.geometry.components import connected_groups
from lint3d.geometry.relief_border import is_tall

if TYPE_CHECKING:
    from lint3d.geometry.relief_lines import Inscription

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

#: Characters share a foot line or a head line with another of their line within this share of its
#: height (round ones reach beyond it by 0.02), and what their measures are off by: at least this
#: share of them. Of random words on all bases 0.6 do, and more, but where the way of a line is
#: told wrong (a j beside an f stands on no line with it).
WITHIN, LEAST_SET = 0.025, 0.4
#: Or nearly all do so within more: the way of a line may be told a little wrong.
WIDER, NEARLY_ALL = 0.065, 0.9
#: Letters one below the other share a middle line instead, within this share of their height, and
#: are as tall as each other.
MIDDLE = 0.1
#: Features may be set out from one middle line: it is theirs within the first share of their
#: height, and their own heights differ by more than the second, in so many pairs of them. (Of
#: letters as tall as each other no pair is so, of small ones and capitals hardly any.)
ONE_MIDDLE, UNLIKE, SET_OUT = 0.02, 0.08, 0.4
#: A middle line leans by no more than this against the told way; characters farther apart along it
#: than this share of their height stand beside each other.
MOST_TILT, BESIDE = 0.15, 0.3
#: Of 54,000 random words of four to eight characters one has such a share of pairs by chance.
SET_OUT_LEANING = 0.55
#: So many are needed to say so: the way of three (Wg7 on a coarse drum) may be told wrong.
LEAST_TALL = 4


def are_set_on_lines(lines: Sequence[Inscription]) -> bool:
    """Do the characters of some lines stand beside each other as type does?

    Parameters
    ----------
    lines : that one group of islands makes up

    Returns
    -------
    bool : True for fewer than four characters, and where each line has one alone
    """
    several = [pairs for line in lines if (pairs := _pairs(line)) is not None]
    count = sum(len(one.foot) for one in several)
    if count < LEAST_TALL:
        return True

    def sharing(within: float) -> int:
        return sum(int(one.share_a_line(within).sum()) for one in several)

    if sharing(WITHIN) < LEAST_SET * count and sharing(WIDER) < NEARLY_ALL * count:
        return False
    longest = max(several, key=lambda one: len(one.foot))
    return len(longest.foot) < LEAST_TALL or not longest.are_set_out()


@dataclass(frozen=True, eq=False)
class _Pairs:
    """How much higher each character of a line stands than each other one: (k, k) shares of their
    height, the foot, the head and the middle; and how much its size along the line and across it
    differs."""

    foot: Floats
    head: Floats
    along: Floats
    place: Floats
    """How much farther along the line each one's middle is than each other one's."""
    off: float
    """By how much any of these may be off."""

    @property
    def middle(self) -> Floats:
        middle: Floats = (self.foot + self.head) / 2
        return middle

    def share_a_line(self, within: float) -> Bools:
        """(k,) does each share its foot or its head with another, or its middle below it?"""
        step: Floats = np.minimum(np.abs(self.foot), np.abs(self.head))
        below = (np.abs(self.middle) <= MIDDLE) & (np.abs(self.along) <= within + self.off)
        found = (step <= within + self.off) | below
        np.fill_diagonal(found, False)
        shared: Bools = np.logical_or.reduce(found, axis=1)
        return shared

    def are_set_out(self) -> bool:
        """Have so many of the pairs one middle line and unlike heights?

        The way of a line follows feet or heads where it can: it may lean against the middle line.
        What hangs together by foot lines and head lines is type all the same: small letters beside
        one that reaches above and below (java, cfmlf) have one middle line with it by chance.
        """
        if self.hang_together():
            return False
        return self._set_out(0.0) >= SET_OUT or self._set_out(self._tilt()) >= SET_OUT_LEANING

    def hang_together(self) -> bool:
        """Can all but one be reached from each other along foot lines and head lines?"""
        step = np.minimum(np.abs(self.foot), np.abs(self.head))
        one, two = np.nonzero(step <= WITHIN + self.off)
        group = connected_groups(len(step), one, two)
        return int(np.bincount(group).max()) >= len(step) - 1

    def _tilt(self) -> float:
        """By how much the middle line rises along the told way: the middle one of all pairs."""
        rows, columns = np.triu_indices(len(self.middle), 1)
        place, rise = self.place[rows, columns], self.middle[rows, columns]
        beside = np.abs(place) > BESIDE
        tilt = float(np.median(rise[beside] / place[beside])) if beside.any() else 0.0
        return tilt if abs(tilt) <= MOST_TILT else 0.0

    def _set_out(self, tilt: float) -> float:
        """Share of the pairs that have one middle line, leaning so, and unlike heights."""
        aside = np.abs(self.middle - tilt * self.place)
        found = (aside <= ONE_MIDDLE) & (np.abs(self.head - self.foot) > UNLIKE)
        # Letters one below the other do.
        found &= np.abs(self.along) > WITHIN + self.off
        count = len(found)
        return float(found.sum() / (count * (count - 1)))


def _pairs(line: Inscription) -> _Pairs | None:
    """None if a line has no two tall characters."""
    tall = line.overall_height
    rows = [row for row, shape in enumerate(line.shapes) if is_tall(shape, tall)]
    mine = [line.shapes[row] for row in rows]
    if len(mine) < 2:
        return None
    normal = np.array([shape.measured.island.normal for shape in mine])
    ways = line.direction[rows]
    across: Floats = np.cross(normal, ways)
    extent = np.array([shape.extent(way) for shape, way in zip(mine, across, strict=True)])
    size = np.array([np.ptp(shape.extent(way)) for shape, way in zip(mine, ways, strict=True)])
    middle = np.array([shape.standing.centre for shape in mine])
    # Over a bent base, along the way that lies between those of both.
    way = across[:, None] + across
    way /= np.maximum(np.linalg.norm(way, axis=2), 1e-12)[:, :, None]
    higher = np.einsum("ijk,ijk->ij", middle[None] - middle[:, None], way)
    foot, head = (higher + end - end[:, None] for end in extent.T)
    off = 2 * max(shape.blur + shape.measured.base.residual for shape in mine)
    along = size - size[:, None]
    forth = ways[:, None] + ways
    forth /= np.maximum(np.linalg.norm(forth, axis=2), 1e-12)[:, :, None]
    place = np.einsum("ijk,ijk->ij", middle[None] - middle[:, None], forth)
    return _Pairs(foot / tall, head / tall, along / tall, place / tall, off / tall)
