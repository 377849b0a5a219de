"""Which bars meet, and which of them are one bar in several pieces?

Wires that are bent sharply, frames and lattices are one piece of thin material, however many bars
they are made of. A hole that another hole crosses is one hole: its sides are cut apart there.
Lengths in mm. Tested by tests/geometry/test_rods_meeting.py.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from lint3d.geometry.clearance import near_boxes
from lint3d.geometry.components import connected_groups
from lint3d.geometry.rods_bar import Bar
from lint3d.geometry.spans_pairs import closest_on_segments

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

PAST_END = 0.5  # of the diameter: where bars meet they are cut back so far, and a little more
TOUCHING = 0.99  # bars whose axes are nearer than both radii have material in common
IN_LINE = 0.99  # the cosine: pieces of one bar run the same way to within 8 degrees
ASIDE = 0.25  # of the diameter: axes of pieces of one bar are not farther apart
AS_THICK = 1.2
APART = 0.5  # of the diameter, between the ends of two pieces
ENDS = 6  # nearest ends that are asked: three bars may cross in one place
PIECE, PIECES_MOST = 8.0, 16  # thicknesses, and of one bar


def meeting(bars: Sequence[Bar]) -> Ints:
    """(k,) group of each straight bar: bars that meet, directly or through others, are one group.

    Bars meet where their axes, each a little longer than its bar, pass nearer than both are thick
    together. Pins beside each other on a plate do not.
    """
    start, end, thick = _ends(bars)
    axis = _ways(start, end)
    start = start - PAST_END * thick[:, None] * axis
    end = end + PAST_END * thick[:, None] * axis
    one, two = _near(start, end, thick)
    near, other = closest_on_segments(
        start[one], end[one] - start[one], start[two], end[two] - start[two]
    )
    apart = np.linalg.norm(near - other, axis=1)
    meet = apart < TOUCHING * (thick[one] + thick[two]) / 2
    return connected_groups(len(bars), one[meet], two[meet])


def in_line(bars: Sequence[Bar]) -> Ints:
    """(k,) group of each straight bar: pieces of one, end to end and as thick, are one group."""
    start, end, thick = _ends(bars)
    axis = _ways(start, end)
    one, two = _end_to_end(start, end)
    line = axis[one]
    step = (start[two] + end[two] - start[one] - end[one]) / 2
    along = (step * line).sum(axis=1)
    aside = np.linalg.norm(step - along[:, None] * line, axis=1)
    long = np.linalg.norm(end - start, axis=1)
    thin = np.minimum(thick[one], thick[two])
    same = np.abs((line * axis[two]).sum(axis=1)) >= IN_LINE
    same &= np.maximum(thick[one], thick[two]) <= AS_THICK * thin
    same &= aside <= ASIDE * thin
    same &= np.abs(np.abs(along) - (long[one] + long[two]) / 2) <= APART * thin
    return connected_groups(len(bars), one[same], two[same])


def joined_in_line(bars: Sequence[Bar]) -> list[Bar]:
    """Bars with the pieces of one put together where the first stood; bent ones as given."""
    straight = [i for i, bar in enumerate(bars) if bar.is_straight]
    pieces: dict[int, list[int]] = {}
    for i, number in zip(straight, in_line([bars[i] for i in straight]).tolist(), strict=True):
        pieces.setdefault(number, []).append(i)
    whole = {mine[0]: one_bar([bars[i] for i in mine]) for mine in pieces.values()}
    return [whole.get(i, bar) for i, bar in enumerate(bars) if i in whole or not bar.is_straight]


def one_bar(pieces: Sequence[Bar]) -> Bar:
    """The bar that straight pieces in one line make; as narrow as the narrowest of them."""
    if len(pieces) == 1:
        return pieces[0]
    thinnest = min(pieces, key=lambda bar: bar.diameter)
    axis = thinnest.axis
    ends = [(bar.start, bar.end) for bar in pieces]
    along = np.array([[end @ axis for end in pair] for pair in ends])
    first, start_side = divmod(int(along.argmin()), 2)
    last, end_side = divmod(int(along.argmax()), 2)
    start, end = ends[first][start_side], ends[last][end_side]
    length = float(np.ptp(along))
    unsure = sum(bar.longest - bar.shortest for bar in pieces)
    faces = np.concatenate([thinnest.faces, *(bar.faces for bar in pieces)])
    each = np.sort(np.unique(faces, return_index=True)[1])
    has_end = (pieces[first].has_end[start_side], pieces[last].has_end[end_side])
    return replace(
        thinnest,
        lower=min(bar.lower for bar in pieces),
        upper=min(bar.upper for bar in pieces),
        length=length,
        shortest=max(length - unsure, 0.0),
        longest=length + unsure,
        start=start,
        end=end,
        has_end=has_end,
        faces=faces[each],
        sagitta=max(bar.sagitta for bar in pieces),
        extent=max(float(np.abs(end - start).max()), *(bar.extent for bar in pieces)),
    )


def _ends(bars: Sequence[Bar]) -> tuple[Floats, Floats, Floats]:
    start = np.array([bar.start for bar in bars], dtype=float).reshape(-1, 3)
    end = np.array([bar.end for bar in bars], dtype=float).reshape(-1, 3)
    return start, end, np.array([bar.diameter for bar in bars], dtype=float)


def _ways(start: Floats, end: Floats) -> Floats:
    step = end - start
    return step / np.maximum(np.linalg.norm(step, axis=1), 1e-12)[:, None]


def _end_to_end(start: Floats, end: Floats) -> tuple[Ints, Ints]:
    """Pairs of bars, of which an end of one is among the nearest to an end of the other."""
    count = len(start)
    none = np.zeros(0, np.int64)
    if count < 2:
        return none, none
    ends = np.concatenate([start, end])
    near = cKDTree(ends).query(ends, k=min(ENDS, len(ends)))[1]
    one = np.repeat(np.arange(len(ends)) % count, near.shape[1])
    two = near.ravel() % count
    return one[one != two], two[one != two]


def _near(start: Floats, end: Floats, thick: Floats) -> tuple[Ints, Ints]:
    """Pairs of bars of which the boxes of some pieces come as near as both are thick."""
    none = np.zeros(0, np.int64)
    if len(start) < 2:
        return none, none
    step = end - start
    # In a bundle of slanting bars the boxes of whole bars all lie across each other.
    count = np.clip(np.ceil(np.linalg.norm(step, axis=1) / (PIECE * thick)), 1, PIECES_MOST)
    count = count.astype(np.int64)
    bar = np.repeat(np.arange(len(start)), count)
    turn = np.arange(len(bar)) - np.repeat(np.cumsum(count) - count, count)
    begin = start[bar] + step[bar] * (turn / count[bar])[:, None]
    finish = start[bar] + step[bar] * ((turn + 1) / count[bar])[:, None]
    grown = thick[bar, None] / 2
    pairs = near_boxes(np.minimum(begin, finish) - grown, np.maximum(begin, finish) + grown, 0.0)
    if not len(pairs):
        return none, none
    pairs = np.unique(np.sort(bar[pairs], axis=1), axis=0)
    pairs = pairs[pairs[:, 0] != pairs[:, 1]]
    return pairs[:, 0], pairs[:, 1]
