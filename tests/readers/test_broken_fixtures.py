"""Does each file of fixtures/broken get the one result that its README promises?"""

from __future__ import annotations

import subprocess
import sys
import tomllib
from pathlib import Path
from typing import Any

import pytest

from lint3d import ReadLimits, Source
from lint3d.loading import LoadOptions, load
from lint3d.readers.stl_ascii import AsciiStlReader
from lint3d.readers.stl_binary import BinaryStlReader
from lint3d.readers.threemf import ThreeMfReader

FIXTURES = Path(__file__).parents[2] / "fixtures"
BROKEN = FIXTURES / "broken"
EXPECTED: dict[str, dict[str, str]] = tomllib.loads((BROKEN / "expected.toml").read_text("utf-8"))
READERS: dict[str, Any] = {
    reader.name: reader for reader in (AsciiStlReader(), BinaryStlReader(), ThreeMfReader())
}


def loaded(name: str, **limits: Any) -> Source:
    return load(BROKEN / name, "file", READERS, LoadOptions(limits=ReadLimits(**limits)))


@pytest.mark.parametrize("name", EXPECTED)
def test_result(name: str) -> None:
    source = loaded(name)
    told = [fault for fault in source.faults if not fault.harmless]
    assert told
    assert all(fault.remedy.endswith((".", "?")) for fault in told)
    assert any(EXPECTED[name]["says"] in fault.message for fault in told), told
    if EXPECTED[name]["result"] == "unreadable":
        assert [fault.fatal for fault in told] == [True]
        assert not source.parts
    else:
        assert not any(fault.fatal for fault in told)
        assert sum(len(part.faces) for part in source.parts) > 0


def test_one_result_each() -> None:
    """No file is accused of more than the one thing that is wrong with it, save a few whose one
    fault has a second, plain consequence."""
    two = {"handled-as-text.stl", "cycle.3mf"}
    for name in set(EXPECTED) - two:
        told = [fault.message for fault in loaded(name).faults if not fault.harmless]
        assert len(told) == 1, (name, told)


def test_every_file_is_expected() -> None:
    files = {path.name for path in BROKEN.iterdir()} - {"README.md", "expected.toml"}
    assert files == EXPECTED.keys()
    readme = (BROKEN / "README.md").read_text("utf-8")
    assert all(f"| {name} |" in readme for name in files)


def test_made_by_the_script(tmp_path: Path) -> None:
    subprocess.run([sys.executable, FIXTURES / "make_broken.py", tmp_path], check=True)
    for path in BROKEN.iterdir():
        assert (tmp_path / path.name).read_bytes() == path.read_bytes(), path.name


def test_a_billion_stated_facets_cost_nothing() -> None:
    import tracemalloc

    tracemalloc.start()
    source = loaded("count-of-a-billion.stl")
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert len(source.parts[0].faces) == 12
    assert peak < 20_000_000
