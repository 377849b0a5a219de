"""Do walls and gaps of nothing (faces back to back on each other) fail with 0 mm, once each?"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import parts
import pytest
from shapes_basic import quartered

import lint3d
from lint3d import Result
from lint3d.config import Config

LIMITS = ("walls/thin-wall=0.6mm", "walls/narrow-gap=0.5mm")


def other_diagonals(facets: np.ndarray) -> np.ndarray:
    """A box whose sides are cut along their other diagonals."""
    one, two = facets[::2], facets[1::2]
    a, b, c, d = one[:, 0], one[:, 1], one[:, 2], two[:, 2]
    return np.concatenate([np.stack([a, b, d], 1), np.stack([b, c, d], 1)])


def outline(corners: list[tuple[float, float]], height: float) -> list[list[list[float]]]:
    """The upright sides of a prism over an outline that may run back on itself."""
    sides = []
    for (ax, ay), (bx, by) in zip(corners, corners[1:] + corners[:1], strict=True):
        a, b, c, d = [ax, ay, 0.0], [bx, by, 0.0], [bx, by, height], [ax, ay, height]
        sides += [[a, b, c], [a, c, d]]
    return sides


def plates(rows: list[list[tuple[float, float]]], height: float) -> list[list[list[float]]]:
    """Tops and bottoms, as fans about the first corner of each convex piece."""
    fans = []
    for row in rows:
        ax, ay = row[0]
        for (bx, by), (cx, cy) in zip(row[1:-1], row[2:], strict=True):
            fans.append([[ax, ay, height], [bx, by, height], [cx, cy, height]])
            fans.append([[ax, ay, 0.0], [cx, cy, 0.0], [bx, by, 0.0]])
    return fans


def cavity(size: list[float], at: list[float], is_turned: bool = False) -> np.ndarray:
    facets = parts.box(size, at)
    return parts.inverted(other_diagonals(facets) if is_turned else facets)


def closed_slit(is_turned: bool) -> np.ndarray:
    """A block with a slit of no width, 7 mm deep."""
    mids = [(10.0, 3.0), (10.0, 5.0)] if is_turned else [(10.0, 3.0)]
    corners = [
        (0.0, 0.0),
        (20.0, 0.0),
        (20.0, 10.0),
        (10.0, 10.0),
        *mids,
        (10.0, 10.0),
        (0.0, 10.0),
    ]
    left = [(0.0, 0.0), (10.0, 3.0), *mids[1:], (10.0, 10.0), (0.0, 10.0)]
    right = [(10.0, 3.0), (20.0, 0.0), (20.0, 10.0), (10.0, 10.0)]
    middle = [(0.0, 0.0), (20.0, 0.0), (10.0, 3.0)]
    return np.array(outline(corners, 8.0) + plates([left, right, middle], 8.0))


def fin_of_nothing() -> np.ndarray:
    """A block with a sheet of no thickness on one side, 6 mm high."""
    corners = [
        (0.0, 0.0),
        (20.0, 0.0),
        (20.0, 10.0),
        (10.0, 10.0),
        (10.0, 16.0),
        (10.0, 10.0),
        (0, 10),
    ]
    body = [(0.0, 0.0), (20.0, 0.0), (20.0, 10.0), (10.0, 10.0), (0.0, 10.0)]
    return np.array(outline(corners, 8.0) + plates([body], 8.0))


WALLS = {
    "a cavity up to the outer side": [parts.box(20), cavity([8, 6, 4], [5, 5, 16])],
    "cut otherwise": [parts.box(20), cavity([8, 6, 4], [5, 5, 16], True)],
    "a wide cavity": [parts.box(20), cavity([18, 18, 6], [1, 1, 14])],
    "cavities that meet": [
        parts.box(20), cavity([8, 6, 4], [5, 5, 6]), cavity([8, 6, 5], [5, 5, 10])
    ],
    "cavities that meet, cut otherwise": [
        parts.box(20), cavity([8, 6, 4], [5, 5, 6]), cavity([8, 6, 5], [5, 5, 10], True)
    ],
    "cavities that meet in part": [
        parts.box(20), cavity([8, 6, 4], [5, 5, 6]), cavity([5, 9, 5], [7, 6, 10])
    ],
    "a fin": [fin_of_nothing()],
}  # fmt: skip
GAPS = {
    "a slit": [closed_slit(False)],
    "a slit cut otherwise": [closed_slit(True)],
}


def told(facets: np.ndarray, seed: int | None, folder: Path) -> list[Result]:
    if seed is not None:
        rng = np.random.default_rng(seed)
        facets = parts.turned(facets, seed) + rng.uniform(-80, 80, 3)
        facets = facets[rng.permutation(len(facets))]
    path = parts.write_stl(folder / "part.stl", facets)
    found = lint3d.inspect(path, only=["walls"], limits=LIMITS, workers=0, config=Config())
    assert not found.notifications
    return [one for one in found.results if one.kind in ("fail", "review", "open")]


@pytest.mark.parametrize("seed", [None, 1, 2])
@pytest.mark.parametrize("name", WALLS)
@pytest.mark.cases(7)
def test_a_wall_of_nothing_is_a_wall_of_0_mm(name: str, seed: int | None, tmp_path: Path) -> None:
    (wall,) = told(parts.joined(*WALLS[name]), seed, tmp_path)
    assert (wall.rule, wall.kind, wall.measured, wall.lower) == ("walls/thin-wall", "fail", 0, 0)
    assert wall.upper < 1e-4
    assert "lie on each other" in wall.message


@pytest.mark.parametrize("seed", [None, 1, 2])
@pytest.mark.parametrize("name", GAPS)
def test_a_gap_of_nothing_is_a_gap_of_0_mm(name: str, seed: int | None, tmp_path: Path) -> None:
    (gap,) = told(parts.joined(*GAPS[name]), seed, tmp_path)
    assert (gap.rule, gap.kind, gap.measured) == ("walls/narrow-gap", "fail", 0)


def test_area_and_extent_are_those_of_what_lies_on_each_other(tmp_path: Path) -> None:
    (wall,) = told(parts.joined(*WALLS["cavities that meet in part"]), 4, tmp_path)
    assert wall.properties["area_mm2"] == pytest.approx(5 * 5, abs=0.01)
    (gap,) = told(closed_slit(True), None, tmp_path)
    assert gap.properties["area_mm2"] == pytest.approx(7 * 8)
    assert gap.extent == pytest.approx(8)


@pytest.mark.parametrize("seed", [None, 1])
def test_ten_walls_of_nothing_under_one_face_are_ten(seed: int | None, tmp_path: Path) -> None:
    holes = [cavity([2, 6, 4], [1 + 4 * i, 5, 6], bool(i % 2)) for i in range(10)]
    found = told(parts.joined(parts.box([44, 20, 10]), *holes), seed, tmp_path)
    assert [one.rule for one in found] == ["walls/thin-wall"] * 10


def test_a_wall_of_nothing_cut_fine(tmp_path: Path) -> None:
    """Small facets on one side, two large ones on the other."""
    hole = cavity([8, 6, 4], [5, 5, 16], True)
    mesh = (hole.reshape(-1, 3), np.arange(3 * len(hole)).reshape(-1, 3))
    for _ in range(4):
        mesh = quartered(*mesh)
    (wall,) = told(parts.joined(parts.box(20), mesh[0][mesh[1]]), 3, tmp_path)
    assert (wall.rule, wall.measured) == ("walls/thin-wall", 0)
    assert wall.properties["area_mm2"] == pytest.approx(48, rel=1e-3)


@pytest.mark.parametrize("seed", [None, 1])
def test_bodies_and_copies_that_lie_on_each_other_are_no_wall_of_nothing(
    seed: int | None, tmp_path: Path
) -> None:
    block = parts.box(10)
    assert told(parts.joined(block, parts.box([10, 8, 8], [10, 1, 1])), seed, tmp_path) == []
    assert told(parts.joined(block, block), seed, tmp_path) == []
    assert told(parts.joined(block, other_diagonals(block)), seed, tmp_path) == []


def sheet(is_alike: bool) -> np.ndarray:
    """A sheet without thickness on the top of a block of 20 x 20 x 10 mm."""
    a, b, c, d = ([x, y, 10.0] for x, y in ((4.0, 5.0), (15.0, 5.0), (15.0, 14.0), (4.0, 14.0)))
    under = [[a, c, b], [a, d, c]] if is_alike else [[a, d, b], [b, d, c]]
    return np.array([[a, b, c], [a, c, d], *under])


@pytest.mark.parametrize("is_alike", [True, False])
@pytest.mark.cases(1)
def test_a_sheet_on_a_face_is_told_the_same_in_every_frame(is_alike: bool, tmp_path: Path) -> None:
    told = set()
    for seed in range(7):
        facets = parts.joined(parts.box((20, 20, 10)), sheet(is_alike))
        if seed:
            facets = parts.turned(facets, seed) + np.random.default_rng(seed).uniform(-40, 40, 3)
        path = parts.write_stl(tmp_path / "part.stl", facets)
        found = lint3d.inspect(path, only=["walls"], workers=0, config=Config()).results
        walls = [one for one in found if one.rule == "walls/thin-wall" and one.body == "part-1/2"]
        told.add(tuple((one.kind, one.measured) for one in walls))
    assert told == {(("open", None),) if is_alike else (("fail", 0.0),)}
