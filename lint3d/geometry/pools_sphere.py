"""Which positions are tried, and how is the sphere of all positions divided?

Directions are unit vectors. Guarded by tests/geometry/test_pools_search.py.
"""

from __future__ import annotations

from functools import cache
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from lint3d.geometry.vectors import square_to_one

Floats = NDArray[np.float64]

#: Facets whose normals are nearer than this count as one direction, rad.
_ALIKE = 0.02


def directions(count: int = 200) -> Floats:
    """(count, 3) unit vectors spread evenly over the sphere (Fibonacci lattice), axes first."""
    axes = np.vstack([np.eye(3), -np.eye(3)])
    i = np.arange(max(count - 6, 0)) + 0.5
    z = 1 - 2 * i / max(count - 6, 1)
    angle = np.pi * (1 + 5**0.5) * i
    ring = np.sqrt(1 - z * z)
    return np.vstack([axes, np.column_stack([ring * np.cos(angle), ring * np.sin(angle), z])])


def around(up: Floats, step: float, turned: int = 0) -> list[Floats]:
    """Six directions about one, at an angle (rad); of an odd turn they lie between the others."""
    side, other = square_to_one(up)
    angle = np.pi / 3 * (np.arange(6) + 0.5 * (turned % 2))
    way = np.cos(angle)[:, None] * side + np.sin(angle)[:, None] * other
    return list(np.cos(step) * up + np.sin(step) * way)


def unit(vectors: Floats) -> Floats:
    """The same directions with length 1; zero stays zero."""
    length = np.linalg.norm(vectors, axis=-1, keepdims=True)
    return np.divide(vectors, length, out=np.zeros_like(vectors), where=length > 0)


@cache
def coarse_triangles() -> Floats:
    """(80, 3, 3) corners of equal pieces of the sphere: an icosahedron, split once."""
    golden = (1 + 5**0.5) / 2
    corners = np.array(
        [
            np.roll([0.0, one, two * golden], turn)
            for turn in range(3)
            for one in (-1, 1)
            for two in (-1, 1)
        ]
    )
    corners = unit(corners)
    near = np.cos(np.arctan(2)) - 1e-9
    rows = [
        three
        for three in combinations(range(12), 3)
        if all(corners[a] @ corners[b] > near for a, b in combinations(three, 2))
    ]
    return split(corners[np.array(rows)])


def split(triangles: Floats) -> Floats:
    """(4 k, 3, 3) each spherical triangle of (k, 3, 3) parted at the middles of its sides."""
    a, b, c = triangles[:, 0], triangles[:, 1], triangles[:, 2]
    ab, bc, ca = unit(a + b), unit(b + c), unit(c + a)
    parts = [[a, ab, ca], [b, bc, ab], [c, ca, bc], [ab, bc, ca]]
    return np.concatenate([np.stack(part, axis=1) for part in parts])


def caps(triangles: Floats) -> tuple[Floats, Floats]:
    """Middles (k, 3) of spherical triangles and the angles (k,) rad within which each lies."""
    a, b, c = triangles[:, 0], triangles[:, 1], triangles[:, 2]
    # As far from all three corners.
    middle = unit(np.cross(b - a, c - a))
    middle *= np.sign((middle * a).sum(axis=1))[:, None]
    angle = np.arccos(np.clip((middle * a).sum(axis=1), -1, 1))
    return middle, angle + 1e-12


def principal_axes(vertices: Floats, faces: NDArray[np.int64], area: Floats) -> Floats:
    """(3, 3) rows: the axes of a surface, turned so that its third moments are positive.

    A body's own frame: it turns with the body. Where axes are alike (a cube, a ball) any will do,
    and so they will for a surface without area.
    """
    weight = np.linalg.norm(area, axis=1)
    if not weight.any():
        return np.eye(3)
    centre = vertices[faces].mean(axis=1)
    centre = centre - np.average(centre, axis=0, weights=weight)
    axes = np.linalg.eigh((centre * weight[:, None]).T @ centre)[1].T
    skew = weight @ (centre @ axes.T) ** 3
    axes = axes * np.where(skew < 0, -1.0, 1.0)[:, None]
    axes[2] = np.cross(axes[0], axes[1])
    return axes


def large_normals(area: Floats, most: int) -> Floats:
    """(k, 3) normals of the largest flats, the largest first.

    Parameters
    ----------
    area : (m, 3) mm2, along the normals
    """
    size = np.linalg.norm(area, axis=1)
    normal = unit(area)
    left = size > 0
    found: list[Floats] = []
    while left.any() and len(found) < most:
        first = int(np.argmax(np.where(left, size, 0.0)))
        alike = left & (normal @ normal[first] > np.cos(_ALIKE))
        found.append(normal[first])
        left &= ~alike
    return np.array(found).reshape(-1, 3)
