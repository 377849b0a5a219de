"""How far may the designer's smooth shape lie from the facets?

The chord deviation (sagitta) between a flat facet and the smooth surface through its corners: for a
circle cut into N chords r (1 - cos(pi/N)). Only where the mesh is evidently facetted-smooth
(`smooth.py`). Lengths in mm, angles in radians. Guarded by tests/geometry/test_chord.py.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lint3d.geometry.components import connected_groups
from lint3d.geometry.portions import chunks
from lint3d.geometry.smooth import SmoothEdges, smooth_edges
from lint3d.geometry.topology import EdgeTable
from lint3d.geometry.vectors import cross_product

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

# A corner's mean normal that leans from the face by more than this many turns of its borders is
# that of a tip (the apex of a cone), and not of a smooth surface. 1 in a mesh of regular triangles.
_LARGEST_LEAN = 1.25


def chord_deviation_mm(
    vertices: Floats, faces: Ints, table: EdgeTable, floor_mm: float = 0.0
) -> Floats:
    """How far may the smooth shape lie from each face?

    Along a side of length e between corners whose normals turn by t, an arc through both ends
    stands (e/2) tan(t/4) away from its chord; over a whole triangle these add up as a quadratic
    surface. The normals are those of the smooth surface: means over the faces round the corner that
    evidently smooth edges join, weighted by angle. Across an evidently smooth edge that turns by t
    between facets of width w the deviation is at least (w/2) tan(t/4).

    Parameters
    ----------
    vertices : (n, 3) float64, mm
    faces : (m, 3) int64
    table : EdgeTable of `faces`
    floor_mm : deviations below this may be returned as 0, which saves time; 0 finds all

    Returns
    -------
    (m,) float64, mm : 0 where the surface is flat, or has an edge of its own and not of facetting

    References
    ----------
    Sagitta of an inscribed polygon, r (1 - cos(pi/N)); error of linear interpolation of a
    quadratic.
    """
    deviation = np.zeros(len(faces))
    smooth = smooth_edges(vertices, faces, table, floor_mm)
    if len(smooth.face) == 0:
        return deviation
    across = smooth.width_mm / 2 * np.tan(smooth.turn / 4)
    for side in range(2):
        np.maximum.at(deviation, smooth.face[:, side], across)
    most_turn = np.zeros(int(smooth.facet.max()) + 1)
    for side in range(2):
        np.maximum.at(most_turn, smooth.facet[smooth.face[:, side]], smooth.turn)
    rows = np.flatnonzero(most_turn[smooth.facet] > 0)
    surface = _SmoothNormals(vertices, faces, rows, smooth)
    for part in chunks(len(rows)):
        normals = surface.at_corners(part, most_turn)
        over = _over_triangles(vertices[faces[rows[part]]], normals)
        deviation[rows[part]] = np.maximum(deviation[rows[part]], over)
    return deviation


def _over_triangles(corner: Floats, normal: Floats) -> Floats:
    """(k,) largest distance of a quadratic surface from each triangle, at its sides and centre."""
    rise = []
    for one, two in ((0, 1), (1, 2), (2, 0)):
        side = corner[:, two] - corner[:, one]
        length = np.linalg.norm(side, axis=1)
        side /= length[:, None]
        lean_one = np.arcsin(np.clip(np.einsum("ij,ij->i", normal[:, one], side), -1, 1))
        lean_two = np.arcsin(np.clip(np.einsum("ij,ij->i", normal[:, two], side), -1, 1))
        rise.append(length / 2 * np.tan((lean_two - lean_one) / 4))
    centre = (rise[0] + rise[1] + rise[2]) * (4 / 9)
    largest: Floats = np.abs([*rise, centre]).max(axis=0)
    return largest


class _SmoothNormals:
    """Normals of the smooth surface at the corners of the given faces."""

    def __init__(self, vertices: Floats, faces: Ints, rows: Ints, smooth: SmoothEdges) -> None:
        self.rows, self.smooth = rows, smooth
        touched = np.zeros(len(vertices), bool)
        touched[faces[rows].ravel()] = True
        near = np.flatnonzero(touched[faces].any(axis=1))
        self.place = np.full(len(faces), -1, np.int32)
        self.place[near] = np.arange(len(near))
        links = self.place[np.concatenate([smooth.inner, smooth.face])]
        self.fan = _fans(faces[near], links)
        self.mean = np.zeros((int(self.fan.max()) + 1, 3))
        angle = np.empty((len(near), 3))
        for part in chunks(len(near)):
            angle[part] = _corner_angles(vertices[faces[near[part]]])
        for axis in range(3):
            weighted = angle * smooth.normal[near, axis][:, None]
            self.mean[:, axis] = np.bincount(self.fan, weighted.ravel())
        length = np.linalg.norm(self.mean, axis=1)
        self.mean /= np.where(length > 0, length, 1)[:, None]

    def at_corners(self, part: slice, most_turn: Floats) -> Floats:
        """(k, 3, 3) for a part of the faces; the face's own normal where the corner is a tip."""
        rows = self.rows[part]
        corner = 3 * self.place[rows].astype(np.int64)[:, None] + np.arange(3)
        mean = self.mean[self.fan[corner]]
        own = np.broadcast_to(self.smooth.normal[rows][:, None, :], mean.shape)
        lean = np.arccos(np.clip(np.einsum("kij,kij->ki", mean, own), -1, 1))
        is_tip = lean > _LARGEST_LEAN * most_turn[self.smooth.facet[rows]][:, None]
        normals: Floats = np.where(is_tip[:, :, None], own, mean)
        return normals


def _fans(faces: Ints, links: NDArray[np.int32]) -> Ints:
    """(3 k,) which corners lie at one vertex and are joined by smooth edges there?

    `links` are pairs of rows of `faces` that share an edge, -1 for a face that is not among them.
    """
    links = links[(links >= 0).all(axis=1)]
    one, two = [], []
    for corner in range(3):
        for other in range(3):
            same = faces[links[:, 0], corner] == faces[links[:, 1], other]
            one.append(3 * links[same, 0] + corner)
            two.append(3 * links[same, 1] + other)
    return connected_groups(3 * len(faces), np.concatenate(one), np.concatenate(two))


def _corner_angles(corner: Floats) -> Floats:
    """(k, 3) angle of each triangle at each corner."""
    angles = np.empty(corner.shape[:2])
    for this in range(3):
        one = corner[:, (this + 1) % 3] - corner[:, this]
        two = corner[:, (this + 2) % 3] - corner[:, this]
        angles[:, this] = np.arctan2(
            np.linalg.norm(cross_product(one, two), axis=1), np.einsum("ij,ij->i", one, two)
        )
    return angles
