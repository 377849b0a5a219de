"""What do the wall and gap rules say of open, reversed, doubled, tiny and far-off bodies?"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import parts
import pytest
import shapes_walls as shapes

import lint3d
from lint3d import Result
from lint3d.config import Config
from lint3d_plugins import walls_looks


def inspected(facets: np.ndarray, folder: Path, **how: Any) -> list[Result]:
    path = parts.write_stl(folder / "part.stl", facets)
    found = lint3d.inspect(path, only=["walls"], workers=0, config=Config(), **how)
    assert not found.notifications, found.notifications
    return found.results


def kinds(results: list[Result], rule: str) -> list[str]:
    return sorted(one.kind for one in results if one.rule == f"walls/{rule}")


def cup() -> np.ndarray:
    pocket = shapes.box([12, 12, 20], [0.3, 4, 2])
    vertices, faces = shapes.arrays(shapes.box([20, 20, 10]) - pocket)
    return vertices[faces]


@pytest.mark.parametrize("missing", range(0, 28, 3))
def test_a_missing_face_does_not_cost_the_answer(missing: int, tmp_path: Path) -> None:
    results = inspected(np.delete(cup(), missing, axis=0), tmp_path)
    assert kinds(results, "thin-wall") == ["fail", "open"]
    for one in results:
        if one.rule == "walls/thin-wall" and one.kind == "fail":
            assert one.lower <= 0.3 <= one.upper
        elif one.kind == "open":
            assert "solid/open-edge" in one.message
            assert one.faces
    assert kinds(results, "narrow-gap") == ["open"]


def test_an_open_surface_that_looks_inward_is_measured_as_material(tmp_path: Path) -> None:
    results = inspected(parts.inverted(np.delete(cup(), 7, axis=0)), tmp_path)
    assert kinds(results, "thin-wall") == ["fail", "open"]


def test_a_sheet_without_thickness_is_open_everywhere(tmp_path: Path) -> None:
    ball = shapes.trimesh.creation.icosphere(subdivisions=3, radius=10)
    half = ball.triangles[ball.triangles_center[:, 2] > 0]
    for sheet in (parts.box(10)[:2], half):
        results = inspected(sheet, tmp_path)
        assert {one.kind for one in results} == {"open"}


def test_loose_triangles_are_open(tmp_path: Path) -> None:
    rng = np.random.default_rng(0)
    heap = rng.uniform(0, 20, (2000, 3, 3))
    assert {one.kind for one in inspected(heap, tmp_path)} == {"open"}


def test_faces_without_area_are_open(tmp_path: Path) -> None:
    assert {one.kind for one in inspected(np.zeros((5, 3, 3)), tmp_path)} == {"open"}


def test_doubled_reversed_and_touching_bodies(tmp_path: Path) -> None:
    plate = parts.box([30, 20, 0.3])
    for facets in (
        parts.joined(plate, plate),
        parts.inverted(plate),
        parts.joined(plate, parts.box(10, [0, 0, 0.3])),
        parts.joined(plate, np.repeat(plate[:3, :1], 3, axis=1)),
    ):
        assert "fail" in kinds(inspected(facets, tmp_path), "thin-wall")


def test_far_from_the_origin_the_step_of_the_numbers_decides(tmp_path: Path) -> None:
    (wall,) = (
        one for one in inspected(parts.box([30, 20, 0.3]) + 1e6, tmp_path) if one.kind != "pass"
    )
    assert wall.kind == "review"
    assert wall.lower <= 0.3 <= wall.upper
    solid = parts.joined(parts.box([30, 20, 10]) + 1e6)
    assert {one.kind for one in inspected(solid, tmp_path)} == {"pass"}


def test_metres(tmp_path: Path) -> None:
    results = inspected(parts.box([0.03, 0.02, 0.0003]), tmp_path, unit="m")
    (wall,) = (one for one in results if one.kind == "fail")
    assert wall.measured == pytest.approx(0.3, abs=1e-6)


def test_limits_of_nothing_ask_nothing(tmp_path: Path) -> None:
    limits = ["walls/thin-wall=0mm", "walls/slender=0"]
    path = parts.write_stl(tmp_path / "part.stl", parts.box([30, 20, 0.3]))
    found = lint3d.inspect(
        path,
        only=["walls/thin-wall", "walls/slender"],
        limits=limits,
        workers=0,
        config=Config(),
    )
    assert {one.kind for one in found.results} == {"notApplicable"}


def test_rims_are_looked_up_by_the_rows_of_the_mesh_though_faces_were_left_out() -> None:
    """Needles left out of the surface shift its rows: a bar on the last face of the mesh."""
    from types import SimpleNamespace

    from lint3d_plugins.walls_looks import Bars
    from lint3d_plugins.walls_round import _without_rims

    surface: Any = SimpleNamespace(
        faces=np.array([[0, 1, 2], [1, 2, 3], [7, 8, 9]]), face_ids=np.array([4, 6, 9])
    )
    rim: Any = SimpleNamespace(faces=np.array([6]), diameter=1.0)
    hook: Any = SimpleNamespace(faces=np.array([9]), diameter=1.0)
    wall: Any = SimpleNamespace(faces=np.array([4]), value=1.0)
    assert _without_rims(Bars((), (rim, hook)), [wall], surface).bent == (hook,)


def comb(count: int, thick: float, sharp: bool = False) -> np.ndarray:
    """A plate with ribs, or with sharp ridges."""
    body = shapes.box([4 * count, 10, 4])
    for i in range(count):
        outline = (
            [(0, 0), (1.2, 0), (0.6, 6)] if sharp else [(0, 0), (thick, 0), (thick, 6), (0, 6)]
        )
        rib = shapes.prism(np.array(outline) + [4 * i + 1, 0], 10 - 0.1 * i).rotate([90, 0, 0])
        body += rib.translate([0, 10 - 0.1 * i, 3.9])
    vertices, faces = shapes.arrays(body)
    return vertices[faces]


@pytest.mark.parametrize("sharp", [False, True])
def test_of_very_many_places_the_worst_are_told_and_how_many_more_there_are(
    sharp: bool, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    rule = "knife-edge" if sharp else "thin-wall"
    part = comb(12, 0.3, sharp)
    every = [one for one in inspected(part, tmp_path) if one.rule == f"walls/{rule}"]
    assert [one.kind for one in every] == ["fail"] * 12
    monkeypatch.setattr(walls_looks, "MOST_TOLD", 5)
    told = [one for one in inspected(part, tmp_path) if one.rule == f"walls/{rule}"]
    assert sorted(one.kind for one in told) == ["fail"] * 5 + ["open"]
    assert any("7 more" in one.message for one in told if one.kind == "open")


def test_that_more_places_pass_than_are_told_leaves_nothing_open(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(walls_looks, "MOST_TOLD", 5)
    limits = ["walls/thin-wall=0.5 mm", "walls/free-wall=0.5 mm"]
    results = inspected(comb(12, 0.55), tmp_path, limits=limits)
    assert kinds(results, "thin-wall") == ["pass"]


def test_more_pins_than_are_told_say_nothing_of_walls(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Pins thick enough, as of a brush, that are thinner than a wall that stands free may be."""
    monkeypatch.setattr(walls_looks, "MOST_TOLD", 5)
    body = shapes.box([14, 10, 3])
    for i in range(12):
        body += shapes.rod(0.25, 4, 8).translate([2 + 3 * (i // 3), 2 + 3 * (i % 3), 2.9])
    vertices, faces = shapes.arrays(body)
    results = inspected(vertices[faces], tmp_path)
    told = {one.rule: one.kind for one in results if one.rule != "walls/slender"}
    assert set(told.values()) == {"pass"}
    assert {"walls/thin-wall", "walls/free-wall", "walls/thin-rod"} <= set(told)


def test_of_very_many_pins_those_not_worked_out_leave_it_open(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    body = shapes.box([14, 10, 3])
    for i in range(12):
        thick = 0.30 + 0.02 * i
        body += shapes.rod(thick / 2, 4, 8).translate([2 + 3 * (i // 3), 2 + 3 * (i % 3), 2.9])
    vertices, faces = shapes.arrays(body)
    monkeypatch.setattr(walls_looks, "MOST_MET", 5)
    results = inspected(vertices[faces], tmp_path, limits=["walls/thin-rod=0.6 mm"])
    told = [one for one in results if one.rule == "walls/thin-rod"]
    failed = [one.measured for one in told if one.kind == "fail"]
    assert min(failed) == pytest.approx(0.30 * np.cos(np.pi / 8), abs=1e-3)
    assert any("more places may be such" in one.message for one in told if one.kind == "open")
