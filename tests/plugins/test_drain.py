"""Drain: each rule fails, passes, is for review, open or without a subject as it should."""

from __future__ import annotations

import math
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import shapes_voids as parts
from manifold3d import Manifold
from parts import write_stl

import lint3d
from lint3d import Result
from lint3d_plugins import drain_hollows

FIXTURES = Path(__file__).parents[2] / "fixtures"
RULES = (
    "sealed-pocket",
    "narrow-neck",
    "long-neck",
    "no-vent",
    "puddle",
    "held",
    "blind-depth",
    "unreachable",
)
LIMITS = {
    "sealed-pocket": "at_most = 0.01\nunit = 'mm3'",
    "narrow-neck": "at_least = 1.5\nunit = 'mm'",
    "long-neck": "at_most = 15.0\nunit = '1'",
    "no-vent": "at_least = 6.8\nuncertainty = 3.4\nunit = 'mm'",
    "puddle": "at_most = 6.0\nunit = 'mm3'",
    "held": "at_most = 6.0\nunit = 'mm3'",
    "blind-depth": "at_most = 15.0\nunit = '1'",
    "unreachable": "at_most = 100.0\nunit = 'mm'",
}
WAX = """
[liquid]
density = { value = 780, unit = "kg/m3" }
surface_tension = { value = 0.026, unit = "N/m" }
viscosity = { value = 6.5, unit = "mm2/s" }
"""
BALL = 4 / 3 * math.pi


def sheet(folder: Path, liquid: str = WAX, extra: str = "") -> Path:
    """A sheet with the rules of this family alone."""
    rules = "\n".join(f'[rules."drain/{name}"]\n{text}' for name, text in LIMITS.items())
    path = folder / "drain-test.toml"
    path.write_text(f'[sheet]\ntitle = "A test"\n{liquid}\n{rules}\n{extra}')
    return path


def inspect(
    folder: Path, files: Sequence[Path], only: Sequence[str] = ("drain",), **more: Any
) -> dict[str, list[Result]]:
    """Results by rule; a crash fails the test."""
    if "sheet" not in more:
        more["sheet"] = sheet(folder)
    inspection = lint3d.inspect(
        [str(file) for file in files],
        only=only,
        workers=0,
        together=len(files) > 1,
        **more,
    )
    assert [n for n in inspection.notifications if n.level == "error"] == []
    return {
        rule: [r for r in inspection.results if r.rule == f"drain/{rule}"]
        for rule in RULES
        if any(r.rule == f"drain/{rule}" for r in inspection.results)
    }


def inspected(
    folder: Path, *solids: Any, seed: int = 1, only: Sequence[str] = RULES, **more: Any
) -> dict[str, list[Result]]:
    """Results over solids that stand in files of their own, all in one random frame."""
    frame = parts.random_frame(seed)
    files = []
    for number, solid in enumerate(solids):
        vertices, faces = solid if isinstance(solid, tuple) else parts.mesh(solid)
        vertices = vertices @ frame[:, :3].T + frame[:, 3]
        files.append(write_stl(folder / f"{'abcdefgh'[number]}.stl", vertices[faces]))
    return inspect(folder, files, [f"drain/{rule}" for rule in only], **more)


def kinds(found: dict[str, list[Result]]) -> dict[str, list[str]]:
    return {rule: sorted(r.kind for r in results) for rule, results in found.items()}


def holds(result: Result, truth: float) -> bool:
    """Does the truth lie within the interval?"""
    assert result.lower is not None
    assert result.upper is not None
    return result.lower <= truth <= result.upper


def faces_of(solid: Manifold, inside: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Vertices, faces, and which faces lie nearer to the middle than a radius."""
    vertices, faces = parts.mesh(solid)
    near = np.linalg.norm(vertices[faces].mean(axis=1), axis=1) < inside
    return vertices, faces, near


NECKS = ("narrow-neck", "no-vent", "held")


# --- sealed pockets -----------------------------------------------------------------------------


def test_sealed_pocket_fails_with_its_volume(tmp_path: Path) -> None:
    solid = parts.sealed_ball()
    found = inspected(tmp_path, solid, only=("sealed-pocket", "narrow-neck"))
    assert kinds(found) == {"sealed-pocket": ["fail"], "narrow-neck": ["pass"]}
    (result,) = found["sealed-pocket"]
    assert holds(result, 16**3 - solid.volume())
    assert result.upper - result.lower < 0.01  # type: ignore[operator]
    assert result.position == pytest.approx(parts.random_frame(1)[:, 3], abs=0.5)
    assert result.extent is not None
    assert 11 < result.extent < 12.5


def test_sealed_pocket_on_purpose(tmp_path: Path) -> None:
    found = inspected(
        tmp_path, parts.sealed_ball(), only=["sealed-pocket"], limits=["drain/sealed-pocket=1000"]
    )
    (result,) = found["sealed-pocket"]
    assert result.kind == "pass"
    assert result.measured == pytest.approx(899.7, abs=0.1)


def test_body_loose_in_a_pocket(tmp_path: Path) -> None:
    hollow, loose = parts.sealed_ball(), parts.ball(2)
    for solids in ([hollow + loose], [hollow, loose]):
        (result,) = inspected(tmp_path, *solids, only=["sealed-pocket"])["sealed-pocket"]
        assert result.kind == "fail"
        assert holds(result, 16**3 - hollow.volume() - loose.volume())
        assert "loose" in result.message


def test_pocket_within_a_loose_body_in_a_pocket(tmp_path: Path) -> None:
    outer, inner = parts.sealed_ball(6), parts.ball(4) - parts.ball(2)
    results = inspected(tmp_path, outer + inner, only=["sealed-pocket"])["sealed-pocket"]
    volumes = sorted(r.measured or 0.0 for r in results)
    assert volumes == pytest.approx(
        [parts.ball(2).volume(), 16**3 - outer.volume() - parts.ball(4).volume()], rel=1e-5
    )


def test_cavity_turned_inside_out_is_for_review_with_both_volumes(tmp_path: Path) -> None:
    vertices, faces, cavity = faces_of(parts.sealed_ball(), 7.0)
    faces[cavity] = faces[cavity][:, ::-1]
    (result,) = inspected(tmp_path, (vertices, faces), only=["sealed-pocket"])["sealed-pocket"]
    assert result.kind == "review"
    assert result.lower == 0.0
    assert "as the file has it, 0 mm³" in result.message
    assert "899.7 mm³" in result.message


def test_part_wholly_inside_out_means_the_same(tmp_path: Path) -> None:
    vertices, faces = parts.mesh(parts.sealed_ball())
    found = inspected(tmp_path, (vertices, faces[:, ::-1]), only=["sealed-pocket"])
    assert kinds(found) == {"sealed-pocket": ["fail"]}


def test_many_sealed_pockets_are_one_line(tmp_path: Path) -> None:
    solid = parts.block([40, 40, 16], [18, 18, 4])
    for i in range(7):
        for j in range(7):
            solid -= parts.block([2, 2, 2 + 0.1 * i], [5 * i + 2, 5 * j + 2, 4])
    (result,) = inspected(tmp_path, solid, only=["sealed-pocket"])["sealed-pocket"]
    assert result.kind == "fail"
    assert result.properties["places"] == 49
    assert result.measured == pytest.approx(2 * 2 * 2.6, rel=1e-4)
    assert result.properties["distribution"]["least"] == pytest.approx(8, rel=1e-4)
    assert result.message.startswith("49 places")


def test_pocket_that_a_second_body_closes(tmp_path: Path) -> None:
    lid = Manifold.cylinder(3, 10, 10, 64).translate([0, 0, 13.5])
    found = inspected(tmp_path, parts.cup(8, 12, 2), lid, only=["sealed-pocket"])
    (result,) = found["sealed-pocket"]
    assert result.kind == "fail"
    inside = Manifold.cylinder(11.5, 8, 8, 64).volume()
    assert holds(result, inside)


# --- necks --------------------------------------------------------------------------------------


def test_bottle_with_a_narrow_neck(tmp_path: Path) -> None:
    found = inspected(tmp_path, parts.bottle(6, 1.2, 4))
    assert kinds(found) == {
        "sealed-pocket": ["pass"],
        "narrow-neck": ["fail"],
        "long-neck": ["pass"],
        "no-vent": ["fail"],
        "puddle": ["pass"],
        "held": ["fail"],
        "blind-depth": ["pass"],
        "unreachable": ["pass"],
    }
    (neck,) = found["narrow-neck"]
    assert holds(neck, parts.polygon_width(1.2, 32))
    frame = parts.random_frame(1)
    up = frame[:, 2]
    local = (np.array(neck.position) - frame[:, 3]) @ frame[:, :3]
    assert np.hypot(*local[:2]) < 0.1
    assert 5.5 < local[2] < 10.5
    assert neck.properties["volume_mm3"] == pytest.approx(BALL * 6**3, rel=0.03)
    assert neck.properties["openings"] == 1
    assert np.array(neck.properties["neck_direction"]) @ up > 0.99
    # The best position has the neck downward.
    assert np.array(found["puddle"][0].properties["up"]) @ up < -0.99


def test_path_leads_from_the_pocket_to_the_outside(tmp_path: Path) -> None:
    (neck,) = inspected(tmp_path, parts.bottle(6, 1.2, 4), only=["narrow-neck"])["narrow-neck"]
    frame = parts.random_frame(1)
    local = (np.array([step.position for step in neck.path]) - frame[:, 3]) @ frame[:, :3]
    assert np.linalg.norm(local[0]) < 1.0
    assert local[-1, 2] > 10.0
    assert [step.label for step in neck.path if step.label] == [
        "in the pocket",
        "narrowest place",
        "outside",
    ]
    widths = [step.value for step in neck.path if step.value is not None]
    assert min(widths) == pytest.approx(neck.measured, abs=0.01)
    assert widths[0] > 10
    assert len(neck.path) >= 8


@pytest.mark.parametrize(
    ("neck", "expected"),
    [
        (2.0, {"narrow-neck": ["pass"], "no-vent": ["fail"], "held": ["fail"]}),
        (5.0, {"narrow-neck": ["pass"], "no-vent": ["review"], "held": ["pass"]}),
        (10.6, {"narrow-neck": ["pass"], "no-vent": ["pass"], "held": ["pass"]}),
    ],
)
def test_wider_necks(neck: float, expected: dict[str, list[str]], tmp_path: Path) -> None:
    radius = 8 if neck > 6 else 6
    assert kinds(inspected(tmp_path, parts.bottle(radius, neck, 2), only=NECKS)) == expected


@pytest.mark.parametrize(("limit", "kind"), [(1.95, "pass"), (1.9904, "review"), (2.03, "fail")])
def test_neck_near_the_limit(limit: float, kind: str, tmp_path: Path) -> None:
    """cos(pi/32) 2 mm = 1.9904 mm: within 0.05 mm of the limit the verdict is right."""
    limits = [f"drain/narrow-neck={limit}"]
    found = inspected(tmp_path, parts.bottle(6, 2.0, 4), only=["narrow-neck"], limits=limits)
    assert kinds(found) == {"narrow-neck": [kind]}


def test_second_opening_vents(tmp_path: Path) -> None:
    solid = parts.bottle(6, 1.2, 4) - parts.rod([0, 0, 0], [12, 0, 0], 2.5, 32)
    found = inspected(tmp_path, solid, only=NECKS)
    assert kinds(found)["narrow-neck"] == ["pass"]
    assert kinds(found)["no-vent"] == ["pass"]
    (neck,) = found["narrow-neck"]
    assert holds(neck, parts.polygon_width(2.5, 32))
    assert neck.properties["opening_diameters_mm"] == pytest.approx([2.488, 1.194], abs=0.01)


@pytest.mark.further
def test_gap_round_a_square_pin_is_one_opening(tmp_path: Path) -> None:
    """Its corners are wider than its sides, and are no two ways out."""
    bottle = parts.block([24, 24, 30]) - parts.ball(8)
    side, gap = 6.8633, 1.2378
    bottle -= parts.block([side, side, 20], [0, 0, 10])
    inner = side - 2 * gap
    solid = bottle + parts.block([inner, inner, 27], [0, 0, 1.5])
    found = inspected(tmp_path, solid, seed=56651176, only=("narrow-neck", "no-vent"))
    assert kinds(found) == {"narrow-neck": ["fail"], "no-vent": ["fail"]}
    width = gap * 2 * math.sqrt(2) / (1 + math.sqrt(2))
    assert holds(found["no-vent"][0], width)


@pytest.mark.further
def test_gap_between_two_bodies_is_no_vent(tmp_path: Path) -> None:
    """A lid that floats 1.6 mm above its cup: wide enough for a neck, too narrow for a bubble."""
    below = parts.block([16, 16, 10]) - parts.block([11, 11, 10], [0, 0, 2.5])
    lid = parts.block([16, 16, 2.5], [0, 0, 7.85])
    found = inspected(tmp_path, below, lid, only=("narrow-neck", "no-vent"))
    assert kinds(found) == {"narrow-neck": ["pass"], "no-vent": ["fail"]}
    assert holds(found["no-vent"][0], 1.6)


def test_pockets_behind_one_neck_are_told_once(tmp_path: Path) -> None:
    found = inspected(tmp_path, parts.series([3.0, 1.2]), only=("narrow-neck", "no-vent"))
    for rule in ("narrow-neck", "no-vent"):
        (result,) = found[rule]
        assert result.kind == "fail"
        assert holds(result, parts.polygon_width(1.2, 32))
        assert result.properties["pockets"] == 2
        assert result.properties["volume_mm3"] == pytest.approx(2 * BALL * 5**3, rel=0.04)


def test_each_neck_is_told_where_they_differ(tmp_path: Path) -> None:
    """The chamber that is nearer to the outside leaves by its own, wider neck."""
    found = inspected(tmp_path, parts.series([1.2, 3.0]), only=("narrow-neck", "no-vent"))
    assert kinds(found) == {"narrow-neck": ["fail"], "no-vent": ["fail", "fail"]}
    assert holds(found["narrow-neck"][0], parts.polygon_width(1.2, 32))
    assert len(found["narrow-neck"][0].properties["empties_in_order"]) == 2


def test_long_neck(tmp_path: Path) -> None:
    found = inspected(tmp_path, parts.bottle(6, 1.7, 40), only=["long-neck", "narrow-neck"])
    assert kinds(found) == {"long-neck": ["fail"], "narrow-neck": ["pass"]}
    # From the ball's surface, 6 mm from the middle, to the face at 46 mm.
    width = parts.polygon_width(1.7, 32)
    assert holds(found["long-neck"][0], (46 - math.sqrt(36 - 0.85**2)) / width)


def test_long_neck_before_a_short_narrow_one(tmp_path: Path) -> None:
    """The neck that is long is not the narrowest of the way."""
    solid = parts.block([70, 16, 16], [29, 0, 0])
    solid -= parts.ball(5) + parts.ball(5, [50, 0, 0])
    solid -= parts.rod([0, 0, 0], [50, 0, 0], 2.2, 32) + parts.rod([50, 0, 0], [65, 0, 0], 1.7, 32)
    found = inspected(tmp_path, solid, only=["long-neck"])
    (result,) = found["long-neck"]
    assert result.kind == "fail"
    assert holds(result, (40 + 2 * (5 - math.sqrt(25 - 1.1**2))) / parts.polygon_width(2.2, 32))


@pytest.mark.further
def test_lattice_is_one_line_with_its_distribution(tmp_path: Path) -> None:
    solid = parts.block([37, 37, 14], [15, 15, 3])
    for x, y, z in np.ndindex(6, 6, 2):
        solid -= parts.block([4.5, 4.5, 4.5], [6 * x, 6 * y, 6 * z])
        solid -= parts.block([6, 1.2, 1.2], [6 * x + 3, 6 * y, 6 * z])
    found = inspected(tmp_path, solid, only=["narrow-neck"])
    (result,) = found["narrow-neck"]
    assert result.kind == "fail"
    assert holds(result, 1.2)
    assert result.properties["places"] > 10
    assert result.properties["distribution"]["median"] == pytest.approx(1.2, abs=0.02)


# --- what holds liquid, what does not -----------------------------------------------------------


@pytest.mark.parametrize("name", ["cup", "bowl", "block", "recess", "hole", "bracket"])
@pytest.mark.cases(3)
def test_open_shapes_raise_nothing(name: str, tmp_path: Path) -> None:
    block = parts.block([16, 16, 16])
    solid = {
        "cup": parts.cup(),
        "bowl": parts.bowl(),
        "block": block,
        "recess": block - parts.block([10, 12, 5], [0, 0, 8]),
        "hole": block - parts.rod([0, 0, -9], [0, 0, 9], 5),
        "bracket": block - parts.block([10, 20, 14], [0, 0, 4]),
    }[name]
    found = inspected(tmp_path, solid)
    assert kinds(found) == {rule: ["pass"] for rule in RULES}


@pytest.mark.further
def test_inkwell_keeps_a_puddle_in_every_position(tmp_path: Path) -> None:
    """A tube that reaches into the middle of a ball: half of it stays, however it is held."""
    tube = parts.rod([0, 0, 0], [0, 0, 10], 6, 32)
    solid = parts.block([22, 22, 22]) - (parts.ball(9) - tube)
    solid -= parts.rod([0, 0, -0.5], [0, 0, 12], 4, 32)
    (result,) = inspected(tmp_path, solid, only=["puddle"])["puddle"]
    assert result.kind == "fail"
    assert result.measured is not None
    # Upside down the ring around the tube stays, which no other position betters.
    ring = parts.ball(9).trim_by_plane([0, 0, 1], 0) - tube
    assert 0.5 * ring.volume() < result.measured < 1.05 * ring.volume()
    assert len(result.properties["up"]) == 3


def test_held_is_the_volume_below_the_head(tmp_path: Path) -> None:
    """A cylinder with a hole in the middle of its floor: πr² × head, less where it is tilted."""
    solid = parts.block([16, 16, 30]) - parts.rod([0, 0, -13], [0, 0, 13], 12, 64)
    solid -= parts.rod([0, 0, -16], [0, 0, -12], 2.0, 32)
    solid -= parts.rod([0, 0, 12], [0, 0, 16], 2.0, 32)
    (result,) = inspected(tmp_path, solid, only=["held"])["held"]
    assert result.kind == "fail"
    head = result.properties["head_held_mm"]
    assert head == pytest.approx(4 * 0.026 / (780 * 9.80665 * 1.9904e-3) * 1000, rel=2e-3)
    assert result.measured is not None
    assert result.measured <= 36 * math.pi * head
    assert holds(result, result.measured)


def test_slot_is_a_blind_depth(tmp_path: Path) -> None:
    rules = ("blind-depth", "narrow-neck")
    slot = parts.block([20, 20, 20]) - parts.block([0.8, 8, 28], [0, 0, 10])
    found = inspected(tmp_path, slot, only=rules)
    assert kinds(found) == {"blind-depth": ["fail"], "narrow-neck": ["pass"]}
    assert holds(found["blind-depth"][0], 14 / 0.8)
    assert found["blind-depth"][0].path[0].label == "far end"
    shallow = parts.block([20, 20, 20]) - parts.block([0.8, 8, 16], [0, 0, 10])
    assert kinds(inspected(tmp_path, shallow, only=rules))["blind-depth"] == ["pass"]


def test_blind_slot_wider_than_a_neck_may_be(tmp_path: Path) -> None:
    """A slot 1.7 mm wide and 18 times as deep: wide enough for a neck, too deep for its width."""
    slot = parts.block([20, 12, 40]) - parts.block([1.7, 6, 2 * 18 * 1.7], [0, 0, 20])
    (result,) = inspected(tmp_path, slot, only=("blind-depth",))["blind-depth"]
    assert result.kind == "fail"
    assert holds(result, 18.0)


@pytest.mark.parametrize(
    ("width", "deep", "limits"),
    [
        # 7.5 mm is less than three times the neck's limit.
        (0.42, 7.5, ["drain/narrow-neck=4"]),
        # Wider than a neck must be, and less deep than three self-venting openings are wide.
        (1.7, 9.0, ["drain/blind-depth=4"]),
    ],
)
def test_blind_slot_less_deep_than_balls_are_wide(
    width: float, deep: float, limits: list[str], tmp_path: Path
) -> None:
    slot = parts.block([20, 10, 16]) - parts.block([width, 4, 2 * deep], [0, 0, 8])
    only = ("blind-depth", "narrow-neck")
    (result,) = inspected(tmp_path, slot, only=only, limits=limits)["blind-depth"]
    assert result.kind == "fail"
    assert holds(result, deep / width)


@pytest.mark.parametrize("width", [4.0, 11.0])
@pytest.mark.further
def test_blind_slot_wider_than_a_bubble(width: float, tmp_path: Path) -> None:
    """A slot that a bubble passes is told where it is too deep for its width, alone or not."""
    size = [width + 8, 4 * width, 20 * width]
    slot = parts.block(size) - parts.block([width, 3 * width, 36 * width], [0, 0, 10 * width])
    for rules in (("blind-depth",), ("blind-depth", "narrow-neck")):
        (result,) = inspected(tmp_path, slot, only=rules)["blind-depth"]
        assert result.kind == "fail"
        assert holds(result, 18.0)


def test_blind_branch_of_a_way_through(tmp_path: Path) -> None:
    """A square duct, open at both ends, with a blind one of the same width down from its middle."""
    duct = parts.block([60, 16, 56], [0, 0, -18]) - parts.block([70, 1, 1])
    for deep, kind in ((17.0, "fail"), (13.0, "pass")):
        branch = parts.block([1, 1, deep + 0.5], [0, 0, -(deep + 0.5) / 2])
        (result,) = inspected(tmp_path, duct - branch, only=("blind-depth",))["blind-depth"]
        assert result.kind == kind
        assert holds(result, deep - 0.5)


def test_a_bent_bore_hardly_wider_than_a_ball_is_told_once(tmp_path: Path) -> None:
    """1.54 mm: a ball of 1.5 mm does not come round the bend, and no more does one of 3.4 mm."""
    bore = parts.rod([0, 0, 3], [0, 0, -8.75], 1.5944, 12) + parts.ball(0.797, [0, 0, -8.75], 24)
    bore += parts.rod([0, 0, -8.75], [12.1, 0, -8.75], 1.5944, 12)
    solid = parts.block([22, 10, 13], [6, 0, -6.5]) - bore
    limits = ["drain/blind-depth=6"]
    (result,) = inspected(tmp_path, solid, only=("blind-depth",), limits=limits)["blind-depth"]
    assert result.properties["width_mm"] == pytest.approx(1.5944 * math.cos(math.pi / 12), 0.03)


def test_round_hole_is_left_to_the_walls(tmp_path: Path) -> None:
    """walls/deep-hole tells of it: one place, one owner."""
    hole = parts.block([20, 20, 24]) - parts.rod([0, 0, -10], [0, 0, 13], 1.0, 32)
    vertices, faces = parts.mesh(hole, parts.random_frame(4))
    file = write_stl(tmp_path / "a.stl", vertices[faces])
    walls = '[rules."walls/deep-hole"]\nat_most = 15.0\nunit = "1"'
    table = sheet(tmp_path, extra=walls)
    only = ["drain/blind-depth", "walls/deep-hole"]
    assert kinds(inspect(tmp_path, [file], only, sheet=table)) == {"blind-depth": ["pass"]}
    alone = inspect(tmp_path, [file], ["drain/blind-depth"], sheet=table)
    assert kinds(alone) == {"blind-depth": ["fail"]}


def test_long_serpentine_is_open_but_out_of_reach(tmp_path: Path) -> None:
    found = inspected(
        tmp_path, parts.serpentine(), only=("narrow-neck", "blind-depth", "unreachable")
    )
    assert kinds(found) == {
        "narrow-neck": ["pass"],
        "blind-depth": ["fail"],
        "unreachable": ["fail"],
    }
    # Six runs of 20 mm and five turns of 3.5 mm, less what the ball reaches at the mouth.
    (result,) = found["unreachable"]
    assert result.measured == pytest.approx(6 * 20 + 5 * 3.5, rel=0.12)


# --- open, without a subject --------------------------------------------------------------------


def test_open_cavity_is_open_and_says_so(tmp_path: Path) -> None:
    vertices, faces, cavity = faces_of(parts.sealed_ball(), 7.0)
    lost = np.flatnonzero(cavity)[10]
    found = inspected(tmp_path, (vertices, np.delete(faces, lost, axis=0)))
    for rule in RULES:
        assert "open" in kinds(found)[rule], rule
        assert "pass" not in kinds(found)[rule], rule
    messages = {r.message for r in found["sealed-pocket"]}
    assert any("3 edges" in m and "solid/open-edge" in m for m in messages)
    # The missing face was flat: what is shut in is known all the same.
    fail = next(r for r in found["sealed-pocket"] if r.kind == "fail")
    assert holds(fail, parts.ball(6).volume())


def test_open_cavity_with_a_leak_below_the_pitch_is_measured(tmp_path: Path) -> None:
    """Two faces of a fine ball are gone, so that the gap is bent, and 0.2 mm wide."""
    hollow = parts.ball(4, segments=96)
    vertices, faces, cavity = faces_of(parts.block([12, 12, 12]) - hollow, 5.0)
    first = np.flatnonzero(cavity)[40]
    shared = np.isin(faces, faces[first]).sum(axis=1)
    lost = [first, np.flatnonzero(shared == 2)[0]]
    found = inspected(tmp_path, (vertices, np.delete(faces, lost, axis=0)), only=["sealed-pocket"])
    assert kinds(found) == {"sealed-pocket": ["fail", "open"]}
    fail, left_open = sorted(found["sealed-pocket"], key=lambda r: r.kind)
    assert holds(fail, hollow.volume())
    assert "less than the grid's pitch" in left_open.message
    assert "measured with the gaps closed" in left_open.message


def test_a_heap_of_loose_triangles_is_open_at_once(tmp_path: Path) -> None:
    rng = np.random.default_rng(4)
    heap = rng.uniform(-20, 20, (3000, 3)), np.arange(3000).reshape(-1, 3)
    found = inspected(tmp_path, heap)
    for rule in RULES:
        assert set(kinds(found)[rule]) == {"open"}, rule
    messages = {r.message for r in found["sealed-pocket"]}
    assert any("is in pieces: 3000 of 3000 edges" in m for m in messages)


def test_open_outside_still_measures_the_neck(tmp_path: Path) -> None:
    solid = parts.bottle(6, 1.2, 4)
    vertices, faces = parts.mesh(solid)
    floor = np.flatnonzero((vertices[faces][:, :, 2] < -9.9).all(axis=1))
    found = inspected(
        tmp_path, (vertices, np.delete(faces, floor[0], axis=0)), only=["narrow-neck"]
    )
    assert kinds(found) == {"narrow-neck": ["fail", "open"]}
    fail = next(r for r in found["narrow-neck"] if r.kind == "fail")
    assert holds(fail, parts.polygon_width(1.2, 32))


def test_sheet_without_a_liquid(tmp_path: Path) -> None:
    found = inspected(tmp_path, parts.bottle(6, 1.2, 4), sheet=sheet(tmp_path, liquid=""))
    for rule in ("no-vent", "puddle", "held"):
        (result,) = found[rule]
        assert result.kind == "notApplicable"
        assert "[liquid]" in result.message
    assert kinds(found)["narrow-neck"] == ["fail"]
    assert "draining_s" not in found["narrow-neck"][0].properties


@pytest.mark.parametrize(
    ("table", "said"),
    [
        ('density = { value = 780, unit = "kg/m3" }', "surface_tension"),
        (
            'density = { value = 0.78, unit = "g/cm3" }\n'
            'surface_tension = { value = 0.026, unit = "N/m" }',
            "kg/m3",
        ),
        (
            'density = { value = -1, unit = "kg/m3" }\n'
            'surface_tension = { value = 0.026, unit = "N/m" }',
            "above 0",
        ),
    ],
)
def test_liquid_that_cannot_be_used(table: str, said: str, tmp_path: Path) -> None:
    liquid = f"[liquid]\n{table}"
    found = inspected(
        tmp_path, parts.bottle(), only=["held", "puddle"], sheet=sheet(tmp_path, liquid)
    )
    for rule in ("held", "puddle"):
        (result,) = found[rule]
        assert result.kind == "open"
        assert said in result.message


def test_rule_alone_finds_what_it_needs(tmp_path: Path) -> None:
    """With narrow-neck off no limit says how fine to look; the sheet's is taken."""
    solid = parts.bottle(6, 1.2, 4)
    for rule in ("long-neck", "held", "puddle", "unreachable"):
        assert rule in inspected(tmp_path, solid, only=[rule])
    assert kinds(inspected(tmp_path, solid, only=["held"])) == {"held": ["fail"]}


def test_same_answer_in_any_frame(tmp_path: Path) -> None:
    values = []
    for seed in (5, 6, 7):
        found = inspected(tmp_path, parts.bottle(6, 1.45, 3), seed=seed, only=["narrow-neck"])
        (result,) = found["narrow-neck"]
        assert result.kind == "fail"
        values.append(result.measured)
    assert np.ptp(values) < 0.02


# --- the demo kit -------------------------------------------------------------------------------


def test_housing(tmp_path: Path) -> None:
    found = inspect(tmp_path, [FIXTURES / "housing.stl"], ["drain/sealed-pocket", "drain/no-vent"])
    assert kinds(found) == {"sealed-pocket": ["fail"], "no-vent": ["pass"]}
    # fixtures/truth.toml: from the coordinates as they are written
    assert found["sealed-pocket"][0].measured == pytest.approx(14227.425464, abs=1e-3)


def test_manifold_block(tmp_path: Path) -> None:
    only = [f"drain/{rule}" for rule in ("sealed-pocket", "narrow-neck", "long-neck", "no-vent")]
    found = inspect(tmp_path, [FIXTURES / "manifold-block.stl"], only)
    assert kinds(found) == {
        "sealed-pocket": ["pass"],
        "narrow-neck": ["fail"],
        "long-neck": ["pass"],
        "no-vent": ["fail"],
    }
    (neck,), (vent,) = found["narrow-neck"], found["no-vent"]
    assert holds(neck, 0.599277)
    assert neck.position == pytest.approx((29.7, 42, 20), abs=1.1)
    assert neck.properties["volume_mm3"] == pytest.approx(2676.5, rel=0.05)
    assert holds(vent, 2.996386)
    assert vent.position == pytest.approx((50, 76.25, 20), abs=4)


@pytest.mark.parametrize(
    "name",
    [
        pytest.param("filter", marks=pytest.mark.slow),
        "sound-coupon",
        "bracket",
        "name-plate",
        "lid",
    ],
)
@pytest.mark.cases(1)
def test_sound_parts_of_the_kit(name: str, tmp_path: Path) -> None:
    found = inspect(tmp_path, [FIXTURES / f"{name}.stl"])
    assert kinds(found) == {rule: ["pass"] for rule in RULES}


@pytest.mark.parametrize("seed", [2])
@pytest.mark.further
def test_frame_of_the_grid_shows_nowhere(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, seed: int
) -> None:
    """Large parts that lie askew are searched in a frame of their own."""
    solid = parts.block([36, 24, 24]) - parts.ball(5, [-9, 0, 0])
    solid -= parts.rod([-9, 0, 0], [-9, 0, 14], 1.0, 24)
    solid -= parts.block([1.0, 8, 32], [12, 0, 12])
    frame = parts.random_frame(seed)
    vertices, faces = parts.mesh(solid, frame)
    file = write_stl(tmp_path / "a.stl", vertices[faces])
    only = [f"drain/{rule}" for rule in ("narrow-neck", "held", "blind-depth", "unreachable")]
    plain = inspect(tmp_path, [file], only)
    monkeypatch.setattr(drain_hollows, "_WORTH_TURNING", 0)
    turned = inspect(tmp_path, [file], only)
    assert kinds(turned) == kinds(plain)
    for rule in ("narrow-neck", "held", "blind-depth"):
        (one,), (other,) = plain[rule], turned[rule]
        assert one.measured == pytest.approx(other.measured, rel=0.05)
    (neck,), (slot,) = turned["narrow-neck"], turned["blind-depth"]
    steps = [step.position for step in (*neck.path, *slot.path)]
    steps = (np.array([neck.position, slot.position, *steps]) - frame[:, 3]) @ frame[:, :3]
    assert steps[0, :2] == pytest.approx([-9, 0], abs=0.1)
    assert 5 < steps[0, 2] < 12
    first, last = steps[2], steps[1 + len(neck.path)]
    assert first == pytest.approx([-9, 0, 0], abs=1.5)
    assert last[:2] == pytest.approx([-9, 0], abs=1.5)
    assert last[2] > 11.5
    # The slot's mouth is 8 mm long; its middle plane is x = 12.
    assert steps[[1, -1], 0] == pytest.approx([12, 12], abs=0.6)
    assert steps[-1, 2] == pytest.approx(12, abs=1.0)
    assert steps[2 + len(neck.path), 2] == pytest.approx(-4, abs=1.0)
