"""Where is the material (or the void) long and thin both ways: pins, struts, wires, holes?

At points spread over the surface the way straight across is felt, and from its middle the
shortest chord square to it. Where that is at most twice as long the place is thin both ways,
whatever its diameter. Such places hang together along facets and where their middles lie near each
other, and make a bar: with an axis (square to all its sides), a length along it, and the largest
circle that fits into its narrowest section. A bar counts where rays square to it meet its sides
all round, so that a rail on a plate and a groove are none.

Looking inward bars are rods, looking outward they are holes. Lengths in mm.
Tested by tests/geometry/test_rods.py. The method was made for this project; no source.
"""

from __future__ import annotations

import sys

import numpy as np
from numpy.typing import NDArray

from lint3d.geometry.rods_bar import Bar
from lint3d.geometry.rods_felt import Felt, thin_both_ways
from lint3d.geometry.rods_groups import axes_of, closed_round, groups_of, on_some, worst_groups
from lint3d.geometry.rods_lines import lines_of
from lint3d.geometry.rods_measured import facets_of, measured_bars
from lint3d.geometry.rods_rings import Rings, whole_rings
from lint3d.geometry.spans import Look
from lint3d.geometry.spans_effort import effort_of_step
from lint3d.geometry.spans_surface import SpanSurface

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

SHORTEST = 1.0  # a bar is at least as long as it is thick
POINTED = 0.75  # of the sides end in one point: what tapers to nothing is a sharp edge, and no bar
COVERED = 0.7  # of the sides of a round bar as long and as thick must be thin both ways


def bars(surface: SpanSurface, reach: float, look: Look = "inward") -> list[Bar]:
    """All rods or holes up to a diameter; see `worst_bars`."""
    return worst_bars(surface, reach, look, sys.maxsize)[0]


def worst_bars(surface: SpanSurface, reach: float, look: Look, most: int) -> tuple[list[Bar], int]:
    """Rods or holes up to a diameter, the most slender first.

    Parameters
    ----------
    surface : see `surface_from_mesh`
    reach : mm, the largest diameter of interest
    look : "inward" for rods, "outward" for holes
    most : of more than so many only so many of the thinnest, and of the longest for their
        thickness, are worked out: a body of a million needles has as many

    Returns
    -------
    the bars, and how many more places that may be bars were not worked out

    Raises
    ------
    RaysSpent : so many large facets lie across each other that it would take too long
    """
    if look == "outward" and surface.has_no_gaps(reach):
        return [], 0
    inward = -surface.normals if look == "inward" else surface.normals
    effort_of_step(surface)
    felt, whole = thin_both_ways(surface, inward, reach)
    if not len(felt.point):
        return [], 0
    group = groups_of(surface, felt)
    axis, straight = axes_of(surface, inward, felt, group)
    closed = closed_round(surface, felt, group, axis, straight)
    felt, group = on_some(felt, group, closed)
    if not len(group):
        return [], 0
    axis, straight = axis[closed], straight[closed]
    one_way = np.where(straight[group, None], axis[group], 0.0)
    parted = lines_of(felt.point, felt.contact, felt.narrow, one_way, group)
    if parted.max() > group.max():
        group = parted
        axis, straight = axes_of(surface, inward, felt, group)
    rings: Rings | None = None
    if look == "outward":
        rings = _rings_of(surface, inward, felt, group, axis, straight)
        # The sides of a star are found apart, and are one hole.
        if (rings.ring != np.arange(len(rings.ring))).any():
            group = np.unique(rings.ring[group], return_inverse=True)[1]
            axis, straight = axes_of(surface, inward, felt, group)
            rings = _rings_of(surface, inward, felt, group, axis, straight)
    keep = worst_groups(felt, group, axis, most)
    more = int((~keep).sum())
    keep[keep] = ~_are_pointed(surface, *on_some(felt, group, keep))
    felt, group = on_some(felt, group, keep)
    if not len(group):
        return [], more
    axis, straight = axis[keep], straight[keep]
    rings = rings.of_some(keep) if rings is not None else None
    found, side = measured_bars(surface, inward, felt, group, whole, axis, straight, rings)
    is_long = np.array([bar.length >= SHORTEST * bar.diameter for bar in found], bool)
    round_side = np.array([np.pi * bar.diameter * bar.shortest for bar in found])
    is_long &= side >= COVERED * round_side
    found = [bar for bar, is_kept in zip(found, is_long, strict=True) if is_kept]
    found.sort(key=lambda bar: (-bar.slenderness[0], int(bar.faces[0])))
    return found, more


def _rings_of(
    surface: SpanSurface, inward: Floats, felt: Felt, group: Ints, axis: Floats, straight: Bools
) -> Rings:
    """All round the sides of holes; see `whole_rings`."""
    width = _least_of(felt.narrow, group)
    return whole_rings(surface, inward, *facets_of(felt, group), axis, straight, width)


def _least_of(value: Floats, group: Ints) -> Floats:
    """Least value of each group; none is empty."""
    least = np.full(int(group.max()) + 1, np.inf)
    np.minimum.at(least, group, value)
    return least


def _are_pointed(surface: SpanSurface, felt: Felt, group: Ints) -> Bools:
    """(groups,) do most of its sides end in one point? It tapers to nothing: how thick is it?

    Asked before all else is worked out: a body of needles has nothing but such.
    """
    facet, of = facets_of(felt, group)
    corner = surface.faces.take(facet, 0) + of[:, None] * np.int64(len(surface.vertices))
    corner = np.sort(corner.ravel())
    start = np.flatnonzero(np.diff(corner, prepend=-1))
    most = np.zeros(int(group.max()) + 1, dtype=np.int64)
    users = np.diff(start, append=len(corner))
    np.maximum.at(most, corner[start] // len(surface.vertices), users)
    sides = np.bincount(of, minlength=len(most))
    pointed: Bools = (most >= POINTED * sides) & (sides > 1)
    return pointed
