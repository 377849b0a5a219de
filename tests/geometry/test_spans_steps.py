"""The single steps of a span: straight across, feelers, knife strips, zoom, breadth."""

from __future__ import annotations

import numpy as np
import pytest
import shapes_walls as shapes

from lint3d.geometry import spans_feelers
from lint3d.geometry.spans_across import straight_across
from lint3d.geometry.spans_ball import ball_of
from lint3d.geometry.spans_behind import tapers_to_edge
from lint3d.geometry.spans_breadth import breadths
from lint3d.geometry.spans_creep import Crept, creep
from lint3d.geometry.spans_feelers import cross, ridge_pairs, ridges_crossed, vertex_pairs
from lint3d.geometry.spans_knife import knife_edges
from lint3d.geometry.spans_surface import SpanSurface, surface_from_mesh
from lint3d.geometry.spans_zoom import contacts_of, see_each_other, zoom

NO_TIPS = np.zeros(0, dtype=np.int64)


def prepared(body: object) -> tuple[SpanSurface, np.ndarray]:
    surface = surface_from_mesh(*shapes.arrays(body))  # type: ignore[arg-type]
    return surface, -surface.normals


def facet_towards(surface: SpanSurface, direction: list[float]) -> int:
    return int((surface.normals @ direction).argmax())


def test_ball_between_two_tilted_planes() -> None:
    half = np.radians(10.0)
    outline = [
        (2, -2 * np.tan(half)),
        (40, -40 * np.tan(half)),
        (40, 40 * np.tan(half)),
        (2, 2 * np.tan(half)),
    ]
    surface, inward = prepared(shapes.prism(outline, 50))
    low = facet_towards(surface, [-np.sin(half), -np.cos(half), 0])
    apart = 20.0
    point = np.array([[apart * np.cos(half), -apart * np.sin(half), 25.0]])
    met = straight_across(surface, inward, point, np.array([low]), 30.0)
    assert met.value[0] == pytest.approx(2 * apart * np.tan(half))
    assert met.distance[0] == pytest.approx(apart * np.tan(2 * half))


def test_a_ray_that_leaves_through_a_steep_facet_meets_nothing() -> None:
    surface, inward = prepared(shapes.box([10, 10, 10]))
    point, slanted = np.array([[5, 5, 0.0]]), np.array([[0.9, 0, np.sqrt(0.19)]])
    facet, distance, _ = cross(surface, inward, point, slanted, 50.0)
    assert facet[0] >= 0
    along = np.array([[0.1, 0, np.sqrt(0.99)]])
    assert cross(surface, inward, point, along, 50.0)[1][0] == pytest.approx(10 / along[0, 2])
    assert distance[0] == pytest.approx(5 / 0.9)


def test_the_tip_of_a_pit_and_the_bottom_of_a_groove_send_rays() -> None:
    import manifold3d as m3

    pit = m3.Manifold.cylinder(3, 2, 0.0, 12).translate((0, 0, -3)).rotate((180, 0, 0))
    body = shapes.box([20, 20, 4], [-10, -10, 0]) - m3.Manifold.cylinder(4, 0.0, 4, 12).translate(
        (0, 0, 0.7)
    )
    assert pit.volume() > 0
    surface, inward = prepared(body)
    assert vertex_pairs(surface, inward, 1.25)[1].min() == pytest.approx(0.7)
    outline = [(-9, 0), (9, 0), (9, 5), (1, 5), (0, 0.7), (-1, 5), (-9, 5)]
    surface, inward = prepared(shapes.prism(outline, 10))
    assert ridge_pairs(surface, inward, False, 1.25)[1].min() == pytest.approx(0.7)


def test_crossed_grooves_are_found_by_the_range_query() -> None:
    case = shapes.grooves_crossed(np.random.default_rng(1))
    surface = surface_from_mesh(case.vertices, case.faces)
    inward = -surface.normals
    pairs, _ = ridges_crossed(surface, inward, False, 0.8, 1.25)
    edges = knife_edges(surface, inward, False, NO_TIPS, 0.4)
    contacts = contacts_of(surface, inward, edges, pairs)
    assert case.truth is not None
    assert contacts.distance[contacts.counts].min() == pytest.approx(case.truth[0])


def test_strip_behind_a_knife_edge_and_not_the_wall_beyond() -> None:
    outline = [(0, 0), (2, -0.25), (9, -0.25), (9, 0.25), (2, 0.25)]
    surface, inward = prepared(shapes.prism(outline, 9))
    edges = knife_edges(surface, inward, False, NO_TIPS, 0.4)
    assert edges.angle == pytest.approx([2 * np.degrees(np.arctan(0.125))])
    slope = np.array([-0.125, 1, 0]) / np.hypot(0.125, 1)
    top, low = facet_towards(surface, slope.tolist()), facet_towards(surface, [-0.124, -0.99, 0])
    flat_top, flat_low = facet_towards(surface, [0, 1, 0]), facet_towards(surface, [0, -1, 0])
    pair = np.array([[top, low], [flat_top, flat_low]])
    points = np.array([[1, 0.125, 4.5], [5, 0.25, 4.5]])
    contacts = points * [1, -1, 1]
    assert tapers_to_edge(surface, inward, edges, pair, points, contacts).tolist() == [True, False]


def test_zoom_walks_to_the_tightest_place() -> None:
    rng = np.random.default_rng(8)
    case = shapes.balls_nested(rng)
    surface = surface_from_mesh(case.vertices, case.faces)
    inward = -surface.normals
    edges = knife_edges(surface, inward, False, NO_TIPS, 0.4)
    met = straight_across(
        surface, inward, surface.corners.mean(1), np.arange(len(surface.faces)), 5.0
    )
    rows = np.flatnonzero(met.facet >= 0)
    start = rows[np.argsort(met.value[rows])[:40]]
    found = zoom(surface, inward, edges, np.stack([start, met.facet[start]], axis=1))
    assert case.truth is not None
    assert found.distance[found.counts].min() == pytest.approx(case.truth[0])
    assert see_each_other(surface, inward, found).all()


def test_a_contact_through_another_wall_is_not_seen() -> None:
    body = shapes.box([10, 10, 1]) + shapes.box([10, 10, 1], [0, 0, 3])
    surface, inward = prepared(body)
    order = np.argsort(surface.corners[:, :, 2].mean(1))
    flat = order[np.abs(surface.normals[order, 2]) > 0.9]
    edges = knife_edges(surface, inward, False, NO_TIPS, 0.4)
    contacts = contacts_of(surface, inward, edges, np.array([[flat[0], flat[-1]]]))
    assert contacts.distance[0] == pytest.approx(4)
    assert not see_each_other(surface, inward, contacts)[0]
    assert ball_of(inward, contacts)[0] == pytest.approx(4)


def test_breadth_of_a_plate_and_of_a_bar() -> None:
    for size, expected in (([30, 20, 1], np.inf), ([30, 1.5, 1], 1.5)):
        surface, _ = prepared(shapes.box(size))
        middle = np.array([size]) / 2
        half = np.array([[0, 0, 0.5]])
        width = breadths(surface.scene, middle - half, middle + half)
        assert width[0] == pytest.approx(expected, rel=0.03)


def test_creeping_finds_the_thin_end_of_a_slope() -> None:
    slope = np.radians(24.0)
    outline = [(0, 0), (3, 0), (3, 0.4 + 3 * np.tan(slope)), (0, 0.4)]
    surface, inward = prepared(shapes.prism(outline, 9))
    edges = knife_edges(surface, inward, False, NO_TIPS, 0.4)
    low = facet_towards(surface, [0, -1, 0])
    point = surface.corners[[low]].mean(1)
    met = straight_across(surface, inward, point, np.array([low]), 3.0)
    start = Crept(
        np.array([[low, met.facet[0]]]),
        point,
        met.contact,
        met.value,
        met.distance,
        np.array([1.0]),
    )
    end = creep(surface, inward, edges, start, 3.0)
    # At the thin end nothing is touched by the ball there: the distance straight up stands.
    assert 0.4 * np.cos(slope) <= end.value[0] <= 0.405
    assert end.step[0] < 0.01


def test_what_may_be_spent_on_ridges_grows_with_their_number(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """A brush: sides of each pin are near each other, back to back."""
    monkeypatch.setattr(spans_feelers, "RIDGE_BUDGET", 0)
    body = shapes.box([12, 12, 3])
    for i in range(36):
        body += shapes.rod(0.25, 6, 8).translate([2 + 1.5 * (i // 6), 2 + 1.5 * (i % 6), 2.9])
    surface, _ = prepared(body)
    assert ridges_crossed(surface, surface.normals, True, 0.4, 0.9)[1]


@pytest.mark.parametrize("case", ["touching", "hollow"])
def test_touching_blocks_have_a_gap_of_nothing_but_no_wall_of_nothing(case: str) -> None:
    (v, f), (w, g) = shapes.arrays(shapes.box([10, 10, 10])), shapes.arrays(shapes.box([6, 6, 5]))
    if case == "touching":
        vertices, faces = np.concatenate([v, w + [10, 2, 2]]), np.concatenate([f, g + len(v)])
    else:  # a hollow whose floor lies in the bottom: a wall of nothing
        hollow = g[:, ::-1] + len(v)
        vertices, faces = np.concatenate([v, w + [2, 2, 0]]), np.concatenate([f, hollow])
    surface = surface_from_mesh(vertices, faces)
    axis, level = (0, 10) if case == "touching" else (2, 0)
    flat = np.flatnonzero((np.abs(surface.corners[:, :, axis] - level) < 1e-9).all(1))
    pairs = np.array([[a, b] for a in flat if a < len(f) for b in flat if b >= len(f)])
    for look, inward in (("gap", surface.normals), ("wall", -surface.normals)):
        edges = knife_edges(surface, inward, look == "gap", NO_TIPS, 0.4)
        found = contacts_of(surface, inward, edges, pairs)
        assert found.distance.max() < 1e-9
        seen = see_each_other(surface, inward, found)
        assert seen.tolist() == [(look == "gap") == (case == "touching")] * len(pairs)
