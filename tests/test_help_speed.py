"""`lint3d --help` starts at once: nothing heavy is imported for it."""

from __future__ import annotations

import subprocess
import sys

import pytest

HEAVY = ("numpy", "networkx", "scipy", "igl", "trimesh", "rtree", "pluggy", "psutil", "tomllib",
         "lint3d_plugins", "importlib.metadata")  # fmt: skip


def imported(code: str) -> set[str]:
    """Modules that a fresh interpreter holds after running `code`."""
    report = "import sys; sys.stderr.write(' '.join(sys.modules))"
    found = subprocess.run(
        [sys.executable, "-c", f"import atexit; atexit.register(lambda: exec({report!r}))\n{code}"],
        capture_output=True, text=True, check=True,
    )  # fmt: skip
    return set(found.stderr.split())


@pytest.mark.parametrize("arguments", [["--help"], ["start", "--help"], ["inspect", "--help"]])
def test_help_imports_nothing_heavy(arguments: list[str]) -> None:
    modules = imported(f"from lint3d.cli import main; main({arguments!r})")
    assert "lint3d.cli" in modules
    assert not modules & {*HEAVY}
    assert {m for m in modules if m.startswith("lint3d")} == {
        "lint3d",
        "lint3d.cli",
        "lint3d.errors",
    }


def test_the_version_imports_no_plugin_and_nothing_that_measures() -> None:
    modules = imported("from lint3d.cli import main; main(['--version'])")
    assert not modules & {"numpy", "networkx", "scipy", "igl", "trimesh", "lint3d_plugins"}


def test_the_package_alone_imports_nothing() -> None:
    modules = imported("import lint3d; lint3d.__all__; dir(lint3d)")
    assert {m for m in modules if m.startswith("lint3d")} == {"lint3d"}


def test_a_worker_that_is_ready_has_not_imported_what_few_parts_need() -> None:
    code = "import lint3d.jobs; from lint3d.registry import load_registry; load_registry()"
    modules = imported(code)
    assert "lint3d_plugins.drain" in modules
    assert not modules & {"networkx", "trimesh", "PIL", "scipy", "igl", "rtree"}


def test_the_registry_loads_nothing_by_being_imported() -> None:
    assert "lint3d_plugins" not in imported("import lint3d.registry, lint3d.api")
