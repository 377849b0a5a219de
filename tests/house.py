"""Registries, sheets and configurations made by hand, for tests of the core."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import pluggy

from lint3d import Measure, Rule, hooks
from lint3d.registry import Registry

PLUGINS = Path(__file__).parent / "plugins_for_tests"
#: Every built-in that brings rules over bodies; without them a test sees its own rules alone.
RULES_OFF = ("file", "size", "solid")


def registry_of(*items: Measure | Rule, plugin: str = "house") -> Registry:
    """A registry that holds these measures and rules and nothing else."""
    manager = pluggy.PluginManager(hooks.PROJECT)
    manager.add_hookspecs(hooks)
    registry = Registry(manager)
    for item in items:
        if isinstance(item, Measure):
            registry.measures[item.name] = item
            registry.owner["measure", item.name] = plugin
        else:
            registry.rules[item.id] = item
            registry.owner["rule", item.id] = plugin
    return registry


def write(path: Path, text: str) -> Path:
    """Write dedented text and return the path."""
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(textwrap.dedent(text), encoding="utf-8")
    return path


def sheet_text(rules: Sequence[str] | dict[str, str], **head: Any) -> str:
    """A sheet with the given rules; a bare id requires that nothing is found."""
    entries = rules if isinstance(rules, dict) else dict.fromkeys(rules, 'none = true\nunit = "1"')
    lines = ["[sheet]", *(f"{key} = {value!r}" for key, value in head.items())]
    for rule, entry in entries.items():
        lines += [f'[rules."{rule}"]', textwrap.dedent(entry), 'source = "a test"']
    return "\n".join(lines)
