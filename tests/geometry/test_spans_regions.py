"""Do thin places that touch make one region, and those that do not as many as there are?"""

from __future__ import annotations

import manifold3d as m3
import numpy as np
import pytest
import shapes_walls as shapes
from scipy.spatial.transform import Rotation

from lint3d.geometry.spans import spans
from lint3d.geometry.spans_pairs import distance_at_least
from lint3d.geometry.spans_regions import ThinRegion, thin_regions
from lint3d.geometry.spans_surface import surface_from_mesh


def regions(body: object, limit: float = 1.25, look: str = "inward") -> list[ThinRegion]:
    v, f = shapes.arrays(body)  # type: ignore[arg-type]
    return thin_regions(spans(surface_from_mesh(v, f), 0.8, 1.25, look), limit)  # type: ignore[arg-type]


def test_a_plate_is_one_region_with_its_extent_and_area() -> None:
    (plate,) = regions(shapes.box([30, 20, 0.6]))
    assert plate.kind == "wall"
    assert plate.value == pytest.approx(0.6)
    assert plate.extent == pytest.approx(30)
    assert plate.area == pytest.approx(600, rel=0.02)
    assert plate.length == pytest.approx(30, rel=0.02)
    assert plate.box[1] - plate.box[0] == pytest.approx([30, 20, 0.6])


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize(("wide", "long"), [(1.0, 12.0), (2.0, 20.0), (2.0, 30.0)])
def test_the_area_of_a_floor_under_a_large_face(wide: float, long: float, seed: int) -> None:
    """Few points of the large face lie over it: half the area was told, or half as much again."""
    block = shapes.box([60, 40, 3])
    v, f = shapes.arrays(block - shapes.box([wide, long, 4], [20, 5, 0.6]))
    v = v @ Rotation.random(random_state=seed).as_matrix().T
    (floor,) = thin_regions(spans(surface_from_mesh(v, f), 0.8, 1.25), 1.25)
    assert floor.value == pytest.approx(0.6)
    assert floor.area == pytest.approx(wide * long, rel=1e-6)


def test_arms_of_a_cross_are_one_region() -> None:
    cross = shapes.box([20, 0.6, 10], [-10, -0.3, 0]) + shapes.box([0.6, 20, 10], [-0.3, -10, 0])
    assert len(regions(cross)) == 1


def test_ribs_of_unlike_thickness_are_told_apart_by_the_limit() -> None:
    body = shapes.box([20, 12, 4])
    for i, t in enumerate((0.5, 0.7, 1.1)):
        body += shapes.box([t, 8, 6], [3 + 5 * i, 2, 3])
    assert [r.value for r in regions(body)] == pytest.approx([0.5, 0.7, 1.1])
    assert [r.value for r in regions(body, 0.9)] == pytest.approx([0.5, 0.7])
    assert regions(body, 0.4) == []


def test_a_pin_is_a_rod_with_its_length_and_axis() -> None:
    body = shapes.box([20, 20, 5], [-10, -10, 0]) + shapes.rod(0.45, 13, 24)
    (pin,) = regions(body)
    assert pin.kind == "rod"
    assert pin.length == pytest.approx(8, abs=0.3)
    assert np.abs(pin.axis) == pytest.approx([0, 0, 1], abs=0.05)
    assert pin.breadth == pytest.approx(0.9, rel=0.05)


def test_a_through_hole_is_a_rod_of_void() -> None:
    body = shapes.box([20, 20, 6]) - shapes.rod(0.4, 20, 16).translate((8, 8, -5))
    (hole,) = regions(body, look="outward")
    assert hole.kind == "rod"
    assert hole.value == pytest.approx(0.8 * np.cos(np.pi / 16), abs=1e-5)
    assert hole.length == pytest.approx(6, abs=0.3)


@pytest.mark.further
def test_places_near_sides_belong_to_the_ring_they_lie_on() -> None:
    """Where facets are long and twisted a point's way across may end on one that leans."""
    rng = np.random.default_rng([9010, 18])
    case = shapes.moved(shapes.ring_thin(rng), rng)
    (ring,) = thin_regions(spans(surface_from_mesh(case.vertices, case.faces), 0.8, 1.25))
    assert len(ring.faces) == len(case.faces)


def test_the_thin_end_of_a_wedge_is_a_wall() -> None:
    """Below the limit it is narrower than points lie apart: the few there are lie in corners."""
    half, long, thick = np.radians(18.44) / 2, 10.747, 1.0636
    deep = thick + 2 * long * np.tan(half)
    outline = [(0, -deep / 2), (long, -thick / 2), (long, thick / 2), (0, deep / 2)]
    v, f = shapes.arrays(shapes.prism(outline, 16.674).refine_to_length(0.87))
    (end,) = thin_regions(spans(surface_from_mesh(v, f), 0.55, 1.37), 1.097)
    assert end.kind == "wall"
    assert end.lower <= thick <= end.upper


def test_worst_face_belongs_to_the_tightest_place() -> None:
    v, f = shapes.arrays(shapes.box([30, 20, 8]) - shapes.rod(2, 9, 16).translate((8, 8, 0.5)))
    (floor,) = thin_regions(spans(surface_from_mesh(v, f), 0.8, 1.25))
    assert floor.faces[0] == floor.face
    for face, point in ((floor.face, floor.point), (floor.contact_face, floor.contact_point)):
        corner = v[f[face]]
        normal = np.cross(corner[1] - corner[0], corner[2] - corner[0])
        assert abs((point - corner[0]) @ normal) / np.linalg.norm(normal) < 1e-9


def test_lower_bound_of_a_pair_never_exceeds_its_distance() -> None:
    from lint3d.geometry.spans_pairs import closest_on_triangles

    case = shapes.balls_nested(np.random.default_rng(3))
    surface = surface_from_mesh(case.vertices, case.faces)
    rng = np.random.default_rng(4)
    pairs = rng.integers(len(surface.faces), size=(500, 2))
    first, second = pairs.T
    _, _, distance = closest_on_triangles(
        surface.corners[first],
        surface.corners[second],
        surface.normals[first],
        surface.normals[second],
    )
    assert (distance_at_least(surface, pairs) <= distance + 1e-12).all()


@pytest.mark.parametrize("angle", [4.0, 10.0, 20.0])
def test_the_cut_off_edge_of_a_wedge_is_a_wall_though_it_is_thin_there_alone(angle: float) -> None:
    """The strip below the limit is less deep than the edge is thick, but 10 mm long."""
    wide = 0.205 + 8 * np.tan(np.radians(angle / 2))
    body = shapes.prism([(-wide, 0), (wide, 0), (0.205, 8), (-0.205, 8)], 10)
    surface = surface_from_mesh(*shapes.arrays(body.rotate((20, 30, 40))))
    (edge,) = thin_regions(spans(surface, 0.423, 0.53), 0.423)
    assert edge.kind == "wall"
    assert edge.lower <= 0.41 <= edge.upper


@pytest.mark.parametrize("seed", range(2))
def test_twelve_equal_teeth_are_twelve(seed: int) -> None:
    """Their sides enclose 30 degrees: 8 to 12 were told, as rounding chose."""
    plate = shapes.box([12, 10, 3], [-6, -5, 0])
    tool = m3.Manifold.cylinder(5, 1, 1, 48).translate([0, 0, -1])
    slot = shapes.box([1.3, 0.262, 5], [0, -0.131, -1])
    for i in range(12):
        tool += slot.rotate([0, 0, 30 * i])
    v, f = shapes.arrays(plate - tool)
    v = (v @ Rotation.random(random_state=seed).as_matrix().T).astype(np.float32).astype(float)
    found = thin_regions(spans(surface_from_mesh(v, f), 0.423, 0.529), 0.423)
    assert [one.kind for one in found] == ["wall"] * 12
    assert np.ptp([one.value for one in found]) < 0.01
