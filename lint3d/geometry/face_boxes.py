"""Which faces are near enough to each other to be worth comparing?

Space is cut in two, again and again, until few faces are left in each box; a box all of whose faces
are known not to meet is dropped. Where long thin faces lie aslant, so that their boxes overlap
without end, the cutting goes on in a frame turned along them. Lengths in mm.
Guarded by tests/geometry/test_face_boxes.py.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lint3d.geometry.portions import chunks

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

# Faces in one box: small boxes are more often of one chart.
_FACES_IN_BOX = 500
# Faces handed out at once, from boxes that lie side by side.
_FACES_IN_CALL = 20_000
# A cut must leave less than this share of the faces on either side, or it is not worth making.
_WORST_HALF = 0.8
# Faces that reach over a cut go to both sides: how often each may come to stand, all in all.
_MOST_GROWTH = 4.0
# Faces looked at to choose a cut.
_SAMPLE = 2_000
# Boxes tried to learn how crowded a place is.
_TRIED_BOXES = 24


@dataclass(frozen=True, eq=False)
class Portion:
    """Faces to compare with each other."""

    rows: Ints
    """(k,) ascending."""
    frame: Floats | None
    """(3, 3) rows are the axes in which the faces' boxes overlap least; None: x, y, z."""


@dataclass(frozen=True, eq=False)
class FaceBoxes:
    """Faces, the boxes around them, and what is known of them."""

    vertices: Floats
    faces: Ints
    chart: Ints
    """(r,) faces of one chart, if it is 0 or more, need not be compared."""
    shift_mm: Floats | None
    """(r,) added along the first axis: pulls faces apart that are not to be compared."""
    margin_mm: float
    """Added to the boxes all around."""
    low: Floats
    high: Floats


@dataclass(frozen=True, eq=False)
class _Node:
    rows: Ints
    low: Floats
    high: Floats
    """Boxes of all faces in x, y, z; of these rows alone in a turned frame."""
    frame: Floats | None
    growth: float

    def along(self, axis: int, some: slice = slice(None)) -> tuple[Floats, Floats]:
        if self.frame is None:
            rows = self.rows[some]
            return self.low[rows, axis], self.high[rows, axis]
        return self.low[some, axis], self.high[some, axis]

    def part(self, keep: Ints, growth: float) -> _Node:
        if self.frame is None:
            return _Node(self.rows[keep], self.low, self.high, None, growth)
        return _Node(self.rows[keep], self.low[keep], self.high[keep], self.frame, growth)


def face_boxes(
    vertices: Floats, faces: Ints, chart: Ints, shift_mm: Floats | None, margin_mm: float
) -> FaceBoxes:
    """Put a box around each face; see `FaceBoxes` for the arguments."""
    low, high = _boxes_around(vertices, faces, shift_mm, margin_mm)
    return FaceBoxes(vertices, faces, chart, shift_mm, margin_mm, low, high)


def _boxes_around(
    vertices: Floats, faces: Ints, shift_mm: Floats | None, margin_mm: float
) -> tuple[Floats, Floats]:
    low = np.empty((len(faces), 3), order="F")
    high = np.empty_like(low)
    for part in chunks(len(faces)):
        # Three arrays compared are several times quicker than one reduced over a short axis.
        a, b, c = (vertices[faces[part, corner]] for corner in range(3))
        low[part] = np.minimum(np.minimum(a, b), c) - margin_mm
        high[part] = np.maximum(np.maximum(a, b), c) + margin_mm
    if shift_mm is not None:
        low[:, 0] += shift_mm
        high[:, 0] += shift_mm
    return low, high


def portions_to_compare(boxes: FaceBoxes) -> Iterator[Portion]:
    """Sets of faces such that any two faces whose boxes meet are in one of them.

    Unless the two are of one chart. A face goes to both sides of a cut if it reaches over it. Two
    faces that meet do so at a point, and the box that holds this point has both of them.
    """
    batch: list[Ints] = []
    size, frame = 0, None
    for node in _small_boxes(boxes):
        if batch and (size >= _FACES_IN_CALL or node.frame is not frame):
            yield Portion(np.unique(np.concatenate(batch)), frame)
            batch, size = [], 0
        batch.append(node.rows)
        size, frame = size + len(node.rows), node.frame
    if batch:
        yield Portion(np.unique(np.concatenate(batch)), frame)


def _small_boxes(boxes: FaceBoxes) -> Iterator[_Node]:
    waiting = [_Node(np.arange(len(boxes.faces)), boxes.low, boxes.high, None, 1.0)]
    while waiting:
        node = waiting.pop()
        if len(node.rows) < 2 or _is_of_one_chart(boxes.chart[node.rows]):
            continue
        if len(node.rows) <= _FACES_IN_BOX:
            yield node
            continue
        halves = _cut(node)
        if halves is not None:
            waiting.extend(halves)
        elif node.frame is None and len(node.rows) > 2 * _FACES_IN_BOX:
            waiting.append(_turned(boxes, node.rows))
        else:
            yield node


def _is_of_one_chart(chart: Ints) -> bool:
    return bool(chart[0] >= 0 and (chart == chart[0]).all())


def _cut(node: _Node) -> tuple[_Node, _Node] | None:
    """Both sides of the best of three middle planes; None if none parts the faces well."""
    some = slice(None, None, max(1, len(node.rows) // _SAMPLE))
    sample = [node.along(axis, some) for axis in range(3)]
    extent = [high.max() - low.min() for low, high in sample]
    for axis in np.argsort(extent)[::-1]:
        middle = np.median(sample[axis][0] + sample[axis][1]) / 2
        low, high = node.along(int(axis))
        left, right = np.flatnonzero(low <= middle), np.flatnonzero(high >= middle)
        growth = node.growth * (len(left) + len(right)) / len(node.rows)
        small = max(len(left), len(right)) <= _WORST_HALF * len(node.rows)
        if small and growth <= _MOST_GROWTH:
            return node.part(left, growth), node.part(right, growth)
    return None


def _turned(boxes: FaceBoxes, rows: Ints) -> _Node:
    """The same faces in a frame along their long sides."""
    corner = boxes.vertices[boxes.faces[rows]]
    sides = (corner[:, [1, 2, 0]] - corner).reshape(-1, 3)
    frame: Floats = np.linalg.eigh(sides.T @ sides)[1].T
    used, local = np.unique(boxes.faces[rows], return_inverse=True)
    shift = None if boxes.shift_mm is None else boxes.shift_mm[rows]
    low, high = _boxes_around(
        boxes.vertices[used] @ frame.T, local.reshape(-1, 3), shift, boxes.margin_mm
    )
    return _Node(rows, low, high, frame, 1.0)


def mean_overlaps(boxes: tuple[Floats, Floats], others: tuple[Floats, Floats]) -> float:
    """How many of the other boxes does a box meet? Found by trying a few.

    Parameters
    ----------
    boxes, others : each the low (k, 3) and the high (k, 3) corners, mm

    Returns
    -------
    float : mean number, itself included where a box stands in both
    """
    (low, high), (other_low, other_high) = boxes, others
    if len(low) == 0:
        return 0.0
    some = np.linspace(0, len(low) - 1, min(_TRIED_BOXES, len(low))).astype(np.int64)
    meets = np.ones((len(some), len(other_low)), bool)
    for axis in range(3):
        meets &= other_low[None, :, axis] <= high[some, None, axis]
        meets &= other_high[None, :, axis] >= low[some, None, axis]
    return float(meets.sum(axis=1).mean())
