"""Which files are meant, and what are they called in a report?"""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from lint3d.errors import Lint3dError
from lint3d.files import expand, uris

SUFFIXES = [".3mf", ".stl"]


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A current folder with files in it and below."""
    here = tmp_path / "here"
    for name in ("b.stl", "a.STL", "notes.txt", "kit.3mf", "sub/deep/c.stl", ".hidden/d.stl",
                 ".e.stl", "sub/x y ü#%20.stl"):  # fmt: skip
        path = here / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.touch()
    monkeypatch.chdir(here)
    return here


def names(*files: str) -> list[str]:
    return [path.as_posix() for path in expand(files, SUFFIXES)]


def test_none_means_the_current_folder(folder: Path) -> None:
    assert names() == ["a.STL", "b.stl", "kit.3mf", "sub/deep/c.stl", "sub/x y ü#%20.stl"]


def test_files_and_folders_each_once_sorted(folder: Path) -> None:
    assert names("sub", "b.stl", "./b.stl", str(folder / "b.stl"), "a.STL") == [
        "a.STL", "b.stl", "sub/deep/c.stl", "sub/x y ü#%20.stl",
    ]  # fmt: skip


def test_a_file_that_is_named_is_meant_whatever_its_suffix(folder: Path) -> None:
    assert names("notes.txt", ".hidden", "no-such.stl") == [
        ".hidden/d.stl", "no-such.stl", "notes.txt",
    ]  # fmt: skip


def test_a_folder_with_nothing_to_inspect_is_told(folder: Path) -> None:
    (folder / "empty").mkdir()
    with pytest.raises(
        Lint3dError,
        match=r"the folder 'empty' holds no file to inspect \(looked for "
        r"\.3mf, \.stl\)",
    ):
        names("empty")


def test_a_folder_that_looks_like_a_file_is_searched(folder: Path) -> None:
    (folder / "odd.stl").mkdir()
    (folder / "odd.stl" / "f.stl").touch()
    assert "odd.stl/f.stl" in names()
    assert names("odd.stl") == ["odd.stl/f.stl"]


def test_links_that_lead_round_end(folder: Path) -> None:
    (folder / "sub" / "up").symlink_to(folder)
    (folder / "round.stl").symlink_to("round.stl")
    assert names().count("b.stl") == 1
    assert "round.stl" in names()  # to be told as a fault of the file
    assert names("round.stl") == ["round.stl"]


def test_a_folder_that_may_not_be_read_is_not_passed_over(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """As root nothing is forbidden, so the refusal is played."""
    scandir = os.scandir

    def refuse(path: str = ".") -> object:
        if Path(path).name == "deep":
            raise PermissionError(13, "Permission denied", str(path))
        return scandir(path)

    monkeypatch.setattr(os, "scandir", refuse)
    assert "sub/deep" in names()  # to be told as a fault of its own


def test_uris_are_relative_and_encoded(folder: Path) -> None:
    found = expand([], SUFFIXES)
    assert uris(found) == [
        "a.STL", "b.stl", "kit.3mf", "sub/deep/c.stl", "sub/x%20y%20%C3%BC%23%2520.stl",
    ]  # fmt: skip
    assert uris([folder / "b.stl"]) == ["b.stl"]


def test_uris_outside_of_the_current_folder_start_at_the_common_one(
    folder: Path, tmp_path: Path
) -> None:
    other = tmp_path / "other" / "d.stl"
    assert uris([other]) == ["d.stl"]
    assert uris([other, folder / "sub" / "c.stl"]) == ["other/d.stl", "here/sub/c.stl"]


def test_a_folder_whose_name_begins_alike_is_another_one(folder: Path, tmp_path: Path) -> None:
    assert uris([tmp_path / "here-too" / "d.stl"]) == ["d.stl"]


def test_names_that_are_no_text_are_encoded_byte_by_byte(folder: Path) -> None:
    assert uris([Path(os.fsdecode(b"bad\xff.stl"))]) == ["bad%FF.stl"]


def test_a_name_with_a_zero_byte_is_a_file_that_cannot_be_opened(folder: Path) -> None:
    assert names("a\0b.stl") == ["a\0b.stl"]
