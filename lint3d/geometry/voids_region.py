"""Where can hollows be at all?

Outside the convex hull of a part there is none. Each hollow inside it is bounded by faces that do
not lie on the hull, and by flat lids across their rim, so it lies within the convex surroundings of
those faces: only their box needs a grid. Lengths in mm. Guarded by
tests/geometry/test_voids_region.py.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lint3d.geometry.components import connected_groups
from lint3d.geometry.convex_hull import ConvexHull

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

#: A face lies on the hull if it is this near, float32 steps of the largest coordinate.
_STEPS = 8
_FLOAT32_STEP = 2.0**-23
#: More groups of faces, or more boxes, than this are looked at in one box.
_MOST_GROUPS, _MOST_BOXES = 2000, 24
#: Boxes nearer than this share of the part's size are put together.
_APART = 0.02


def faces_off_hull(vertices: Floats, faces: Ints) -> Bools:
    """(m,) does a face lie inside the convex hull of all vertices, and not on it?

    A part that is flat counts as lying inside.
    """
    used = np.unique(faces)
    points = vertices[used]
    tolerance = _STEPS * _FLOAT32_STEP * float(np.abs(points).max(initial=0.0))
    hull = ConvexHull(points, tolerance)
    if hull.is_flat:
        return np.ones(len(faces), bool)
    inside = np.zeros(len(vertices), bool)
    inside[used] = hull.depth(points) > tolerance
    result: Bools = np.any(inside[faces], axis=1).astype(bool).reshape(len(faces))
    # All three corners on the hull: a face across a bite still has its middle inside.
    rest = np.flatnonzero(~result)
    result[rest] = hull.depth(vertices[faces[rest]].mean(axis=1)) > tolerance
    return result


def regions_of_hollows(
    vertices: Floats, faces: Ints, is_settled: Bools
) -> list[tuple[Floats, Floats]]:
    """Boxes that hold every hollow and do not overlap; empty if there can be none.

    Parameters
    ----------
    is_settled : (m,) faces that bound nothing that is still to be found (of sealed hollows)
    """
    off = np.flatnonzero(faces_off_hull(vertices, faces) & ~is_settled)
    if len(off) == 0:
        return []
    low, high = _boxes_of_pieces(vertices, faces[off])
    whole = low.min(axis=0), high.max(axis=0)
    apart = _APART * float(np.max(whole[1] - whole[0]))
    # A hollow that is known to be sealed must not be cut: at the rim of a grid is the outside.
    sealed = _boxes_of_pieces(vertices, faces[is_settled])
    if len(low) > _MOST_GROUPS:
        return _with_sealed([whole], *sealed, apart)
    boxes = _with_sealed(_without_overlap(low, high, apart), *sealed, apart)
    volume = sum(float(np.prod(b - a)) for a, b in boxes)
    if len(boxes) > _MOST_BOXES or volume > 0.5 * float(np.prod(whole[1] - whole[0])):
        return _with_sealed([whole], *sealed, apart)
    return boxes


def _boxes_of_pieces(vertices: Floats, faces: Ints) -> tuple[Floats, Floats]:
    """(k, 3) mm, corners of the boxes of faces that hang together."""
    used, compact = np.unique(faces, return_inverse=True)
    compact = compact.reshape(-1, 3)
    group = connected_groups(
        len(used),
        np.concatenate([compact[:, 0], compact[:, 1]]),
        np.concatenate([compact[:, 1], compact[:, 2]]),
    )
    count = int(group.max(initial=-1)) + 1
    low, high = np.full((count, 3), np.inf), np.full((count, 3), -np.inf)
    np.minimum.at(low, group, vertices[used])
    np.maximum.at(high, group, vertices[used])
    return low, high


def _with_sealed(
    boxes: list[tuple[Floats, Floats]], low: Floats, high: Floats, apart: float
) -> list[tuple[Floats, Floats]]:
    """Boxes made larger until each sealed hollow lies wholly inside or outside of all of them."""
    while True:
        larger = []
        for one, two in boxes:
            cut = np.all((low <= two + apart) & (high >= one - apart), axis=1)
            larger.append(
                (
                    np.minimum(one, low[cut].min(axis=0, initial=np.inf)),
                    np.maximum(two, high[cut].max(axis=0, initial=-np.inf)),
                )
            )
        grown = any(
            np.any(a[0] < b[0]) or np.any(a[1] > b[1]) for a, b in zip(larger, boxes, strict=True)
        )
        if not grown:
            return boxes
        boxes = _without_overlap(
            np.array([one for one, _ in larger]), np.array([two for _, two in larger]), apart
        )


def _without_overlap(low: Floats, high: Floats, apart: float) -> list[tuple[Floats, Floats]]:
    """Put boxes together until none is nearer to another than `apart`."""
    boxes = list(zip(low, high, strict=True))
    done: list[tuple[Floats, Floats]] = []
    while boxes:
        one = boxes.pop()
        touching = [
            other
            for other in [*boxes, *done]
            if np.all(one[0] - apart <= other[1]) and np.all(other[0] - apart <= one[1])
        ]
        if not touching:
            done.append(one)
            continue
        ids = {id(other) for other in touching}
        boxes = [other for other in boxes if id(other) not in ids]
        done = [other for other in done if id(other) not in ids]
        boxes.append(
            (
                np.min([one[0], *(other[0] for other in touching)], axis=0),
                np.max([one[1], *(other[1] for other in touching)], axis=0),
            )
        )
    return sorted(done, key=lambda box: tuple(box[0]))
