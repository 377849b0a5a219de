"""Which plain bars stand to each other as the characters of ill, II, i. and -- do?

No shape tells those from low ribs and slots: they are information, and no verdict. A bar alone is
nothing (an I, or a pad). Lengths in mm. Guarded by tests/geometry/test_relief_bars.py.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lint3d.geometry.components import connected_groups
from lint3d.geometry.relief_border import (
    BAR,
    LIKE_STROKE,
    MARK_RISE,
    MARK_SLENDER,
    congruent,
    is_no_bar,
)
from lint3d.geometry.relief_groups import groups
from lint3d.geometry.relief_shapes import Shape
from lint3d.geometry.relief_standing import Standing, gaps_between

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

#: A stroke of a letter has this share of its length: h/14 (ISO 3098, type A) less a twentieth, to a
#: bold hyphen.
SHARE = (0.068, 0.45)
#: More equal bars than this are a row of ribs: no numeral and hardly a word has them.
MOST_EQUAL = 4
#: Bars shorter than this share of the longest are dashes, and may lie across it.
DASH = 0.5
#: Letters stand two strokes apart (ISO 3098), and a little more in some fonts (!!).
GAP = 3.2
#: More bars and dots in one group than this: they are a pattern.
MOST = 40
#: The rest is parallel, by this much.
PARALLEL = np.cos(np.radians(10.0))


def bars_among(shapes: list[Shape]) -> list[list[int]]:
    """Rows of the islands of each group of bars, and of dots beside bars.

    Parameters
    ----------
    shapes : islands that are no lettering and no mark

    Returns
    -------
    list of rows of `shapes`, two at least in each
    """
    plain = [i for i, shape in enumerate(shapes) if _is_plain(shape)]
    found = []
    for group in groups([shapes[i].standing for i in plain]):
        rows = [plain[k] for k in group.tolist()]
        bars = [i for i in rows if _is_bar(shapes[i])]
        if not bars or len(rows) > MOST:
            continue
        stroke = float(np.median([shapes[i].strokes.usual for i in bars]))
        near = bars + [i for i in rows if _is_dot(shapes[i], stroke)]
        for together in _near_each_other([shapes[i].standing for i in near], GAP * stroke):
            mine = sorted(near[k] for k in together)
            if len(mine) > 1 and _may_be_characters([shapes[i] for i in mine if i in bars]):
                found.append(mine)
    return found


def _near_each_other(islands: list[Standing], gap_mm: float) -> list[list[int]]:
    """Rows of the islands that hang together by gaps no wider than that."""
    pairs = np.argwhere(np.triu(np.ones((len(islands),) * 2, bool), 1))
    pairs = pairs[gaps_between(islands, pairs) <= gap_mm]
    group = connected_groups(len(islands), pairs[:, 0], pairs[:, 1])
    return [np.flatnonzero(group == k).tolist() for k in range(int(group.max()) + 1)]


def _is_plain(shape: Shape) -> bool:
    return not is_no_bar(shape) and shape.strokes.usual > 0


def _is_bar(shape: Shape) -> bool:
    """Is it a low bar, as wide for its length as strokes are?"""
    short, long = shape.signature[:2]
    stroke, length = shape.strokes.usual, _length(shape)
    low = shape.height <= min(MARK_RISE * length, MARK_SLENDER * stroke)
    return bool(low and long >= BAR * short and SHARE[0] <= stroke / length <= SHARE[1])


def _is_dot(shape: Shape, stroke: float) -> bool:
    """Is it as wide both ways as a stroke?"""
    short, long = shape.signature[:2]
    across = float(shape.signature[2])
    return bool(long < BAR * short and abs(across - stroke) <= LIKE_STROKE * stroke)


def _length(shape: Shape) -> float:
    """Of a bar, mm: its area over its width."""
    return float(shape.signature[2] ** 2 / shape.strokes.usual)


def _may_be_characters(bars: list[Shape]) -> bool:
    """Have bars strokes of one width, and one way, and are they no row of ribs?"""
    if not bars:
        return False
    strokes = [bar.strokes.usual for bar in bars]
    if max(strokes) > (1 + LIKE_STROKE) * min(strokes):
        return False
    if np.bincount(congruent([bar.signature for bar in bars])).max() > MOST_EQUAL:
        return False
    length = np.array([_length(bar) for bar in bars])
    ways = np.array([_way(bar) for bar in bars])[length >= DASH * length.max()]
    return bool((np.abs(ways @ ways[0]) >= PARALLEL).all())


def _way(bar: Shape) -> Floats:
    """(3,) unit, along a bar."""
    outline, axes = bar.outline, bar.axes
    if outline is None:
        return np.zeros(3)
    arm = outline.start - outline.start.mean(axis=0)
    along = np.linalg.eigh(arm.T @ arm)[1][:, 1]
    way: Floats = along[0] * axes[0] + along[1] * axes[1]
    return way / np.linalg.norm(way)
