"""Heights above the very facets that a cap is folded like: drums of few facets, and edges."""

from __future__ import annotations

import manifold3d as m3
import numpy as np
import pytest
import shapes_relief as shapes
from shapes_walls import arrays

from lint3d.geometry.reliefs import Found, find_reliefs
from lint3d.geometry.topology import edge_table


def found_on_drum(text: str, height: float, sides: int, radius: float) -> Found:
    """A text on a prism of many sides, folded with it: each facet of a cap is parallel to one."""
    inner = radius * np.cos(np.pi / sides)
    drum, grown = (
        m3.Manifold.cylinder(14.0, r, r, sides, True).rotate((0, 0, 90 - 180 / sides))
        for r in (radius, radius * (inner + abs(height)) / inner)
    )
    if height < 0:
        drum, grown = grown, drum
    letters = shapes.centred(shapes.font_text(text, 6.0)).extrude(2 * radius)
    letters = letters.rotate((90, 0, 180)).rotate((0, 0, 7.0))
    part = drum + (grown ^ letters) if height > 0 else drum - (letters - grown)
    vertices, faces = arrays(part)
    step = 2.0**-23 * float(np.abs(vertices).max())
    return find_reliefs(vertices, faces, edge_table(faces, len(vertices)), step)


@pytest.mark.parametrize("height", [0.8, -0.6])
@pytest.mark.parametrize("sides", [9, 10, 11, 12, 17, 24, 96])
@pytest.mark.cases(3)
def test_height_is_that_above_the_facets_there_are(sides: int, height: float) -> None:
    found = found_on_drum("Ki4", height, sides, 16.0)
    told = [shape for one in found.inscriptions for shape in one.shapes]
    assert len(told) == 4
    for shape in told:
        assert shape.lower <= abs(height) <= shape.upper
        assert (shape.upper - shape.lower) / 2 <= max(0.01, 0.02 * abs(height))


def test_planes_bent_the_other_way_are_told_from_inside() -> None:
    """Letters in the hollow of a roof: above the lower of two planes, and not the higher."""
    part = shapes.across_edge("TIDE", 0.8, 8.0, -30.0)
    step = 2.0**-23 * float(np.abs(part.vertices).max())
    found = find_reliefs(
        part.vertices, part.faces, edge_table(part.faces, len(part.vertices)), step
    )
    told = [shape for one in found.inscriptions for shape in one.shapes]
    assert len(told) == 4
    for shape in told:
        assert shape.lower <= 0.8 <= shape.upper
        assert (shape.upper - shape.lower) / 2 <= 0.016
