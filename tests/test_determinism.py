"""The same bytes give the same report, whatever workers, order, folder and repetition."""

from __future__ import annotations

import os
import random
import subprocess
import sys
from pathlib import Path

import pytest
from parts import box, inverted, joined, stl_bytes, turned

HERE = "here"


def fill(folder: Path) -> list[str]:
    """Files with every kind of trouble, in a folder; their names."""
    shapes = {
        "a sound.stl": box(20),
        "b open.stl": box(20)[2:],
        "c many.stl": joined(*(box(2, (5 * i, 5 * j, 0))[: 12 - (i + j) % 2] for i in range(4)
                               for j in range(4))),
        "d inside-out.stl": inverted(turned(box(20), 1)),
        "e crossing.stl": joined(box(20), turned(box(20), 3)),
        "f tiny.stl": box(0.5),
        "sub/g sound.stl": turned(box(30), 5),
    }  # fmt: skip
    for name, facets in shapes.items():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(stl_bytes(facets))
    (folder / "h cut.stl").write_bytes(stl_bytes(box(20))[:-70])
    (folder / "i empty.stl").write_bytes(b"")
    (folder / "j text.stl").write_bytes(b"hello\n")
    return sorted(p.relative_to(folder).as_posix() for p in folder.rglob("*.stl"))


def sarif(folder: Path, *files: str, workers: int = 0, hash_seed: str = "0") -> bytes:
    """The report of a run in a process of its own."""
    report = folder.parent / f"{folder.name}.sarif"
    environment = {**os.environ, "PYTHONHASHSEED": hash_seed}
    found = subprocess.run(
        [sys.executable, "-m", "lint3d", "inspect", "--workers", str(workers),
         "--report", str(report), *files],
        cwd=folder, env=environment, capture_output=True, check=False,
    )  # fmt: skip
    assert found.returncode == 3, found.stderr.decode()
    return report.read_bytes()


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("determinism") / HERE
    fill(folder)
    return folder


@pytest.fixture(scope="module")
def reference(folder: Path) -> bytes:
    return sarif(folder)


def test_it_holds_something_to_compare(reference: bytes) -> None:
    for rule in (b"solid/open-edge", b"size/units-doubt", b"file/unreadable", b'"fail"', b'"pass"'):
        assert rule in reference


def test_two_workers_and_another_hash_seed(folder: Path, reference: bytes) -> None:
    assert sarif(folder, workers=2, hash_seed="2") == reference


@pytest.mark.further
def test_any_order_of_files_from_another_folder(tmp_path: Path, reference: bytes) -> None:
    """Another folder and name, files written and named in another order, by one worker."""
    other = tmp_path / "elsewhere, much further away"
    names = fill(other)
    random.Random(7).shuffle(names)
    assert sarif(other, *names, workers=1, hash_seed="3") == reference


def test_nothing_of_this_machine_is_in_it(reference: bytes, folder: Path) -> None:
    text = reference.decode("utf-8")
    assert str(folder) not in text
    assert str(folder.parent) not in text
    assert sys.prefix not in text
    assert str(Path(__file__).parent.parent) not in text


@pytest.mark.further
def test_files_inspected_alone_give_the_same_results(folder: Path) -> None:
    """No result depends on which other files are in the run."""
    import lint3d

    names = fill(folder)
    os_folder = os.getcwd()
    os.chdir(folder)
    try:
        whole = lint3d.inspect(names, workers=0)
        for name in names[:4]:
            alone = lint3d.inspect(name, workers=0)
            expected = [r for r in whole.results if r.uri == alone.artifacts[0].uri]
            assert alone.results == expected
    finally:
        os.chdir(os_folder)
