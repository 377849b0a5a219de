"""How deep do two bodies overlap: how large a ball does what they have in common hold?

A press fit's common volume is a thin ring: its width says nothing, the ball that it holds does. The
balls that touch the surface at points spread over it are found by shrinking them until nothing lies
within; the middle of the largest then climbs, a linear programme over the faces near it a step.
Lengths in mm. Thickness as the largest inscribed ball: Hildebrand & Rueegsegger, J. Microscopy 185
(1997) 67. Guarded by tests/geometry/test_overlap_depth.py.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import linprog

from lint3d.geometry.clearance import closest_points
from lint3d.geometry.clearance_area import cut_small
from lint3d.geometry.clearance_triangles import nearest_on_each

Floats = NDArray[np.float64]

_FEWEST_SAMPLES = 500
_MOST_SAMPLES = 4000
_MOST_SHRINKS = 40
_MOST_STEPS = 40
_ENOUGH = 1e-4  # of the radius: no need to know better


def largest_ball(corners: Floats) -> float:
    """Diameter of the largest ball in a closed body: exact where it is convex, and as high as the
    search from its thickest place climbs elsewhere.

    Parameters
    ----------
    corners : (m, 3, 3) float64, mm, of faces that look outward

    Returns
    -------
    float, mm, never above the truth; 0.0 for a body without faces
    """
    cross = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    length = np.linalg.norm(cross, axis=1)
    corners, normal = corners[length > 0], cross[length > 0] / length[length > 0, None]
    if len(corners) == 0:
        return 0.0
    point, inward = _samples(corners, -normal)
    # No ball in the body is wider than its box.
    radius = _shrunk(point, inward, corners, 0.5 * float(np.ptp(corners, axis=(0, 1)).min()))
    best = int(radius.argmax())
    return 2 * _climbed(point[best] + radius[best] * inward[best], corners)


def _samples(corners: Floats, inward: Floats) -> tuple[Floats, Floats]:
    """Points on the surface, and which way is in: large faces are cut, of many some are taken."""
    cells, owner = cut_small(corners, _FEWEST_SAMPLES)
    every = -(-len(cells) // _MOST_SAMPLES)
    return cells[::every].mean(axis=1), inward[owner[::every]]


def _shrunk(point: Floats, inward: Floats, corners: Floats, widest: float) -> Floats:
    """Radius of the largest ball in the body that touches it at each point."""
    radius = np.full(len(point), widest)
    rows = np.arange(len(point))
    for _ in range(_MOST_SHRINKS):
        middle = point[rows] + radius[rows, None] * inward[rows]
        distance, _, nearest = closest_points(middle, corners)
        away = nearest - point[rows]
        ahead = np.einsum("ij,ij->i", away, inward[rows])
        # The ball through the nearest point that still touches at its own.
        narrower = np.einsum("ij,ij->i", away, away) / np.where(ahead > 0, 2 * ahead, np.inf)
        hit = (distance < radius[rows] * (1 - _ENOUGH)) & (narrower < radius[rows])
        if not hit.any():
            break
        radius[rows[hit]] = narrower[hit]
        rows = rows[hit]
    radius[rows] = 0.0  # still shrinking: a corner
    return radius


def _climbed(middle: Floats, corners: Floats) -> float:
    """Radius of the ball that cannot be widened by a small move of its middle."""
    distance, nearest = nearest_on_each(middle, corners)
    radius = float(distance.min())
    reach = 0.5 * radius
    for _ in range(_MOST_STEPS):
        if reach <= _ENOUGH * radius:
            break
        near = (distance <= radius + 2 * reach) & (distance > 0)
        away = (middle - nearest[near]) / distance[near, None]
        # Move by s so that the least of distance + away . s, the new radius, is largest.
        found = linprog(
            [0, 0, 0, -1],
            A_ub=np.column_stack([-away, np.ones(len(away))]),
            b_ub=distance[near],
            bounds=[(-reach, reach)] * 3 + [(0, None)],
        )
        if not found.success:
            break
        moved = nearest_on_each(middle + found.x[:3], corners)
        if moved[0].min() > radius * (1 + _ENOUGH):
            middle, (distance, nearest) = middle + found.x[:3], moved
            radius = float(distance.min())
        else:
            reach /= 4
    return radius
