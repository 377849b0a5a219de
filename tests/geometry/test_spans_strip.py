"""Is the strip behind a sharp side as deep as it is drawn, wherever it ends?"""

from __future__ import annotations

import manifold3d as m3
import numpy as np
import pytest
import shapes_walls as shapes
from scipy.spatial.transform import Rotation

from lint3d.geometry.spans import spans
from lint3d.geometry.spans_sharp import SharpRegion, sharp_regions
from lint3d.geometry.spans_surface import surface_from_mesh

LIMIT = 0.8


def deepest(body: object, look: str, seed: int = 0) -> SharpRegion:
    vertices, faces = shapes.arrays(body)  # type: ignore[arg-type]
    turned = Rotation.random(random_state=seed).apply(vertices) + 20
    found = spans(surface_from_mesh(turned, faces), LIMIT, 1.25, look)  # type: ignore[arg-type]
    (edge,) = sharp_regions(found, LIMIT)
    return edge


@pytest.mark.parametrize("refined", [False, True])
@pytest.mark.parametrize("high", [1.0, 3.0, 9.0])
@pytest.mark.parametrize("angle", [5.0, 12.0, 29.0])
@pytest.mark.cases(1)
def test_a_wedge_or_a_groove_that_ends_early(angle: float, high: float, refined: bool) -> None:
    half = np.tan(np.radians(angle / 2))
    true = min(high, LIMIT / 2 / half)
    wedge = shapes.prism([(0, 0), (high, -high * half), (high, high * half)], 9)
    groove = shapes.prism([(-high * half, high), (0, 0), (high * half, high)], 60)
    block = shapes.box([20, high + 4, 9], [-10, -4, 0]) - groove.translate((0, 0, -20))
    for body, look in ((wedge, "inward"), (block, "outward")):
        edge = deepest(body.refine_to_length(0.9) if refined else body, look, int(angle))
        assert edge.lower <= true <= edge.upper
        assert edge.upper - edge.lower < 0.01
        assert edge.angle == pytest.approx(angle, abs=0.01)


def test_a_wall_behind_an_edge_is_no_part_of_the_strip() -> None:
    body = shapes.prism([(0, 0), (1, -0.25), (9, -0.25), (9, 0.25), (1, 0.25)], 9)
    assert deepest(body, "inward").depth == pytest.approx(1.0, abs=1e-3)


def test_a_hollow_ground_edge_is_deeper_than_a_plain_one() -> None:
    x = np.linspace(0, 6, 49)
    y = 0.02 * x + 0.02 * x**2
    body = shapes.prism(
        np.concatenate([np.stack([x, -y], 1), np.stack([x, y], 1)[:0:-1]]).tolist(), 9
    )
    edge = deepest(body, "inward")
    true = np.roots([0.02, 0.02, -LIMIT / 2]).max()
    assert edge.lower - 0.01 <= true <= edge.upper + 0.01


@pytest.mark.parametrize("sides", [48, 96, 180])
def test_a_strip_that_bends_is_deep_to_its_end(sides: int) -> None:
    """A horn between circles of 6 and 5.5 mm about 1 mm apart opens by 8.6 degrees.

    A line square to its edge soon leaves it. How deep it is, by the smooth circles.
    """
    limit, outer, inner = 0.423, 6.0, 5.5
    circle = m3.CrossSection.circle
    horns = circle(outer, sides) - circle(inner, sides).rotate(0.6).translate((1, 0))
    vertices, faces = shapes.arrays(horns.extrude(8).rotate((20, 30, 40)))
    found = sharp_regions(spans(surface_from_mesh(vertices, faces), limit, 0.53), limit)

    x = (outer**2 - inner**2 + 1) / 2
    edge = np.array([x, np.sqrt(outer**2 - x**2)])
    turn = np.linspace(np.arctan2(*edge[::-1]), np.pi / 2 + 0.5, 20_001)
    way = np.column_stack([np.cos(turn), np.sin(turn)])
    # Where the line from the outer circle to its middle meets the inner one.
    along = way[:, 0] + np.sqrt(way[:, 0] ** 2 - 1 + inner**2)
    last = np.flatnonzero(outer - along < limit).max()
    deep = np.linalg.norm((outer - limit / 2) * way[last] - edge)
    assert len(found) == 2
    assert [one.depth for one in found] == pytest.approx([deep] * 2, rel=0.1)
