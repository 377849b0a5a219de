"""Are knife edges and crevices told with the right angle and depth, and nothing else as one?"""

from __future__ import annotations

import manifold3d as m3
import numpy as np
import pytest
import shapes_walls as shapes

from lint3d.geometry.spans import spans
from lint3d.geometry.spans_knife import knife_edges
from lint3d.geometry.spans_regions import thin_regions
from lint3d.geometry.spans_sharp import SharpRegion, sharp_regions
from lint3d.geometry.spans_surface import surface_from_mesh


def sharp(body: m3.Manifold, look: str = "inward") -> list[SharpRegion]:
    v, f = shapes.arrays(body)
    return sharp_regions(spans(surface_from_mesh(v, f), 0.8, 1.25, look), 0.8)  # type: ignore[arg-type]


@pytest.mark.parametrize("angle", [6.0, 15.0, 29.0])
def test_plain_wedge(angle: float) -> None:
    half = np.radians(angle / 2)
    (edge,) = sharp(shapes.prism([(0, 0), (12, -12 * np.tan(half)), (12, 12 * np.tan(half))], 9))
    assert edge.angle == pytest.approx(angle, abs=1e-3)
    assert edge.lower <= 0.4 / np.tan(half) <= edge.upper
    assert edge.upper - edge.lower < 1e-3
    assert edge.length == pytest.approx(9)


def test_a_chisel_is_a_wall_with_a_short_knife_edge() -> None:
    outline = [(0, 0), (1, -0.25), (9, -0.25), (9, 0.25), (1, 0.25)]
    body = shapes.prism(outline, 9)
    (edge,) = sharp(body)
    assert edge.depth == pytest.approx(1.0, abs=1e-3)
    v, f = shapes.arrays(body)
    (wall,) = thin_regions(spans(surface_from_mesh(v, f), 0.8, 1.25))
    assert wall.value == pytest.approx(0.5)


def test_a_pointed_cone_has_a_tip() -> None:
    (tip,) = sharp(m3.Manifold.cylinder(20, 20 * np.tan(np.radians(10)), 0.0, 64))
    assert tip.angle == pytest.approx(20, abs=0.1)
    assert tip.length == 0
    # Across the flats it is that much thinner.
    assert tip.lower <= 0.4 / np.tan(np.radians(10)) / np.cos(np.pi / 64) <= tip.upper
    assert tip.upper - tip.lower < 1e-3


def test_a_crevice_is_a_knife_edge_of_void() -> None:
    cut = shapes.prism([(-1.2, 8), (0, 2), (1.2, 8)], 60).translate((0, 0, -20))
    body = shapes.prism([(-10, 0), (10, 0), (10, 7), (-10, 7)], 12) - cut
    (crevice,) = sharp(body, "outward")
    assert crevice.angle == pytest.approx(2 * np.degrees(np.arctan(0.2)), abs=1e-3)
    assert crevice.lower <= 0.4 / 0.2 <= crevice.upper


@pytest.mark.parametrize("make", shapes.SOUND, ids=lambda make: make.__name__)
def test_sound_parts_have_none(make: object) -> None:
    case = make(np.random.default_rng(7))  # type: ignore[operator]
    found = spans(surface_from_mesh(case.vertices, case.faces), 0.8, 1.25, case.look)
    assert sharp_regions(found, 0.8) == []


@pytest.mark.parametrize("seed", range(3))
def test_corners_far_from_a_tip_make_it_no_deeper(seed: int) -> None:
    """Blunt pits of few facets, whose facets meet in corners, beside a sharp one 1 mm deep."""
    rng = np.random.default_rng(seed)
    body = shapes.box([60, 30, 10])
    for _ in range(6):
        pit = m3.Manifold.cylinder(5, 0.0, rng.uniform(1.6, 3), int(rng.integers(3, 6)))
        place = (rng.uniform(25, 55), rng.uniform(5, 25), rng.uniform(5.5, 7))
        body -= pit.rotate(rng.uniform(-20, 20, 3)).translate(place)
    body -= m3.Manifold.cylinder(20, 0.0, 20 * np.tan(np.radians(10)), 24).translate((8, 8, 9))
    found = sharp(body, "outward")
    sharpest = min(found, key=lambda tip: tip.angle)
    assert sharpest.point == pytest.approx([8, 8, 9], abs=1e-6)
    assert sharpest.angle == pytest.approx(20, abs=0.3)
    assert sharpest.depth == pytest.approx(1, abs=2e-3)
    for tip in found:
        assert tip.angle <= 30.5
        assert tip.depth <= 0.8 / np.tan(np.radians(tip.angle / 2))


@pytest.mark.parametrize("tilt", [-0.1, 0.1])
def test_faces_that_go_on_from_each_other_enclose_nothing_where_one_is_turned_over(
    tilt: float,
) -> None:
    """As at an edge where three faces meet: their normals are opposite, but they do not fold."""
    vertices = np.array([[0, 0, 0], [0, 10, 0], [10, 5, 0], [-10, 5, tilt]], float)
    surface = surface_from_mesh(vertices, np.array([[0, 1, 2], [0, 1, 3]]))
    for inward, outward_look in ((-surface.normals, False), (surface.normals, True)):
        edges = knife_edges(surface, inward, outward_look, np.zeros(0, np.int64), 0.2)
        assert not len(edges.angle)
