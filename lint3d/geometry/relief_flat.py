"""Does a cap lie in one plane where the base below it bends?

Lettering cut along one direction into a drum or a ball, or standing on it as a straight prism, has
flat caps: the walls run along the cap's normal, not along the base's, and the height changes from
place to place. Such a character is outlined in planes along its cap, and is as high as its cap is
where it is lowest: there it vanishes first. Lengths in mm. Guarded by
tests/geometry/test_relief_flat.py.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lint3d.geometry.relief_base import Base, frame, quantile

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]
Above = Callable[[Floats], Floats]

#: Faces of one plane lean from it by less than this, and lie no farther from it than the step of
#: the mesh so often, or this share of the height.
LEAN, STEPS, OFF = np.cos(np.radians(5.0)), 4.0, 0.002
#: The base falls away below a flat cap by this share of the height, at least, and so many times
#: what the cap itself is off its plane. Less is within what a height may be off.
FALL, CLEAR = 0.008, 4.0
#: The lowest place of a cap: so often the lowest of so many triangles are cut in four.
ROUNDS, TRIANGLES = 10, 48
#: Corners of the four triangles that one is cut into, by their shares of its corners.
FOUR = np.array(
    [
        [[2, 0, 0], [1, 1, 0], [1, 0, 1]], [[0, 2, 0], [0, 1, 1], [1, 1, 0]],
        [[0, 0, 2], [1, 0, 1], [0, 1, 1]], [[1, 1, 0], [0, 1, 1], [1, 0, 1]],
    ]
) / 2  # fmt: skip
#: The plane holds this share of all faces that look as it does, and of the footprint.
ALL, FOOTPRINT = 0.9, 0.4


@dataclass(frozen=True, eq=False)
class FlatCap:
    """A cap in one plane, above a base that bends."""

    plane: Base
    """Its normal points away from the material, as that of the base."""
    faces: Ints
    """Rows of the faces that were asked about."""
    lowest: float
    highest: float
    """mm above the base, or below it for what is sunk"""


@dataclass(frozen=True, eq=False)
class FlatLimits:
    """What the mesh and an island are like."""

    centre: Floats
    """(3,) mm, the middle of its foot"""
    footprint: float
    """mm2"""
    residual: float
    """mm, how far the base is from what it was fitted to"""
    step_mm: float
    """what rounding and simplifying can do to a distance"""
    facet_mm: float = 0.0
    """how far the middles of facets of the base are from it: so far does a cap that follows it in
    as coarse facets fall away from their corners"""


def flat_cap(
    faces: tuple[Floats, Floats, Floats], above: Above, leaning: Bools, limits: FlatLimits
) -> FlatCap | None:
    """The plane of a cap, if it is flat and the base is not.

    Parameters
    ----------
    faces : (k, 3, 3) corners, mm, (k, 3) unit normals and (k,) areas, mm2, of an island; slivers
        count as without area
    above : how far points (n, 3) are from the base, (n,) mm, positive towards the cap
    leaning : (k,) which faces look roughly as the base below them does, high up
    limits : what the mesh and the island are like

    Returns
    -------
    FlatCap, or None where the cap is not flat, or follows its base
    """
    corner, normal, area = faces
    level = above(corner.reshape(-1, 3)).reshape(-1, 3)
    if not area[leaning].sum() > 0:
        return None
    # Most of a flat cap is one plane: that of its middle face, by area, in each direction in turn.
    way = np.array([quantile(n, area[leaning], 0.5) for n in normal[leaning].T])
    size = float(np.linalg.norm(way))
    if size < 0.5:
        return None
    way /= size
    off = corner @ way
    along = normal @ way >= LEAN
    seed = along & leaning
    if not area[seed].sum() > 0:
        return None
    height = quantile(level.mean(axis=1)[seed], area[seed], 0.5)
    near = max(STEPS * limits.step_mm, OFF * height)
    middle = quantile(off.mean(axis=1)[seed], area[seed], 0.5)
    on: Bools = along & (np.abs(off - middle) <= near).all(axis=1)
    held = area[on].sum()
    like = along & (level.mean(axis=1) > 0.25 * height)
    if held < ALL * area[like].sum() or held < FOOTPRINT * limits.footprint:
        return None
    lowest, highest = _lowest(corner[on], above), float(level[on].max())
    if lowest <= 0 or highest - lowest < max(FALL * lowest, CLEAR * max(near, limits.facet_mm)):
        return None
    axes = frame(way)
    origin = limits.centre + (middle - limits.centre @ way) * way
    plane = Base(origin, axes, 1.0, 1, np.zeros(3), limits.residual)
    return FlatCap(plane, np.flatnonzero(on), lowest, highest)


def _lowest(corner: Floats, above: Above) -> float:
    """The least height over some triangles, mm: over a drum it may be far from all corners."""
    least, steepest = np.inf, 0.0
    for _ in range(ROUNDS):
        corner = np.einsum("ijk,nkl->nijl", FOUR, corner).reshape(-1, 3, 3)
        level = above(corner.reshape(-1, 3)).reshape(-1, 3)
        least = min(least, float(level.min()))
        # No place of a triangle is farther than this from a corner, nor lower than so by the
        # steepest slope seen: a ridge between two facets may run through its middle.
        side = np.linalg.norm(corner - np.roll(corner, 1, axis=1), axis=2)
        fall = np.abs(level - np.roll(level, 1, axis=1))
        steepest = max(steepest, float((fall / np.maximum(side, 1e-300)).max()))
        bound = level.min(axis=1) - steepest * side.max(axis=1) / np.sqrt(3)
        kept = np.argsort(bound, kind="stable")[:TRIANGLES]
        corner = corner[kept[bound[kept] < least]]
        if not len(corner):
            break
    return least
