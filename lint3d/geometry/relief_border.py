"""Is it lettering, a mark, or a feature of another kind?

The border between lettering and bosses, ribs, flanges, teeth and knuckles. It is a matter of
convention, and stands in DEVELOPERS.md as well. Lengths in mm. Guarded by
tests/geometry/test_reliefs.py, tests/geometry/test_relief_sound.py and
tests/outside/test_relief_cad.py.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from lint3d.geometry.relief_shapes import Shape

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

#: A character stands up by no more than this share of the height of its line ...
MOST_RISE = 0.5
#: ... is no longer along it than so many times that (folds of a coarse base end to end are; words
#: whose letters touch may be as wide) ...
WIDEST = 10.0
#: ... and is found by at least this many crease limits (the middle one of its line).
LEAST_VOTES = 2
#: ... or has a foot of which so much turns one way.
SURE = 0.95
#: A bar's outline spreads so much more along it than across it.
BAR = 1.6
#: An outline that fills less of its convex hull is not convex.
CONVEX = 0.9
#: ... and one that fills less than this is no mark, but a web over half a part.
LEAST_FILL = 0.1
#: Islands whose signatures agree this well are congruent.
CONGRUENT = 0.04
#: No more than this share of the characters of a line are congruent; or than that, where they
#: stand as tightly and on one line as only characters do (1000, 0001).
MOST_CONGRUENT, MOST_IN_LINE = 0.6, 0.85
#: A stroke that characters share is as wide in each, within this share.
LIKE_STROKE = 0.35
#: A plain bar is no character of a line if it is wider than so many strokes of all that are none.
BLOCK = 2.0
#: A lone mark stands up by no more than this share of its size.
MARK_RISE = 0.25
#: ... and by no more than so many of its strokes: crossed ribs do.
MARK_SLENDER = 2.0
#: A grid of ribs has this many closed spaces at least, of which so many are as wide as the middle
#: one to within a share. (The letters of most scripts have fewer, or unlike ones.)
GRID_SPACES, GRID_ALIKE, GRID_WIDTH = 6, 0.75, 0.1
#: A wheel turns into itself in so many steps, which make up so much of what its outline varies by.
WHEEL_TEETH, WHEEL_SHARE, WHEEL_DIRECTIONS = (7, 90), 0.8, 720
#: On a coarse bent surface: an island whose base is known no better than by this share of its
#: height (and no worse: then it is no base), and that may be a character, is not left unsaid.
UNSURE = (0.08, 0.35)


def is_lettering(shapes: list[Shape], character_height: float, *, in_line: bool = False) -> bool:
    """Is a group of islands an inscription, and not a row of bosses, ribs or teeth?

    Several islands of at least two shapes (three among six or more: rings of slots have two), one
    of them not convex, few of them congruent, all of them low against the height of the line, and
    found by more than one crease limit. Of two islands none is a plain bar or boss; of several that
    stand `in_line` none is either, and then more of them may be congruent.
    """
    if len(shapes) < 2 or not _are_sure(shapes):
        return False
    # Of two alone less is known, as of one.
    rise = MOST_RISE if len(shapes) > 2 else MARK_RISE
    if np.median([shape.height for shape in shapes]) > rise * character_height:
        return False
    tall = [shape for shape in shapes if is_tall(shape, character_height)]
    # Two closed spaces make a B or an 8 of what is convex outside; a ring has one.
    if len(tall) < 2 or not any(is_shaped(shape) for shape in tall):
        return False
    if np.median([shape.standing.size for shape in tall]) > WIDEST * character_height:
        return False
    kinds = congruent([shape.signature for shape in tall])
    most, count = np.bincount(kinds).max(), int(kinds.max()) + 1
    if in_line and not all(is_no_bar(shape) for shape in tall):
        return False
    if count < (2 if in_line or len(tall) < 6 else 3):
        return False
    if len(tall) > 3 and most > (MOST_IN_LINE if in_line else MOST_CONGRUENT) * len(tall):
        return False
    return len(tall) >= 3 or _are_a_pair(*tall)


def is_tall(shape: Shape, character_height: float) -> bool:
    """Is it a character by itself, and no dot or accent, nor a boss as wide as it is tall?"""
    return not is_small(shape, character_height) and not _is_boss(shape)


def is_small(shape: Shape, character_height: float) -> bool:
    """Is it no larger than dots, accents and dashes are?"""
    return shape.standing.size < 0.4 * character_height


def _is_boss(shape: Shape) -> bool:
    """Is it convex, without a closed space, and no bar either? No character is, of that size."""
    short, long = shape.signature[:2]
    return not is_no_bar(shape) and long < BAR * short


def _are_sure(shapes: list[Shape]) -> bool:
    """Are islands found by several limits, or by feet that all turn one way?"""
    if np.median([shape.votes for shape in shapes]) >= LEAST_VOTES:
        return True
    return all(
        shape.votes >= LEAST_VOTES or shape.measured.island.purity >= SURE for shape in shapes
    )


def _are_a_pair(one: Shape, two: Shape) -> bool:
    """Are two islands of one font? None is a plain boss or bar, and they share a stroke."""
    if not (is_no_bar(one) and is_no_bar(two)):
        return False
    if all(shape.fill < CONVEX for shape in (one, two)):
        return True
    return share_a_stroke([one, two])


def is_shaped(shape: Shape) -> bool:
    return shape.fill < CONVEX or len(shape.counters) >= 2


def is_no_bar(shape: Shape) -> bool:
    """Is it more than a plain bar or boss?"""
    return is_shaped(shape) or len(shape.counters) > 0


def is_pattern(shape: Shape) -> bool:
    """Is it a grid of ribs, or a wheel with teeth, and no character?"""
    spaces = shape.counters
    if len(spaces) >= GRID_SPACES:
        alike = np.abs(spaces - np.median(spaces)) <= GRID_WIDTH * np.median(spaces)
        if alike.mean() >= GRID_ALIKE:
            return True
    if shape.outline is None or shape.fill >= CONVEX:
        return False
    power = np.abs(np.fft.rfft(shape.outline.reach(WHEEL_DIRECTIONS))) ** 2
    power[0] = 0.0
    return any(
        power[teeth::teeth].sum() >= WHEEL_SHARE * power.sum() for teeth in range(*WHEEL_TEETH)
    )


def share_a_stroke(shapes: list[Shape]) -> bool:
    """Is there a width of stroke that all islands have, as letters with thick and thin ones do?"""
    narrow = [shape.strokes.narrowest for shape in shapes]
    usual = [shape.strokes.usual for shape in shapes]
    return max(narrow) <= (1 + LIKE_STROKE) * min(usual)


def blocks_among(shapes: Sequence[Shape], character_height: float) -> list[Shape]:
    """Those islands of a line that are plain blocks beside the strokes of the others.

    An I or a dash is as wide as a stroke of the letters beside it. (Dots may be wider.)
    """
    strokes = [shape.strokes.usual for shape in shapes if is_no_bar(shape)]
    if not strokes:
        return []
    most = BLOCK * max(strokes)
    return [
        one
        for one in shapes
        if not (is_no_bar(one) or is_small(one, character_height)) and one.strokes.narrowest > most
    ]


def is_mark(shape: Shape) -> bool:
    """May a lone island be a letter or an arrow? Its outline is not convex, and it is low."""
    low = shape.height <= MARK_RISE * shape.standing.size
    low = low and not shape.height > MARK_SLENDER * shape.strokes.usual
    shaped = LEAST_FILL < shape.fill < CONVEX or len(shape.counters) > 0
    return low and shaped and _are_sure([shape]) and not is_pattern(shape)


def may_be_character(shape: Shape) -> bool:
    """Is it like a character, on a base that is not known well?"""
    unsure = UNSURE[0] < shape.measured.base.residual / shape.height < UNSURE[1]
    low = shape.height <= MOST_RISE * shape.standing.size
    return unsure and low and LEAST_FILL < shape.fill < CONVEX


def congruent(signatures: list[Floats]) -> Ints:
    """(k,) numbers of shapes from 0: islands of one number are congruent."""
    kinds: list[Floats] = []
    kind = np.zeros(len(signatures), np.int64)
    for row, signature in enumerate(signatures):
        same = (
            k
            for k, other in enumerate(kinds)
            if (np.abs(signature - other) <= CONGRUENT * _scale(other)).all()
        )
        kind[row] = next(same, len(kinds))
        if kind[row] == len(kinds):
            kinds.append(signature)
    return kind


def _scale(signature: Floats) -> Floats:
    """What each entry of a signature is compared with: the size, and itself where it is larger."""
    size = max(float(np.hypot(*signature[:2])), 1e-9)
    return np.maximum(signature, size)
