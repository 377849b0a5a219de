"""Does the map for developers name every module, and no module that is not there?"""

from __future__ import annotations

import fnmatch
import re
from pathlib import Path

ROOT = Path(__file__).parents[1]
TEXT = (ROOT / "DEVELOPERS.md").read_text("utf-8")
NAMED = set(re.findall(r"`([\w*./]+)`", TEXT))


def is_named(stem: str) -> bool:
    patterns = {name.rsplit("/", 1)[-1].removesuffix(".py") for name in NAMED}
    return any(fnmatch.fnmatch(stem, pattern) for pattern in patterns)


def test_every_module_of_the_core_is_on_the_map() -> None:
    stems = {path.stem for path in (ROOT / "lint3d").glob("*.py")} - {"__init__"}
    assert {stem for stem in stems if not is_named(stem)} == set()


def test_every_kernel_is_on_the_map() -> None:
    stems = {path.stem for path in (ROOT / "lint3d" / "geometry").glob("*.py")} - {"__init__"}
    assert {stem for stem in stems if not is_named(stem)} == set()


def test_nothing_on_the_map_is_gone() -> None:
    known = {path.name for path in ROOT.rglob("*.py")}
    gone = {name for name in NAMED if name.endswith(".py") and Path(name).name not in known}
    assert gone <= {"house_rules.py"}
