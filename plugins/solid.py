"""Solid: is the body a sound solid, closed, turned the right way and free of itself?

Counts are exact. Faults that touch are one place with their number; more than twenty places of one
rule on one body are one place with their distribution (`solid_summary.py`). Everything that
concerns how faces join is read from the faces as the file turns them.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from lint3d import (
    Body,
    Interest,
    LeftOut,
    Measure,
    Note,
    Place,
    Places,
    Rule,
    Shell,
    hookimpl,
    measure,
    rule,
)
from lint3d.geometry.chord import chord_deviation_mm
from lint3d.geometry.components import connected_groups
from lint3d.geometry.facets import degenerate_faces, duplicate_faces, lie_in_plane
from lint3d.geometry.orientation import orient
from lint3d.geometry.shells import facet_areas
from lint3d.geometry.topology import (
    Faults,
    crowded_edges,
    nonmanifold_vertices,
    open_edges,
    same_way_edges,
)
from lint3d_plugins.far_off import far_off
from lint3d_plugins.solid_summary import counted_up, summed_up

Ints = np.ndarray[tuple[int, ...], np.dtype[np.int64]]

#: More intersecting pairs than this are not counted on. A surface that crosses itself this often is
#: no solid whatever the number.
MOST_PAIRS = 1_000_000


@dataclass(frozen=True, eq=False)
class Joints:
    """How the faces of a body join: places for each way in which they may be at fault."""

    open: Places
    crowded: Places
    pinched: Places
    flipped: Places


@measure(unit="1")
def joints(body: Body) -> Joints:
    """Where do the faces of the body not join as in a solid?"""
    table, faces = body.edges, body.faces_as_given
    return Joints(
        open=_told(body, open_edges(table)),
        crowded=_told(body, crowded_edges(table)),
        pinched=_told(body, nonmanifold_vertices(table, faces)),
        flipped=_flipped(body),
    )


@measure(unit="1")
def crossings(body: Body) -> Places:
    """Which faces of the body run through each other?"""
    from lint3d.geometry.intersect import CrowdedFaces, self_intersections

    left_out = []
    try:
        pairs = self_intersections(
            body.vertices, body.faces_as_given, most=MOST_PAIRS, table=body.edges
        )
    except CrowdedFaces as crowd:
        pairs = crowd.pairs
        left_out.append(
            LeftOut(
                "Too many faces lie on one heap to compare all of them; what was found until then "
                "is told. Clean the mesh up and export it again."
            )
        )
    if len(pairs) >= MOST_PAIRS:
        left_out.append(
            LeftOut(f"More than {MOST_PAIRS} pairs of faces cross; only so many were counted.")
        )
    face, fault = pairs.ravel(), np.repeat(np.arange(len(pairs)), 2)
    places = _told(body, Faults(body.faces[pairs[:, 0]], face, fault))
    return Places(places, left_out)


@measure(unit="mm")
def chords(body: Body, interest: Interest) -> Places:
    """How far may the smooth shape that was meant lie from the facets?

    One place for each region that strays by more than the lowest limit, or else the worst facet.
    Finer than a quarter of the lowest limit it is not told apart, which saves time.
    """
    floor = interest.low / 4
    strays = chord_deviation_mm(body.vertices, body.faces_as_given, body.edges, floor)
    if strays.max(initial=0.0) <= floor:
        return Places([Place.measured(floor / 2, floor / 2)])
    rows = np.flatnonzero(strays > interest.low)
    if len(rows) == 0:
        rows = np.array([strays.argmax()])
    faults = Faults(body.faces[rows], rows, np.arange(len(rows)))
    places = list(_regions(body, faults))
    for place in places:
        worst_first = np.asarray(place.faces)[np.argsort(-strays[place.faces], kind="stable")]
        place.faces, place.position = worst_first, None
        place.value = place.lower = place.upper = float(strays[worst_first[0]])
    return Places(summed_up(body, places))


@rule("solid/open-edge", measures="1")
def open_edge(body: Body, joints: Joints) -> Iterator[Place | Note]:
    """The surface has a hole: edges that only one face uses.

    A solid has no rim. The machine must guess what is inside, and often leaves out the body or
    fills what should be hollow. More than twenty holes of a body are told in one result, with their
    number and the worst of them.

    Remedy: close the hole in the design, or stitch the surfaces before export.
    """
    yield from joints.open
    part = body.part
    if part.stitched and body is part.bodies[0]:
        yield Note(
            f"{part.stitched} vertices on open edges of '{part.name}' were welded to a neighbour "
            f"within {part.weld_tolerance_mm:g} mm.",
            properties={"welded": part.stitched, "weld_tolerance_mm": part.weld_tolerance_mm},
        )


@rule("solid/non-manifold-edge", measures="1")
def non_manifold_edge(joints: Joints) -> Iterator[Place]:
    """Edges where more than two faces meet.

    Two solids that touch along an edge, or a wall without thickness: which side is material is not
    defined there.

    Remedy: let the solids overlap or part them, and give every wall a thickness.
    """
    yield from joints.crowded


@rule("solid/non-manifold-vertex", measures="1")
def non_manifold_vertex(joints: Joints) -> Iterator[Place]:
    """Points where surfaces only touch.

    Material that hangs together in a single point has no strength there and will break apart.

    Remedy: let the solids overlap, or part them.
    """
    yield from joints.pinched


@rule("solid/flipped-face", measures="1")
def flipped_face(joints: Joints) -> Iterator[Place]:
    """Faces turned against their neighbours.

    Inside and outside change over from one face to the next; some machines leave a hole there.

    Remedy: make the face normals agree, and export again.
    """
    yield from joints.flipped


@rule("solid/inside-out", measures="1")
def inside_out(body: Body) -> Iterator[Place | LeftOut]:
    """A whole shell is turned inside out.

    An outer shell that looks inward, or a cavity that looks outward, means the opposite of what was
    drawn: material becomes air.

    Remedy: reverse the normals of the shell.
    """
    wrong = []
    for shell in body.shells:
        if not shell.closed:
            continue
        if shell.volume != 0 and (shell.volume < 0) != (shell.depth % 2 == 1):
            what = "A cavity looks outward" if shell.depth % 2 else "The outer shell looks inward"
            place = Place(
                1,
                faces=_rows_of(body, shell),
                remark=f"{what} (its volume reads {shell.volume:.6g} mm³).",
                properties={"volume_mm3": shell.volume},
            )
            wrong.append(place)
    yield from counted_up(body, wrong)
    yield from _not_closed(body, [s for s in body.shells if not s.closed], "no inside here")


@rule("solid/self-intersection", measures="1")
def self_intersection(crossings: Places) -> Iterator[Place]:
    """The surface runs through itself.

    What lies in the overlap is counted twice or not at all, depending on the machine. More than
    twenty places of a body are told in one result, with their number and the worst of them.

    Remedy: unite the overlapping shapes in the design and export again.
    """
    yield from crossings


@rule("solid/degenerate-face", measures="1")
def degenerate_face(body: Body) -> Iterator[Place]:
    """Faces without area.

    Their height is zero at the resolution of the file's own numbers. They do no harm by themselves,
    but tools that mend or cut the mesh stumble over them. More than twenty places of a body are
    told in one result, with their number and the worst of them.

    Remedy: export with another tolerance, or merge the vertices in question.
    """
    rows = np.flatnonzero(degenerate_faces(body.vertices, body.faces))
    places = _told(body, Faults(body.faces[rows], rows, np.arange(len(rows))))
    remedy = far_off(body.vertices)
    for place in places:
        place.remedy = remedy
    yield from places


@rule("solid/duplicate-face", measures="1")
def duplicate_face(body: Body) -> Iterator[Place]:
    """The same face is there more than once.

    Often a whole body was exported twice in the same place.

    Remedy: delete the copies.
    """
    yield from _told(body, duplicate_faces(body.faces_as_given))


@rule("solid/stray-shell", measures="mm3")
def stray_shell(body: Body) -> Iterator[Place | LeftOut]:
    """A crumb: a separate shell too small to be meant.

    It is lost in cleaning or gets where it does harm.

    Remedy: delete it, or join it to the part it belongs to.
    """
    sheets, rest = [], []
    for shell in body.shells:
        if shell.depth % 2:
            continue
        rows = _rows_of(body, shell)
        faces = body.faces[rows]
        if shell.closed:
            area = float(facet_areas(body.vertices, faces).sum())
            around = area * body.coordinate_step_mm
            yield Place.measured(abs(shell.volume), around, faces=rows)
        elif lie_in_plane(body.vertices, faces, body.coordinate_step_mm):
            what = "A loose sheet of faces that encloses nothing."
            sheets.append(Place(0.0, faces=rows, remark=what))
        else:
            rest.append(shell)
    yield from summed_up(body, sheets, smallest_first=True)
    yield from _not_closed(body, rest, "no volume here")


@rule("solid/coarse-facets", measures="mm")
def coarse_facets(chords: Places) -> Iterator[Place]:
    """The facets are coarse: flats will show where the design is round.

    The value is the distance by which the smooth shape may differ from its facets, worked out from
    their width and the angle between them: (w/2)·tan(θ/4), exact for a regular polygon.

    Remedy: export with a finer chord tolerance.
    """
    yield from chords


def _not_closed(body: Body, shells: list[Shell], what: str) -> Iterator[LeftOut]:
    """Why shells are not closed, each reason once, with all faces that it concerns."""
    if not shells:
        return
    is_open = np.zeros(len(body.faces), bool)
    is_open[open_edges(body.edges).face] = True
    by_reason: dict[bool, list[Ints]] = {}
    for shell in shells:
        rows = _rows_of(body, shell)
        by_reason.setdefault(bool(is_open[rows].any()), []).append(rows)
    for has_rim, rows_of in by_reason.items():
        why = (
            "The surface is open (solid/open-edge tells more), so there is"
            if has_rim
            else "An edge is shared by an odd number of faces (solid/non-manifold-edge tells "
            "more), so there is"
        )
        yield LeftOut(f"{why} {what}.", faces=np.concatenate(rows_of))


def _rows_of(body: Body, shell: Shell) -> Ints:
    """Which faces of the body are the shell's?"""
    if len(shell.faces) == len(body.faces):
        return np.arange(len(body.faces))
    return np.searchsorted(body.face_in_part, shell.faces)


def _flipped(body: Body) -> Places:
    """Faces to turn over, and surfaces that have only one side."""
    found = orient(body.edges)
    rows = np.flatnonzero(found.is_flipped)
    faces = body.faces_as_given
    places = counted_up(body, _regions(body, Faults(faces[rows], rows, np.arange(len(rows)))))
    if found.is_one_sided.any():
        edges = same_way_edges(body.edges)
        keep = found.is_one_sided[edges.face]
        kept = np.unique(edges.fault[keep])
        one_sided = Faults(
            edges.place[kept], edges.face[keep], np.searchsorted(kept, edges.fault[keep])
        )
        for place in counted_up(body, _regions(body, one_sided)):
            what = "The surface has only one side (as a Möbius strip has)."
            place.remark = f"{what} {place.remark}" if place.remark else what
            places.append(place)
    return Places(places)


def _told(body: Body, faults: Faults) -> Places:
    """One place for each group of faults that touch, or one for all where the groups are many."""
    return Places(counted_up(body, _regions(body, faults)))


def _regions(body: Body, faults: Faults) -> Places:
    """One place for each group of faults whose faces touch, with their number."""
    if len(faults) == 0:
        return Places()
    vertex = np.unique(body.faces[faults.face], return_inverse=True)[1].reshape(-1, 3)
    vertex = vertex + len(faults)
    region = connected_groups(int(vertex.max()) + 1, np.repeat(faults.fault, 3), vertex.ravel())[
        : len(faults)
    ]
    # The place shown is the first along x, y and z: not the first of the file, which any tool that
    # writes it anew puts in another order.
    middle = body.vertices[faults.place].mean(axis=1)
    order = np.lexsort((*middle.T[::-1], region))
    starts = np.flatnonzero(np.diff(region[order], prepend=-1))
    of_face = region[faults.fault]
    face_order = np.argsort(of_face, kind="stable")
    by_region = np.split(faults.face[face_order], np.flatnonzero(np.diff(of_face[face_order])) + 1)
    return Places(
        Place(
            len(rows),
            faces=np.unique(one),
            position=middle[rows[0]],
        )
        for rows, one in zip(np.split(order, starts[1:]), by_region, strict=True)
    )


@hookimpl
def lint3d_measures() -> list[Measure]:
    return [joints, crossings, chords]


@hookimpl
def lint3d_rules() -> list[Rule]:
    return [
        open_edge,
        non_manifold_edge,
        non_manifold_vertex,
        flipped_face,
        inside_out,
        self_intersection,
        degenerate_face,
        duplicate_face,
        stray_shell,
        coarse_facets,
    ]
