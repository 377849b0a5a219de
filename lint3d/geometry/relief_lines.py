"""Which lines do characters make up, and how tall are these?

Islands that are lettering (`relief_border.py`) become inscriptions, with the stops that stand apart
and the character that is lower than the rest. Lengths in mm. Guarded by
tests/geometry/test_reliefs.py.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from lint3d.geometry.relief_border import (
    LEAST_VOTES,
    LIKE_STROKE,
    blocks_among,
    is_lettering,
    is_pattern,
    is_shaped,
    is_small,
    is_tall,
    share_a_stroke,
)
from lint3d.geometry.relief_groups import WORD_GAP, Line, are_as_high, are_near, groups, lines_of
from lint3d.geometry.relief_paths import reach_beyond
from lint3d.geometry.relief_rows import are_set_on_lines
from lint3d.geometry.relief_shapes import Shape
from lint3d.geometry.relief_standing import gap_between

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

#: A small letter is no lower than this share of a capital; those of one line, and capitals, are as
#: tall as each other to this share (round ones stand over).
SMALL_LETTER, ALIKE = 0.6, 0.93
#: To so much of a radian the way of a line is known: its last step is a thousandth of a degree.
LEAN_KNOWN = 2e-5
#: A character lower or higher than the rest of its line is as tall as that, within these shares.
ODD_SIZE = (0.55, 1.7)
#: Of two characters alone: they stand nearer than this share of their height ...
PAIR_GAP = 0.6
#: ... and features that share their middle line this well, as a share of their height, and neither
#: foot line nor head line, were set out from that line, and not written on one.
SAME_LINE = 0.04
#: ... So did those whose feet or heads lie farther apart than those of a p beside a K.
LOWER = 0.45
#: Feet and heads of characters of one line differ by no more than this share of their height (round
#: ones reach beyond it by 0.02), and one gap in so many may be the space between two words.
IN_LINE, WORD_SPACE, SPACES = 0.06, 1.3, 3
#: A dot or an accent is lower than this share of its character, and counts for none of its height.
#: (A letter cut in two by a stencil is not.)
ACCENT = 0.4
#: A slash or a bracket reaches beyond all letters of its line by this share of their height, above
#: and below. (Round letters reach beyond flat ones by 0.02.)
BEYOND = 0.03
#: The tail of a Q makes it so much taller than what has none. (A t is 0.87 of a capital.)
TAIL = 0.86
#: What stands in a counter is lower than its character by some share, but not lower than this one.
LEAST_STEP = 0.2
#: It leaves most of the counter open: a dot in a zero has a fifth of it.
MOST_FILLED = 0.5
#: A height is known if half its interval is no wider than this share of it.
KNOWN = 0.15
#: A character that joins a line turns the ways of the others by less than this (its cosine).
SAME_WAY = np.cos(np.radians(20.0))


@dataclass(frozen=True, eq=False)
class Inscription:
    """A line of characters, raised or sunk."""

    shapes: tuple[Shape, ...]
    character: Ints
    """(k,) which character each island belongs to, in reading order or against it."""
    direction: Floats
    """(k, 3) unit, along the line."""
    character_height: float
    """mm, of capitals, figures and ascenders, or of the tallest characters where none stand; dots
    and accents do not count. Its interval holds those of all characters of full height."""
    character_height_interval: tuple[float, float]
    overall_height: float
    """mm, of the taller characters with their dots and accents: what sizes are compared with."""

    @property
    def raised(self) -> bool:
        return self.shapes[0].raised

    @property
    def characters(self) -> int:
        return int(self.character.max()) + 1

    @property
    def way(self) -> Floats:
        """(3,) unit, along the line at its middle character, the way that their numbers grow."""
        middle: Floats = self.direction[self.character == (self.characters - 1) // 2][0]
        return middle


def inscriptions_among(shapes: list[Shape]) -> tuple[list[Inscription], list[int]]:
    """The inscriptions that some islands make up, and the rows of the islands that are in them."""
    found, told = _inscriptions_among(shapes)
    blocks = {
        id(shape) for line in found for shape in blocks_among(line.shapes, line.overall_height)
    }
    others = {i for i in told if is_pattern(shapes[i]) or id(shapes[i]) in blocks}
    if not others:
        return found, told
    rest = [i for i in range(len(shapes)) if i not in others]
    found, told = inscriptions_among([shapes[i] for i in rest])
    return found, [rest[i] for i in told]


def _inscriptions_among(shapes: list[Shape]) -> tuple[list[Inscription], list[int]]:
    """The same, of grids, wheels and blocks, too."""
    found: list[Inscription] = []
    standing = [shape.standing for shape in shapes]
    height = np.zeros(len(shapes))
    for group in groups(standing):
        tall = _tall(shapes, group)
        if _is_written(shapes, group, tall):
            height[group] = tall
    told: list[int] = []
    # Words stand farther apart than letters do; once the height of a line is known, stops and marks
    # that stand alone are found by it.
    own = np.array([one.size for one in standing])
    for wide in groups(standing, WORD_GAP * np.maximum(height, own)):
        group = wide
        tall = float(height[wide].max())
        if not tall:
            tall = _tall(shapes, wide)
        if not _is_written(shapes, wide, tall):
            group = wide[height[wide] > 0]
        if not len(group):
            continue
        free = np.flatnonzero((height == 0) & ~np.isin(np.arange(len(shapes)), told))
        group = _with_odd_ones(shapes, group, free, tall)
        lines = _without_strays(shapes, lines_of(standing, group), tall)
        group = np.concatenate([line.members for line in lines])
        # A single character of several pieces (rings in each other) is a mark.
        if max(int(line.character.max()) for line in lines) == 0 and len(lines) == 1:
            continue
        mine = [_inscription(shapes, line) for line in lines]
        if not are_set_on_lines(mine):
            continue
        told += group.tolist()
        found.extend(mine)
    return found, told


def _without_strays(shapes: list[Shape], lines: list[Line], tall: float) -> list[Line]:
    """The lines without those of one small island: a blind hole above a word is none of it."""
    kept = [
        line
        for line in lines
        if len(line.members) > 1 or is_tall(shapes[int(line.members[0])], tall)
    ]
    return kept or lines


def _is_written(shapes: list[Shape], group: Ints, tall: float) -> bool:
    """Is a group lettering by its shapes, and by how these stand to each other?"""
    mine = [shapes[i] for i in group.tolist()]
    large = [shape for shape in mine if is_tall(shape, tall)]
    if not is_lettering(mine, tall):
        in_line = len(large) > 3 and is_lettering(mine, tall, in_line=True)
        return in_line and share_a_stroke(large) and _stand_on_a_line(large, tall)
    return len(large) > 2 or _stand_as_a_pair(large[0], large[1], mine, tall)


def _stand_as_a_pair(one: Shape, two: Shape, group: list[Shape], tall: float) -> bool:
    """Do two islands stand as two characters do? Less is known of two than of a line.

    There may be a small one of the group between them, such as a dash or a point.
    """
    pair = one.standing, two.standing
    between = [
        max(gap_between(shape.standing, end) for end in pair)
        for shape in group
        if is_small(shape, tall)
    ]
    if min([gap_between(*pair), *between]) > PAIR_GAP * tall:
        return False
    line = lines_of([one.standing, two.standing], np.arange(2))[0]
    foot, head = (step / tall for step in _steps(one, two, line.direction[0]))
    if min(abs(foot), abs(head)) <= SAME_LINE:
        return True
    if abs(foot + head) / 2 <= SAME_LINE:
        return False
    return max(abs(foot), abs(head)) <= LOWER


def _stand_on_a_line(shapes: list[Shape], tall: float) -> bool:
    """Do islands stand side by side, near each other, with feet and heads at one height?"""
    standing = [shape.standing for shape in shapes]
    lines = lines_of(standing, np.arange(len(shapes)))
    if len(lines) > 1 or int(lines[0].character.max()) + 1 < len(shapes):
        return False
    line = lines[0]
    order = np.argsort(line.character)
    gaps = []
    for before, after in zip(order[:-1].tolist(), order[1:].tolist(), strict=True):
        one, two = (shapes[int(line.members[k])] for k in (before, after))
        gaps.append(gap_between(one.standing, two.standing) / tall)
        steps = _steps(one, two, line.direction[before])
        if max(abs(step) for step in steps) > IN_LINE * tall:
            return False
    wide = sum(gap > PAIR_GAP for gap in gaps)
    return wide * SPACES <= len(gaps) and max(gaps) <= WORD_SPACE


def _steps(one: Shape, two: Shape, way: Floats) -> tuple[float, float]:
    """By how much the foot and the head of an island lie higher than those of another, mm."""
    across = np.cross(one.measured.island.normal, way)
    apart = float((two.standing.centre - one.standing.centre) @ across)
    low, high = one.extent(across), two.extent(across)
    return apart + high[0] - low[0], apart + high[1] - low[1]


def _with_odd_ones(shapes: list[Shape], group: Ints, free: Ints, tall: float) -> Ints:
    """A line with the characters that belong to it, though they are lower or higher than the rest.

    They stand among the others with strokes like theirs, and are as tall.
    """
    usual = float(np.nanmedian([shapes[i].strokes.usual for i in group.tolist()]))
    standing = [shape.standing for shape in shapes]
    mine = set(group.tolist())
    for i in free.tolist():
        if i in mine or shapes[i].raised != shapes[int(group[0])].raised:
            continue
        alike = abs(shapes[i].strokes.usual - usual) <= LIKE_STROKE * usual
        if not (alike and ODD_SIZE[0] * tall <= standing[i].size <= ODD_SIZE[1] * tall):
            continue
        near = [k for k in group.tolist() if are_near(standing[i], standing[k], tall)]
        if not near:
            continue
        with_it = np.append(group, i)
        lines = lines_of(standing, with_it)
        # A slot beside a word would turn the way in which that is read.
        if _stands_in_a_line(lines, i) and _same_ways(lines_of(standing, group), lines):
            group = with_it
            mine.add(i)
    return group


def _stands_in_a_line(lines: list[Line], row: int) -> bool:
    """Is an island a character by itself, in a line with others?"""
    for line in lines:
        if row in line.members and len(line.members) > 2:
            own = line.character[line.members == row][0]
            return bool((line.character == own).sum() == 1)
    return False


def _same_ways(lines: list[Line], others: list[Line]) -> bool:
    """Do islands stand along the same ways (or against them) in these lines and in others?"""
    other = {
        row: way
        for line in others
        for row, way in zip(line.members.tolist(), line.direction, strict=True)
    }
    return all(
        abs(float(way @ other[row])) >= SAME_WAY
        for line in lines
        for row, way in zip(line.members.tolist(), line.direction, strict=True)
        if way.any()
    )


def _tall(shapes: list[Shape], group: Ints) -> float:
    """Height of the tallest line that a group would make up, mm; 0 if it spells nothing anyhow."""
    mine = [shapes[i] for i in group.tolist()]
    # Rows of holes and bosses end here, before their lines are looked for.
    if len(mine) < 2 or not any(is_shaped(shape) for shape in mine):
        return 0.0
    lines = lines_of([shape.standing for shape in mine], np.arange(len(mine)))
    return max(_inscription(mine, line).overall_height for line in lines)


def _inscription(shapes: list[Shape], line: Line) -> Inscription:
    mine = tuple(shapes[i] for i in line.members.tolist())
    characters = [np.flatnonzero(line.character == c) for c in range(line.character.max() + 1)]
    heights = np.array(
        [
            _character_heights([mine[i] for i in rows.tolist()], line.direction[rows[0]])
            for rows in characters
        ]
    )
    overall = _taller(heights[:, 0])
    low = np.array([line.across[rows, 0].min() for rows in characters])
    high = np.array([line.across[rows, 1].max() for rows in characters])
    plain = _taller(heights[~reach_beyond(low, high, BEYOND * float(overall.max())), 1])
    # Both ends of a character may be off, and so may the way of its line.
    blur = 2 * max(shape.blur + shape.measured.base.residual for shape in mine)
    value = _middle(plain)
    blur += LEAN_KNOWN * max(shape.standing.size for shape in mine)
    least = _capitals_at_least(heights[:, 1], plain)
    interval = (least - blur, float(plain.max()) + blur)
    return Inscription(
        mine, line.character, line.direction, value, interval, float(np.median(overall))
    )


def _middle(height: Floats) -> float:
    """The middle one of some heights; of two that are unlike the lower: a tail makes one taller."""
    order = np.sort(height)
    low, high = order[(len(order) - 1) // 2], order[len(order) // 2]
    return float(low if low < TAIL * high else (low + high) / 2)


def _capitals_at_least(height: Floats, tall: Floats) -> float:
    """The least that capitals of a line may be tall, mm, of all characters and of its tall ones.

    One that is taller than all others may be the only capital (Name), or one with a tail among
    capitals (BJR): nothing in the outlines says which.
    """
    rest = height[(height >= SMALL_LETTER * tall.max()) & (height < tall.min())]
    if len(tall) == 1 and len(rest) >= 2 and rest.min() >= ALIKE * rest.max():
        return float(rest.min())
    return float(tall.min())


def _taller(height: Floats) -> Floats:
    """Of heights those of capitals, ascenders and figures: not small letters, stops and hyphens."""
    height = np.maximum(np.nan_to_num(height), 0.0)
    taller: Floats = height[height >= 0.8 * height.max()]
    return taller


def _character_heights(shapes: list[Shape], way: Floats) -> tuple[float, float]:
    """Extent of a character, made of one island or several, across its line, mm: all, and plain.

    In the plain one dots and accents do not count: the dot of a j stands as high as a capital,
    which its hook reaches below.
    """
    normal = shapes[0].measured.island.normal
    across = np.cross(normal, way) if way.any() else shapes[0].axes[1]
    across = across / max(float(np.linalg.norm(across)), 1e-12)
    origin = shapes[0].measured.island.centre
    extents = np.array([shape.extent(across) for shape in shapes])
    at = np.array([(shape.measured.island.centre - origin) @ across for shape in shapes])
    low, high = at + extents[:, 0], at + extents[:, 1]
    overall = float(high.max() - low.min())
    large = high - low >= ACCENT * overall
    if not large.any():
        return overall, overall
    return overall, float(high[large].max() - low[large].min())


def with_inner(line: Inscription, shapes: list[Shape], parent: Ints) -> Inscription:
    """The line with what stands in the counters of its characters (the dot of a zero).

    It is as high as they are; or lower, if several crease limits find it. Within the facets of a
    rounding the floor of a counter may be taken for a step of a few hundredths of their height.
    """
    row_of = {id(shape): row for row, shape in enumerate(shapes)}
    place = {row_of[id(shape)]: k for k, shape in enumerate(line.shapes)}
    counter = {i: place[p] for i, p in enumerate(parent.tolist()) if p in place}
    inner = {
        i: counter[p]
        for i, p in enumerate(parent.tolist())
        if p in counter
        and shapes[p].raised != line.raised
        and shapes[i].raised == line.raised
        and _is_dot_of(shapes[i], shapes[p], line.shapes[counter[p]])
    }
    if not inner:
        return line
    rows = [*range(len(line.shapes)), *inner.values()]
    added = tuple(shapes[i] for i in inner)
    return replace(
        line,
        shapes=line.shapes + added,
        character=line.character[rows],
        direction=line.direction[rows],
    )


def _is_dot_of(inner: Shape, counter: Shape, character: Shape) -> bool:
    """May an island in a counter be a part of its character, and not the counter's own floor?"""
    if inner.measured.island.footprint > MOST_FILLED * counter.measured.island.footprint:
        return False
    is_known = inner.standing.slack <= KNOWN * inner.height
    if is_known and are_as_high(inner.standing, character.standing):
        return True
    return inner.votes >= LEAST_VOTES and inner.height >= LEAST_STEP * character.height
