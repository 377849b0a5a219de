"""Do closed hollows inside a body read as lettering that is left filled on purpose?

A hollow counts if it is a prism: two like caps with straight walls between. Lengths in mm. Guarded
by tests/geometry/test_relief_enclosed.py.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import ConvexHull, QhullError

from lint3d.geometry.facets import facet_normals
from lint3d.geometry.relief_groups import groups
from lint3d.geometry.relief_standing import Standing

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

#: How straight caps and walls are: cosine to the prism's axis above, or below.
CAP, WALL = np.cos(np.radians(10.0)), np.sin(np.radians(15.0))
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
    prisms = [_prism(vertices, faces) for faces in shells]
    rows = [i for i, prism in enumerate(prisms) if prism is not None]
    known = [prism for prism in prisms if prism is not None]
    found = []
    for group in groups([standing for standing, _, _ in known]):
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


def _prism(vertices: Floats, faces: Ints) -> tuple[Standing, float, float] | None:
    """The hollow as grouping sees it, the area of its cap, and how much of its hull that fills."""
    corner = vertices[faces]
    area = (
        np.linalg.norm(np.cross(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0]), axis=1)
        / 2
    )
    normal = facet_normals(vertices, faces)
    for axis in np.linalg.eigh((normal * area[:, None]).T @ normal)[1].T[::-1]:
        lean = np.abs(normal @ axis)
        if area[(lean < CAP) & (lean > WALL)].sum() > 0.02 * area.sum():
            continue
        axis = axis if axis[np.abs(axis).argmax()] > 0 else -axis
        cap = area[normal @ axis > CAP].sum()
        points = corner.reshape(-1, 3)
        depth = float(np.ptp(points @ axis))
        u = np.cross(axis, np.eye(3)[np.abs(axis).argmin()])
        u /= np.linalg.norm(u)
        try:
            hull = ConvexHull(points @ np.stack([u, np.cross(axis, u)]).T).volume
        except QhullError:
            return None
        # Both caps are alike: what is between them is as large as a cap times the depth.
        volume = abs(
            np.einsum("ij,ij->i", corner[:, 0], np.cross(corner[:, 1], corner[:, 2])).sum()
        )
        if abs(volume / 6 - cap * depth) > 0.05 * cap * depth:
            continue
        middle = points.mean(axis=0)
        standing = Standing(False, depth, 0.0, middle, axis, points)
        return standing, float(cap), float(cap / max(hull, 1e-300))
    return None
