"""Which faces are turned over against their neighbours?

Two faces that share an edge run along it in opposite directions if both look out of the same side.
Faces are first gathered into patches that agree, then patches are compared across the edges where
they disagree. Guarded by tests/geometry/test_orientation.py.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lint3d.geometry.components import connected_groups
from lint3d.geometry.topology import EdgeTable

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class Orientation:
    """Which way the faces look, compared with their neighbours."""

    is_flipped: Bools
    """(m,) faces that disagree with the larger part of their surface."""
    is_one_sided: Bools
    """(m,) faces of a surface with one side only (a Moebius strip): none of them is flipped."""


def orient(table: EdgeTable, volume: Floats | None = None) -> Orientation:
    """Find the faces to turn over so that every surface has one outside.

    Orientation passes across edges with exactly two users. In each connected surface the smaller
    number of faces is flipped. Where both halves are of one size, the half stays whose choice makes
    the enclosed volume positive; without `volume`, the half with the lowest face.

    Parameters
    ----------
    table : EdgeTable
    volume : (m,) float64, mm3, optional
        Signed volume of the tetrahedron from a fixed point to each face.

    Returns
    -------
    Orientation
    """
    count = table.face_count
    first = table.start[:-1][table.users() == 2]
    one, two = table.use[first] // 3, table.use[first + 1] // 3
    disagrees = table.is_reverse[first] == table.is_reverse[first + 1]
    if not disagrees.any():
        return Orientation(np.zeros(count, bool), np.zeros(count, bool))
    patch = connected_groups(count, one[~disagrees], two[~disagrees])
    side, surface, is_one_sided = _two_colour(
        int(patch.max()) + 1, patch[one[disagrees]], patch[two[disagrees]]
    )
    flip_patch = _smaller_side(patch, side, surface, volume) & ~is_one_sided
    return Orientation(flip_patch[patch], is_one_sided[patch])


def _two_colour(count: int, one: Ints, two: Ints) -> tuple[Bools, Ints, Bools]:
    """Give patches that disagree different sides.

    Each patch stands twice in a graph, once as it is and once turned over; a disagreement joins the
    one copy of a patch with the other copy of its neighbour. If both copies of a patch end up in
    one group, its surface is one-sided.
    """
    double = connected_groups(
        2 * count, np.concatenate([one, one + count]), np.concatenate([two + count, two])
    )
    as_is, turned = double[:count], double[count:]
    # Groups are numbered by lowest member, so the lowest patch of a surface is on side False.
    _, surface = np.unique(np.minimum(as_is, turned), return_inverse=True)
    return as_is > turned, surface, as_is == turned


def _smaller_side(patch: Ints, side: Bools, surface: Ints, volume: Floats | None) -> Bools:
    """(patches,) is the patch on the side of its surface that must turn over?"""
    surfaces = int(surface.max()) + 1
    sign = np.where(side, -1.0, 1.0)
    # Positive: more faces on side False than on side True.
    lead = np.bincount(surface[patch], sign[patch], minlength=surfaces)
    if volume is not None:
        enclosed = np.bincount(surface[patch], sign[patch] * volume, minlength=surfaces)
        lead = np.where(lead == 0, enclosed, lead)
    turn_true = lead >= 0
    flip: Bools = side == turn_true[surface]
    return flip
