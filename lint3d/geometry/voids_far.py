"""How far from the outside does a pocket reach?

Where a pocket keeps its width over a length or an area, as a bottle or a flat box does, chance says
which of its widest places stands for its middle. The distance is that of the farthest of them, on
the shortest line that a ball slides along; and it counts from the mouth, for a way may run on
beside the part. Lengths in mm. Guarded by tests/geometry/test_voids_far.py.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import dijkstra
from scipy.spatial import ConvexHull, QhullError, cKDTree

from lint3d.geometry.portions import chunks
from lint3d.geometry.throats_route import lens_between
from lint3d.geometry.voids_space import Space

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

#: A place is about as wide as the widest if it is no narrower than this times that, or by a voxel.
_AS_WIDE = 0.9
#: Such places are taken about so far from each other, times their radius.
_APART = 0.7
#: Points of a way are left out that lie nearer to the one before, times the width there.
_STEP = 0.15
#: Products of points and sides of a hull at a time.
_AT_ONCE = 1 << 22


def widest_places(space: Space, members: Ints) -> Floats:
    """(k, 3) mm, places all over the widest part of what is made of some chambers.

    Parameters
    ----------
    members : (m,) chambers, none of them the outside
    """
    peak = float(space.chambers.peak[members].max())
    enough = min(_AS_WIDE * peak, peak - 1.0)
    is_mine = np.isin(space.chambers.of_basin, members)
    label, level = space.basins.label.reshape(-1), space.distance.reshape(-1)
    found = [np.zeros(0, np.int64)]
    for some in chunks(len(label)):
        rows = np.flatnonzero((level[some] >= enough) & (label[some] >= 0))
        found.append(rows[is_mine[label[some][rows]]] + some.start)
    places = space.points(np.concatenate(found))
    cell = np.floor(places / (_APART * peak * space.grid.pitch)).astype(np.int64)
    _, first = np.unique(cell, axis=0, return_index=True)
    return places[np.sort(first)]


def farthest_place(
    way: Floats, width: Floats, places: Floats, radius: Floats, least: float
) -> tuple[float, Floats, Floats]:
    """The distance of the farthest of some places from the mouth of a way, and the line there.

    Parameters
    ----------
    way, width : (n, 3) mm and (n,) mm, from the pocket to its mouth
    places, radius : (k, 3) mm and (k,) mm, the widest places, and balls about them that are free
    least : mm, radius of a ball that has to slide along the line

    Returns
    -------
    mm, points (m, 3) from that place to the mouth and widths (m,); those of the way if none of the
    places is found from it
    """
    steps = np.linalg.norm(np.diff(way, axis=0), axis=1)
    turn = np.floor(np.concatenate([[0.0], np.cumsum(steps / np.maximum(_STEP * width[1:], 1e-6))]))
    kept = np.flatnonzero(np.diff(turn, prepend=-1.0) > 0)
    kept = np.unique(np.append(kept, len(way) - 1))
    point = np.vstack([way[kept], places])
    ball = np.concatenate([width[kept] / 2, radius])
    pair = cKDTree(point).query_pairs(2 * float(radius.max(initial=0.0)), output_type="ndarray")
    gap = np.linalg.norm(point[pair[:, 0]] - point[pair[:, 1]], axis=1)
    slides = lens_between(gap, ball[pair[:, 0]], ball[pair[:, 1]]) >= least
    one, two = np.concatenate(
        [pair[slides].T, [np.arange(len(kept) - 1), np.arange(1, len(kept))]], 1
    )
    length = np.maximum(np.linalg.norm(point[one] - point[two], axis=1), 1e-9)
    # A pair that is given twice would count with the sum.
    key, first = np.unique(
        np.minimum(one, two) * len(point) + np.maximum(one, two), return_index=True
    )
    one, two = np.divmod(key, len(point))
    graph = coo_array((length[first], (one, two)), shape=(len(point), len(point))).tocsr()
    mouth = len(kept) - 1
    far, before = dijkstra(graph, directed=False, indices=mouth, return_predecessors=True)
    reached = np.where(np.isfinite(far), far, -1.0)[len(kept) :]
    if reached.max(initial=-1.0) < 0:
        return float(steps.sum()), way, width
    line = [len(kept) + int(np.argmax(reached))]
    while line[-1] != mouth:
        line.append(int(before[line[-1]]))
    return float(reached.max()), point[line], 2 * ball[line]


class Surroundings:
    """The convex hull of a part, to ask what is surely outside.

    Parameters
    ----------
    points : (n, 3) mm
    """

    def __init__(self, points: Floats) -> None:
        try:
            self.sides = ConvexHull(points).equations
        except (QhullError, ValueError):
            self.sides = np.zeros((0, 4))

    def hold(self, points: Floats) -> Bools:
        """(p,) which points are not outside? All, if the part is flat."""
        within = np.ones(len(points), bool)
        for some in chunks(len(points), max(_AT_ONCE // max(len(self.sides), 1), 1)):
            height = points[some] @ self.sides[:, :3].T + self.sides[:, 3]
            within[some] = (height <= 0).all(axis=1)
        return within
