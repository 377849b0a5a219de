"""Size: how large is the part, and is its unit believable?"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from lint3d import (
    Body,
    Measure,
    NotApplicable,
    Note,
    Place,
    Places,
    Rule,
    Source,
    hookimpl,
    measure,
    rule,
)


@measure(unit="mm")
def height(body: Body) -> Places:
    """How tall is the body as it lies in the file (its extent along z)?"""
    if len(body.vertices) == 0:
        return Places()
    z = body.vertices[:, 2]
    top = int(z.argmax())
    faces = np.flatnonzero((body.faces == top).any(axis=1))
    value = float(z[top] - z.min())
    return Places(
        [
            Place.measured(
                value,
                body.coordinate_step_mm,
                position=body.vertices[top],
                faces=faces,
                extent_mm=value,
            )
        ]
    )


@measure(unit="mm")
def largest_extent(source: Source) -> Places:
    """What is the longest side of the box around everything in the file?"""
    bodies = [body for part in source.parts for body in part.bodies if len(body.vertices)]
    if not bodies:
        raise NotApplicable("Nothing of the file could be read.")
    low = np.min([body.vertices.min(axis=0) for body in bodies], axis=0)
    high = np.max([body.vertices.max(axis=0) for body in bodies], axis=0)
    value = float((high - low).max())
    step = max(body.coordinate_step_mm for body in bodies)
    return Places(
        [Place.measured(value, step, of=source, position=(low + high) / 2, extent_mm=value)]
    )


@rule("size/units-doubt", measures="mm")
def units_doubt(source: Source, largest_extent: Places) -> Iterator[Place | Note]:
    """The size makes the unit doubtful: a part for this process is neither so small nor so large.

    Formats such as STL hold numbers without a unit. A part that is 1 mm or 2 m across was nearly
    always drawn in another unit than it was read in.

    Remedy: say the unit with --unit (in, cm, m, um …), or export in millimetres.
    """
    for place in largest_extent:
        # The place is shared with every other rule over this measure.
        remark = (
            f"The largest extent is {place.value:.4g} mm, read as {source.unit} "
            f"({_origin(source)})."
        )
        yield replace(place, remark=remark)
    if largest_extent and source.unit_origin == "assumed":
        yield Note(
            f"{source.format} holds no unit; {source.unit} was assumed. Say another with --unit.",
            of=source,
            properties={"assumed_unit": source.unit},
        )


def _origin(source: Source) -> str:
    return {"found": "as the file says", "given": "as given", "assumed": "assumed"}[
        source.unit_origin
    ]


@hookimpl
def lint3d_measures() -> list[Measure]:
    return [height, largest_extent]


@hookimpl
def lint3d_rules() -> list[Rule]:
    return [units_doubt]
