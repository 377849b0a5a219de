"""Sheets: the process sheets that lint3d brings."""

from __future__ import annotations

from pathlib import Path

from lint3d import hookimpl


@hookimpl
def lint3d_sheets() -> list[Path]:
    """Every TOML file of the package `lint3d_rules`."""
    import lint3d_rules

    folder = Path(lint3d_rules.__path__[0])
    return sorted(folder.glob("*.toml"))
