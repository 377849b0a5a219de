"""Do closed hollows inside a body read as lettering that is left filled on purpose?

A hollow counts if it is a prism: two like caps with straight walls between, also where both caps
are bent alike. Lengths in mm. Guarded by tests/geometry/test_relief_enclosed.py.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.sparse.csgraph import breadth_first_order, minimum_spanning_tree
from scipy.spatial import ConvexHull, QhullError
from scipy.spatial.distance import cdist

from lint3d.geometry.facets import facet_normals
from lint3d.geometry.relief_groups import WORD_GAP, groups
from lint3d.geometry.relief_standing import Standing
from lint3d.geometry.vectors import square_to_one

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

#: A hollow as grouping sees it, the area of its cap, mm2, and how much of its hull that fills.
Prism = tuple[Standing, float, float]

#: How straight caps and walls are: cosine to the prism's axis above, or below.
CAP, WALL = np.cos(np.radians(10.0)), np.sin(np.radians(15.0))
#: Caps are bent no further than this from the middle of a hollow; their distance varies by no more
#: than this share of it.
BENT, UNEVEN = np.cos(np.radians(50.0)), 0.25
#: Of more hollows none is an inscription's.
MOST = 2_000
#: Hollows of one inscription, at least; and what share of its hull one of them leaves open.
LEAST, CONVEX = 3, 0.9
#: A hollow is no deeper than this share of the size of the largest of its inscription.
MOST_DEPTH = 0.5


@dataclass(frozen=True, eq=False)
class Hollows:
    """Closed hollows that read as one inscription."""

    rows: Ints
    """Which of the shells"""
    depth: float
    """mm, of the shallowest"""
    centre: Floats


def enclosed_lettering(vertices: Floats, shells: Sequence[Ints]) -> list[Hollows]:
    """Groups of hollows that read as lettering.

    Parameters
    ----------
    vertices : (n, 3) mm
    shells : (k, 3) faces of each closed hollow

    Returns
    -------
    list of Hollows
    """
    ways = [_prisms(vertices, faces) for faces in shells]
    rows = [i for i, one in enumerate(ways) if one]
    if len(rows) > MOST:
        return []
    known = _one_each([ways[row] for row in rows])
    found = []
    sizes = WORD_GAP * np.array([standing.size for standing, _, _ in known])
    for group in groups([standing for standing, _, _ in known], sizes):
        members = [known[i] for i in group.tolist()]
        areas = np.array([area for _, area, _ in members])
        fills = np.array([fill for _, _, fill in members])
        size = max(standing.size for standing, _, _ in members)
        depth = min(standing.height for standing, _, _ in members)
        varied = np.ptp(areas) > 0.04 * areas.max()
        if len(group) >= LEAST and varied and (fills < CONVEX).any() and depth <= MOST_DEPTH * size:
            middle = np.mean([standing.centre for standing, _, _ in members], axis=0)
            found.append(Hollows(np.array([rows[i] for i in group]), depth, middle))
    return found


def _prisms(vertices: Floats, faces: Ints) -> list[Prism]:
    """The hollow as a prism, along each axis that it is one along: an I is one along three."""
    corner = vertices[faces]
    normal = facet_normals(vertices, faces)
    cross = np.cross(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0])
    area = np.linalg.norm(cross, axis=1) / 2
    volume = abs(np.einsum("ij,ij->", corner[:, 0], cross)) / 6
    found = []
    for axis in np.linalg.eigh((normal * area[:, None]).T @ normal)[1].T[::-1]:
        axis = axis if axis[np.abs(axis).argmax()] > 0 else -axis
        prism = _along(corner, normal, area, volume, axis)
        if prism is not None:
            found.append(prism)
    return found


def _one_each(ways: list[list[Prism]]) -> list[Prism]:
    """One prism for each hollow: if it is one along several axes, that of the nearest other."""
    sure = [one[0] for one in ways if len(one) == 1]
    chosen = []
    for some in ways:
        best = some[0]
        if len(some) > 1 and sure:
            far = [np.linalg.norm(one[0].centre - best[0].centre) for one in sure]
            axis = sure[int(np.argmin(far))][0].normal
            best = max(some, key=lambda one: abs(float(one[0].normal @ axis)))
        chosen.append(best)
    return _looking_one_way(chosen)


def _looking_one_way(prisms: list[Prism]) -> list[Prism]:
    """The same, each looking the way its neighbour does: an axis has two ends."""
    if len(prisms) < 2:
        return prisms
    centre = np.array([one.centre for one, _, _ in prisms])
    order, parent = breadth_first_order(minimum_spanning_tree(cdist(centre, centre)), 0, False)
    turned = list(prisms)
    for row in order[1:].tolist():
        standing, cap, fill = prisms[row]
        if standing.normal @ turned[parent[row]][0].normal < 0:
            turned[row] = (replace(standing, normal=-standing.normal), cap, fill)
    return turned


def _along(
    corner: Floats, normal: Floats, area: Floats, volume: float, axis: Floats
) -> Prism | None:
    """The hollow as a prism along an axis, if it is one."""
    frame = np.vstack([square_to_one(axis), axis])
    points = corner.reshape(-1, 3)
    middle = points.mean(axis=0)
    flat = (corner - middle) @ frame.T
    facing = normal @ frame.T
    upper = facing[:, 2] > BENT
    if not upper.any():
        return None
    bent = _quadric(flat[upper].reshape(-1, 3))
    _, slope = _height(bent, flat.mean(axis=1))
    up = np.column_stack([-slope, np.ones(len(slope))])
    up /= np.linalg.norm(up, axis=1)[:, None]
    lean = (facing * up).sum(axis=1)
    if area[(np.abs(lean) < CAP) & (np.abs(lean) > WALL)].sum() > 0.02 * area.sum():
        return None
    top, bottom = area[lean > CAP].sum(), area[lean < -CAP].sum()
    cap = float(top + bottom) / 2
    other = flat[lean < -CAP].reshape(-1, 3)
    if not len(other) or not top:
        return None
    height, slope = _height(bent, other)
    # The way to a slanted sheet is shorter than the one straight up.
    apart = np.abs(height - other[:, 2]) / np.sqrt(1 + (slope**2).sum(axis=1))
    depth = float(np.median(apart))
    # Both caps are alike: what is between them is as large as a cap times the depth.
    if abs(volume - cap * depth) > 0.05 * cap * depth or np.ptp(apart) > UNEVEN * depth:
        return None
    try:
        hull = ConvexHull(flat.reshape(-1, 3)[:, :2]).volume
    except QhullError:
        return None
    standing = Standing(False, depth, 0.0, middle, axis, points)
    return standing, cap, float(min(cap / max(hull, 1e-300), 1.0))


def _quadric(points: Floats) -> Floats:
    """Coefficients of a surface of second degree over the first two coordinates."""
    if np.ptp(points[:, 2]) <= 1e-9 * np.ptp(points[:, :2]):
        return np.array([points[:, 2].mean(), 0, 0, 0, 0, 0])
    # Four corners do not tell a level from a bend that is as high at all of them.
    level = float(points[:, 2].mean())
    bent = np.linalg.lstsq(_terms(points), points[:, 2] - level, rcond=None)[0]
    return np.asarray(bent, np.float64) + level * np.eye(6)[0]


def _terms(points: Floats) -> Floats:
    x, y = points[:, 0], points[:, 1]
    return np.stack([np.ones(len(x)), x, y, x * x, x * y, y * y], axis=1)


def _height(bent: Floats, points: Floats) -> tuple[Floats, Floats]:
    """(k,) heights of such a surface at some points, and (k, 2) its slopes there."""
    x, y = points[:, 0], points[:, 1]
    slope = np.stack(
        [bent[1] + 2 * bent[3] * x + bent[4] * y, bent[2] + bent[4] * x + 2 * bent[5] * y], axis=1
    )
    height: Floats = _terms(points) @ bent
    return height, slope
