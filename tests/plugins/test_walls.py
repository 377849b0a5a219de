"""Do the wall and gap rules tell thin, slender, sharp, narrow and deep places, once each?"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
import parts
import pytest
import shapes_walls as shapes

import lint3d
from lint3d import Result
from lint3d.config import Config

FIXTURES = Path(__file__).parents[2] / "fixtures"
#: Limits that the parts of these tests are made for.
LIMITS = (
    "walls/thin-wall=0.6mm",
    "walls/free-wall=0.8mm",
    "walls/thin-rod=0.8mm",
    "walls/slender=20",
    "walls/knife-edge=1mm",
    "walls/narrow-gap=0.3mm",
    "walls/small-hole=0.5mm",
    "walls/deep-hole=15",
)


def inspected(
    facets: np.ndarray, folder: Path, limits: Sequence[str] = LIMITS, **how: Any
) -> list[Result]:
    """Results of the wall rules on a part."""
    path = parts.write_stl(folder / "part.stl", facets)
    only = how.pop("only", ["walls"])
    found = lint3d.inspect(path, only=only, limits=limits, workers=0, config=Config(), **how)
    assert not found.notifications, found.notifications
    return found.results


def facets_of(body: Any) -> np.ndarray:
    vertices, faces = shapes.arrays(body)
    return vertices[faces]


def told(results: list[Result], *kinds: str) -> list[Result]:
    return [one for one in results if one.kind in (kinds or ("fail", "review", "open"))]


def of(results: list[Result], rule: str) -> Result:
    (one,) = (one for one in results if one.rule == f"walls/{rule}")
    return one


# --- walls --------------------------------------------------------------------------------------


def test_a_thin_plate_is_one_wall_with_extent_area_and_place(tmp_path: Path) -> None:
    (wall,) = told(inspected(facets_of(shapes.box([30, 20, 0.5])), tmp_path))
    assert (wall.rule, wall.kind) == ("walls/thin-wall", "fail")
    assert wall.lower <= 0.5 <= wall.upper
    assert wall.upper - wall.lower < 1e-4
    assert wall.extent == pytest.approx(30)
    assert wall.properties["area_mm2"] == pytest.approx(600, rel=0.02)
    assert wall.position[2] == pytest.approx(0.25)
    assert wall.region is not None
    assert wall.region.facet is not None
    assert wall.remedy


def test_ten_thin_ribs_are_ten(tmp_path: Path) -> None:
    body = shapes.box([50, 12, 4])
    for i in range(10):
        body += shapes.box([0.5, 8, 6], [3 + 4.5 * i, 2, 3])
    results = told(inspected(facets_of(body), tmp_path))
    assert [one.rule for one in results] == ["walls/thin-wall"] * 10
    assert len({round(one.position[0], 3) for one in results}) == 10


def test_ten_thin_floors_under_one_large_facet_are_ten(tmp_path: Path) -> None:
    body = shapes.box([65, 10, 6])
    for i in range(10):
        body -= shapes.rod(2, 9, 16).translate((5 + 6 * i, 5, 0.5))
    results = told(inspected(facets_of(body), tmp_path))
    assert [one.rule for one in results] == ["walls/thin-wall"] * 10


@pytest.mark.parametrize(
    ("thickness", "kind"), [(0.55, "fail"), (0.6, "review"), (0.7, "pass"), (5.0, "pass")]
)
def test_a_held_wall_below_at_and_above_the_limit(
    thickness: float, kind: str, tmp_path: Path
) -> None:
    t = thickness
    cup = shapes.box([40, 30, 25]) - shapes.box([40 - t - 5, 20, 30], [t, 5, 6])
    results = inspected(facets_of(cup), tmp_path)
    wall = of(results, "thin-wall")
    assert wall.kind == kind
    if t < 0.75:
        assert wall.lower <= t <= wall.upper
    else:
        assert (wall.measured, wall.upper) == (0.75, None), "a lower bound"
    assert of(results, "free-wall").kind == "pass", "held by floor and sides"


@pytest.mark.parametrize(("thickness", "kind"), [(0.7, "fail"), (0.8, "review"), (0.9, "pass")])
def test_a_rib_stands_free(thickness: float, kind: str, tmp_path: Path) -> None:
    body = shapes.box([30, 20, 4]) + shapes.box([20, thickness, 8], [5, 9, 3])
    results = inspected(facets_of(body), tmp_path)
    assert of(results, "free-wall").kind == kind
    assert of(results, "free-wall").lower <= thickness <= of(results, "free-wall").upper
    assert of(results, "thin-wall").kind == "pass"


def test_a_free_wall_too_thin_for_any_wall_fails_once(tmp_path: Path) -> None:
    body = shapes.box([30, 20, 4]) + shapes.box([20, 0.5, 8], [5, 9, 3])
    facets = facets_of(body)
    assert [one.rule for one in told(inspected(facets, tmp_path))] == ["walls/thin-wall"]
    # With the other rule off it is this one's to tell.
    alone = inspected(facets, tmp_path, ["walls/free-wall=0.8mm"], only=["walls/free-wall"])
    assert [one.rule for one in told(alone)] == ["walls/free-wall"]


@pytest.mark.parametrize("thickness", [0.3, 0.55, 0.6, 0.65, 0.7, 0.8, 0.85])
@pytest.mark.parametrize(
    ("thin", "free"), [(0.6, 0.6), (0.7, 0.6), (0.6, 0.7), (0.6, 0.600001), (0.6, 0.8)]
)
@pytest.mark.cases(4)
def test_a_free_wall_is_told_once_whatever_the_limits(
    thickness: float, thin: float, free: float, tmp_path: Path
) -> None:
    body = shapes.box([30, 20, 4]) + shapes.box([20, thickness, 8], [5, 9, 3])
    limits = [f"walls/thin-wall={thin}mm", f"walls/free-wall={free}mm"]
    results = inspected(facets_of(body), tmp_path, limits)
    expected = "fail" if thickness < max(thin, free) else "pass"
    if thickness == pytest.approx(max(thin, free), abs=1e-5):
        expected = "review"
    found = told(results)
    assert [one.kind for one in found] == ([] if expected == "pass" else [expected])
    # With one of the two off the other one tells.
    only = ["walls/free-wall"]
    alone = told(inspected(facets_of(body), tmp_path, limits, only=only))
    assert [one.rule for one in alone] == (only if thickness <= free else [])
    only = ["walls/thin-wall"]
    alone = told(inspected(facets_of(body), tmp_path, limits, only=only))
    assert [one.rule for one in alone] == (only if thickness <= thin else [])


@pytest.mark.parametrize("turn", range(3))
@pytest.mark.cases(1)
def test_webs_floors_cups_and_tubes_are_held(turn: int, tmp_path: Path) -> None:
    t = 0.7
    corner = shapes.box([30, 30, 4]) + shapes.box([30, 4, 30])
    web = shapes.prism([(2, 2), (24, 2), (2, 24)], t).rotate((90, 0, 90)).translate((15, 0, 0))
    side = shapes.box([4, 30, 20])
    between = shapes.box([30, 30, 4]) + side + side.translate((26, 0, 0))
    for name, body in {
        "web": corner + web,
        "partition": between + shapes.box([28, t, 12], [1, 15, 3]),
        "tube": shapes.rod(5 + t, 20, 48) - shapes.rod(5, 60, 48).translate((0, 0, -20)),
        "floor": shapes.box([30, 30, 10]) - shapes.box([20, 20, 20], [5, 5, t]),
    }.items():
        facets = parts.turned(facets_of(body), turn)
        assert not told(inspected(facets, tmp_path)), name


# --- rods ---------------------------------------------------------------------------------------


@pytest.mark.parametrize("flats", [3, 4, 5, 6, 7, 9, 12, 25, 64])
@pytest.mark.cases(1)
def test_a_pin_is_as_thick_as_the_circle_in_its_section(flats: int, tmp_path: Path) -> None:
    body = shapes.box([20, 20, 5], [-10, -10, 0]) + shapes.rod(0.35, 11, flats).translate((2, 3, 0))
    results = inspected(parts.turned(facets_of(body), flats), tmp_path)
    (rod,) = told(results)
    true = 0.7 * np.cos(np.pi / flats)
    assert rod.rule == "walls/thin-rod"
    assert rod.lower <= true <= rod.upper
    assert rod.properties["length_mm"] == pytest.approx(6, abs=1e-3)
    if flats >= 6:  # fewer flats are meant
        assert rod.faceting == pytest.approx(0.7 * (1 - np.cos(np.pi / flats)), rel=0.01)


@pytest.mark.parametrize(
    ("length", "kind"), [(60.5, "fail"), (60.0, "review"), (59.5, "pass"), (55.0, "pass")]
)
def test_slender_is_length_over_smaller_diameter(length: float, kind: str, tmp_path: Path) -> None:
    body = shapes.box([20, 20, 5], [-10, -10, 0]) + shapes.box([3, 3.5, length + 5], [2, 2, 0])
    results = inspected(parts.turned(facets_of(body), 4), tmp_path)
    rod = of(results, "slender")
    assert rod.kind == kind
    assert rod.lower <= length / 3 <= rod.upper
    assert np.abs(rod.properties["axis"]).max() <= 1


def test_a_rib_a_rail_and_a_lattice_of_short_struts_are_not_slender(tmp_path: Path) -> None:
    plate = shapes.box([80, 30, 1.2])
    lattice = shapes.box([4, 4, 4])
    for i in range(8):
        node = shapes.box([4, 4, 4], [8 * i, 0, 0])
        lattice += node + shapes.box([8, 1.5, 1.5], [8 * i, 1.25, 1.25])
    for name, body in {
        "rib": plate + shapes.box([80, 1, 10], [0, 10, 1]),
        "rail": plate + shapes.box([80, 1.2, 1.2], [0, 10, 1]),
        "lattice": lattice,
    }.items():
        assert of(inspected(facets_of(body), tmp_path), "slender").kind == "pass", name


# --- knife edges --------------------------------------------------------------------------------


def wedge(degrees: float, height: float = 12.0) -> np.ndarray:
    half = np.radians(degrees / 2)
    w = height * np.tan(half)
    return facets_of(shapes.prism([(0, 0), (height, -w), (height, w)], 20))


@pytest.mark.parametrize("degrees", [5, 12, 29])
def test_a_knife_edge_tells_how_deep_it_is_thin(degrees: float, tmp_path: Path) -> None:
    limits = [*LIMITS, "walls/knife-edge=0.5"]
    results = inspected(parts.turned(wedge(degrees), 3), tmp_path, limits)
    (edge,) = told(results)
    assert edge.rule == "walls/knife-edge"
    assert edge.properties["angle_deg"] == pytest.approx(degrees, abs=0.1)
    thinner = edge.properties["thinner_than_mm"]
    assert edge.lower <= thinner / (2 * np.tan(np.radians(degrees / 2))) <= edge.upper


@pytest.mark.parametrize("limit", [0.3, 0.6, 0.9])
@pytest.mark.parametrize("only", [["walls"], ["walls/knife-edge"]])
def test_a_knife_edge_is_thin_by_the_limit_in_force(
    limit: float, only: list[str], tmp_path: Path
) -> None:
    limits = [f"walls/thin-wall={limit}mm", "walls/knife-edge=0.1mm"]
    edge = of(inspected(wedge(20), tmp_path, limits, only=only), "knife-edge")
    assert edge.properties["thinner_than_mm"] == pytest.approx(limit)
    true = limit / (2 * np.tan(np.radians(10)))
    assert edge.lower <= true <= edge.upper
    assert edge.upper - edge.lower < 1e-3


def test_a_limit_on_the_depth_of_an_edge_is_none_on_walls(tmp_path: Path) -> None:
    """Or else a deep strip would stretch the range in which thickness is measured."""
    limits = ["walls/thin-wall=0.4mm", "walls/free-wall=0.4mm", "walls/thin-rod=0.4mm"]
    results = inspected(wedge(90), tmp_path, [*limits, "walls/knife-edge=9mm"])
    assert of(results, "thin-wall").measured == pytest.approx(0.5)


def test_without_a_limit_for_walls_a_knife_edge_is_not_judged(tmp_path: Path) -> None:
    sheet = tmp_path / "sheet.toml"
    off = "".join(f'[rules."walls/{one}"]\noff = true\n' for one in ("thin-wall", "thin-rod"))
    sheet.write_text(f'[sheet]\nextends = "mjt-meltable"\n{off}')
    path = parts.write_stl(tmp_path / "part.stl", wedge(20))
    config = Config(process=str(sheet))
    found = lint3d.inspect(path, only=["walls/knife-edge"], workers=0, config=config)
    (edge,) = found.results
    assert edge.kind == "notApplicable"
    assert "walls/thin-wall" in edge.message


@pytest.mark.parametrize("degrees", [40, 60, 90])
def test_an_ordinary_corner_is_no_knife_edge(degrees: float, tmp_path: Path) -> None:
    assert not told(inspected(wedge(degrees), tmp_path))


# --- gaps and holes -----------------------------------------------------------------------------


def grooved(degrees: float, depth: float) -> np.ndarray:
    half = depth * np.tan(np.radians(degrees / 2))
    cut = shapes.prism([(-1.1 * half, 0.1 * depth), (0, -depth), (1.1 * half, 0.1 * depth)], 60)
    return facets_of(shapes.box([30, 20, 15]) - cut.rotate((90, 0, 0)).translate((15, 40, 15)))


@pytest.mark.parametrize("depth", [0.8, 2.0, 8.0])
@pytest.mark.parametrize("degrees", [5, 10, 20, 29, 31, 40, 60, 90])
@pytest.mark.cases(8)
def test_a_groove_that_tapers_to_nothing_is_no_gap_but_may_be_a_crevice(
    degrees: float, depth: float, tmp_path: Path
) -> None:
    limits = [*LIMITS, "walls/narrow-gap=0.4mm", "walls/crevice=1mm"]
    results = inspected(parts.turned(grooved(degrees, depth), int(degrees)), tmp_path, limits)
    narrow = min(depth, 0.4 / (2 * np.tan(np.radians(degrees / 2))))
    found = told(results)
    assert [one.rule for one in found] == ["walls/crevice"] * int(degrees <= 30 and narrow > 1)
    if degrees <= 30:
        crevice = of(results, "crevice")
        assert crevice.lower <= narrow <= crevice.upper
        assert crevice.upper - crevice.lower < 0.01
        assert crevice.properties["angle_deg"] == pytest.approx(degrees, abs=0.1)
        assert crevice.properties["narrower_than_mm"] == 0.4


@pytest.mark.parametrize(("width", "kind"), [(0.25, "fail"), (0.3, "review"), (0.35, "pass")])
def test_a_slot_is_a_narrow_gap_and_no_hole(width: float, kind: str, tmp_path: Path) -> None:
    body = shapes.box([30, 20, 10]) - shapes.box([width, 60, 10], [11, -20, 3])
    results = inspected(parts.turned(facets_of(body), 1), tmp_path)
    gap = of(results, "narrow-gap")
    assert gap.kind == kind
    assert gap.lower <= width <= gap.upper
    assert of(results, "small-hole").measured is None


@pytest.mark.parametrize("through", [True, False])
@pytest.mark.parametrize(("diameter", "kind"), [(0.4, "fail"), (0.6, "pass")])
@pytest.mark.parametrize("flats", [7, 8, 9, 11, 32])
@pytest.mark.cases(2)
def test_a_small_hole_through_and_blind(
    flats: int, diameter: float, kind: str, through: bool, tmp_path: Path
) -> None:
    bottom = -1.0 if through else 2.0
    drill = shapes.rod(diameter / 2, 10, flats).translate((9, 8, bottom))
    facets = parts.turned(facets_of(shapes.box([20, 20, 6]) - drill), 7)
    axis = parts.turned(np.array([[[0.0, 0, 1]]]), 7).ravel()
    results = inspected(facets, tmp_path)
    hole = of(results, "small-hole")
    assert hole.kind == kind
    assert hole.lower <= diameter * np.cos(np.pi / flats) <= hole.upper
    assert hole.properties["diameter_mm"] == pytest.approx(hole.measured)
    assert hole.properties["through"] is through
    assert hole.properties["depth_mm"] == pytest.approx(6 if through else 4, abs=1e-3)
    assert abs(np.dot(hole.properties["axis"], axis)) == pytest.approx(1, abs=1e-4)
    assert of(results, "narrow-gap").measured is None


@pytest.mark.parametrize("flats", [3, 4, 5, 7, 9])
@pytest.mark.parametrize("through", [True, False])
@pytest.mark.parametrize(("width", "kind"), [(0.35, "fail"), (0.5, "review"), (0.56, "pass")])
@pytest.mark.cases(4)
def test_a_hole_of_few_flats_is_as_wide_as_the_circle_in_it(
    width: float, kind: str, through: bool, flats: int, tmp_path: Path
) -> None:
    radius = width / 2 / np.cos(np.pi / flats)
    drill = shapes.rod(radius, 10, flats, 0.3).translate((9, 8, -1 if through else 2))
    facets = parts.turned(facets_of(shapes.box([20, 20, 6]) - drill), flats)
    results = inspected(facets, tmp_path, [*LIMITS, "walls/deep-hole=18"])
    hole = of(results, "small-hole")
    assert hole.kind == kind
    assert hole.lower <= width <= hole.upper
    assert hole.upper - hole.lower < 0.001
    assert hole.properties["through"] is through
    assert len(told(results)) == (kind != "pass")


def test_a_hole_at_the_limit_is_for_people_to_judge(tmp_path: Path) -> None:
    drill = shapes.rod(0.25 / np.cos(np.pi / 16), 20, 16).translate((9, 8, -5))
    results = inspected(facets_of(shapes.box([20, 20, 6]) - drill), tmp_path)
    assert of(results, "small-hole").kind == "review"


@pytest.mark.parametrize(("depth", "kind"), [(48.0, "fail"), (30.0, "pass")])
def test_a_deep_hole_of_any_width(depth: float, kind: str, tmp_path: Path) -> None:
    drill = shapes.rod(1.5, 90, 24).rotate((0, 90, 0)).translate((60 - depth, 10, 10))
    facets = parts.turned(facets_of(shapes.box([60, 20, 20]) - drill), 2)
    hole = of(inspected(facets, tmp_path), "deep-hole")
    true = 3 * np.cos(np.pi / 24)
    assert hole.kind == kind
    assert hole.lower <= depth / true <= hole.upper
    assert hole.properties["through"] is False


def test_crossing_holes_and_counterbores_keep_their_depths(tmp_path: Path) -> None:
    drill = shapes.rod(1, 90, 24).translate((20, 10, -5))
    sink = shapes.rod(3, 90, 24).translate((20, 10, 25))
    (hole, *_) = inspected(
        facets_of(shapes.box([40, 20, 30]) - drill - sink), tmp_path, only=["walls/deep-hole"]
    )
    assert hole.properties["depth_mm"] == pytest.approx(25, abs=1e-3)
    assert hole.properties["through"] is True


# --- all together -------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["housing", "lid", "manifold-block", "filter", "sound-coupon"])
@pytest.mark.cases(2)
def test_sound_parts_of_the_kit_raise_nothing(name: str) -> None:
    found = lint3d.inspect(FIXTURES / f"{name}.stl", only=["walls"], workers=0, config=Config())
    assert not told(found.results)


def test_the_bracket_fails_by_its_web_alone() -> None:
    found = lint3d.inspect(FIXTURES / "bracket.stl", only=["walls"], workers=0, config=Config())
    (web,) = told(found.results)
    assert web.rule == "walls/thin-wall"
    assert web.lower <= 0.35 <= web.upper
    assert web.position[0] == pytest.approx(30, abs=0.01)


ALIKE = (
    *(f"walls/{name}=1.2mm" for name in ("thin-wall", "thin-rod", "narrow-gap", "small-hole")),
    "walls/free-wall=1.25mm",
    "walls/knife-edge=0.5mm",
    "walls/slender=1000",
    "walls/deep-hole=1000",
)
#: Two bodies each: the gap between them is the business of assembly rules.
TWO_BODIES = ("ball_in_cage", "pin_in_barrel")


@pytest.mark.parametrize("seed", [0, pytest.param(1, marks=pytest.mark.slow)])
@pytest.mark.parametrize(
    "make",
    [one for one in (*shapes.FAULTY, *shapes.SOUND) if one.__name__ not in TWO_BODIES],
    ids=lambda make: make.__name__,
)
@pytest.mark.cases(4)
def test_closed_forms_in_random_frames(make: Any, seed: int, tmp_path: Path) -> None:
    rng = np.random.default_rng([seed, 41])
    case = shapes.moved(make(rng), rng)
    results = told(inspected(case.vertices[case.faces], tmp_path, ALIKE))
    sides = ("thin", "free") if case.look == "inward" else ("narrow", "small")
    mine = [one for one in results if one.rule.split("/")[1].startswith(sides)]
    if case.knife is not None:
        assert [one.rule for one in results] == ["walls/knife-edge"]
    if case.truth is None:
        assert not mine
        return
    tightest = min(mine, key=lambda one: one.measured)
    assert tightest.lower <= case.truth[1] + 1e-9
    assert tightest.upper >= case.truth[0] - 1e-9
    if case.regions is not None:
        assert len(mine) == case.regions
    if case.kind is not None:
        assert (tightest.rule in ("walls/thin-rod", "walls/small-hole")) == (case.kind == "rod")


def test_strips_beside_holes_and_flanges_are_no_rods(tmp_path: Path) -> None:
    strip = shapes.box([90, 10, 6])
    for i in range(14):
        strip -= shapes.rod(2, 9, 16).translate((5 + 6 * i, 5, 1.5))
    flange = shapes.rod(15, 3, 48) + shapes.rod(12, 40, 48)
    flange -= shapes.rod(10, 90, 48).translate((0, 0, -20))
    for name, body in {"strip": strip, "flange": flange}.items():
        assert of(inspected(facets_of(body), tmp_path), "slender").kind == "pass", name


@pytest.mark.parametrize("thick", [0.39, 0.63])
def test_the_rims_of_many_ribs_are_no_rod(thick: float, tmp_path: Path) -> None:
    """Seven ribs on a plate are seven thin walls; found by random closed forms."""
    import manifold3d as m3

    arrays = shapes.arrays

    ribs = [m3.Manifold.cube((thick, 36, 8), True).translate((7 * k - 21, 0, 5)) for k in range(7)]
    body = m3.Manifold.batch_boolean([m3.Manifold.cube((60, 40, 4), True), *ribs], m3.OpType.Add)
    vertices, faces = arrays(body)
    part = parts.write_stl(tmp_path / "ribs.stl", parts.turned(vertices[faces], 3))
    limits = [f"walls/{name}>=0.8mm" for name in ("thin-wall", "thin-rod", "free-wall")]
    found = lint3d.inspect([part], only=["walls"], limits=limits, workers=0).results
    assert [one.rule for one in found if one.kind == "fail"] == ["walls/thin-wall"] * 7
