"""The example of a house rule: off as shipped, right once a sheet turns it on."""

from __future__ import annotations

from pathlib import Path

import pytest
from house import write
from parts import box, turned, write_stl

import lint3d
from lint3d.contract import contract_breaches

SHEET = """
    [sheet]
    title = "Ours"
    extends = "mjt-meltable"
    [rules."house/thick-lump"]
    at_most = 15.0
    unit = "mm"
    source = "a test"
"""


@pytest.mark.parametrize(("side", "verdict"), [(14.7, "pass"), (15.0, "review"), (15.3, "fail")])
def test_a_cube_is_a_lump_as_large_as_its_side(side: float, verdict: str, tmp_path: Path) -> None:
    part = write_stl(tmp_path / "cube.stl", turned(box(side), 5))
    sheet = write(tmp_path / "ours.toml", SHEET)
    inspection = lint3d.inspect([part], sheet=sheet, only=["house/thick-lump"], workers=0)
    (result,) = inspection.results
    assert result.kind == verdict
    assert result.lower is not None
    assert result.upper is not None
    assert result.lower <= side <= result.upper


def test_an_open_part_is_open(tmp_path: Path) -> None:
    part = write_stl(tmp_path / "cube.stl", box(20)[1:])
    sheet = write(tmp_path / "ours.toml", SHEET)
    inspection = lint3d.inspect([part], sheet=sheet, only=["house/thick-lump"], workers=0)
    assert [one.kind for one in inspection.results] == ["open"]


def test_it_is_off_as_shipped(tmp_path: Path) -> None:
    part = write_stl(tmp_path / "cube.stl", box(20))
    inspection = lint3d.inspect([part], workers=0)
    assert not [one for one in inspection.results if one.rule == "house/thick-lump"]


@pytest.mark.slow
def test_it_keeps_the_contract(tmp_path: Path) -> None:
    assert contract_breaches("lumps", sheet=write(tmp_path / "ours.toml", SHEET)) == []
