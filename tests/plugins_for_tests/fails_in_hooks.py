"""Fails in each of its hooks."""

from __future__ import annotations

from lint3d import hookimpl


@hookimpl
def lint3d_readers() -> list[object]:
    raise OSError("readers are out")


@hookimpl
def lint3d_measures() -> list[object]:
    return [lambda body: 1]  # no @measure


@hookimpl
def lint3d_rules() -> list[object]:
    return 3  # type: ignore[return-value]


@hookimpl
def lint3d_sheets() -> list[object]:
    return [None]


@hookimpl
def lint3d_writers() -> list[object]:
    return [object()]


@hookimpl
def lint3d_review(result: object, inspection: object) -> list[str]:
    raise KeyError("review")
