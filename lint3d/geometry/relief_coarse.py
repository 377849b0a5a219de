"""Which faces belong to a smooth patch though its coarse facets cut them off?

On a bent surface of few facets neighbours turn as sharply as creases do, and a vertex beside a
chord leaves a cliff as high as the chord's rise. What tells them from relief is where their corners
lie: all of them on the smooth surface that the corners of the patch describe (`relief_smooth.py`).
Lengths in mm, angles in radians. Guarded by tests/geometry/test_relief_coarse.py.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from lint3d.geometry.components import connected_groups
from lint3d.geometry.relief_smooth import SmoothSurface

if TYPE_CHECKING:
    from lint3d.geometry.patches import Folds

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

#: A patch whose facets turn by less, on an average over its inner edges, or rise by less over their
#: chords, is not coarse.
COARSE, COARSE_MM = np.radians(2.5), 0.008
#: A surface is coarse if this share of it lies beside edges that turn by more than that, and by
#: less than walls do.
LEAST_BENT, STEEP = 0.05, np.radians(35.0)
#: Patches with a smaller share of the surface are not mended, nor more than so many.
LEAST_SHARE, MOST_PATCHES = 0.02, 8
#: A corner lies on the smooth surface if it is this share of a facet's rise from it, within limits.
BAND, BAND_MM = 0.3, (0.01, 0.1)
#: A face of it leans by less than this, or is a cliff: lower than this many rises of its chord.
LEAN, CLIFF = np.cos(np.radians(60.0)), 1.5
#: What goes on beside a patch leans from it by less than this, but for the rest of its area, and
#: does so across an edge between faces wider than so many rises.
LEVEL, MOST_LEVEL, GOES_ON = np.cos(np.radians(45.0)), 0.95, 1.0
ROUNDS = 30
#: Short walls that lead from a coarse bent patch back to itself: no wider than so many rises of its
#: facets, with this share of their border on either side, and so many of them.
LOW, EITHER_SIDE, LEAST_STEPS = 3.0, 0.15, 3


def with_cut_off_faces(folds: Folds, patch: Ints) -> Ints:
    """Patches, where faces that coarse facets cut off from one are a part of it again.

    Parameters
    ----------
    folds : angles of a surface
    patch : (m,) patch of each face

    Returns
    -------
    (m,) patch of each face, numbered from 0
    """
    area = np.bincount(patch, folds.area).astype(np.float64)
    before = patch
    patch = patch.copy()
    changed = False
    for number in _large(area):
        if not (patch == number).any():
            continue
        bend = _bend(folds, patch == number)
        if bend is None:
            continue
        surface = SmoothSurface(folds, patch == number)
        for _ in range(ROUNDS):
            joins = _joining(surface, *bend)
            if not len(joins):
                joins = _left_behind(surface, before, bend[1])
            if not len(joins):
                break
            patch[joins] = number
            surface.join(joins)
            changed = True
    return np.unique(patch, return_inverse=True)[1].astype(np.int64) if changed else patch


def is_coarse(folds: Folds) -> bool:
    """Is a good part of a surface bent, and in few facets?

    Parameters
    ----------
    folds : angles of a surface
    """
    turn = np.abs(folds.turn)
    weight = folds.length * folds.width
    bent = (turn >= COARSE) & (turn <= STEEP) & (turn * folds.width >= 8 * COARSE_MM)
    return bool(weight[bent].sum() >= LEAST_BENT * weight.sum())


def has_steps(folds: Folds) -> bool:
    """Do short walls lead from a bent patch of few facets down to that same patch?

    Sunk by less than the rise of a facet, a letter's floor leaves the facets only near their
    corners. Its walls are there, in pieces that run out, but no foot runs round them.

    Parameters
    ----------
    folds : angles of a surface
    """
    rows = np.flatnonzero(np.abs(folds.turn) >= STEEP)
    smooth = folds.face[np.abs(folds.turn) < STEEP]
    patch = connected_groups(len(folds.faces), smooth[:, 0], smooth[:, 1])
    count = int(patch.max(initial=-1)) + 1
    area = np.bincount(patch, folds.area, count).astype(np.float64)
    pair: Ints = patch[folds.face[rows]]
    around = np.bincount(pair.ravel(), np.repeat(folds.length[rows], 2), count)
    width = 2 * area / np.maximum(around, 1e-300)
    for number in _large(area):
        bend = _bend(folds, patch == number)
        if bend is None:
            continue
        on = (pair == number).sum(axis=1) == 1
        other = np.where(pair[on, 0] == number, pair[on, 1], pair[on, 0])
        length, is_convex = folds.length[rows[on]], folds.turn[rows[on]] > 0
        convex = np.bincount(other, length * is_convex, count)
        concave = np.bincount(other, length * ~is_convex, count)
        steps = np.minimum(convex, concave) > EITHER_SIDE * around
        if (steps & (width < LOW * bend[1])).sum() >= LEAST_STEPS:
            return True
    return False


def _large(area: Floats) -> list[int]:
    """Numbers of the largest patches, that may be a base of many islands."""
    large = np.argsort(-area, kind="stable")[:MOST_PATCHES]
    return large[area[large] >= LEAST_SHARE * area.sum()].tolist()


def _bend(folds: Folds, mine: Bools) -> tuple[float, float] | None:
    """Mean curvature of a patch, 1/mm, and how far its facets rise over chords, mm.

    None if it is not coarse.
    """
    inner = mine[folds.face].all(axis=1)
    turn, width = np.abs(folds.turn[inner]), folds.width[inner]
    weight = folds.length[inner] * width
    if not len(turn) or (turn * weight).sum() <= COARSE * weight.sum():
        return None
    # A facet as wide as w between two turns of t rises by w t / 8.
    rise = float((turn * width * weight).sum() / weight.sum() / 8)
    if rise < COARSE_MM:
        return None
    return float((turn * folds.length[inner]).sum() / weight.sum()), rise


def _joining(surface: SmoothSurface, curvature: float, rise: float) -> Ints:
    """Faces beside a patch that lie on its smooth surface, and hang together with it."""
    folds, mine = surface.folds, surface.mine
    border = mine[folds.face[:, 0]] != mine[folds.face[:, 1]]
    outside = np.where(mine[folds.face[border, 0]], folds.face[border, 1], folds.face[border, 0])
    can = np.unique(outside)
    asked = np.unique(folds.faces[can])
    if not len(asked):
        return np.zeros(0, np.int64)
    normal, off = surface.off(asked)
    on = np.zeros(len(folds.vertices), bool)
    on[asked[off <= np.clip(BAND * rise, *BAND_MM)]] = True
    way = np.zeros_like(folds.vertices)
    way[asked] = normal
    can = can[on[folds.faces[can]].all(axis=1)]
    corner = folds.vertices[folds.faces[can]]
    side = np.linalg.norm(corner - np.roll(corner, 1, axis=1), axis=2).max(axis=1, initial=0.0)
    height = 2 * folds.area[can] / np.maximum(side, 1e-300)
    mean = way[folds.faces[can]].mean(axis=1)
    flat = np.einsum("ij,ij->i", folds.normal[can], mean) >= LEAN * np.linalg.norm(mean, axis=1)
    found: Ints = can[flat | (height <= CLIFF * curvature * side**2 / 8)]
    return found


def _left_behind(surface: SmoothSurface, before: Ints, rise: float) -> Ints:
    """Faces of patches of which a part has joined another, and that go on beside it.

    Corners in the middle of a chord lie a rise below the smooth surface, and do not join by
    themselves. What stands up may be a wall, and does not go on.
    """
    folds, mine = surface.folds, surface.mine
    one, two = folds.face.T
    edge = (before[one] == before[two]) & (mine[one] != mine[two])
    edge &= (folds.width > GOES_ON * rise) & (np.abs(folds.turn) < STEEP)
    rest = np.flatnonzero(np.isin(before, before[one[edge]]) & ~mine)
    if not len(rest):
        return rest
    middle = folds.vertices[folds.faces[rest]].mean(axis=1)
    normal = surface.normals(middle)
    is_level = np.einsum("ij,ij->i", folds.normal[rest], normal) >= LEVEL
    area = folds.area[rest]
    count = int(before.max()) + 1
    level = np.bincount(before[rest], area * is_level, count)
    goes_on = level >= MOST_LEVEL * np.bincount(before[rest], area, count)
    found: Ints = rest[goes_on[before[rest]]]
    return found
