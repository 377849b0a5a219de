"""Lumps: where is so much material in one place that it should be hollowed?

An example of a house rule: a measure over a kernel, with its uncertainty, and a rule over it. It is
off in the sheets that lint3d brings, for each bureau has its own number; a sheet turns it on:

    [rules."house/thick-lump"]
    at_most = 15.0
    unit    = "mm"
    source  = "own parts, 2026"
"""

from __future__ import annotations

from collections.abc import Iterator

from lint3d import (
    Body,
    Interest,
    Measure,
    NotMeasurable,
    Place,
    Rule,
    hookimpl,
    measure,
    rule,
)
from lint3d.geometry.largest_ball import Ball, largest_ball


@measure(unit="mm")
def lump(body: Body, interest: Interest) -> Ball:
    """How large is the largest ball of material in the body?

    Returns
    -------
    Ball
        its centre and diameter, mm, and a bound above which no ball fits
    Raises
    ------
    NotMeasurable
        The surface is open or turned over, so that it is not known where material is.
    """
    if not body.closed:
        raise NotMeasurable("An open surface holds no lump; solid/open-edge tells more.")
    found = largest_ball(body.vertices, body.faces, enough=interest.low)
    if found is None:
        raise NotMeasurable("The surface encloses no material; solid/inside-out tells more.")
    return found


@rule("house/thick-lump", measures="mm")
def thick_lump(body: Body, lump: Ball) -> Iterator[Place]:
    """So much material in one place that it wastes time and warps as it cools.

    The value is the diameter of the largest ball that fits into the material.

    Remedy: hollow the part there, and give the support a way out.
    """
    step = body.coordinate_step_mm
    yield Place(
        lump.diameter,
        lower=lump.diameter - 2 * step,
        upper=lump.upper + 2 * step,
        position=lump.centre,
        faces=[lump.face],
        extent_mm=lump.diameter,
    )


@hookimpl
def lint3d_measures() -> list[Measure]:
    return [lump]


@hookimpl
def lint3d_rules() -> list[Rule]:
    return [thick_lump]
