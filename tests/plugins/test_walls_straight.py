"""Are straight rods and holes told once each, and as one where they meet?"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import manifold3d as m3
import numpy as np
import parts
import pytest
import shapes_walls as shapes
from scipy.spatial.transform import Rotation
from shapes_bars import bar

import lint3d
from lint3d import Place, Result
from lint3d.config import Config
from lint3d_plugins.walls_straight import Inside

SEED = 4
LIMITS = (
    "walls/thin-wall=0.6mm",
    "walls/free-wall=0.6mm",
    "walls/thin-rod=0.6mm",
    "walls/small-hole=0.6mm",
    "walls/deep-hole=10",
)


def told(body: m3.Manifold, folder: Path, rule: str) -> list[Result]:
    """Results of a rule on a body in some frame."""
    vertices, faces = shapes.arrays(body)
    turn = Rotation.random(random_state=SEED).as_matrix()
    path = parts.write_stl(folder / "part.stl", (vertices @ turn.T)[faces])
    found = lint3d.inspect(path, only=[rule], limits=LIMITS, workers=0, config=Config())
    assert not found.notifications, found.notifications
    return [one for one in found.results if one.kind in ("fail", "review", "open")]


def wire(start: Sequence[float], end: Sequence[float], thick: float, count: int) -> m3.Manifold:
    """A bar of a square (count 4) or round section between two points."""
    start, end = np.asarray(start, float), np.asarray(end, float)
    length = float(np.linalg.norm(end - start))
    turn = Rotation.align_vectors([(end - start) / length], [[0, 0, 1.0]])[0].as_matrix()
    radius = thick / 2 / np.cos(np.pi / count)
    body = shapes.rod(radius, length, count, np.pi / count)
    return body.transform(np.column_stack([turn, start]))


def lattice(thick: float, pitch: float, cells: int, count: int) -> m3.Manifold:
    wires = []
    for i in range(cells + 1):
        for j in range(cells + 1):
            a, b, far = i * pitch, j * pitch, cells * pitch
            wires += [
                wire([-thick / 2, a, b], [far + thick / 2, a, b], thick, count),
                wire([a, -thick / 2, b], [a, far + thick / 2, b], thick, count),
                wire([a, b, -thick / 2], [a, b, far + thick / 2], thick, count),
            ]
    return m3.Manifold.batch_boolean(wires, m3.OpType.Add)


@pytest.mark.parametrize(
    ("thick", "cells", "count"),
    [(0.3, 1, 4), (0.5, 1, 4), (0.35, 1, 12), (0.5, 2, 4), (0.55, 1, 6)],
)
@pytest.mark.further
def test_a_lattice_of_thin_rods_is_one_place(
    tmp_path: Path, thick: float, cells: int, count: int
) -> None:
    """Of 54 struts 18 to 41 places were told, some of them in the void."""
    (one,) = told(lattice(thick, 4.0, cells, count), tmp_path, "walls/thin-rod")
    assert one.lower <= thick <= one.upper
    assert one.extent >= 4 * cells
    assert "meet" in one.message


@pytest.mark.parametrize("thick", [0.3, 0.5])
@pytest.mark.parametrize("second", ["L", "T", "cross"])
def test_two_wires_that_meet_are_one_place(tmp_path: Path, thick: float, second: str) -> None:
    start = {"L": [0, 0, 0], "T": [4, 0, 0], "cross": [4, -4, 0]}[second]
    end = np.add(start, [0, 8, 0])
    body = wire([0, 0, 0], [8, 0, 0], thick, 4) + wire(start, end, 0.9 * thick, 4)
    (one,) = told(body, tmp_path, "walls/thin-rod")
    assert one.lower <= 0.9 * thick <= one.upper
    assert one.extent >= 6
    assert "meet" in one.message


@pytest.mark.parametrize("thick", [0.3, 0.5])
@pytest.mark.cases(1)
def test_a_comb_cut_from_a_thin_sheet_is_told_with_its_spine(tmp_path: Path, thick: float) -> None:
    """Where the teeth are most of it the spine, as thin, was not told at all."""
    pitch = thick + 1.8
    comb = shapes.box([10 * pitch, thick, 3])
    for i in range(10):
        comb += shapes.box([thick, thick, 8], [0.9 + pitch * i, 0, 2.5])
    rules = ("walls/thin-rod", "walls/thin-wall", "walls/free-wall")
    results = [one for rule in rules for one in told(comb, tmp_path, rule)]
    assert max(one.extent for one in results) >= 10 * pitch / np.sqrt(3)
    assert all(one.lower <= thick <= one.upper for one in results)


def test_pins_beside_each_other_are_told_one_by_one(tmp_path: Path) -> None:
    body = shapes.box([12, 4, 3])
    for i in range(6):
        body += wire([1 + 0.8 * i, 2, 2], [1 + 0.8 * i, 2, 9], 0.5, 12)
    results = told(body, tmp_path, "walls/thin-rod")
    assert len(results) == 6
    assert not any("meet" in one.message for one in results)


@pytest.mark.parametrize("width", [0.31, 0.38, 0.45, 0.52])
@pytest.mark.further
def test_holes_that_cross_are_two_of_their_whole_depth(tmp_path: Path, width: float) -> None:
    """The hole that is cut in two was told as two of half the depth, or not at all."""
    body = shapes.box([12, 12, 6], [-6, -6, -3])
    body -= wire([0, 0, -9], [0, 0, 9], width, 16)
    body -= wire([0, -9, 0], [0, 9, 0], width, 16)
    results = told(body, tmp_path, "walls/small-hole")
    assert sorted(one.properties["depth_mm"] for one in results) == pytest.approx([6, 12])
    assert all(one.properties["through"] for one in results)
    assert all(one.lower <= width <= one.upper for one in results)
    deep = told(body, tmp_path, "walls/deep-hole")
    assert sorted(one.measured for one in deep) == pytest.approx([6 / width, 12 / width], rel=0.01)


def test_a_place_is_held_up_to_the_side_and_one_diameter_past_the_end() -> None:
    known = Inside()
    assert not known.holds(Place(1.0, position=(0, 0, 0)))
    known.add([bar(np.array([0.0, 0, 0]), np.array([10.0, 0, 0]), 2.0)])
    for place, is_held in (
        ([5, 0.9, 0], True),
        ([5, 1.1, 0], False),
        ([11.9, 0, 0.5], True),
        ([12.1, 0, 0], False),
        ([-1.9, 0, 0], True),
        ([-2.1, 0, 0], False),
    ):
        assert known.holds(Place(1.0, position=place, extent_mm=99.0)) == is_held
        assert known.is_part_of(Place(1.0, position=place, extent_mm=17.0)) == is_held
        assert not known.is_part_of(Place(1.0, position=place, extent_mm=16.0))
    rng = np.random.default_rng(SEED)
    ends = rng.uniform(100, 200, (70, 2, 3))
    known.add([bar(start, end, 1.0) for start, end in ends])
    assert all(known.holds(Place(1.0, position=end)) for end in ends.mean(axis=1))
    assert not known.holds(Place(1.0, position=(50, 50, 50)))


@pytest.mark.parametrize("count", [24, 64, 96])
@pytest.mark.parametrize("is_hole", [False, True])
@pytest.mark.further
def test_what_tapers_is_told_once_as_what_it_is(tmp_path: Path, count: int, is_hole: bool) -> None:
    """On the rim of the thin end no ray across it met anything: it was a wall, or a gap, too."""
    block = shapes.box([8, 8, 5], [-4, -4, 0])
    cone = m3.Manifold.cylinder(5, 0.8, 0.2, count)
    body = block - cone if is_hole else block + cone.translate((0, 0, 5))
    for rule in ("walls/thin-wall", "walls/narrow-gap"):
        assert not told(body, tmp_path, rule)
    (one,) = told(body, tmp_path, "walls/small-hole" if is_hole else "walls/thin-rod")
    assert one.kind == "fail"
    assert one.measured == pytest.approx(0.4 * np.cos(np.pi / count), abs=1e-4)


@pytest.mark.parametrize(("web", "count"), [(1.0, 24), (0.8, 32)])
@pytest.mark.cases(1)
def test_webs_of_a_perforated_plate_are_no_rods(tmp_path: Path, web: float, count: int) -> None:
    """The rims on both sides of a web are square to the plate: each was a rod as long as thick."""
    size = 10 + 2 * web
    plate = shapes.box([size, size, 0.4], [-web, -web, 0])
    for i in range(3):
        for j in range(3):
            hole = m3.Manifold.cylinder(2, 1, 1, count)
            plate -= hole.translate((1 + 4 * i, 1 + 4 * j, -1))
    assert not told(plate, tmp_path, "walls/thin-rod")
    (wall,) = told(plate, tmp_path, "walls/thin-wall")
    assert wall.measured == pytest.approx(0.4, abs=1e-4)


@pytest.mark.parametrize("count", [6, 12, 16, 24])
@pytest.mark.cases(3)
def test_a_slim_cone_to_a_point_is_a_sharp_edge_alone(tmp_path: Path, count: int) -> None:
    """It was up to four rods as well, each as thick as where a ray happened to be sent."""
    cone = m3.Manifold.cylinder(10, 0.3, 0.0, count).translate((0, 0, 2))
    body = shapes.box([10, 10, 2], [-5, -5, 0]) + cone
    for rule in ("walls/thin-rod", "walls/slender"):
        assert not told(body, tmp_path, rule)
    (edge,) = told(body, tmp_path, "walls/knife-edge")
    assert edge.kind == "fail"


@pytest.mark.cases(2)
@pytest.mark.parametrize("count", [16, 24, 48])
@pytest.mark.parametrize("ratio", [1.6, 2.2, 2.6])
def test_an_ellipse_is_a_rod_or_a_wall_and_not_both(
    ratio: float, count: int, tmp_path: Path
) -> None:
    """A hole of it is a hole, or a gap."""
    turn = 2 * np.pi * np.arange(count) / count
    outline = 0.2 * np.stack([ratio * np.cos(turn), np.sin(turn)], axis=1)
    pin = m3.Manifold.extrude(m3.CrossSection([outline]), 5).translate((0, 0, -1))
    plate = shapes.box([8, 8, 2], [-4, -4, -2])
    rules = ("walls/thin-rod", "walls/thin-wall"), ("walls/small-hole", "walls/narrow-gap")
    for body, both in zip((plate + pin, plate - pin.translate((0, 0, -2))), rules, strict=True):
        found = [one for rule in both for one in told(body, tmp_path, rule)]
        assert [one.rule for one in found] == [both[0] if ratio < 2 else both[1]]
