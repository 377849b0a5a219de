"""How do thin regions and sharp edges become places?

A part of the plugin `walls`; it has no hooks of its own.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any, Literal

from lint3d import Interest, Place, Places
from lint3d.interest import HEAD_ROOM
from lint3d_plugins import walls_looks
from lint3d_plugins.walls_looks import Thickness

if TYPE_CHECKING:
    from lint3d.geometry.spans_regions import ThinRegion


def of_kind(
    thickness: Thickness, kind: Literal["wall", "rod"], interest: Interest
) -> list[ThinRegion]:
    """Regions of a kind that may break the limit, or else the tightest that is known."""
    for limit in (interest.high / HEAD_ROOM, interest.high):
        found = [one for one in thickness.regions(limit) if one.kind == kind]
        if found:
            return found
    return []


def places_of(found: Sequence[ThinRegion], remark: str) -> Places:
    """One place a region: ten floors under one large face are ten."""
    return Places(
        Place(
            min(max(one.value, one.lower), one.upper),
            lower=one.lower,
            upper=one.upper,
            position=(one.point + one.contact_point) / 2,
            faces=one.faces,
            distinct=True,
            ends=(one.point, one.contact_point),
            extent_mm=one.extent,
            remark=_said_of(one, remark),
            properties=_facts(one),
        )
        for one in found
    )


def _said_of(region: ThinRegion, remark: str) -> str:
    """The remark with the value; sides nearer than the coordinates tell apart lie on each other."""
    if region.value > (region.upper - region.lower) / 2:
        return remark.format(region.value)
    return remark.format(0.0) + " Its sides lie on each other."


def _facts(region: ThinRegion) -> dict[str, Any]:
    facts: dict[str, Any] = {"area_mm2": region.area}
    if region.kind == "rod":
        facts |= {"axis": region.axis.tolist(), "length_mm": region.length}
    return facts


def edges_of(thickness: Thickness, limit: float, remark: str, key: str) -> Places:
    """One place for each sharp side, with the depth of the strip narrower than the limit.

    Parameters
    ----------
    limit : mm
    remark : with the names angle, depth and limit
    key : under which the limit stands among the properties
    """
    from lint3d.geometry.spans_sharp import deepest_regions

    found, more = deepest_regions(thickness.spans, limit, walls_looks.MOST_TOLD)
    return Places(
        (
            Place(
                edge.depth,
                lower=edge.lower,
                upper=edge.upper,
                position=edge.point,
                faces=edge.faces,
                extent_mm=edge.extent,
                remark=remark.format(angle=edge.angle, depth=edge.depth, limit=limit),
                properties={"angle_deg": edge.angle, "edge_mm": edge.length, key: limit},
            )
            for edge in found
        ),
        (*thickness.unseen, *walls_looks.untold(more)),
    )
