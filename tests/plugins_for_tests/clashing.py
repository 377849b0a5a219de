"""Clashing: offers a measure that a built-in offers."""

from __future__ import annotations

from lint3d import Body, Measure, hookimpl, measure


@measure(unit="mm")
def height(body: Body) -> float:
    """How tall, once more?"""
    return 1.0


@hookimpl
def lint3d_measures() -> list[Measure]:
    return [height]
