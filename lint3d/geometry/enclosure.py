"""Where does an open surface still enclose material, and where is that not known?

Each hole in a surface is thought closed by a fan of triangles round the middle of its rim. Seen
from a place inside, what the fans cover is what cannot be known: a place is sure where they cover
less than a quarter of all directions, so that its winding number stays above three quarters
whatever closes the hole. A sheet without thickness is sure nowhere. Lengths in mm.
Tested by tests/geometry/test_enclosure.py.

References
----------
Solid angle of a triangle: van Oosterom & Strackee, IEEE Trans. Biomed. Eng. 30 (1983) 125.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lint3d.geometry.components import connected_groups
from lint3d.geometry.doubled import doubled_faces
from lint3d.geometry.vectors import cross_product

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

MOST_COVERED = 0.25  # share of all directions that holes may take up
PRODUCTS_AT_ONCE = 2_000_000
PRODUCTS_MOST = 60_000_000  # places times triangles of the fans: some seconds


@dataclass(frozen=True, eq=False)
class Caps:
    """Fans of triangles that close the holes of a surface.

    Attributes
    ----------
    corners : (c, 3, 3) float64, mm, turned like the surface
    face : (c,) int64, the face at whose side each triangle stands
    """

    corners: Floats
    face: Ints

    @property
    def area(self) -> float:
        """mm2 of all fans."""
        return float(np.linalg.norm(_crosses(self.corners), axis=1).sum() / 2)


def caps_of(vertices: Floats, faces: Ints) -> Caps:
    """Close every hole with a fan.

    Parameters
    ----------
    vertices : (n, 3) float64, mm
    faces : (m, 3) int64

    Returns
    -------
    Caps : empty if each side of a face has its match the other way round. Further copies of a face
        are left out of account, and so are faces that cancel.
    """
    once = np.flatnonzero(~doubled_faces(faces)[0])
    faces = faces[once]
    start, end = faces.ravel(), np.roll(faces, -1, axis=1).ravel()
    low, high = np.minimum(start, end), np.maximum(start, end)
    key = low * np.int64(len(vertices)) + high
    order = np.argsort(key, kind="stable")
    first = np.flatnonzero(np.diff(key[order], prepend=-1))
    balance = np.add.reduceat(np.where(start < end, 1, -1)[order], first) if len(first) else first
    # Of sides without a match one each stands for what is missing.
    side = order[first[balance != 0]]
    if not len(side):
        return Caps(np.zeros((0, 3, 3)), np.zeros(0, np.int64))
    numbers, local = np.unique(np.stack([start[side], end[side]]), return_inverse=True)
    local = local.reshape(2, -1)
    rim = connected_groups(len(numbers), local[0], local[1])[local[0]]
    count = np.bincount(rim)
    sums = np.stack(
        [
            np.bincount(rim, (vertices[start[side], axis] + vertices[end[side], axis]) / 2)
            for axis in range(3)
        ],
        axis=1,
    )
    middle = sums / np.maximum(count, 1)[:, None]
    corners = np.stack([vertices[end[side]], vertices[start[side]], middle[rim]], axis=1)
    return Caps(corners, once[side // 3])


def volume_when_closed(vertices: Floats, faces: Ints, caps: Caps) -> float:
    """Signed volume with the holes closed, mm3: negative if the faces look inward."""
    corners = np.concatenate([vertices[faces], caps.corners])
    corners = corners - corners.reshape(-1, 3).mean(axis=0)
    return float(
        np.einsum("ij,ij->i", corners[:, 0], cross_product(corners[:, 1], corners[:, 2])).sum() / 6
    )


def is_sure(caps: Caps, places: Floats) -> Bools | None:
    """Which places lie inside whatever closes the holes?

    Parameters
    ----------
    places : (k, 3) float64, mm, inside the surface with its holes closed

    Returns
    -------
    (k,) bool, or None if there is too much to work out
    """
    sure = np.ones(len(places), dtype=bool)
    if not len(caps.corners) or not len(places):
        return sure
    # Triangles of area A, all farther off than d, cover at most A / (4 pi d^2) of all directions.
    reach = np.sqrt(caps.area / (4 * np.pi * MOST_COVERED))
    low, high = caps.corners.min(axis=(0, 1)) - reach, caps.corners.max(axis=(0, 1)) + reach
    near = np.flatnonzero(((places > low) & (places < high)).all(axis=1))
    if len(near) * len(caps.corners) > PRODUCTS_MOST:
        return None
    step = max(1, PRODUCTS_AT_ONCE // len(caps.corners))
    for begin in range(0, len(near), step):
        rows = near[begin : begin + step]
        sure[rows] = np.abs(_covered(caps.corners, places[rows])) <= MOST_COVERED
    return sure


def _covered(corners: Floats, places: Floats) -> Floats:
    """Share of all directions that triangles cover, signed, seen from each place."""
    a, b, c = (corners[None, :, i] - places[:, None] for i in range(3))
    la, lb, lc = (np.sqrt(np.einsum("ijk,ijk->ij", v, v)) for v in (a, b, c))
    above = np.einsum("ijk,ijk->ij", a, cross_product(b, c))
    below = la * lb * lc
    below += np.einsum("ijk,ijk->ij", a, b) * lc
    below += np.einsum("ijk,ijk->ij", b, c) * la
    below += np.einsum("ijk,ijk->ij", c, a) * lb
    total: Floats = np.arctan2(above, below).sum(axis=1) / (2 * np.pi)
    return total


def _crosses(corners: Floats) -> Floats:
    normal: Floats = cross_product(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    return normal
