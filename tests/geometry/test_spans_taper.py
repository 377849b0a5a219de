"""Is the thinnest place of a taper found where its nearest sides lean too much to count?"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from lint3d.geometry.spans import spans
from lint3d.geometry.spans_surface import SpanSurface, surface_from_mesh

LEAN = np.cos(np.radians(15.0))


def askew_wedge(rng: np.random.Generator) -> SpanSurface:
    """A wedge whose end is cut off askew, so that its nearest corners lie across at a slant."""
    import manifold3d as m3

    half = np.tan(np.radians(rng.uniform(9, 13)))
    long, begin = 8.0, rng.uniform(0.4, 1.2)
    x = np.array([begin, begin + rng.uniform(0.3, 1.2), long])
    low = [(x[0], -x[0] * half), (x[2], -x[2] * half)]
    high = [(x[1], x[1] * half), (x[2], x[2] * half)]
    body = m3.CrossSection([np.array([*low, *high[::-1]])]).extrude(rng.uniform(0.2, 5))
    mesh = body.to_mesh64()
    turn = Rotation.random(random_state=int(rng.integers(2**31)))
    vertices = turn.apply(np.array(mesh.vert_properties)[:, :3]) + rng.uniform(-30, 30, 3)
    return surface_from_mesh(vertices, np.array(mesh.tri_verts).astype(np.int64))


def witness(surface: SpanSurface, rng: np.random.Generator) -> float:
    """The shortest line that counts, of very many in all directions within 15 degrees."""
    inward = -surface.normals
    weight = surface.areas / surface.areas.sum()
    facet = rng.choice(len(weight), 60_000, p=weight)
    share = rng.dirichlet([1, 1, 1], len(facet))
    point = np.einsum("kc,kcj->kj", share, surface.corners[facet])
    way = inward[facet] + rng.normal(size=point.shape) * 0.15
    way /= np.linalg.norm(way, axis=1)[:, None]
    met = surface.scene.first_facet(point, way, 0.8)
    distance = surface.scene.distance(point, way, met)
    counts = (met >= 0) & (np.einsum("ij,ij->i", way, inward[facet]) >= LEAN)
    counts &= -np.einsum("ij,ij->i", way, inward[met]) >= LEAN
    # Between sides that share a corner it tapers to nothing: no wall.
    counts &= ~(surface.faces[facet][:, :, None] == surface.faces[met][:, None, :]).any((1, 2))
    return float(distance[counts].min(initial=np.inf))


# Seed 3 makes a sharp edge of its end, behind which there is no wall.
@pytest.mark.parametrize("seed", [0, 1, 2, 4, 5, 6, 7, 8])
def test_no_line_that_counts_is_shorter(seed: int) -> None:
    rng = np.random.default_rng(seed)
    surface = askew_wedge(rng)
    found = spans(surface, 0.8, 1.25)
    assert not len(found.edges.angle)
    rows = found.measured & ~found.knife
    shortest = witness(surface, rng)
    assert found.interval[rows, 0].min(initial=np.inf) <= shortest + 0.02
