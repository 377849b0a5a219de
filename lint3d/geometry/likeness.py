"""By what is a shape known again after it was moved, turned or exported anew?

Area, volume, centre, second and third central moments of the surface, and its corners. Moments are
exact integrals over the triangles, so that another triangulation of the same surface has the same
ones. A corner is a vertex where the surface is far from flat (its angles do not add up to a full
turn), which no triangulation of flat or gently curved surfaces changes either. Sums run in the
order of the faces and without a threaded library, so that they are the same in every run.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations_with_replacement, permutations
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
_CHUNK = 50_000
#: Axes of the different products of two and of three coordinates
_PAIRS = tuple(combinations_with_replacement(range(3), 2))
_TRIPLES = tuple(combinations_with_replacement(range(3), 3))


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

    By the rule with seven points a triangle that is exact up to the third degree: corners 1/20,
    middles of the sides 2/15, centroid 9/20 of the area (Stroud, Approximate Calculation of
    Multiple Integrals, 1971, T2 3-1; from memory, and checked in the tests against monomials). A
    vertex is one point, however many triangles share it.
    """
    area = volume = 0.0
    around = np.zeros(len(vertices))
    sums = np.zeros(1 + 3 + 6 + 10)
    for start in range(0, len(faces), _CHUNK):
        chunk = faces[start : start + _CHUNK]
        a, b, c = (_axes_first(vertices, chunk[:, k]) for k in range(3))
        across = _cross(b - a, c - a)
        each = np.sqrt((across * across).sum(axis=0)) / 2
        area += float(each.sum())
        volume += float((across * a).sum()) / 6
        for k in range(3):
            around += np.bincount(chunk[:, k], each, minlength=len(vertices))
        for one, other in ((a, b), (b, c), (c, a)):
            sums += _monomials((one + other) / 2, each * (2 / 15))
        sums += _monomials((a + b + c) / 3, each * (9 / 20))
    sums += _monomials(np.ascontiguousarray(vertices.T), around / 20)
    second, third = np.zeros((3, 3)), np.zeros((3, 3, 3))
    for index, (i, j) in enumerate(_PAIRS, 4):
        second[i, j] = second[j, i] = sums[index]
    for index, triple in enumerate(_TRIPLES, 10):
        for i, j, k in permutations(triple):
            third[i, j, k] = sums[index]
    return area, volume, sums[1:4], second, third


def _axes_first(vertices: Floats, rows: Ints) -> Floats:
    """(3, m): each axis in one piece of memory, along which sums run fast."""
    return np.ascontiguousarray(vertices[rows].T)


def _cross(one: Floats, other: Floats) -> Floats:
    """(3, m) cross products."""
    (x, y, z), (u, v, w) = one, other
    return np.stack([y * w - z * v, z * u - x * w, x * v - y * u])


def _monomials(point: Floats, weight: Floats) -> Floats:
    """Sums of weight * (1, x, xx, xxx), each different product once."""
    weighted = weight * point
    squares = [weighted[i] * point[j] for i, j in _PAIRS]
    cubes = [(squares[_PAIRS.index((i, j))] * point[k]).sum() for i, j, k in _TRIPLES]
    return np.array([weight.sum(), *weighted.sum(axis=1), *(one.sum() for one in squares), *cubes])


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
        corner = [_axes_first(vertices, chunk[:, a]) for a in range(3)]
        for a in range(3):
            one, other = (corner[(a + k) % 3] - corner[a] for k in (1, 2))
            across = _cross(one, other)
            sine = np.sqrt((across * across).sum(axis=0))
            angle = np.arctan2(sine, (one * other).sum(axis=0))
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
