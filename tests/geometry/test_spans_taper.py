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
@pytest.mark.cases(4)
def test_no_line_that_counts_is_shorter(seed: int) -> None:
    rng = np.random.default_rng(seed)
    surface = askew_wedge(rng)
    found = spans(surface, 0.8, 1.25)
    assert not len(found.edges.angle)
    rows = found.measured & ~found.knife
    shortest = witness(surface, rng)
    assert found.interval[rows, 0].min(initial=np.inf) <= shortest + 0.02


@pytest.mark.parametrize("half", [2.0, 5.0, 10.0])
@pytest.mark.parametrize("count", [21, 41, 81])
def test_a_round_tip_is_as_thick_as_its_circle(half: float, count: int) -> None:
    """A blade with flanks that touch its round tip: the circle in the tip's flats."""
    import shapes_walls as shapes

    from lint3d.geometry.spans_regions import thin_regions

    radius, long, lean = 0.205, 8.0, np.radians(half)
    turn = np.linspace(lean, np.pi - lean, count)
    foot = (radius + long * np.sin(lean)) / np.cos(lean)
    arc = np.column_stack([radius * np.cos(turn), radius * np.sin(turn)])
    body = shapes.prism([(-foot, -long), (foot, -long), *arc.tolist()], 10).rotate((20, 30, 40))
    surface = surface_from_mesh(*shapes.arrays(body))
    true = 2 * radius * np.cos((turn[1] - turn[0]) / 2)
    walls = thin_regions(spans(surface, 0.423, 0.53), 0.423)
    assert walls[0].lower <= true <= walls[0].upper
    assert (walls[0].upper - walls[0].lower) / 2 <= 0.02
