"""Assembly: each rule fails, passes, is at the limit, open or without a subject as it should."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from parts import write_stl
from shapes_pairs import Mesh, ball, barrel, box, cage, headed_pin, in_frame, mesh, rod

import lint3d
from lint3d import Place, Places, Result
from lint3d_plugins.assembly import clearance

FIXTURES = Path(__file__).parents[2] / "fixtures"
RULES = ("clearance", "interference", "touching", "trapped")


def inspected(folder: Path, meshes: Sequence[Any], **more: Any) -> dict[str, list[Result]]:
    """Results by rule, of bodies that stand in files of their own and are printed together."""
    files = []
    for number, one in enumerate(meshes):
        vertices, faces = one if isinstance(one, tuple) else mesh(one)
        files.append(write_stl(folder / f"{'abcdefgh'[number]}.stl", vertices[faces]))
    inspection = lint3d.inspect(files, together=True, only=["assembly"], workers=0, **more)
    assert [n for n in inspection.notifications if n.level == "error"] == []
    return {rule: [r for r in inspection.results if r.rule == f"assembly/{rule}"] for rule in RULES}


def kinds(found: dict[str, list[Result]]) -> dict[str, list[str]]:
    return {rule: sorted(r.kind for r in results) for rule, results in found.items()}


def turned(seed: int, *solids: Any) -> list[Mesh]:
    return in_frame([mesh(solid) for solid in solids], np.random.default_rng(seed))


def test_gap_below_the_limit_fails(tmp_path: Path) -> None:
    found = inspected(tmp_path, turned(1, box([10] * 3), box([10] * 3, [10.2, 0, 0])))
    assert kinds(found) == {
        "clearance": ["fail"],
        "interference": ["pass"],
        "touching": ["pass"],
        "trapped": ["pass"],
    }
    (result,) = found["clearance"]
    assert result.lower is not None
    assert result.upper is not None
    assert result.lower <= 0.2 <= result.upper
    assert result.upper - result.lower < 1e-4
    assert result.other is not None
    assert result.properties["kind"] == "parallel"
    assert result.properties["running_gap_mm"] == pytest.approx(0.2, abs=1e-3)
    # The face, and 0.2 mm of the four sides: what is nearer than the limit of 0.4 mm.
    assert result.properties["area_mm2"] == pytest.approx(100 + 4 * 10 * 0.2, rel=0.02)
    assert result.faceting == 0


def test_gap_above_the_limit_passes_with_its_value(tmp_path: Path) -> None:
    found = inspected(tmp_path, turned(2, box([10] * 3), box([10] * 3, [10.45, 0, 0])))
    (result,) = found["clearance"]
    assert result.kind == "pass"
    assert result.measured == pytest.approx(0.45, abs=1e-4)


def test_gap_at_the_limit_is_for_review(tmp_path: Path) -> None:
    found = inspected(tmp_path, turned(3, box([10] * 3), box([10] * 3, [10.4, 0, 0])))
    assert kinds(found)["clearance"] == ["review"]


def test_bodies_far_apart_pass_with_a_lower_bound(tmp_path: Path) -> None:
    (result,) = inspected(tmp_path, [box([5] * 3), box([5] * 3, [50, 0, 0])])["clearance"]
    assert result.kind == "pass"
    assert (result.measured, result.upper) == (0.5, None)


def test_one_body_is_no_assembly(tmp_path: Path) -> None:
    found = kinds(inspected(tmp_path, [box([5] * 3)]))
    assert found == {rule: ["notApplicable"] for rule in RULES}


@pytest.mark.parametrize("low", [[5, 0, 0], [5, 2, 1], [5, 5, 0], [5, 5, 5]])
def test_bodies_that_touch(low: list[float], tmp_path: Path) -> None:
    """Face to face, partly, edge to edge, corner to corner."""
    found = inspected(tmp_path, [box([5] * 3), box([5] * 3, low)])
    assert kinds(found)["touching"] == ["fail"]
    assert kinds(found)["interference"] == ["pass"]
    (result,) = found["touching"]
    area = np.prod([max(5 - step, 0) if step < 5 else 1 for step in low]) if sum(low) < 10 else 0
    assert result.properties["contact_area_mm2"] == pytest.approx(float(area), rel=0.06, abs=0.05)


@pytest.mark.parametrize("seed", range(8))
def test_turned_bodies_that_touch_are_not_called_overlapping(seed: int, tmp_path: Path) -> None:
    """Rounding parts them or lets them overlap by less than coordinates can tell."""
    found = inspected(tmp_path, turned(seed, box([5] * 3), box([5] * 3, [5, 1, 1])))
    assert set(kinds(found)["touching"]) == {"fail"}
    assert "fail" not in kinds(found)["interference"]
    assert "fail" not in kinds(found)["clearance"]


@pytest.mark.parametrize(
    ("gap", "touches"), [(5e-5, ["fail"]), (5e-4, ["pass"])], ids=["below", "above"]
)
def test_a_gap_that_no_process_builds_is_none(
    gap: float, touches: list[str], tmp_path: Path
) -> None:
    found = inspected(tmp_path, [box([5] * 3), box([5] * 3, [5 + gap, 0, 0])])
    assert kinds(found)["touching"] == touches
    assert kinds(found)["clearance"] == ["pass" if touches == ["fail"] else "fail"]


@pytest.mark.parametrize("seed", [0, 5])
def test_bodies_that_overlap(seed: int, tmp_path: Path) -> None:
    found = inspected(tmp_path, turned(seed, box([10] * 3), box([10] * 3, [9.5, 2, 3])))
    (result,) = found["interference"]
    assert result.kind == "fail"
    assert result.lower is not None
    assert result.upper is not None
    assert result.lower <= 0.5 * 8 * 7 <= result.upper
    assert result.properties["depth_mm"] == pytest.approx(0.5, abs=1e-3)
    assert kinds(found)["touching"] == ["pass"]
    assert "fail" not in kinds(found)["clearance"]


def test_a_body_inside_the_material_of_another(tmp_path: Path) -> None:
    """Its distance to the surface is positive, and yet all of it is lost."""
    found = inspected(tmp_path, turned(6, box([20] * 3), box([2, 3, 4], [17.8, 8, 8])))
    (result,) = found["interference"]
    assert result.kind == "fail"
    assert result.measured == pytest.approx(24, abs=1e-3)
    assert result.properties["contained"]
    assert "fail" not in kinds(found)["clearance"]


def test_a_body_in_a_cavity_is_not_inside_the_material(tmp_path: Path) -> None:
    hollow = box([20] * 3) - box([10] * 3, [5] * 3)
    found = inspected(tmp_path, turned(7, hollow, box([9, 9, 9.8], [5.5, 5.5, 5.1])))
    assert kinds(found)["interference"] == ["pass"]
    assert {r.kind for r in found["clearance"]} == {"fail"}
    assert min(r.measured or 9 for r in found["clearance"]) == pytest.approx(0.1, abs=1e-4)
    assert kinds(found)["trapped"] == ["informational"]


def test_the_same_body_twice(tmp_path: Path) -> None:
    found = inspected(tmp_path, [ball(5, 32), ball(5, 32)])
    (result,) = found["interference"]
    assert result.kind == "fail"
    assert result.measured == pytest.approx(ball(5, 32).volume(), rel=1e-4)


def test_open_bodies_have_a_gap_but_no_volume(tmp_path: Path) -> None:
    vertices, faces = mesh(box([10] * 3))
    lid = (vertices, faces[1:])
    near = inspected(tmp_path, [lid, mesh(box([10] * 3, [10.2, 0, 0]))])
    assert kinds(near)["clearance"] == ["fail"]
    crossing = inspected(tmp_path, [lid, mesh(box([10] * 3, [9, 1, 1]))])
    assert kinds(crossing)["interference"] == ["open"]
    assert "solid/open-edge" in crossing["interference"][0].message
    within = inspected(tmp_path, [lid, mesh(box([2] * 3, [4, 4, 4]))])
    assert kinds(within)["interference"] == ["open"]


@pytest.mark.parametrize(
    ("one", "two", "held"),
    [
        (cage(10, 8, 4), ball(7.7, 40), True),
        (barrel(3.3, 6, -5, 5, 64), headed_pin(3, 5, 11, 64), True),
        (barrel(3.3, 6, -5, 5, 64), rod(3, -8, 8, 64), False),
    ],
    ids=["ball in a cage", "pin with heads", "pin without"],
)
@pytest.mark.cases(1)
def test_trapped(one: Any, two: Any, held: bool, tmp_path: Path) -> None:
    found = inspected(tmp_path, turned(9, one, two))
    assert kinds(found)["trapped"] == (["informational"] if held else ["pass"])
    if held:
        (result,) = found["trapped"]
        assert (result.uri, result.other_uri) == ("b.stl", "a.stl")
    assert {r.properties["captive"] for r in found["clearance"]} == {held}


def test_round_fit_tells_its_running_gap(tmp_path: Path) -> None:
    pin = rod(3, -8, 8, 96).translate([0.1, 0, 0])
    (result,) = inspected(tmp_path, turned(4, barrel(3.25, 6, -5, 5, 96), pin))["clearance"]
    assert result.measured == pytest.approx(0.15, abs=0.005)
    assert result.properties["kind"] == "round"
    assert result.properties["running_gap_mm"] == pytest.approx(0.25, abs=0.01)
    assert result.properties["gap_max_mm"] == pytest.approx(0.35, abs=0.01)
    assert result.properties["axis_offset_mm"] == pytest.approx(0.1, abs=1e-4)
    assert result.faceting == pytest.approx(6.25 * (1 - np.cos(np.pi / 96)), abs=1e-4)


def test_bodies_of_one_file_without_names(tmp_path: Path) -> None:
    pair = [mesh(box([10] * 3)), mesh(box([10] * 3, [10.2, 0, 0]))]
    path = write_stl(tmp_path / "two.stl", np.concatenate([v[f] for v, f in pair]))
    results = lint3d.inspect([path], only=["assembly"], workers=0).results
    (result,) = [r for r in results if r.rule == "assembly/clearance"]
    assert (result.kind, result.body, result.other) == ("fail", "part-1", "part-1/2")


def test_files_on_their_own_are_not_one_assembly(tmp_path: Path) -> None:
    for name, low in (("a", 0), ("b", 10.2)):
        vertices, faces = mesh(box([10] * 3, [low, 0, 0]))
        write_stl(tmp_path / f"{name}.stl", vertices[faces])
    inspection = lint3d.inspect(
        [tmp_path / "a.stl", tmp_path / "b.stl"], only=["assembly"], workers=0
    )
    assert {r.kind for r in inspection.results} == {"notApplicable"}


def test_another_limit_is_searched_for(tmp_path: Path) -> None:
    pair = [box([10] * 3), box([10] * 3, [12, 0, 0])]
    (result,) = inspected(tmp_path, pair, limits=["assembly/clearance=3mm"])["clearance"]
    assert (result.kind, result.measured) == ("fail", pytest.approx(2))


def test_the_rule_hands_on_what_was_measured() -> None:
    place = Place(0.3)
    assert list(clearance(Places([place]))) == [place]


@pytest.mark.parametrize("name", ["lid.stl", "tide-gauge-kit.3mf"])
@pytest.mark.cases(1)
def test_demo_lid(name: str) -> None:
    """The tight knuckle fails, the others pass, and the arm is held."""
    results = lint3d.inspect([FIXTURES / name], only=["assembly"], workers=0).results
    (fail,) = [r for r in results if r.kind in ("fail", "review")]
    assert fail.rule == "assembly/clearance"
    assert fail.measured == pytest.approx(0.149739, abs=1e-5)  # fixtures/truth.toml
    assert fail.properties["kind"] == "round"
    assert fail.properties["captive"]
    (held,) = [r for r in results if r.kind == "informational"]
    assert held.rule == "assembly/trapped"


@pytest.mark.parametrize("seed", [0, 1])
def test_a_file_that_fell_into_facets_is_told_in_one_line_a_rule(seed: int, tmp_path: Path) -> None:
    """Corners that miss each other by more than the weld tolerance make every facet a sheet."""
    ((vertices, faces),) = turned(seed, ball(5.0, 16))
    facets = vertices[faces]
    facets = facets + np.random.default_rng(seed).normal(0, 1e-3, facets.shape)
    path = write_stl(tmp_path / "part.stl", facets)
    found = lint3d.inspect([path], only=["assembly"], workers=0)
    assert not found.notifications
    for rule in RULES:
        kinds_of_rule = [r.kind for r in found.results if r.rule == f"assembly/{rule}"]
        assert kinds_of_rule == ["open"], rule
    assert all("stray-shell" in one.message for one in found.results)


# What of the first body is nearer than the limit of 0.4 mm to the other: of the plate what lies
# before a pad of 3 x 6 mm and 0.265 mm round it, of the pad its face and 0.1 mm of its sides.
@pytest.mark.parametrize(("order", "area"), [(1, 22.98), (-1, 19.8)])
def test_pads_before_a_plate_are_one_place_each(tmp_path: Path, order: int, area: float) -> None:
    """The order of the bodies decided whether they were one place or three."""
    lid = box([60, 2, 10], [0, 2, 0])
    for i in range(3):
        lid = lid + box([3, 2.2, 6], [3 + 9 * i, 0.3, 2])
    plate = box([60, 2, 10], [0, -2, 0])
    found = inspected(tmp_path, turned(5, plate, lid)[::order])
    assert [one.kind for one in found["clearance"]] == ["fail"] * 3
    for result in found["clearance"]:
        assert result.properties["area_mm2"] == pytest.approx(area, rel=0.01)


@pytest.mark.parametrize(
    ("other", "low", "rule", "extent"),
    [
        (box([5, 5, 5]), [20, 20, 0.3], "clearance", 5 + 2 * np.sqrt(0.4**2 - 0.3**2)),
        (box([5, 60, 5]), [20, -10, 0.3], "clearance", 40),
        (box([5, 5, 5]), [20, 20, 0], "touching", 5),
        (ball(4, 32), [20, 20, 4], "touching", 0),
    ],
)
def test_extent_is_that_of_the_place_and_not_of_large_facets(
    tmp_path: Path, other: Any, low: list[float], rule: str, extent: float
) -> None:
    """On a plate of two facets a side."""
    found = inspected(tmp_path, [box([40, 40, 10], [0, 0, -10]), other.translate(low)])
    (result,) = found[rule]
    assert result.extent == pytest.approx(extent, abs=0.15)


@pytest.mark.parametrize(
    ("hole", "pin", "depth"),
    [
        (barrel(3, 6, 0, 10, 96), rod(3.02, 0, 10, 96), 0.02),
        # The ball in the corner of the square ring rests on the corner of the hole.
        (
            box([12, 12, 5], [-6, -6, 0]) - box([6, 6, 9], [-3, -3, -1]),
            box([6.04, 6.04, 5], [-3.02, -3.02, 0]),
            0.02 * 2 * (2 - np.sqrt(2)),
        ),
    ],
)
def test_a_press_fit_is_as_deep_as_its_oversize(
    tmp_path: Path, hole: Any, pin: Any, depth: float
) -> None:
    """And not as its ring is wide."""
    (result,) = inspected(tmp_path, turned(4, hole, pin))["interference"]
    assert result.properties["depth_mm"] == pytest.approx(depth, rel=0.01)
    assert f"{result.properties['depth_mm']:.3g} mm deep" in result.message


def test_bodies_of_two_files_are_told_with_their_files(tmp_path: Path) -> None:
    """Each is "part-1" of its own: "'part-1' and 'part-1' touch" tells nobody which."""
    found = inspected(tmp_path, [box([5] * 3), box([5] * 3, [5, 0, 0]), box([5] * 3, [0, 5.2, 0])])
    assert "'part-1' of a.stl and 'part-1' of b.stl touch." in found["touching"][0].message
    assert any("gap to 'part-1' of c.stl is 0.2 mm" in r.message for r in found["clearance"])
