"""Are pockets found where they are, with the right ways out, in any frame?

Truths are closed forms; each part is turned and moved at random and rounded to float32 as a file
would.
"""

from __future__ import annotations

import math
from types import SimpleNamespace

import numpy as np
import pytest
import shapes_voids as parts
import trimesh
from manifold3d import Manifold

from lint3d.geometry.voids import Effort, find_voids
from lint3d.geometry.voids_model import OUTSIDE, Voids
from lint3d.geometry.voids_openings import is_close

LIMIT, HIGH = 1.5, 6.0
#: Frames that each part is turned to; all but the first by hand (-m slow).
FRAMES = [0, *(pytest.param(seed, marks=pytest.mark.slow) for seed in (1, 2))]


def _voids(solid: Manifold, seed: int, **more: object) -> Voids:
    vertices, faces = parts.mesh(solid, parts.random_frame(seed))
    return find_voids(vertices.astype(np.float32).astype(float), faces, LIMIT, HIGH, **more)


def _check(found: Voids, truths: list[float]) -> None:
    """As many pockets as truths, each truth within its interval, which is no wider than told."""
    assert len(found.pockets) == len(truths)
    throats = sorted((pocket.throat for pocket in found.pockets), key=lambda one: one.diameter)
    for throat, true in zip(throats, sorted(truths), strict=True):
        assert throat.lower - 1e-4 <= true <= throat.upper + 1e-4
        allowed = 0.02 if abs(true - LIMIT) < 0.1 else max(0.05 * true, 0.03)
        assert max(throat.upper - throat.diameter, throat.diameter - throat.lower) <= allowed


@pytest.mark.parametrize("seed", FRAMES)
@pytest.mark.parametrize(
    ("neck", "length", "segments"),
    [
        (0.1, 3, 32),
        (0.3, 4, 12),
        (0.5, 8, 32),
        (1.0, 0.6, 8),
        (1.45, 4, 24),
        (1.55, 4, 24),
        (2.2, 2, 16),
        (3.4, 10, 48),
    ],
)
@pytest.mark.cases(1)
def test_bottle(neck: float, length: float, segments: int, seed: int) -> None:
    found = _voids(parts.bottle(6, neck, length, segments), seed)
    _check(found, [parts.polygon_width(neck, segments)])
    pocket = found.pockets[0]
    assert pocket.bridge is not None
    assert pocket.volume_lower <= parts.ball(6).volume() * 0.97 <= pocket.volume_upper
    assert np.linalg.norm(pocket.position - parts.random_frame(seed)[:, 3]) < 1.0
    assert pocket.openings[0].to == OUTSIDE
    assert pocket.openings[0].throat.direction @ parts.random_frame(seed)[:, 2] > 0.9
    # The way leads from the pocket to the outside, and no ball on it is narrower than its throat.
    assert pocket.way_width.min() >= pocket.throat.lower - 1e-9
    assert (
        abs((pocket.way[-1] - parts.random_frame(seed)[:, 3]) @ parts.random_frame(seed)[:, 2])
        > 6 + length - 0.5
    )


@pytest.mark.parametrize("seed", FRAMES)
@pytest.mark.parametrize("necks", [(2.0, 1.0, 1.5), (0.4, 0.3, 1.5), (1.0, 1.5, 2.3)])
@pytest.mark.further
def test_series_takes_the_narrowest_on_the_way(necks: tuple[float, ...], seed: int) -> None:
    found = _voids(parts.series(necks), seed)
    widths = [parts.polygon_width(neck, 32) for neck in necks]
    _check(found, [min(widths[i:]) for i in range(3)])
    assert all(pocket.bridge is not None for pocket in found.pockets)


@pytest.mark.parametrize("seed", FRAMES)
def test_two_necks_take_the_wider_and_are_no_bridge(seed: int) -> None:
    solid = parts.bottle(6, 0.8, 4) - parts.rod([0, 0, 0], [-20, 0, 0], 1.3, 16)
    found = _voids(solid, seed)
    _check(found, [parts.polygon_width(1.3, 16)])
    assert found.pockets[0].bridge is None
    assert len(found.pockets[0].openings) == 2
    assert found.pockets[0].openings[1].throat.diameter == pytest.approx(
        parts.polygon_width(0.8, 32), abs=0.01
    )


@pytest.mark.parametrize("seed", FRAMES)
@pytest.mark.parametrize("width", [0.6, 1.45, 1.8])
@pytest.mark.parametrize("name", sorted(parts.SECTIONS))
@pytest.mark.cases(1)
def test_sections_that_are_not_round(name: str, width: float, seed: int) -> None:
    neck = parts.drawn(parts.SECTIONS[name](width), [0, 0, 0], [0, 0, 20])
    found = _voids(parts.block([20, 20, 30]) - parts.ball(7) - neck, seed)
    _check(found, [parts.section_width(name, width)])


@pytest.mark.parametrize("seed", FRAMES)
@pytest.mark.further
def test_ring_gap(seed: int) -> None:
    solid = (
        parts.block([14, 14, 20])
        - parts.ball(5)
        - parts.rod([0, 0, 0], [0, 0, 14], 5, 48)
        + parts.rod([0, 0, -8], [0, 0, 10], 5 - 2.4, 48)
    )
    found = _voids(solid, seed)
    _check(found, [1.2 * math.cos(math.pi / 48)])
    # From where the bore leaves the ball; there the ring widens by a few hundredths of a mm.
    length = 10 - math.sqrt(5**2 - 2.5**2)
    throat = found.pockets[0].throat
    assert throat.length_lower <= length + 0.4
    assert length <= throat.length_upper
    assert throat.length == pytest.approx(length, rel=0.2)


@pytest.mark.parametrize("width", [pytest.param(0.2, marks=pytest.mark.slow), 0.7, 1.6])
@pytest.mark.further
def test_bent_duct(width: float) -> None:
    line = [[0, 0, 0], [20, 0, 0], [20, 0, 15], [40, 0, 15]]
    solid = parts.block([60, 60, 50]) - parts.ball(12) - parts.duct(line, width, 16)
    found = _voids(solid, 4)
    assert len(found.pockets) == 1
    throat = found.pockets[0].throat
    # Between the ball inscribed in the faceted one and the ball itself.
    assert throat.upper >= width * math.cos(math.pi / 16) ** 2
    assert throat.lower <= width
    assert throat.length == pytest.approx(8 + 15 + 10, rel=0.06)


@pytest.mark.parametrize("plate", [0.4, 1.0])
def test_hole_in_a_thin_wall(plate: float) -> None:
    solid = parts.block([20, 20, 20]) - parts.block([20 - 2 * plate] * 3)
    _check(
        _voids(solid - parts.rod([3, 2, 0], [3, 2, 15], 1.2, 20), 3), [parts.polygon_width(1.2, 20)]
    )


@pytest.mark.parametrize("waist", [0.5, 1.47, 2.5])
def test_hourglass(waist: float) -> None:
    cone = Manifold.cylinder(6, 5, waist / 2, 32).translate([0, 0, -6])
    cone += Manifold.cylinder(6, waist / 2, 5, 32)
    solid = parts.block([20, 20, 24]) - cone - parts.rod([0, 0, -9], [0, 0, -6], 10, 32)
    solid -= parts.rod([0, 0, 6], [0, 0, 13], 10, 32)
    _check(_voids(solid, 8), [parts.polygon_width(waist, 32)])


@pytest.mark.parametrize("seed", FRAMES)
@pytest.mark.parametrize(
    "name",
    [
        "cup",
        "bowl",
        "serpentine",
        "wide serpentine",
        "dish",
        "recess",
        "hole",
        "counterbore",
        "bracket",
        "blind bore",
        "block",
        "ball",
    ],
)
def test_what_is_no_pocket(name: str, seed: int) -> None:
    block = parts.block([20, 20, 10])
    solid = {
        "cup": parts.cup,
        "bowl": parts.bowl,
        "serpentine": lambda: parts.serpentine(1.5, 8, 30),
        "wide serpentine": lambda: parts.serpentine(2.2, 6, 20),
        "dish": lambda: block - parts.ball(30, [0, 0, 33]),
        "recess": lambda: block - parts.block([10, 14, 5], [0, 0, 5]),
        "hole": lambda: block - parts.rod([0, 0, -9], [0, 0, 9], 1.1, 24),
        "counterbore": lambda: (
            block - parts.rod([0, 0, -9], [0, 0, 9], 4, 24) - parts.rod([0, 0, 1], [0, 0, 9], 9, 24)
        ),
        "bracket": lambda: block - parts.block([14, 30, 8], [0, 0, 4]),
        "blind bore": lambda: block - parts.rod([0, 0, -3], [0, 0, 9], 2.0, 24),
        "block": lambda: block,
        "ball": lambda: parts.ball(9),
    }[name]()
    found = _voids(solid, seed)
    assert found.pockets == []
    assert found.sealed == []
    assert found.left_out == []


@pytest.mark.parametrize("seed", FRAMES)
def test_sealed_pockets_are_exact(seed: int) -> None:
    """Nested shells: a hollow with a loose hollow ball in it, and that one's own hollow."""
    solid = parts.block([24, 24, 24]) - parts.ball(10) + parts.ball(5) - parts.ball(3)
    found = _voids(solid, seed)
    inner, middle, outer = (parts.ball(radius).volume() for radius in (3, 5, 10))
    assert [pocket.bodies_inside for pocket in found.sealed] == [1, 0]
    assert found.sealed[0].volume == pytest.approx(outer - middle, abs=0.05)
    assert found.sealed[1].volume == pytest.approx(inner, abs=0.01)
    assert found.pockets == []
    distance = np.linalg.norm(found.sealed[0].position - parts.random_frame(seed)[:, 3])
    assert 5 < distance < 10


def test_pocket_shut_by_a_second_body() -> None:
    """A bottle whose neck a plug of another body closes: sealed, once both are one surface."""
    bottle, plug = parts.bottle(6, 2.0, 4), parts.rod([0, 0, 8], [0, 0, 12], 3.0, 24)
    frame = parts.random_frame(3)
    (v1, f1), (v2, f2) = parts.mesh(bottle, frame), parts.mesh(plug, frame)
    found = find_voids(np.vstack([v1, v2]), np.vstack([f1, f2 + len(v1)]), LIMIT, HIGH)
    assert found.overlaps
    assert found.pockets == []
    assert len(found.sealed) == 1
    assert found.sealed[0].volume > parts.ball(6).volume()


def test_loose_ball_valve() -> None:
    """A ball left in a bottle: the pocket is open, its neck is the neck."""
    found = _voids(parts.bottle(6, 1.4, 4) + parts.ball(2, [0, 0, -3]), 1)
    _check(found, [parts.polygon_width(1.4, 32)])


@pytest.mark.parametrize("seed", FRAMES)
def test_narrow_throat_in_a_large_part(seed: int) -> None:
    solid = parts.block([200, 200, 200]) - parts.ball(12, [60, 50, 70])
    found = _voids(solid - parts.rod([60, 50, 70], [60, 50, 101], 0.3, 16), seed)
    _check(found, [parts.polygon_width(0.3, 16)])


def test_too_little_memory_is_said() -> None:
    found = _voids(parts.bottle(6, 1.4, 4), 1, effort=Effort(memory_bytes=3e5))
    assert any("would not fit" in one.reason for one in found.left_out)
    assert all(
        pocket.throat.lower <= parts.polygon_width(1.4, 32) <= pocket.throat.upper
        for pocket in found.pockets
    )


def test_openings_that_are_only_glimpsed_keep_wide_bounds() -> None:
    found = _voids(parts.series([2.0, 1.0, 1.5]), 1, effort=Effort(most_openings=0))
    assert len(found.pockets) == 3
    widths = [parts.polygon_width(neck, 32) for neck in (2.0, 1.0, 1.5)]
    throats = sorted(
        (one["throat"] for *_, one in found.graph.edges(data=True)),
        key=lambda throat: throat.diameter,
    )
    for throat, true in zip(throats, sorted(widths), strict=True):
        assert throat.lower <= true + 1e-6
        assert throat.upper >= true
        # The way is pulled to the middle only roughly; its width is no guess to be told.
        assert throat.diameter == pytest.approx(true, rel=0.1)


def test_a_wider_opening_that_is_only_glimpsed_keeps_the_bound_up() -> None:
    """The one nearest to a limit is measured first; nothing says that it is the widest."""
    solid = parts.block([20] * 3) - parts.ball(5)
    solid -= parts.rod([0, 0, 0], [12, 0, 0], 0.8, 16) + parts.rod([0, 0, 0], [0, 12, 0], 1.3, 16)
    vertices, faces = parts.mesh(solid, parts.random_frame(2))
    found = find_voids(vertices, faces, LIMIT, HIGH, effort=Effort(most_openings=1), limits=(0.8,))
    (pocket,) = found.pockets
    assert pocket.throat.lower <= parts.polygon_width(1.3, 16) <= pocket.throat.upper


@pytest.mark.parametrize(
    ("bounds", "limits", "is_enough"),
    [
        ((2.00, 2.05), (1.5,), True),
        ((2.00, 2.05), (), False),
        ((1.60, 1.64), (1.5,), False),
        ((2.00, 2.05), (1.5, 2.1), False),
        ((2.00, 2.07), (1.5,), False),
        ((1.50, 1.512), (1.5,), True),
        ((4.00, 4.03), (4.0,), False),
        ((4.00, 4.03), (), True),
        ((4.00, 4.019), (4.0,), True),
        ((10.2, 10.23), (10.2,), True),
    ],
)
def test_bounds_need_be_closest_near_a_limit(
    bounds: tuple[float, float], limits: tuple[float, ...], is_enough: bool
) -> None:
    throat = SimpleNamespace(lower=bounds[0], upper=bounds[1])
    assert is_close(throat, limits) == is_enough


def test_open_surface_is_said() -> None:
    vertices, faces = parts.mesh(parts.bottle(6, 1.4, 4))
    found = find_voids(vertices, faces[5:], LIMIT, HIGH)
    assert any("open" in one.reason for one in found.left_out)


def test_graph_holds_every_opening() -> None:
    found = _voids(parts.series([2.0, 1.0, 1.5]), 1)
    assert sorted(found.graph.nodes) == [0, 1, 2, 3]
    assert found.graph.number_of_edges() == 3
    for *_, data in found.graph.edges(data=True):
        assert data["lower"] <= data["diameter"] <= data["upper"]
        assert len(data["position"]) == 3


@pytest.mark.parametrize("name", ["manifold-block", "housing", "filter"])
@pytest.mark.further
def test_demo_kit(name: str, request: pytest.FixtureRequest) -> None:
    """Against fixtures/truth.toml."""
    import tomllib

    folder = request.config.rootpath / "fixtures"
    truth = tomllib.loads((folder / "truth.toml").read_text())["parts"][name]
    mesh = trimesh.load(folder / f"{name}.stl")
    found = find_voids(mesh.vertices, mesh.faces, LIMIT, 12.75)
    known = [one for one in truth.get("known", []) if one["rule"].startswith("drain/")]
    for one in known:
        if one["rule"] == "drain/sealed-pocket":
            assert [pocket.volume for pocket in found.sealed] == [
                pytest.approx(one["value"], abs=found.sealed[0].uncertainty + 0.05)
            ]
            continue
        place = np.array(one["position"])
        inside = [
            pocket.throat
            for pocket in found.pockets
            if pocket.throat.lower <= one["value"] <= pocket.throat.upper
        ]
        assert any(
            np.linalg.norm(np.cross(throat.position - place, throat.direction)) < 1.5
            for throat in inside
        ), one["name"]
    if not known:
        assert found.pockets == []
        assert found.sealed == []
