"""Which pairs of bodies have a distance, an overlap or a hold that can be worked out by hand?

Meshes are (vertices (n, 3) mm, faces (m, 3)). Round parts are inscribed polygons with their flats
aligned, so that a radial gap g reads g·cos(pi/N). Sources: plane geometry.
"""

from __future__ import annotations

from collections.abc import Sequence

import manifold3d as m3
import numpy as np
import pytest
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Mesh = tuple[Floats, Ints]


def fcl_distance(one: Mesh, two: Mesh) -> float:
    """Distance of two bodies by the library FCL, through python-fcl (BSD); 0 where they meet."""
    fcl = pytest.importorskip("fcl")
    objects = []
    for vertices, faces in (one, two):
        model = fcl.BVHModel()
        model.beginModel(len(vertices), len(faces))
        model.addSubModel(vertices, faces)
        model.endModel()
        objects.append(fcl.CollisionObject(model))
    return max(fcl.distance(*objects, fcl.DistanceRequest(), fcl.DistanceResult()), 0.0)


def mesh(solid: m3.Manifold) -> Mesh:
    """Vertices and faces of a solid."""
    data = solid.to_mesh64()
    return np.asarray(data.vert_properties)[:, :3].copy(), np.asarray(data.tri_verts, np.int64)


def box(size: Sequence[float], low: Sequence[float] = (0, 0, 0)) -> m3.Manifold:
    return m3.Manifold.cube([float(s) for s in size]).translate([float(v) for v in low])


def rod(radius: float, low: float, high: float, sides: int) -> m3.Manifold:
    """A prism of an inscribed polygon along z."""
    return m3.Manifold.cylinder(high - low, radius, radius, sides).translate([0.0, 0.0, low])


def barrel(inner: float, outer: float, low: float, high: float, sides: int) -> m3.Manifold:
    """A tube along z."""
    return rod(outer, low, high, sides) - rod(inner, low - 1, high + 1, sides)


def ball(radius: float, sides: int) -> m3.Manifold:
    return m3.Manifold.sphere(radius, sides)


def cage(outer: float, inner: float, window: float, sides: int = 48) -> m3.Manifold:
    """A hollow ball with six round windows along the axes."""
    shell = ball(outer, sides) - ball(inner, sides)
    hole = rod(window, -2 * outer, 2 * outer, sides)
    return shell - hole - hole.rotate([90.0, 0.0, 0.0]) - hole.rotate([0.0, 90.0, 0.0])


def headed_pin(radius: float, head: float, length: float, sides: int) -> m3.Manifold:
    """A pin along z with a head 1 mm thick at either end."""
    middle = rod(radius, -length / 2, length / 2, sides)
    return (
        middle
        + rod(head, length / 2, length / 2 + 1, sides)
        + rod(head, -length / 2 - 1, -length / 2, sides)
    )


def rotation(rng: np.random.Generator) -> Floats:
    """(3, 3) a random turn."""
    q, r = np.linalg.qr(rng.normal(size=(3, 3)))
    frame: Floats = q * np.sign(np.diag(r))
    if np.linalg.det(frame) < 0:
        frame[:, 0] *= -1
    return frame


def in_frame(meshes: Sequence[Mesh], rng: np.random.Generator, offset: float = 30.0) -> list[Mesh]:
    """Meshes in one random frame, facets in random order."""
    frame, shift = rotation(rng), rng.uniform(-offset, offset, 3)
    return [(v @ frame.T + shift, f[rng.permutation(len(f))]) for v, f in meshes]
