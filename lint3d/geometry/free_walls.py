"""Does a wall stand free, or is it held by what surrounds it?

From places midway in the wall lines run along it, in eight directions both ways. A line is held
at an end where it leads into thicker material, or where the wall curves away under it, or where it
passes another wall that stands across this one; it is free where it comes out at a rim that is as
thin as the wall. A place is held if some line through it is
held at both ends: a web in a corner, a floor, the side of a cup or of a tube. A rib on a plate is
not, nor is a loose plate. Lengths in mm. Tested by tests/geometry/test_free_walls.py.

The method looks along straight lines only: what a bent wall does beyond its bend counts as held, so
that a doubtful wall is not called free. Derived for this project; no source.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lint3d.geometry.rays import RayScene

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

LINES = 8  # through each place, over half a turn
AS_THIN = 1.6  # a rim is at most this many times as thick as the wall
FROM_RIM = 0.35  # how far before the rim that is felt, as a share of the thickness
BRACED = 3.0  # what stands out from the wall by so many thicknesses holds it, lettering does not
SIDE_COS = 0.7  # a face that looks across the wall like this is its side: the wall curves


def is_free(scene: RayScene, points: Floats, contacts: Floats, along: Floats) -> Bools:
    """At which places is a wall held by no line through it?

    Parameters
    ----------
    scene : the whole surface
    points, contacts : (k, 3) float64, mm, the two sides of the wall at each place
    along : (3,) the long way of the wall: one of the lines runs that way

    Returns
    -------
    (k,) bool
    """
    step = contacts - points
    thick = np.linalg.norm(step, axis=1)
    across = step / np.maximum(thick, 1e-300)[:, None]
    one = along - across * (across @ along)[:, None]
    length = np.linalg.norm(one, axis=1)
    spare = np.cross(across, np.eye(3)[np.abs(across).argmin(axis=1)])
    one = np.where(length[:, None] > 0.1, one, spare)
    one /= np.linalg.norm(one, axis=1)[:, None]
    two = np.cross(across, one)
    middle = (points + contacts) / 2
    held = np.zeros(len(points), dtype=bool)
    for turn in np.arange(LINES) * np.pi / LINES:
        way = one * np.cos(turn) + two * np.sin(turn)
        both = ~_ends_free(scene, middle, way, across, thick)
        both &= ~_ends_free(scene, middle, -way, across, thick)
        held |= both
    return ~held


def _ends_free(
    scene: RayScene, middle: Floats, way: Floats, across: Floats, thick: Floats
) -> Bools:
    """Does the wall end at a thin rim, going this way from its middle?"""
    facet = scene.first_facet(middle, way, np.full(len(middle), np.inf))
    out = scene.distance(middle, way, facet)
    met = facet >= 0
    corners = scene.vertices[scene.faces[facet]]
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    normal /= np.maximum(np.linalg.norm(normal, axis=1), 1e-300)[:, None]
    met &= np.abs(np.einsum("ij,ij->i", normal, across)) <= SIDE_COS
    short = np.where(met, np.maximum(out - FROM_RIM * thick, 0.0), 0.0)
    place = middle + way * short[:, None]
    chord = np.zeros(len(middle))
    for sense in (across, -across):
        side = scene.first_facet(place, sense, AS_THIN * thick)
        chord += scene.distance(place, sense, side)
    free: Bools = met & (chord <= AS_THIN * thick)
    rows = np.flatnonzero(free)
    free[rows] = ~_is_braced(scene, middle[rows], way[rows], across[rows], thick[rows], out[rows])
    return free


def _is_braced(
    scene: RayScene, middle: Floats, way: Floats, across: Floats, thick: Floats, out: Floats
) -> Bools:
    """Does something stand across the wall, on either side, before the line has come out?

    Looked for from beside the wall, along the line; what is met must be one with the wall.
    """
    height = BRACED * thick
    braced = np.zeros(len(middle), dtype=bool)
    for sense in (across, -across):
        beside = middle + sense * height[:, None]
        facet = scene.first_facet(beside, way, out)
        ahead = scene.distance(beside, way, facet)
        rows = np.flatnonzero(np.isfinite(ahead) & (ahead < out - thick) & ~braced)
        within = np.minimum(ahead[rows] + FROM_RIM * thick[rows], out[rows])
        place = middle[rows] + way[rows] * within[:, None]
        exit_at = scene.first_facet(place, sense[rows], height[rows])
        braced[rows] = exit_at < 0
    return braced
