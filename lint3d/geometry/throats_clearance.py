"""How far is the nearest facet from a point?

Exact to float64, on all facets, in batches. Distances have no sign: whoever asks stays on one side
of the surface by never stepping farther than the distance itself. Lengths in mm. Guarded by
tests/geometry/test_throats.py.
"""

from __future__ import annotations

import igl
import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

#: From how many points on sorting pays, and cells along each side of their box.
_WORTH_SORTING, _CELLS = 400, 256
#: Facets are cut until there are this many times as many and so many more, but no more than that.
_PIECES_EACH, _PIECES_MORE, _MOST_PIECES = 5, 20_000, 100_000


class Clearance:
    """Distances to a fixed set of facets.

    Parameters
    ----------
    vertices : (n, 3) float64, mm
    faces : (m, 3) int64
    """

    def __init__(self, vertices: Floats, faces: Ints) -> None:
        used, compact = np.unique(faces, return_inverse=True)
        corners = np.asarray(vertices, np.float64)[used]
        self.middle = (corners.min(axis=0) + corners.max(axis=0)) / 2
        self._tree: igl.AABB | None = None
        self.corners = corners[compact.reshape(-1, 3)]
        """(m, 3, 3) mm, of every facet"""

    def at(self, points: Floats) -> Floats:
        """(…,) mm: distance of each point (…, 3) to the nearest facet."""
        return self.nearest(points)[0]

    def nearest(self, points: Floats) -> tuple[Floats, Ints, Floats]:
        """Distances (…,), facets (…,) and the nearest places on them (…, 3)."""
        if self._tree is None:
            pieces, self._owner = cut_small(self.corners - self.middle)
            self._vertices = np.ascontiguousarray(pieces.reshape(-1, 3))
            self._faces = np.arange(len(self._vertices)).reshape(-1, 3)
            self._tree = igl.AABB()
            self._tree.init(self._vertices, self._faces)
        local = np.ascontiguousarray(points.reshape(-1, 3) - self.middle)
        shape = points.shape[:-1]
        if len(local) < _WORTH_SORTING:
            squared, face, place = self._tree.squared_distance(self._vertices, self._faces, local)
        else:
            # Neighbours one after the other find the same part of the tree at hand: twice as fast.
            order = _side_by_side(local)
            found = self._tree.squared_distance(self._vertices, self._faces, local[order])
            back = np.argsort(order, kind="stable")
            squared, face, place = (one[back] for one in found)
        return (
            np.sqrt(squared).reshape(shape),
            self._owner[face].reshape(shape),
            (place + self.middle).reshape(points.shape),
        )


def cut_small(corners: Floats) -> tuple[Floats, Ints]:
    """Facets with the longest ones halved, as long as that is cheap.

    A long facet has a large box, and more so in a frame in which it lies askew; a search must look
    into every box that it cannot rule out. Pieces take a quarter of the time.

    Parameters
    ----------
    corners : (m, 3, 3) mm

    Returns
    -------
    (k, 3, 3) mm, and which facet each is a piece of
    """
    most = min(_PIECES_EACH * len(corners) + _PIECES_MORE, _MOST_PIECES)
    owner = np.arange(len(corners))
    while True:
        side = np.linalg.norm(np.roll(corners, -1, axis=1) - corners, axis=2)
        longest = side.max(axis=1, initial=0.0)
        rows = np.flatnonzero(longest > longest.max(initial=0.0) / 2)
        if len(rows) == 0 or len(corners) + len(rows) > most:
            return corners, owner
        row, first = np.arange(len(rows)), np.argmax(side[rows], axis=1)
        one, two, three = (corners[rows][row, (first + i) % 3] for i in range(3))
        half = (one + two) / 2
        corners, owner = corners.copy(), np.concatenate([owner, owner[rows]])
        corners[rows] = np.stack([one, half, three], axis=1)
        corners = np.concatenate([corners, np.stack([half, two, three], axis=1)])


def _side_by_side(points: Floats) -> Ints:
    """An order of points in which those near to each other follow each other."""
    low = points.min(axis=0)
    size = max(float((points - low).max()), 1e-300)
    cell = ((points - low) * (_CELLS / size)).astype(np.int64).clip(0, _CELLS - 1)
    # The bits of the three numbers are spread and woven together.
    for shift, mask in ((32, 0x1F00000000FFFF), (16, 0x1F0000FF0000FF), (8, 0x100F00F00F00F00F)):
        cell = (cell | (cell << shift)) & mask
    for shift, mask in ((4, 0x10C30C30C30C30C3), (2, 0x1249249249249249)):
        cell = (cell | (cell << shift)) & mask
    return np.argsort(cell[:, 0] | (cell[:, 1] << 1) | (cell[:, 2] << 2), kind="stable")
