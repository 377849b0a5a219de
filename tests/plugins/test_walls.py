"""Walls: each rule fails, passes, is near the limit or open where it should be."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import shapes_walls
from lint3d_plugins.walls import facing, gaps, knife_edges, spans, thin_wall
from parts import box, joined, part_of, write_stl
from shapes_walls import FAULTY, SOUND, WallCase, moved

import lint3d
from lint3d import Inspection, Interest, NotMeasurable, Result

LIMIT = 1.0
SPAN_RULES = ("walls/thin-wall", "walls/thin-rod", "walls/narrow-gap", "walls/small-hole")
FIXTURES = Path(__file__).parents[2] / "fixtures"


def inspected(path: Path, case: WallCase) -> Inspection:
    write_stl(path, case.vertices[case.faces])
    limits = [f"{rule}={LIMIT}mm" for rule in (*SPAN_RULES, "assembly/clearance")]
    return lint3d.inspect([path], only=["walls", "assembly"], limits=limits, workers=0)


def failing(inspection: Inspection) -> list[Result]:
    return [r for r in inspection.results if r.kind in ("fail", "review")]


@pytest.mark.parametrize("make", FAULTY, ids=lambda make: make.__name__)
def test_thin_places_are_found_in_any_frame(make, tmp_path: Path) -> None:
    rng = np.random.default_rng(11)
    case = moved(make(rng), rng)
    found = failing(inspected(tmp_path / "part.stl", case))
    if case.truth is not None and case.truth[1] < LIMIT - 0.02:
        # A gap between two bodies is theirs, not one body's.
        inward, outward = ("thin-wall", "thin-rod"), ("narrow-gap", "small-hole", "clearance")
        rules = inward if case.look == "inward" else outward
        spans_told = [r for r in found if r.rule.split("/")[1] in rules]
        assert spans_told
        worst = min(spans_told, key=lambda r: r.measured or 0.0)
        assert worst.lower is not None
        assert worst.lower <= case.truth[1] + 1e-4
        assert worst.upper is not None
        assert worst.upper >= case.truth[0] - 1e-4
        if case.regions is not None:
            assert len(spans_told) == case.regions
    if case.knife is not None and case.look == "inward":
        assert any(r.rule == "walls/knife-edge" for r in found) == (
            LIMIT / (2 * np.tan(np.radians(case.knife / 2))) > 1.0
        )


@pytest.mark.parametrize("make", SOUND, ids=lambda make: make.__name__)
def test_sound_parts_raise_nothing(make, tmp_path: Path) -> None:
    rng = np.random.default_rng(12)
    case = moved(make(rng), rng)
    assert failing(inspected(tmp_path / "part.stl", case)) == []


def test_at_the_limit_a_person_decides() -> None:
    body = part_of(box((LIMIT, 20, 20), (50, 0, 0))).bodies[0]
    (place,) = thin_wall(spans(facing(body), Interest(LIMIT, 1.25, "mm")))
    requirement = lint3d.Requirement("at least", "mm", "test", low=LIMIT)
    assert lint3d.decide(place.lower, place.upper, requirement) == "review"


def test_a_passing_part_says_how_thick_it_is_at_least() -> None:
    body = part_of(box(20)).bodies[0]
    (place,) = thin_wall(spans(facing(body), Interest(LIMIT, 1.25, "mm")))
    assert place.is_lower_bound
    assert (place.value, place.upper) == (1.25, None)


def test_an_open_body_is_measured_where_it_can_be() -> None:
    vertices_faces = box((0.5, 20, 20))
    part = part_of(vertices_faces[:-1])
    (body,) = part.bodies
    found = spans(facing(body), Interest(LIMIT, 1.25, "mm"))
    (place,) = thin_wall(found)
    assert place.value == pytest.approx(0.5, abs=1e-5)
    (left,) = found.left_out
    assert "open" in left.reason
    assert 0 < len(left.faces) < len(body.faces)


def test_a_sheet_without_material_is_open() -> None:
    body = part_of(box((1, 20, 20))[:2]).bodies[0]
    with pytest.raises(NotMeasurable, match="solid/open-edge"):
        facing(body)


def test_a_gap_in_one_body_is_no_wall() -> None:
    body = part_of(joined(box(20))).bodies[0]
    found = gaps(facing(body), Interest(LIMIT, 1.25, "mm"))
    assert found.regions == ()


def test_a_knife_edge_tells_angle_and_depth(tmp_path: Path) -> None:
    rng = np.random.default_rng(3)
    case = shapes_walls.wedge_sharp(rng)
    body = part_of(case.vertices[case.faces]).bodies[0]
    found = knife_edges(spans(facing(body), Interest(LIMIT, 1.25, "mm")))
    assert found.regions
    assert case.knife is not None
    assert found.regions[0].angle == pytest.approx(case.knife, abs=0.1)


@pytest.mark.parametrize(
    ("name", "expected"),
    [
        ("bracket.stl", ["walls/thin-wall"]),
        ("housing.stl", []),
        ("lid.stl", []),
        ("manifold-block.stl", []),
        ("filter.stl", []),
        ("sound-coupon.stl", []),
    ],
)
def test_the_kit(name: str, expected: list[str]) -> None:
    """Truths: fixtures/README.md."""
    found = failing(lint3d.inspect([FIXTURES / name], only=["walls"], workers=0))
    assert [r.rule for r in found] == expected
    for result in found:
        assert result.lower is not None
        assert result.upper is not None
        assert result.lower <= 0.35 <= result.upper
