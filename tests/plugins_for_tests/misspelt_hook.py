"""Misspelt: a hook that does not exist."""

from lint3d import Rule, hookimpl


@hookimpl
def lint3d_rulez() -> list[Rule]:
    return []
