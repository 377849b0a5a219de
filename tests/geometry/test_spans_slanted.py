"""Is the shortest line between two facets found that leans by at most 15 degrees on both?"""

from __future__ import annotations

from typing import Any, Literal

import manifold3d as m3
import numpy as np
import pytest
import shapes_walls as shapes
from scipy.spatial.transform import Rotation

from lint3d.geometry.spans import spans
from lint3d.geometry.spans_pairs import LEAN_COS
from lint3d.geometry.spans_regions import thin_regions
from lint3d.geometry.spans_sharp import sharp_regions
from lint3d.geometry.spans_slanted import _directions, _shortest_along
from lint3d.geometry.spans_surface import SpanSurface, surface_from_mesh

LEAN = np.arccos(LEAN_COS)


def messy_solid(seed: int) -> SpanSurface:
    """A solid made of random boxes, cylinders and balls, put on and cut away."""
    rng = np.random.default_rng(seed)
    even, solid = rng.uniform, m3.Manifold

    def piece(size: tuple[float, float]) -> Any:
        kind = int(rng.integers(4))
        if kind <= 1:
            body = solid.cube(tuple(even(*size, 3)), True)
        elif kind == 2:
            sides = (even(*size), even(*size) / 2)
            body = solid.cylinder(*sides, -1, int(rng.integers(6, 40)), True)
        else:
            body = solid.sphere(even(*size) / 2, int(rng.integers(2, 8)) * 4)
        turn = frame() if rng.random() < 0.7 else np.eye(3)
        return body.transform(np.column_stack([turn, even(-6, 6, 3)]))

    def frame() -> Any:
        return Rotation.random(random_state=int(rng.integers(2**31))).as_matrix()

    body = solid.cube(tuple(even(6, 16, 3)), True)
    for _ in range(int(rng.integers(3, 14))):
        body = body + piece((4, 14)) if rng.random() < 0.45 else body - piece((1, 7))
    body = max(body.decompose(), key=lambda one: one.volume())
    body = body.transform(np.column_stack([frame(), even(-30, 30, 3)]))
    return surface_from_mesh(*shapes.arrays(body))


@pytest.mark.parametrize("seed", range(20))
def test_directions_lean_no_more_than_a_contact_may_from_both(seed: int) -> None:
    rng = np.random.default_rng(seed)
    first = rng.normal(size=(50, 3))
    first /= np.linalg.norm(first, axis=1)[:, None]
    side = np.cross(first, rng.normal(size=(50, 3)))
    side /= np.linalg.norm(side, axis=1)[:, None]
    turn = rng.uniform(0, 2 * LEAN, (50, 1))
    second = np.cos(turn) * first + np.sin(turn) * side
    way = _directions(first, second, rng.uniform(-1, 1, (50, 2)))
    for normal in (first, second):
        assert np.arccos(np.einsum("ij,ij->i", way, normal)).max() <= LEAN
    assert np.linalg.norm(way, axis=1) == pytest.approx(1)


def test_the_shortest_line_of_a_direction_is_that_of_many_random_ones() -> None:
    rng = np.random.default_rng(3)
    low = np.array([[0, 0, 0], [4, 0, 0], [0, 4, 0]], float)
    high = np.array([[1, 1, 1.0], [1, 5, 1.5], [5, 1, 2.0]], float)
    surface = surface_from_mesh(np.concatenate([low, high]), np.array([[0, 1, 2], [3, 4, 5]]))
    for _ in range(20):
        way = np.array([*rng.normal(size=2) * 0.15, 1.0])
        way /= np.linalg.norm(way)
        found = _shortest_along(surface, np.array([[0, 1]]), way[None])
        share = rng.dirichlet([0.5, 0.5, 0.5], 40_000)
        start = share @ low
        met = surface.scene.first_facet(start + 1e-3 * way, np.tile(way, (len(start), 1)), 9.0)
        length = surface.scene.distance(start, np.tile(way, (len(start), 1)), met)
        shortest = length[met == 1].min(initial=np.inf)
        assert found.distance[0] <= shortest + 1e-9
        assert found.distance[0] >= shortest - 0.05
        assert found.contact[0] - found.point[0] == pytest.approx(way * found.distance[0])


# What the shortest of very many random lines was found to be; some may be a little shorter.
@pytest.mark.parametrize(
    ("seed", "look", "witness"),
    [
        (43, "outward", 0.677),
        (91, "outward", 0.437),
        (160, "outward", 0.627),
        (192, "inward", 0.360),
        (219, "outward", 0.764),
        (233, "inward", 0.535),
        (310, "outward", 0.0934),  # level with each other, one small and aside
        (1011, "inward", 0.352),  # the shortest of each direction hidden by the facet beside
    ],
)
@pytest.mark.cases(2)
def test_no_random_line_in_messy_solids_is_shorter(
    seed: int, look: Literal["inward", "outward"], witness: float
) -> None:
    found = thin_regions(spans(messy_solid(seed), 0.8, 1.0, look))
    assert min(one.lower for one in found) <= witness + min(0.002, witness / 100)


# Random lines shorter than any wall told: all lie in a wedge that goes on to nothing. Where its
# strip ends and walls begin is a matter of tolerance; the wedge itself must be told.
@pytest.mark.parametrize(
    ("seed", "look", "line"),
    [
        (1028, "inward", (84, 106)),
        pytest.param(1071, "inward", (1255, 1077), marks=pytest.mark.slow),
        (1088, "outward", (141, 22)),
        (1094, "inward", (93, 431)),
    ],
)
def test_shorter_lines_in_messy_solids_lie_in_wedges_that_are_told(
    seed: int, look: Literal["inward", "outward"], line: tuple[int, int]
) -> None:
    surface = messy_solid(seed)
    told = sharp_regions(spans(surface, 0.8, 1.0, look), 0.8)
    # The facet itself, or one that goes on from it in its plane.
    turned = [surface.normals[one.faces] @ surface.normals[list(line)].T for one in told]
    assert any((level.max(axis=0) > 1 - 1e-9).all() for level in turned)


@pytest.mark.parametrize("seed", [0, 2, 5, 8, 9, 10, 25, 28])
@pytest.mark.parametrize("look", ["inward", "outward"])
@pytest.mark.cases(1)
def test_round_bars_and_holes_of_many_narrow_flats_are_as_wide_as_their_flats_are_apart(
    seed: int, look: Literal["inward", "outward"]
) -> None:
    """Rays from a flat's side slip past the one opposite: rounded as in a file."""
    rng = np.random.default_rng(seed)
    flats, width = 2 * int(rng.integers(12, 40)), rng.uniform(0.45, 0.75)
    radius = width / 2 / np.cos(np.pi / flats)
    if look == "outward":
        body = shapes.box([14, 12, 8]) - shapes.rod(radius, 30, flats).translate([7, 6, -5])
    else:
        body = shapes.rod(radius, 9, flats) + shapes.box([6, 6, 2], [-3, -3, -1.9])
    case = shapes.moved(shapes.WallCase("bar", *shapes.arrays(body), look, None), rng)
    surface = surface_from_mesh(case.vertices.astype(np.float32).astype(float), case.faces)
    (region,) = thin_regions(spans(surface, 0.6, 0.8, look))
    assert region.kind == "rod"
    assert region.lower - 2e-5 <= width <= region.upper + 2e-5
