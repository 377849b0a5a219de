"""Is a thin place thin one way, like a wall, or both ways, like a rod?

From the middle of a contact rays go out square to it; the shortest chord of several directions
is the breadth there. Lengths in mm. Tested by tests/geometry/test_spans_steps.py.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lint3d.geometry.ray_fans import chords
from lint3d.geometry.rays import RayScene
from lint3d.geometry.vectors import square_to

Floats = NDArray[np.float64]

DIRECTIONS = 8  # over half a turn: the shortest chord is at most 2 % off
REACH = 8.0  # chords are felt up to this many times the thickness each way


def breadths(scene: RayScene, points: Floats, contacts: Floats) -> Floats:
    """Shortest chord square to each contact through its middle.

    Parameters
    ----------
    points, contacts : (k, 3) float64, mm, the two sides of each contact

    Returns
    -------
    (k,) float64, mm : inf where all chords are longer than can be felt, or the sides touch
    """
    step = contacts - points
    thick = np.linalg.norm(step, axis=1)
    width = np.full(len(points), np.inf)
    rows = np.flatnonzero(thick > 0)
    towards = step[rows] / thick[rows, None]
    one, two = square_to(towards)
    middle = (points[rows] + contacts[rows]) / 2
    turns = np.arange(DIRECTIONS) * np.pi / DIRECTIONS
    width[rows] = chords(scene, middle, one, two, turns, REACH * thick[rows]).min(axis=1)
    return width
