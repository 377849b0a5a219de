"""Which islands belong together as a line of characters?

Islands of one sense, of like height, with like normals and near each other form a group; a group
falls into lines, and islands that lie over each other along a line (an i and its dot, the parts of
a percent sign) are one character. Lengths in mm. Guarded by tests/geometry/test_relief_groups.py.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from lint3d.geometry.components import connected_groups
from lint3d.geometry.relief_paths import best_path
from lint3d.geometry.relief_standing import Standing, gap_between, gaps_between

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

#: Neighbours stand no farther apart than this share of the larger one's size.
GAP = 0.8
#: Words stand this much farther apart than the letters of a word may (a space of a font of equal
#: widths is as wide as its letters, and a full stop before it leaves half a letter more).
WORD_GAP = 1.85
#: Heights of one inscription differ by no more than this share, or this many mm.
LIKE_HEIGHT, LIKE_HEIGHT_MM = 0.15, 0.03
#: Normals of neighbours differ by less than this; those of one that runs over an edge, or stands
#: beyond one (on the next side of a six-sided bar), from a line's by less than that.
LIKE_NORMAL, OVER_EDGE = np.cos(np.radians(50.0)), np.cos(np.radians(75.0))
#: Islands that overlap by this share of the narrower one, along the line, are one character ...
OVERLAP = 0.6
#: ... and so are those that overlap by less, where one is lower than a small letter (a dot, the
#: rings of a percent sign): kerned letters overlap a little, too.
OVERLAP_SMALL, SMALL = 0.25, 0.62
#: What is lower than this share of the height of its line may be a dash.
DASH = 0.25
#: An accent's middle lies no farther from its letter's, along the line, than this share of the
#: height of the line.
ACCENT = 0.25
#: What is lower than this share of the tallest line is no line of its own, but dots and accents.
LOW_LINE = 0.5
#: Dots and accents stand no farther from their letter than this share of the height of its line:
#: what is farther (a blind hole above a word) is none. Fonts leave 0.05 to 0.2. common practice,
#: no source
FAR_ACCENT = 0.5


@dataclass(frozen=True, eq=False)
class Line:
    """Islands along one line."""

    members: Ints
    character: Ints
    """(k,) which character each member belongs to, from 0 in reading order (or against it)."""
    direction: Floats
    """(k, 3) unit, along the line at each member."""
    across: Floats
    """(k, 2) mm, how low and how high each member reaches across the line."""


def groups(islands: Sequence[Standing], sizes: Floats | None = None) -> list[Ints]:
    """Rows of islands that belong together, single ones included.

    Parameters
    ----------
    islands : what to group
    sizes : (k,) mm, how large the characters round each island are taken to be; by default as large
        as itself
    """
    if not islands:
        return []
    own = np.array([one.size for one in islands])
    pairs = _neighbours(islands, own if sizes is None else np.maximum(own, sizes))
    group = connected_groups(len(islands), pairs[:, 0], pairs[:, 1])
    order = np.argsort(group, kind="stable")
    return np.split(order, np.flatnonzero(np.diff(group[order])) + 1)


def _neighbours(islands: Sequence[Standing], size: Floats) -> Ints:
    centre = np.array([one.centre for one in islands])
    height = np.array([one.height for one in islands])
    slack = np.array([one.slack for one in islands])
    normal = np.array([one.normal for one in islands])
    raised = np.array([one.raised for one in islands])
    over_edge = np.array([one.over_edge for one in islands])
    # Larger ones look for smaller ones, so that a small mark is found by its large neighbour.
    tree = cKDTree(centre)
    reach = size * (1.0 + GAP) + 0.5 * size
    near = tree.query_ball_point(centre, reach)
    one = np.repeat(np.arange(len(islands)), [len(rows) for rows in near])
    two = np.concatenate([np.asarray(rows, np.int64) for rows in near])
    larger = (size[one] > size[two]) | ((size[one] == size[two]) & (one < two))
    one, two = one[larger], two[larger]
    alike = np.einsum("ij,ij->i", normal[one], normal[two])
    tolerance = np.maximum(LIKE_HEIGHT * np.maximum(height[one], height[two]), LIKE_HEIGHT_MM)
    like = (
        (raised[one] == raised[two])
        & (np.abs(height[one] - height[two]) <= tolerance + slack[one] + slack[two])
        & (alike >= np.where(over_edge[one] | over_edge[two], OVER_EDGE, LIKE_NORMAL))
    )
    one, two = one[like], two[like]
    kept = gaps_between(islands, np.column_stack([one, two])) <= GAP * size[one]
    return np.column_stack([one[kept], two[kept]]).astype(np.int64)


def are_as_high(one: Standing, two: Standing) -> bool:
    """Are two islands as high as those of one inscription are?"""
    tolerance = max(LIKE_HEIGHT * max(one.height, two.height), LIKE_HEIGHT_MM)
    return abs(one.height - two.height) <= tolerance + one.slack + two.slack


def are_near(one: Standing, two: Standing, size: float) -> bool:
    """Do two islands stand as near as neighbours of a line of that height do, and look one way?"""
    if one.normal @ two.normal < OVER_EDGE:
        return False
    return gap_between(one, two) <= GAP * size


def lines_of(islands: Sequence[Standing], members: Ints) -> list[Line]:
    """The lines of a group, each with its characters.

    The way of reading follows from how neighbours lie to each other: letters of a line stand nearer
    than lines do. In blocks of short lines that may mislead: there the letters stand on lines that
    they share.
    """
    if len(members) < 2:
        alone = np.zeros(len(members), np.int64)
        return [Line(members, alone, np.zeros((len(members), 3)), np.zeros((len(members), 2)))]
    low, high, path = best_path([islands[i] for i in members.tolist()])
    line = _with_accents(_overlapping(low[:, 1], high[:, 1], 0.3), low, high)
    found = []
    for number in range(int(line.max()) + 1):
        rows = np.flatnonzero(line == number)
        character = _characters(low[rows], high[rows])
        first = np.array([low[rows[character == c], 0].min() for c in range(character.max() + 1)])
        rank = np.argsort(np.argsort(first))
        across = np.column_stack([low[rows, 1], high[rows, 1]])
        found.append(Line(members[rows], rank[character], path.along[rows], across))
    return found


def _with_accents(line: Ints, low: Floats, high: Floats) -> Ints:
    """Lines, with what is in those that are too low for letters joined to what it is nearest to."""
    count = int(line.max()) + 1
    bottom = np.array([low[line == k, 1].min() for k in range(count)])
    top = np.array([high[line == k, 1].max() for k in range(count)])
    tallest = (top - bottom).max()
    is_low = (top - bottom < LOW_LINE * tallest)[line]
    whole = np.flatnonzero(~is_low)
    away = np.maximum(
        np.maximum(low[is_low][:, None] - high[whole], low[whole] - high[is_low][:, None]), 0
    )
    distance = np.linalg.norm(away, axis=2)
    nearest = whole[distance.argmin(axis=1)]
    is_accent = distance.min(axis=1) <= FAR_ACCENT * tallest
    joined = line.copy()
    joined[np.flatnonzero(is_low)[is_accent]] = line[nearest[is_accent]]
    return np.unique(joined, return_inverse=True)[1].astype(np.int64)


def _characters(low: Floats, high: Floats) -> Ints:
    """Which islands of a line are one character, from their extents along and across it."""
    wide, tall = (high - low).T
    common = np.minimum(high[:, None, 0], high[:, 0]) - np.maximum(low[:, None, 0], low[:, 0])
    share = common / np.maximum(np.minimum(wide[:, None], wide), 1e-9)
    line_height = high[:, 1].max() - low[:, 1].min()
    small = tall < SMALL * line_height
    either = small[:, None] | small
    apart = (low[:, None, 1] > high[:, 1]) | (high[:, None, 1] < low[:, 1])
    # A dash that is tucked under an arm of a K stands beside it.
    dash = tall < DASH * line_height
    tucked = ~apart & (dash[:, None] | dash)
    joined = (share > OVERLAP) | (either & ~tucked & (share > OVERLAP_SMALL))
    np.fill_diagonal(joined, False)
    # An accent, or one of two dots over a letter, need not lie over a stroke of it. (Which side of
    # a line is up is not known.)
    far = np.abs(low[:, None, 0] + high[:, None, 0] - low[:, 0] - high[:, 0]) / 2
    joined |= small[:, None] & apart & (far < ACCENT * line_height)
    # A dot goes with the stem below its middle, though the hook of an f may hang over it, too.
    middle = (low + high)[:, 0] / 2
    away = np.where(joined, np.abs(middle[:, None] - middle), np.inf)
    mine = away <= away.min(axis=1, initial=np.inf)[:, None] + 1e-6 * np.maximum(wide, 0)
    one, two = np.nonzero(joined & (~either | (small[:, None] & mine)))
    return connected_groups(len(low), one, two)


def _overlapping(low: Floats, high: Floats, share: float) -> Ints:
    """Groups of intervals that overlap by a share of the shorter one."""
    common = np.minimum(high[:, None], high) - np.maximum(low[:, None], low)
    shorter = np.minimum((high - low)[:, None], high - low)
    one, two = np.nonzero(common > share * np.maximum(shorter, 1e-9))
    return connected_groups(len(low), one, two)
