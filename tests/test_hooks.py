"""Hooks: each is documented with an example, and used by a plugin that a test runs."""

from __future__ import annotations

import ast
import inspect
import textwrap
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from house import PLUGINS

from lint3d import hooks
from lint3d.registry import PluginSettings, load_registry

SPECS: dict[str, Callable[..., Any]] = {
    name: value for name, value in vars(hooks).items()
    if hasattr(value, f"{hooks.PROJECT}_spec")
}  # fmt: skip


def example(name: str) -> str:
    """The code of a hook's example."""
    doc = inspect.getdoc(SPECS[name]) or ""
    assert "\nExample\n-------\n::\n" in doc, f"{name} has no example"
    return textwrap.dedent(doc.split("::\n", 1)[1])


def test_hooks_are_what_the_design_names() -> None:
    assert SPECS.keys() == {
        "lint3d_readers", "lint3d_measures", "lint3d_rules", "lint3d_sheets", "lint3d_writers",
        "lint3d_review",
    }  # fmt: skip


@pytest.mark.parametrize("name", sorted(SPECS))
def test_each_hook_says_what_it_is_and_shows_how(name: str) -> None:
    doc = inspect.getdoc(SPECS[name]) or ""
    assert doc.split("\n")[0].endswith((".", "of")) or doc.split("\n\n")[0].endswith(".")
    tree = ast.parse(example(name))
    functions = {node.name: node for node in tree.body if isinstance(node, ast.FunctionDef)}
    assert name in functions, f"the example of {name} does not define it"
    marks = [ast.unparse(mark) for mark in functions[name].decorator_list]
    assert marks == ["hookimpl"]
    asked = {argument.arg for argument in functions[name].args.args}
    assert asked <= set(inspect.signature(SPECS[name]).parameters)


@pytest.mark.parametrize("name", sorted(SPECS))
def test_each_hook_has_a_real_user_that_a_test_runs(name: str) -> None:
    """A built-in plugin, or the house plugin of tests/test_api.py and tests/test_cli.py."""
    registry = load_registry(PluginSettings((str(PLUGINS / "every_hook.py"),)))
    users = {one.plugin_name for one in getattr(registry.manager.hook, name).get_hookimpls()}
    assert "every_hook" in users
    if name != "lint3d_review":
        assert users - {"every_hook"}, f"no built-in uses {name}"


@pytest.mark.parametrize("name", sorted(SPECS.keys() - {"lint3d_review"}))
def test_each_hook_is_called_on_its_own_so_that_a_failure_costs_only_itself(
    name: str, tmp_path: Path
) -> None:
    """A plugin that works in every hook but one still brings the rest."""
    text = (PLUGINS / "every_hook.py").read_text("utf-8")
    head, tail = text.split(f"def {name}(", 1)
    signature, body = tail.split(":\n", 1)
    broken = f"{head}def {name}({signature}:\n    raise RuntimeError('no {name}')\n{body}"
    path = tmp_path / "nearly.py"
    path.write_text(broken, "utf-8")
    (tmp_path / "every-hook-tray.toml").write_bytes((PLUGINS / "every-hook-tray.toml").read_bytes())
    registry = load_registry(PluginSettings((str(path),)))
    (problem,) = registry.problems
    assert f"'nearly' failed in its hook {name} (RuntimeError: no {name})" in problem.message
    brought = {kind for (kind, _), plugin in registry.owner.items() if plugin == "nearly"}
    lost = name.removeprefix("lint3d_").removesuffix("s")
    assert brought == {"reader", "measure", "rule", "sheet", "writer"} - {lost}


def test_the_examples_of_the_hooks_run() -> None:
    """Measure and rule of the documentation, put together in one module."""
    names: dict[str, Any] = {}
    exec(
        "from lint3d import *\nfrom lint3d import Body, Place, hookimpl, measure, rule\n"
        + example("lint3d_measures") + example("lint3d_rules"), names,
    )  # fmt: skip
    (volume,), (heavy,) = names["lint3d_measures"](), names["lint3d_rules"]()
    assert volume.unit == heavy.unit == "mm3"
    assert [place.value for place in heavy(1200.0)] == [1200.0]
    assert heavy.remedy == "hollow the part."
