"""By what is a shape known again after it was moved, turned or exported anew?

Area, volume, centre, second and third central moments of the surface, and its corners. Moments are
exact integrals over the triangles, so that another triangulation of the same surface has the same
ones. A corner is a vertex where the surface is far from flat (its angles do not add up to a full
turn), which no triangulation of flat or gently curved surfaces changes either. Sums run in the
order of the faces and without a threaded library, so that they are the same in every run.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

#: Angle in radian that is missing from (or beyond) a full turn around a corner; a vertex on the
#: rim of a bore of 24 sides misses 0.26. common practice, no source
CORNER = 0.4
#: No more corners than this are kept: those farthest from the centre.
MOST_CORNERS = 48
#: mm
_EQUALLY_FAR = 0.001
_CHUNK = 200_000


@dataclass(frozen=True)
class Likeness:
    """What is kept of a shape; lengths in mm.

    Parameters
    ----------
    area : mm2
    volume : mm3, what the faces enclose, as signed by them; of little meaning on an open surface
    low, high : (3,) corners of the box along the axes
    centre : (3,) centroid of the surface
    second : (3, 3) mm2, central second moments of the surface over its area
    third : (3, 3, 3) mm3, central third moments over the area
    corners : (n, 3), n <= MOST_CORNERS
    """

    area: float
    volume: float
    low: Floats
    high: Floats
    centre: Floats
    second: Floats
    third: Floats
    corners: Floats

    @property
    def extent(self) -> float:
        """mm, diagonal of a box along the principal axes: the same in every position.

        Worked out from the moments: a uniform bar of this diagonal has the same ones.
        """
        return float(np.sqrt(12.0 * max(np.trace(self.second), 0.0)))


def likeness(vertices: Floats, faces: Ints) -> Likeness | None:
    """What the shape is known by.

    Parameters
    ----------
    vertices : (n, 3) float64, mm
    faces : (m, 3) int64, rows of `vertices`

    Returns
    -------
    None if there is no surface: no faces, no area, or a coordinate that is not finite
    """
    if not len(faces) or not np.isfinite(vertices).all():
        return None
    low, high = vertices.min(axis=0), vertices.max(axis=0)
    middle = (low + high) / 2
    with np.errstate(all="ignore"):
        area, volume, first, second, third = _sums(vertices - middle, faces)
        if not np.isfinite(third).all() or not area > 0:
            return None
        mean = first / area
        second, third = _central(mean, second / area, third / area)
        corners = _corners(vertices, faces, mean + middle)
    return Likeness(area, volume, low, high, mean + middle, second, third, corners)


def _sums(vertices: Floats, faces: Ints) -> tuple[float, float, Any, Any, Any]:
    """Area, volume and the integrals of x, xx and xxx over the surface.

    Over a triangle of area A with corners a, b, c and s = a + b + c: xx integrates to
    A/12 (aa + bb + cc + ss), xxx to A/60 (sss + sum of sym(aas) + 2 (aaa + bbb + ccc)), from the
    integrals of products of barycentric coordinates, 2A p! q! r! / (p + q + r + 2)!.
    """
    area = volume = 0.0
    first, second, third = np.zeros(3), np.zeros((3, 3)), np.zeros((3, 3, 3))
    for start in range(0, len(faces), _CHUNK):
        corner = vertices[faces[start : start + _CHUNK]]
        across = np.cross(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0])
        each = np.linalg.norm(across, axis=1) / 2
        area += float(each.sum())
        volume += float(np.einsum("ij,ij->", across, corner[:, 0])) / 6
        total = corner.sum(axis=1)
        first += np.einsum("m,mi->i", each, total) / 3
        squares = np.einsum("mai,maj->mij", corner, corner)
        second += np.einsum("m,mij->ij", each, squares) / 12
        second += np.einsum("m,mi,mj->ij", each, total, total) / 12
        mixed = np.einsum("m,mij,mk->ijk", each, squares, total)
        cubes = np.einsum("mi,mj,mk->ijk", total * each[:, None], total, total)
        for a in range(3):
            one = corner[:, a]
            cubes += 2 * np.einsum("mi,mj,mk->ijk", one * each[:, None], one, one)
        cubes += mixed + mixed.transpose(0, 2, 1) + mixed.transpose(2, 0, 1)
        third += cubes / 60
    return area, volume, first, second, third


def _central(mean: Floats, second: Floats, third: Floats) -> tuple[Floats, Floats]:
    """Moments about the mean from those about another point."""
    shifted = np.einsum("ij,k->ijk", second, mean)
    crossed = shifted + shifted.transpose(0, 2, 1) + shifted.transpose(2, 0, 1)
    cube = np.einsum("i,j,k->ijk", mean, mean, mean)
    return second - np.outer(mean, mean), third - crossed + 2 * cube


def _corners(vertices: Floats, faces: Ints, centre: Floats) -> Floats:
    """(n, 3) the corners farthest from the centre."""
    turn = np.zeros(len(vertices))
    for start in range(0, len(faces), _CHUNK):
        chunk = faces[start : start + _CHUNK]
        corner = vertices[chunk]
        for a in range(3):
            one, other = (corner[:, (a + k) % 3] - corner[:, a] for k in (1, 2))
            sine = np.linalg.norm(np.cross(one, other), axis=1)
            angle = np.arctan2(sine, np.einsum("ij,ij->i", one, other))
            turn += np.bincount(chunk[:, a], angle, minlength=len(vertices))
    used = turn > 0
    rows = np.flatnonzero(used & (np.abs(2 * np.pi - turn) >= CORNER))
    far = np.linalg.norm(vertices[rows] - centre, axis=1)
    # Rounded, so that equal distances do not change places with the last bits.
    order = np.lexsort((*vertices[rows].T, -np.round(far, 4)))
    count = min(len(order), MOST_CORNERS)
    if count < len(order):
        # Of corners equally far either all are kept or none: which came first would be chance.
        apart = np.flatnonzero(far[order[:count]] > far[order[count]] + _EQUALLY_FAR)
        count = len(apart) if len(apart) >= 4 else count
    return vertices[rows[order[:count]]]
