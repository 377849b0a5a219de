"""How do pairs of bodies become places: gaps, contacts, what both claim, what cannot leave?

A part of the plugin `assembly`; it has no hooks of its own.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from lint3d import LeftOut, Place
from lint3d_plugins.assembly_pairs import Meeting, Pair

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from lint3d.geometry.clearance_spots import Spot


# --- pairs that meet ----------------------------------------------------------------------------


def overlap_place(meeting: Meeting) -> Place:
    """A place for a common volume."""
    pair, overlap = meeting.pair, meeting.overlap
    assert overlap is not None
    first = meeting.inner or 0
    of, other = pair.bodies[first], pair.bodies[1 - first]
    names = pair.names[first], pair.names[1 - first]
    if meeting.inner is not None:
        faces = np.arange(len(of.faces))
        remark = f"{names[0]} lies wholly within the material of {names[1]}."
    else:
        faces = np.concatenate([spot.faces for spot in pair.spots if spot.distance == 0])
        remark = (
            f"{names[0]} and {names[1]} have {overlap.volume:.4g} mm³ in common, "
            f"{overlap.depth:.3g} mm deep."
        )
    return Place(
        overlap.volume,
        lower=max(overlap.volume - overlap.uncertainty, 0.0),
        upper=overlap.volume + overlap.uncertainty,
        position=overlap.position,
        faces=faces,
        of=of,
        other=other,
        extent_mm=float((overlap.box[1] - overlap.box[0]).max()),
        remark=remark,
        properties={
            "box_mm": overlap.box.tolist(),
            "depth_mm": overlap.depth,
            "pieces": overlap.pieces,
            "contained": meeting.inner is not None,
        },
    )


def unmeasured(meeting: Meeting) -> LeftOut:
    spots = [spot for spot in meeting.pair.spots if spot.distance == 0]
    faces = np.concatenate([spot.faces for spot in spots]) if spots else ()
    return LeftOut(meeting.reason, faces, meeting.pair.bodies[0])


def contact_place(pair: Pair, spot: Spot, meeting: Meeting | None) -> Place:
    """A place where the two touch, or come nearer than coordinates can tell."""
    from lint3d.geometry.clearance_area import area_within

    level = max(pair.uncertainty_mm, spot.distance)
    near = _near_corners(pair, spot, level)
    within = area_within(*near, level)
    surely = pair.surely_touches(spot)
    remark = f"{pair.names[0]} and {pair.names[1]} "
    remark += "touch." if surely else "are nearer than their coordinates can tell."
    if meeting is not None and meeting.kind == "unknown":
        remark += f" {meeting.reason}"
    return Place(
        1,
        lower=1 if surely else 0,
        upper=1,
        position=within.middle if within.area > 0 else spot.point.mean(axis=0),
        faces=spot.faces,
        of=pair.bodies[0],
        other=pair.bodies[1],
        distinct=spot.others is not None,
        extent_mm=within.extent,
        remark=remark,
        properties={"contact_area_mm2": within.area, "distance_mm": spot.distance},
    )


# --- gaps ---------------------------------------------------------------------------------------


def outside(pair: Pair, spots: list[Spot]) -> list[Spot]:
    """Spots of an overlapping pair where there is a gap, and not one body within the other."""
    from lint3d.geometry.overlap import contains

    one, two = pair.surfaces
    return [
        spot
        for spot in spots
        if not contains(two, spot.point[0]) and not contains(one, spot.point[1])
    ]


def clearance_place(pair: Pair, spot: Spot, with_area: bool) -> Place:
    """A place for a gap, with the area over which it stays as narrow."""
    from lint3d.geometry.clearance_area import area_within

    facts: dict[str, Any] = {"nearest_points_mm": spot.point.tolist()}
    extent = None
    if with_area:
        near = area_within(*_near_corners(pair, spot, spot.level), spot.level)
        facts |= {"area_mm2": near.area, "area_below_mm": spot.level}
        extent = near.extent
    return Place(
        spot.distance,
        lower=max(spot.distance - pair.uncertainty_mm, 0.0),
        upper=spot.distance + pair.uncertainty_mm,
        position=spot.point.mean(axis=0),
        faces=spot.faces,
        of=pair.bodies[0],
        other=pair.bodies[1],
        other_faces=_facing_faces(pair, spot, max(spot.level, spot.distance)),
        ends=(spot.point[0], spot.point[1]),
        distinct=spot.others is not None,
        extent_mm=extent,
        remark=f"The gap to {pair.names[1]} is {spot.distance:.4g} mm.",
        properties=facts,
    )


def _facing_faces(pair: Pair, spot: Spot, level: float) -> NDArray[np.int64]:
    """The second body's own, or its faces whose boxes come within a level of the spot's."""
    if spot.others is not None:
        return spot.others
    one, two = pair.surfaces
    flat = one.vertices[one.faces[spot.faces]].reshape(-1, 3)
    return two.row[two.tree.within(flat.min(axis=0) - level, flat.max(axis=0) + level)]


def _near_corners(pair: Pair, spot: Spot, level: float) -> tuple[Any, Any]:
    """Corners of the spot's faces, and of the other body's faces that may be within the level."""
    one, two = pair.surfaces
    there = _facing_faces(pair, spot, level)
    return one.vertices[one.faces[spot.faces]], two.vertices[two.faces[there]]


def add_fit(
    place: Place, pair: Pair, spot: Spot, patches: dict[int, NDArray[np.int64]], reach: float
) -> None:
    """Say how the two fit there, and with what running gap."""
    from lint3d.geometry.clearance_fit import fit_at, smooth_patches

    for surface in pair.surfaces:
        if id(surface) not in patches:
            patches[id(surface)] = smooth_patches(surface)
    one, two = (patches[id(surface)] for surface in pair.surfaces)
    fit = fit_at(*pair.surfaces, (one, two), spot, max(reach, spot.distance))
    if fit is None:
        place.properties["kind"] = "other"
        return
    place.faceting_mm = fit.faceting_mm
    place.properties |= {
        "kind": fit.kind,
        "running_gap_mm": fit.running_gap_mm,
        "gap_max_mm": fit.gap_max_mm,
        "facing_area_mm2": fit.facing_area_mm2,
    }
    if fit.kind == "round":
        place.properties |= {
            "axis_offset_mm": fit.axis_offset_mm,
            "radii_mm": list(fit.radii_mm or ()),
        }
    if fit.kind != "other":
        place.remark = (
            f"{place.remark} A {fit.kind} fit: {fit.running_gap_mm:.4g} mm on average and at most "
            f"{fit.gap_max_mm:.4g} mm over {fit.facing_area_mm2:.4g} mm²."
        )


# --- holding ------------------------------------------------------------------------------------


def boxes_overlap(pair: Pair) -> bool:
    one, two = pair.surfaces
    return bool((one.low < two.high).all() and (two.low < one.high).all())


def is_captive(pair: Pair) -> bool:
    from lint3d.geometry.captive import way_out

    one, two = pair.surfaces
    rows = np.concatenate([np.zeros(0, np.int64), *(spot.faces for spot in pair.spots)])
    corners = one.vertices[one.faces[np.unique(rows)]]
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    length = np.linalg.norm(normal, axis=1)
    facing = normal[length > 0] / length[length > 0, None]
    return way_out(one, two, facing) is None


def captive_place(pair: Pair) -> Place:
    """The smaller body, held by the larger one."""
    sizes = [float(np.prod(s.high - s.low)) for s in pair.surfaces]
    held = 0 if sizes[0] < sizes[1] else 1
    body, holder = pair.bodies[held], pair.bodies[1 - held]
    near = [pair.surfaces[0].vertices[pair.surfaces[0].faces[s.faces]] for s in pair.spots]
    where = np.concatenate(near or [pair.surfaces[held].corners]).reshape(-1, 3)
    return Place(
        1,
        position=0.5 * (where.min(axis=0) + where.max(axis=0)),
        faces=np.arange(len(body.faces)),
        of=body,
        other=holder,
        remark=f"{pair.names[held]} cannot leave {pair.names[1 - held]} by a straight move.",
    )
