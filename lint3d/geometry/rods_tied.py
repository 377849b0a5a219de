"""Which bars are joined to something else along their length?

The rim of a tray is as thin both ways as a rod, but a floor runs along it and holds it: it is no
slender rod. At places along the axis, ways just inside the sides are followed, square to it:
where some leave the bar at nearly every place, something is joined on there. Lengths mm. Guarded by
tests/geometry/test_rods_tied.py.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from lint3d.geometry.rods_bar import Bar
from lint3d.geometry.spans_surface import SpanSurface
from lint3d.geometry.vectors import cross_product

#: The longest way within the section of a bar twice as wide as thick is 2.24 thicknesses: what goes
#: farther leaves the bar.
REACH = 2.75
#: So far inside each side, in thicknesses, ways along it are followed.
INSIDE = (0.06, 0.16)
STATIONS, WAYS = 20, 100
#: Struts that cross a bar are met at some of the places only.
TIED_SHARE = 0.7


def are_tied(surface: SpanSurface, bars: Sequence[Bar]) -> list[bool]:
    """Is each straight bar joined to something along most of its length?

    Returns
    -------
    One answer for each bar; False for those that are not straight.
    """
    return [bar.is_straight and _is_tied(surface, bar) for bar in bars]


def _is_tied(surface: SpanSurface, bar: Bar) -> bool:
    along = np.linspace(0.05, 0.95, STATIONS)[:, None]
    places = bar.start + along * (bar.end - bar.start)
    one = cross_product(bar.axis, np.eye(3)[np.abs(bar.axis).argmin()])
    one /= np.linalg.norm(one)
    two = cross_product(bar.axis, one)
    turn = (np.arange(WAYS) + 0.5) * 2 * np.pi / WAYS
    outward = np.cos(turn)[:, None] * one + np.sin(turn)[:, None] * two
    sideways = cross_product(bar.axis, outward)
    places = np.repeat(places, WAYS, axis=0)
    outward, sideways = (np.tile(way, (STATIONS, 1)) for way in (outward, sideways))
    reach = REACH * bar.diameter
    scene = surface.scene
    met = scene.first_facet(places, outward, reach)
    far = np.minimum(scene.distance(places, outward, met), reach)
    leaves = met < 0
    for inside in INSIDE:
        beside = places + np.maximum(far - inside * bar.diameter, 0.0)[:, None] * outward
        for way in (sideways, -sideways):
            leaves = leaves | (scene.first_facet(beside, way, reach) < 0)
    return bool(leaves.reshape(STATIONS, WAYS).any(axis=1).mean() >= TIED_SHARE)
