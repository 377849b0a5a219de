"""How large is the largest ball that fits into a closed surface, and where?

Branch and bound over a grid of cubes: no ball in a cube is larger than the clearance at its middle
and half its diagonal, so that cubes which cannot hold the best are dropped and the others halved.
The answer is a bound on both sides. Lengths mm. Guarded by tests/geometry/test_largest_ball.py.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

#: More cubes than this in one round would mean that thousands of places are equally deep: what is
#: known by then is answered.
MOST_CUBES = 200_000
_FIRST = 12
_CORNERS = np.array([[x, y, z] for x in (-1, 1) for y in (-1, 1) for z in (-1, 1)], np.float64)


@dataclass(frozen=True)
class Ball:
    """A ball inside the material, and a bound on any other.

    Attributes
    ----------
    centre : (3,) mm
    diameter : mm, of a ball that fits there
    upper : mm, no ball that fits is larger
    face : row of a face that it touches
    """

    centre: Floats
    diameter: float
    upper: float
    face: int


def largest_ball(vertices: Floats, faces: Ints, enough: float, share: float = 0.01) -> Ball | None:
    """The largest inscribed ball, to within `share` of its diameter where that needs few cubes.

    Parameters
    ----------
    vertices : (n, 3) float64, mm
    faces : (m, 3) int64, closed, out of the material
    enough : mm; below this the size does not matter, and nothing smaller is looked for closely
    share : how far apart the bounds may stay, as a share of the diameter

    Returns
    -------
    Ball, or None if nothing of the volume was met (a surface that encloses nothing)
    """
    import igl

    from lint3d.geometry.throats_clearance import Clearance

    clearance = Clearance(vertices, faces)
    low, high = vertices.min(axis=0), vertices.max(axis=0)
    half = float((high - low).max()) / _FIRST / 2
    counts = np.maximum(np.ceil((high - low) / (2 * half)), 1).astype(int)
    steps = np.indices(counts).reshape(3, -1).T
    middle = low + (2 * steps + 1) * half
    local = np.ascontiguousarray(vertices - clearance.middle)
    rows = np.ascontiguousarray(faces, np.int64)
    best, centre, dropped = 0.0, None, 0.0
    while len(middle):
        reach = clearance.at(middle)
        inside = igl.fast_winding_number(local, rows, middle - clearance.middle) > 0.5
        deep = np.where(inside, reach, -reach)
        first = int(deep.argmax())
        if deep[first] > best:
            best, centre = float(deep[first]), middle[first]
        # The clearance changes by no more than the way: a bound for the whole cube.
        bound = deep + half * np.sqrt(3.0)
        wanted = max(best * (1 + share), enough / 2)
        hopeful = bound > wanted
        dropped = max(dropped, float(bound[~hopeful].max(initial=0.0)))
        if 8 * int(hopeful.sum()) > MOST_CUBES:
            dropped = max(dropped, float(bound.max()))
            break
        half /= 2
        middle = (middle[hopeful, None] + _CORNERS * half).reshape(-1, 3)
    if centre is None:
        return None
    face = int(clearance.nearest(centre[None])[1][0])
    return Ball(centre, 2 * best, 2 * max(dropped, best), face)
