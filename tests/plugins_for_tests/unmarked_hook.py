"""Unmarked: a hook without @hookimpl would never be called."""

from lint3d import Rule


def lint3d_rules() -> list[Rule]:
    return []
