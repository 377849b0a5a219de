"""Relief: each rule fails, passes, is for review, open or without a subject as it should."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import manifold3d as m3
import numpy as np
import pytest
import shapes_relief as shapes
from parts import write_stl
from sarif_reading import run_of
from scipy.spatial.transform import Rotation
from shapes_relief import ReliefCase
from shapes_walls import arrays

import lint3d
from lint3d import Result

FIXTURES = Path(__file__).parents[2] / "fixtures"


def inspect(
    folder: Path,
    case: ReliefCase,
    sheet: str = "mjt-meltable",
    only: Sequence[str] = ("relief",),
    limits: Sequence[str] = (),
) -> dict[str, list[Result]]:
    """Results by rule, those without a subject left out; a crash fails the test."""
    path = write_stl(folder / "part.stl", case.vertices[case.faces])
    done = lint3d.inspect([path], sheet=sheet, only=list(only), workers=0, limits=list(limits))
    assert not done.notifications
    found: dict[str, list[Result]] = {}
    for result in done.results:
        if result.kind != "notApplicable":
            found.setdefault(result.rule.removeprefix("relief/"), []).append(result)
    return found


def verdicts(found: dict[str, list[Result]]) -> dict[str, str]:
    return {rule: results[0].kind for rule, results in found.items()}


@pytest.mark.parametrize(("height", "kind"), [(0.15, "fail"), (0.212, "review"), (0.3, "pass")])
@pytest.mark.parametrize("sense", [1, -1])
@pytest.mark.cases(3)
def test_height_and_depth(height: float, kind: str, sense: int, tmp_path: Path) -> None:
    case = shapes.moved(shapes.lettered("TIDE", sense * height, 8.0), np.random.default_rng(1))
    found = inspect(tmp_path, case)
    rule, other = ("raised-height", "sunk-depth")[::sense]
    (result,) = found[rule]
    assert result.kind == kind
    assert result.measured == pytest.approx(height, abs=1e-4)
    assert found[other][0].kind == "pass"
    assert found[other][0].measured is None


def test_an_inscription_is_told_with_its_box_its_way_and_its_islands(tmp_path: Path) -> None:
    case = shapes.lettered("Kai 8", 0.6, 8.0)
    turn = Rotation.from_euler("xyz", (20, 130, -50), degrees=True)
    letters = case.vertices[case.vertices[:, 2] > 0.3] * (1, 1, 0)
    corners = turn.apply(np.vstack([letters, letters + (0, 0, case.height)])) + 9.0
    case = replace(case, vertices=turn.apply(case.vertices) + 9.0)
    path = write_stl(tmp_path / "part.stl", case.vertices[case.faces])
    done = lint3d.inspect([path], only=["relief"], workers=0)
    told = {
        one["ruleId"]: one["locations"][0]["properties"]["more"]
        for one in run_of(done)["results"]
        if one["locations"] and "properties" in one["locations"][0]
    }
    assert {"relief/raised-height", "relief/stroke"} <= set(told)
    for more in told.values():
        assert (more["islands"], more["characters"]) == (5, 4)
        assert 8.0 <= more["character_height_mm"] <= case.character_height + 0.02
        assert np.allclose(more["box_mm"], [corners.min(axis=0), corners.max(axis=0)], atol=0.02)
        assert abs(turn.apply([1, 0, 0]) @ more["reading_direction"]) > np.cos(np.radians(1))


@pytest.mark.parametrize(("stroke", "kind"), [(0.35, "fail"), (0.6, "pass")])
@pytest.mark.parametrize("sense", [1, -1])
def test_strokes_and_grooves(stroke: float, kind: str, sense: int, tmp_path: Path) -> None:
    case = shapes.barred("TILE", sense * 0.4, 6.0, stroke)
    found = inspect(tmp_path, case)
    (result,) = found["stroke" if sense > 0 else "groove"]
    assert result.kind == kind
    assert result.measured == pytest.approx(stroke, rel=0.02)


def test_counters_are_told(tmp_path: Path) -> None:
    case = shapes.barred("OAE", 0.4, 3.0, 0.6)
    # The counter of the O is what its bars leave open: (3 - 0.6) / 6 * 4 - 0.6.
    (result,) = inspect(tmp_path, case, limits=["relief/counter=1.2mm"])["counter"]
    assert result.kind == "fail"
    assert result.measured < 1.0 + 1e-3


def test_a_high_thin_stroke_is_fragile(tmp_path: Path) -> None:
    found = inspect(tmp_path, shapes.barred("TILE", 1.5, 8.0, 0.6))
    (result,) = found["fragile"]
    assert result.kind == "fail"
    assert result.measured == pytest.approx(2.5, rel=0.03)


@pytest.mark.parametrize("turned", [False, True])
def test_letters_that_only_touch_are_loose(turned: bool, tmp_path: Path) -> None:
    case = shapes.loose("Tide", 0.8, 8.0)
    if turned:
        case = shapes.moved(case, np.random.default_rng(3))
    (result,) = inspect(tmp_path, case)["loose-glyph"]
    assert result.kind == "fail"
    assert result.measured == case.islands
    assert (result.properties["islands"], result.properties["characters"]) == (case.islands, 4)


def test_dots_of_braille_are_told_with_their_box_and_their_number(tmp_path: Path) -> None:
    case = shapes.braille("tide")
    found = inspect(tmp_path, case, sheet="tactile-sign")
    # Dots of 1.55 mm in four cells of 2 by 3, from the first one's middle on.
    low, high = (-0.775, -4.8 - 0.775, 0.0), (3 * 6.5 + 2.4 + 0.775, 0.775, 0.75)
    for rule in ("dot-base", "dot-height", "dot-spacing"):
        more = found[rule][0].properties
        assert more["islands"] == case.islands
        assert np.allclose(more["box_mm"], [low, high], atol=0.02)


def test_letters_that_overlap_their_plate_hold(tmp_path: Path) -> None:
    found = inspect(tmp_path, shapes.loose("Tide", 0.8, 8.0, gap=-0.3))
    assert found["loose-glyph"][0].kind == "pass"
    (result,) = found["raised-height"]
    assert result.kind == "pass"
    assert result.measured == pytest.approx(0.5, abs=1e-3)


@pytest.mark.parametrize("fault", ["caps twice", "caps turned and there twice", "no caps"])
def test_letters_whose_caps_are_faulty_do_not_pass(fault: str, tmp_path: Path) -> None:
    case = shapes.lettered("TIDE 30", 0.4, 8.0)
    caps = (case.vertices[case.faces][:, :, 2] > 0.39).all(axis=1)
    faces = case.faces[~caps] if fault == "no caps" else case.faces
    if fault != "no caps":
        again = case.faces[caps]
        faces = np.vstack([faces, again[:, ::-1] if "turned" in fault else again])
    case = replace(case, faces=faces)
    results = inspect(tmp_path, case, limits=["relief/raised-height=0.6mm"])["raised-height"]
    assert {result.kind for result in results} <= {"open", "fail"}


@pytest.mark.parametrize("other", [(0.4, -1.0), (0.4, -2.0), (0.3, -1.0)])
@pytest.mark.parametrize("seed", [None, 3])
@pytest.mark.cases(3)
def test_letters_drawn_twice_as_bodies_that_share_corners_do_not_pass(
    other: tuple[float, float], seed: int | None, tmp_path: Path
) -> None:
    outline = shapes.centred(shapes.font_text("TIDE 30", 8.0))
    plate = m3.Manifold.cube((60, 20, 4)).translate((-30, -10, -4))
    solids = [
        outline.extrude(top - bottom).translate((0, 0, bottom))
        for top, bottom in ((0.4, -1.0), other)
    ]
    corners = np.concatenate([v[f] for v, f in map(arrays, [plate, *solids])]).reshape(-1, 3)
    case = ReliefCase("twice", corners, np.arange(len(corners)).reshape(-1, 3), height=0.4)
    if seed is not None:
        case = shapes.moved(case, np.random.default_rng(seed))
    results = inspect(tmp_path, case, limits=["relief/raised-height=0.6mm"])["raised-height"]
    kinds = {result.kind for result in results}
    assert kinds & {"open", "fail"}
    assert kinds <= {"open", "fail", "informational"}  # a letter of which half is lost is a mark


def _judging_all(tmp_path: Path) -> str:
    sheet = tmp_path / "judged.toml"
    sheet.write_text('[sheet]\nextends = "mjt-meltable"\n[relief]\nlone_marks = "judge"\n')
    return str(sheet)


@pytest.mark.parametrize("text", ["A", "8", "O"])
@pytest.mark.parametrize("height", [0.5, -0.5])
def test_a_counter_is_no_mark_of_its_own(text: str, height: float, tmp_path: Path) -> None:
    case = shapes.lettered(text, height, 8.0)
    found = inspect(tmp_path, case, _judging_all(tmp_path))
    own, other = ("raised-height", "sunk-depth") if height > 0 else ("sunk-depth", "raised-height")
    (result,) = found[own]
    assert result.measured == pytest.approx(0.5, abs=1e-4)
    assert all(result.measured is None for result in found[other])


def test_a_lone_mark_that_only_touches_is_loose_where_marks_count(tmp_path: Path) -> None:
    case = shapes.loose("A", 0.8, 8.0)
    (result,) = inspect(tmp_path, case, _judging_all(tmp_path))["loose-glyph"]
    assert result.kind == "fail"
    assert {result.kind for result in inspect(tmp_path, case)["loose-glyph"]} == {"pass"}


def test_a_mark_sunk_into_a_pad_is_told(tmp_path: Path) -> None:
    """It is no counter of the pad: it does not reach the pad's base."""
    pad = m3.Manifold.cube((20, 16, 2), True)
    arrow = shapes.centred(shapes.arrow(10.0, 2.0)).extrude(2).translate((0, 0, 0.6))
    part = m3.Manifold.cube((60, 50, 4), True).translate((0, 0, -3)) + pad - arrow
    case = shapes.ReliefCase("pad", *arrays(part), -0.4)
    found = inspect(tmp_path, case, _judging_all(tmp_path))["sunk-depth"]
    assert [result.measured for result in found] == [pytest.approx(0.4, abs=1e-4)]


def test_a_word_whose_letters_touch_is_a_mark(tmp_path: Path) -> None:
    bars = shapes.centred(shapes.bar_text("LEFT", 8.0, 1.2))
    joined = bars + shapes.Outline.square((bars.bounds()[2] * 1.9, 1.2), True).translate((0, -3.4))
    assert len(joined.decompose()) == 1
    case = shapes.on_slab(joined, 0.5)
    (result,) = inspect(tmp_path, case, _judging_all(tmp_path))["raised-height"]
    assert result.measured == pytest.approx(0.5, abs=1e-4)
    kinds = {result.kind for result in inspect(tmp_path, case)["raised-height"]}
    assert kinds == {"pass", "informational"}


@pytest.mark.parametrize("below", [4.0, 5.0])
def test_letters_that_reach_through_their_plate_hold(below: float, tmp_path: Path) -> None:
    """No vertex of theirs lies in the plate: they end in its back, or beyond it."""
    case = shapes.loose("Tide", 0.8 + below, 8.0, gap=-below)
    case = shapes.moved(case, np.random.default_rng(3))
    assert inspect(tmp_path, case)["loose-glyph"][0].kind == "pass"


def test_a_lone_mark_is_information_until_the_sheet_says_else(tmp_path: Path) -> None:
    case = shapes.on_slab(shapes.centred(shapes.arrow(10.0, 2.0)), 0.1)
    found = inspect(tmp_path, case)["raised-height"]
    (told,) = [result for result in found if result.kind == "informational"]
    assert {result.kind for result in found} == {"pass", "informational"}
    assert "0.1 mm high" in told.message
    (result,) = inspect(tmp_path, case, _judging_all(tmp_path))["raised-height"]
    assert result.kind == "fail"
    assert result.measured == pytest.approx(0.1, abs=1e-4)


def test_an_inscription_is_one_result(tmp_path: Path) -> None:
    case = shapes.lettered("TIDE GAUGE 3", 0.1, 6.0)
    (result,) = inspect(tmp_path, case)["raised-height"]
    assert result.kind == "fail"
    assert "10 raised characters" in result.message
    assert result.extent == pytest.approx(np.ptp(case.vertices[:, 0]) - 8.0, abs=0.5)


def test_walls_leave_the_strokes_of_lettering_to_relief(tmp_path: Path) -> None:
    case = shapes.barred("TILE", 0.8, 6.0, 0.35)
    found = inspect(tmp_path, case, only=("relief", "walls"))
    assert found["stroke"][0].kind == "fail"
    for rule in ("thin-wall", "free-wall", "thin-rod", "knife-edge", "narrow-gap"):
        assert {one.kind for one in found.get(f"walls/{rule}", [])} <= {"pass"}, rule
    alone = inspect(tmp_path, case, only=("walls",))
    assert any(one.kind == "fail" for results in alone.values() for one in results)


def test_without_lettering_all_pass(tmp_path: Path) -> None:
    vertices, faces = arrays(m3.Manifold.cube((20, 30, 5)))
    found = inspect(tmp_path, ReliefCase("plate", vertices, faces, 0.0))
    assert set(verdicts(found).values()) == {"pass"}


def test_a_rough_surface_is_open(tmp_path: Path) -> None:
    vertices, faces = arrays(m3.Manifold.sphere(20, 128))
    rough = vertices + np.random.default_rng(0).normal(0, 0.3, vertices.shape)
    found = inspect(tmp_path, ReliefCase("scan", rough, faces, 0.0))
    assert set(verdicts(found).values()) == {"open"}
    assert "too rough" in found["raised-height"][0].message


def test_the_name_plate_of_the_demo() -> None:
    """Its truth is held in fixtures/truth.toml: two lines are sound, one is too shallow."""
    done = lint3d.inspect([FIXTURES / "name-plate.stl"], only=["relief"], workers=0)
    (failed,) = [result for result in done.results if result.kind == "fail"]
    assert failed.rule == "relief/sunk-depth"
    assert failed.measured == pytest.approx(0.15, abs=1e-4)
    (passed,) = [one for one in done.results if one.rule == "relief/raised-height"]
    assert passed.measured == pytest.approx(0.8, abs=1e-4)


@pytest.mark.parametrize("name", ["bracket", "housing", "lid", "filter", "sound-coupon"])
def test_the_other_parts_of_the_demo_carry_no_lettering(name: str) -> None:
    done = lint3d.inspect([FIXTURES / f"{name}.stl"], only=["relief"], workers=0)
    assert {result.kind for result in done.results} <= {"pass", "informational", "notApplicable"}
    assert all(
        result.measured is None for result in done.results if result.rule != "relief/loose-glyph"
    )


def test_an_inner_label_is_information(tmp_path: Path) -> None:
    found = inspect(tmp_path, shapes.enclosed("TIDE", 0.8, 8.0))["sunk-depth"]
    (told,) = [result for result in found if result.kind == "informational"]
    assert "4 closed hollows read as lettering 0.8 mm deep" in told.message


@pytest.mark.parametrize(("height", "kind"), [(0.1, "fail"), (0.4, "pass")])
@pytest.mark.parametrize("sense", [1, -1])
@pytest.mark.cases(1)
def test_a_field_of_squares_is_judged_by_height_and_width(
    height: float, kind: str, sense: int, tmp_path: Path
) -> None:
    outline = shapes.centred(shapes.squares(21, 0.8, np.random.default_rng(4)))
    case = shapes.moved(shapes.on_slab(outline, sense * height), np.random.default_rng(1))
    found = inspect(tmp_path, case)
    told = "raised-height" if sense > 0 else "sunk-depth"
    (place,) = found[told]
    assert place.kind == kind
    assert place.measured == pytest.approx(height, abs=0.004)
    assert "21 by 21" in place.message
    assert "character-height" not in found
    (width,) = found["stroke" if sense > 0 else "groove"]
    assert width.measured == pytest.approx(0.8, rel=0.01)


@pytest.mark.parametrize("seed", [0, 1])
@pytest.mark.parametrize("spoilt", ["whole shell there twice", "corners that do not meet"])
def test_letters_on_a_surface_that_does_not_hang_together_never_pass(
    spoilt: str, seed: int, tmp_path: Path
) -> None:
    """Letters 0.15 mm high are too low; where the faces have no neighbours nothing is seen."""
    random = np.random.default_rng(seed)
    case = shapes.moved(shapes.lettered("TIDE", 0.15, 8.0), random)
    facets = case.vertices[case.faces]
    if spoilt == "whole shell there twice":
        facets = np.concatenate([facets, facets])
    else:
        facets = facets + random.normal(0, 1e-3, facets.shape)
    path = write_stl(tmp_path / "part.stl", facets)
    done = lint3d.inspect([path], only=["relief/raised-height"], workers=0)
    assert not done.notifications
    assert done.results
    assert {one.kind for one in done.results} <= {"fail", "open"}
    for one in done.results:
        if one.kind == "open":
            assert "solid/" in one.message


@pytest.mark.parametrize("sense", [1, -1])
def test_a_letter_that_is_not_cut_loose_leaves_the_height_open(
    sense: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from lint3d.geometry import reliefs

    cut_loose = reliefs.islands
    monkeypatch.setattr(reliefs, "islands", lambda folds: cut_loose(folds)[1:])
    monkeypatch.setattr(reliefs, "islands_by_level", lambda *_: [])
    case = shapes.moved(shapes.barred("FEHL", sense * 0.6, 8.0, 1.0), np.random.default_rng(4))
    found = inspect(tmp_path, case)
    rule, other = ("raised-height", "sunk-depth")[::sense]
    kinds = {result.kind: result for result in found[rule]}
    assert "Beside lettering" in kinds["open"].message
    assert kinds["open"].position is not None
    assert [result.kind for result in found[other]] == ["pass"]


def test_crumbs_of_a_few_faces_leave_nothing_open(tmp_path: Path) -> None:
    """Rounding to a file's numbers cuts slivers loose: no lettering fits on them."""
    case = shapes.lettered("TIDE", 0.6, 8.0)
    crumb = np.array([[0.0, 0, 0], [1, 0, 0], [0, 1, 0], [1, 1, 0.5]]) + (60.0, 0.0, 0.0)
    faces = np.array([[0, 1, 2], [1, 3, 2]]) + len(case.vertices)
    case = replace(
        case,
        vertices=np.concatenate([case.vertices, crumb]),
        faces=np.concatenate([case.faces, faces]),
    )
    found = inspect(tmp_path, case)
    assert sorted(result.kind for result in found["raised-height"]) == ["pass", "pass"]
