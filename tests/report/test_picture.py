"""Pictures of an inspection: which there are, what they are called, what they show."""

import io
from pathlib import Path

import numpy as np
import parts
import pytest
from click.testing import CliRunner
from PIL import Image

import lint3d
from lint3d.cli import main
from lint3d.inspection import Inspection, Result
from lint3d.report.picture import NEEDS, pictures, plain_name, result_names, write_pictures

KIT = Path(__file__).parents[2] / "fixtures"


@pytest.fixture(scope="module")
def bracket() -> Inspection:
    return lint3d.inspect(
        [KIT / "bracket.stl"], only=["walls/thin-wall"], keep=NEEDS, workers=0, config=None
    )


def test_one_of_each_place_and_one_of_each_part(bracket: Inspection) -> None:
    found = list(pictures(bracket))
    assert [picture.result is None for picture in found] == [True, False]
    failed = found[1]
    assert bracket.results[failed.result or 0].kind == "fail"
    assert failed.name.startswith("walls-thin-wall-")
    image = np.asarray(failed.image).astype(int)
    red = (image[..., 0] - image[..., 2]) > 60
    assert 0.01 < red.mean() < 0.3  # the web is marked, and nothing else to speak of


def test_the_dimension_is_as_long_as_the_wall_is_thick(bracket: Inspection) -> None:
    # fixtures/truth.toml: the middle web of the bracket is 0.35 mm thick.
    failed = next(result for result in bracket.results if result.kind == "fail")
    assert failed.ends is not None
    assert np.linalg.norm(np.subtract(*failed.ends)) == pytest.approx(0.35, abs=0.001)


def test_places_are_kept_only_if_they_are_asked_for() -> None:
    plain = lint3d.inspect([KIT / "bracket.stl"], only=["walls/thin-wall"], workers=0)
    assert all(result.triangles is None for result in plain.results)
    assert not plain.kept


def test_files_are_png_and_the_same_twice(bracket: Inspection, tmp_path: Path) -> None:
    names = write_pictures(bracket, tmp_path / "one" / "deep")
    again = write_pictures(bracket, tmp_path / "two")
    assert names == again
    for name in names:
        data = (tmp_path / "one" / "deep" / name).read_bytes()
        assert data == (tmp_path / "two" / name).read_bytes()
        assert Image.open(io.BytesIO(data)).format == "PNG"


def test_names_are_safe_and_told_apart() -> None:
    hostile = "../../etc/<img src=x>\x1b\u202e浮.stl"
    assert set(plain_name(hostile)) <= set("abcdefghijklmnopqrstuvwxyz0123456789-")
    results = [
        Result("walls/thin-wall", "fail", "Thin.", hostile, body=hostile, position=(x, 0, 0))
        for x in (1.0, 1.0, 1.0, 90.0)
    ]
    names = result_names(results)
    assert len(set(names)) == 4
    for name in names:
        assert set(name) <= set("abcdefghijklmnopqrstuvwxyz0123456789-")


def test_hostile_names_of_files_stay_inside_the_folder(tmp_path: Path) -> None:
    part = parts.write_stl(tmp_path / "<img src=x onerror=alert(1)>.stl", parts.box(10))
    folder = tmp_path / "pictures"
    code = CliRunner().invoke(
        main,
        ["inspect", str(part), "--only", "solid", "--pictures", str(folder), "--workers", "0"],
    )
    assert code.exit_code == 0, code.output
    assert {path.parent for path in tmp_path.rglob("*.png")} == {folder}
    assert "Pictures written: 1" in code.stderr


@pytest.mark.further
def test_workers_send_what_pictures_need(tmp_path: Path) -> None:
    arguments = ["inspect", str(KIT / "bracket.stl"), "--only", "walls/thin-wall", "--quiet"]
    for workers in ("0", "1"):
        folder = tmp_path / workers
        code = CliRunner().invoke(
            main, [*arguments, "--workers", workers, "--pictures", str(folder)]
        )
        assert code.exit_code == 1, code.output
        assert "Pictures" not in code.stderr
    one, two = (
        {path.name: path.read_bytes() for path in (tmp_path / workers).iterdir()}
        for workers in ("0", "1")
    )
    assert one == two
    assert len(one) == 2


def test_a_folder_that_cannot_be_made_is_said(tmp_path: Path) -> None:
    (tmp_path / "taken").write_text("a file")
    code = CliRunner().invoke(
        main,
        ["inspect", str(KIT / "bracket.stl"), "--only", "size", "--workers", "0"]
        + ["--pictures", str(tmp_path / "taken" / "in")],
    )
    assert code.exit_code == 2
    assert "--pictures" in code.stderr
