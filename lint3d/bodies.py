"""How does an object of a file become a part with bodies?

Vertices of equal coordinates are welded, open edges are stitched within a stated tolerance, faces
are split into shells, and shells into bodies: an outer shell with the cavities it holds. Outer
shells that share a vertex are one body. Orientation is mended in `Body.faces` only; `Part.faces`
and `Body.faces_as_given` stay as the file has them.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from lint3d.geometry.components import connected_groups
from lint3d.geometry.nesting import nest_shells
from lint3d.geometry.orientation import orient
from lint3d.geometry.shells import closed_shells, facet_volumes, split_shells, sum_by_shell
from lint3d.geometry.topology import edge_table
from lint3d.geometry.weld import stitch_open_edges, weld_exact
from lint3d.model import Body, Part, ReadPart, Shell, Source

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from lint3d.model import Floats, Ints

#: Above this number the open shells of a part are looked at as one body: a heap of loose
#: triangles is one fault, not a hundred thousand. common practice, no source
MANY_OPEN_SHELLS = 200
#: The same of loose pieces of so few faces that they enclose nothing: corners that miss each other
#: leave every face alone. common practice, no source
MANY_LOOSE_PIECES, FEWEST_FACES = 20, 4


def build_part(read: ReadPart, name: str, source: Source, factor: float, weld_mm: float) -> Part:
    """Weld, scale to mm and split into bodies.

    Parameters
    ----------
    read : what the reader found, in file units
    factor : mm in one file unit
    weld_mm : how far apart vertices on open edges may lie and still be one
    """
    vertices, index = weld_exact(read.vertices)
    faces = index[read.faces]
    del index
    if factor != 1.0:
        vertices *= factor
    faces, stitched = stitch_open_edges(vertices, faces, weld_mm)
    part = Part(
        name=name,
        source=source,
        vertices=vertices,
        faces=faces,
        facet=np.arange(len(faces)) if read.facet is None else read.facet,
        provenance=read.provenance,
        stitched=stitched,
        weld_tolerance_mm=weld_mm,
        notes=read.notes,
    )
    _split(part)
    for array in (part.vertices, part.faces, part.facet):
        array.setflags(write=False)
    return part


def _split(part: Part) -> None:
    """Fill in the part's shells and bodies."""
    vertices, faces = part.vertices, part.faces
    part.edges = table = edge_table(faces, len(vertices))
    label = split_shells(table, faces)
    closed = closed_shells(table, label)
    volumes = facet_volumes(vertices, faces, label)
    flipped = orient(table, volumes).is_flipped
    volumes[flipped] *= -1
    volume = sum_by_shell(volumes, label)
    del volumes
    parent, depth = nest_shells(vertices, faces, label, closed, flipped)
    rows = _rows_by_label(label, len(closed))
    part.shells = [
        Shell(rows[i], bool(closed[i]), float(volume[i]), int(depth[i])) for i in range(len(closed))
    ]
    groups = _body_groups(faces, label, parent, depth, closed)
    reversed_shell = closed & ((volume < 0) != (depth % 2 == 1))
    bodies = [
        _body(part, [part.shells[i] for i in group], flipped ^ reversed_shell[label])
        for group in _rows_by_label(groups, int(groups.max()) + 1 if len(groups) else 0)
    ]
    bodies.sort(key=_falling_volume)
    for number, body in enumerate(bodies, 1):
        body.name = part.name if number == 1 else f"{part.name}/{number}"
    part.bodies = bodies


def _rows_by_label(label: Ints, count: int) -> list[Ints]:
    """Row numbers of each label, ascending."""
    if count == 1:
        return [np.arange(len(label))]
    order = np.argsort(label, kind="stable")
    return np.split(order, np.searchsorted(label[order], np.arange(1, count)))


def _body_groups(
    faces: Ints, label: Ints, parent: Ints, depth: Ints, closed: NDArray[np.bool_]
) -> Ints:
    """(s,) which body each shell belongs to, numbered from 0."""
    count = len(parent)
    if count < 2:
        return np.zeros(count, np.int64)
    outer = depth % 2 == 0
    cavity = np.flatnonzero(~outer)
    links = [np.column_stack([cavity, parent[cavity]])]
    links.append(_sharing_a_vertex(faces, label, outer))
    loose = np.flatnonzero(outer & ~closed)
    if len(loose) > MANY_OPEN_SHELLS:
        links.append(np.column_stack([loose[:-1], loose[1:]]))
    pieces = loose[np.bincount(label, minlength=count)[loose] < FEWEST_FACES]
    if len(pieces) > MANY_LOOSE_PIECES:
        links.append(np.column_stack([pieces[:-1], pieces[1:]]))
    pairs = np.concatenate(links)
    return connected_groups(count, pairs[:, 0], pairs[:, 1])


def _sharing_a_vertex(faces: Ints, label: Ints, outer: Ints) -> Ints:
    """(k, 2) pairs of outer shells that meet at a vertex."""
    keep = outer[label]
    vertex, shell = faces[keep].ravel(), np.repeat(label[keep], 3)
    order = np.argsort(vertex, kind="stable")
    vertex, shell = vertex[order], shell[order]
    meets = (vertex[1:] == vertex[:-1]) & (shell[1:] != shell[:-1])
    return np.column_stack([shell[:-1][meets], shell[1:][meets]])


def _body(part: Part, shells: list[Shell], turn: Ints) -> Body:
    """One body: faces in the order of the file, turned to look out of the material."""
    shells = sorted(shells, key=lambda s: (s.depth % 2, -abs(s.volume), s.faces[0]))
    if len(part.shells) == len(shells):
        rows = np.arange(len(part.faces))
    else:
        rows = np.sort(np.concatenate([shell.faces for shell in shells]))
    vertices, given = part.vertices, part.faces
    if len(rows) < len(part.faces):
        given = given[rows]
        used = np.zeros(len(vertices), bool)
        used[given] = True
        number = np.cumsum(used) - 1
        vertices, given = vertices[used], number[given]
    faces, turned = given, turn[rows]
    if turned.any():
        faces = given.copy()
        faces[turned] = faces[turned][:, ::-1]
    for array in (vertices, given, faces, rows):
        array.setflags(write=False)
    return Body(
        name="",
        part=part,
        shells=shells,
        face_in_part=rows,
        vertices=vertices,
        faces=faces,
        faces_as_given=given,
    )


def _falling_volume(body: Body) -> tuple[float, ...]:
    """Sort key: large bodies first; where equal (to 9 digits), by their lowest corner."""
    volume = sum(abs(s.volume) for s in body.shells if s.depth % 2 == 0)
    low: Floats = body.vertices.min(axis=0) if len(body.vertices) else np.zeros(3)
    return (-float(f"{volume:.9g}"), *(round(float(x), 9) for x in low))
