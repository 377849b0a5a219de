"""Which hollows does a part have, and how do they lead to the outside?

A *pocket* is a hollow that meets the outside only through something narrower than itself, or not at
all: cups, dishes, recesses and through holes are none. The free space is cut into chambers on a
grid; whether a hollow is closed is decided by its shells and not by the grid; every opening is
measured exactly on the facets. Lengths in mm. Guarded by tests/geometry/test_voids.py.

References
----------
Openings as the widest path through a space: M. Pollack, "The maximum capacity through a network",
Operations Research 8 (1960) 733: the way along a maximum spanning tree is the widest.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from lint3d.geometry.raster import Grid
from lint3d.geometry.throats import Throat
from lint3d.geometry.throats_clearance import Clearance
from lint3d.geometry.topology import edge_table, is_in_pieces
from lint3d.geometry.voids_bridges import with_shared_gaps
from lint3d.geometry.voids_gap import gaps_as_one
from lint3d.geometry.voids_model import NotSeen, SealedPocket, Voids
from lint3d.geometry.voids_narrow import find_hidden_necks
from lint3d.geometry.voids_openings import (
    FINER_ROUNDS,
    Contact,
    find_contacts,
    is_close,
    measure_contact,
    without_doubles,
)
from lint3d.geometry.voids_region import regions_of_hollows
from lint3d.geometry.voids_second import find_second_ways
from lint3d.geometry.voids_shells import shell_regions
from lint3d.geometry.voids_space import MARGIN, POINTS_PER_WIDTH, Space, build_space
from lint3d.geometry.voids_trunks import with_trunks
from lint3d.geometry.voids_union import united
from lint3d.geometry.voids_walls import Surface
from lint3d.geometry.voids_ways import find_pockets, put_side_by_side

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

#: A grid that is coarser than wanted by no more than this resolves the same.
_HARDLY_COARSER = 1.1
#: Faces of a hollow from which a ball is grown to find its middle.
_FACES_TRIED = 32
#: The middle of a hollow tells where it is if its ball is no smaller than this times the largest.
_AS_MUCH_ROOM = 0.9
#: Openings between two chambers that are looked at on finer grids though it does not help: a gap
#: all round a lid meets the grid in dozens of places, and a box shows but a part of it; and those
#: that are measured exactly at all.
_IN_VAIN_MOST, _IN_VAIN_EXACT = 2, 4
#: Bytes a grid point costs at the worst moment.
BYTES_PER_POINT = 13
_IN_PIECES = (
    "Most faces hang together with no other, so it is not known what they enclose; "
    "solid/open-edge tells more."
)
#: mm3 of volume an error of one float32 step over the whole surface stands for.
_FLOAT32_STEP = 2.0**-23


@dataclass(frozen=True)
class Effort:
    """How much may a search cost?"""

    memory_bytes: float = 1.9e9
    workers: int = 1
    most_openings: int = 48
    """openings of a region that are measured exactly; the rest keep the bounds of the grid"""


def find_voids(
    vertices: Floats,
    faces: Ints,
    low: float,
    high: float,
    *,
    effort: Effort | None = None,
    limits: tuple[float, ...] = (),
    coordinate_step: float = 0.0,
) -> Voids:
    """Find every hollow, what it holds and how it leads to the outside.

    Parameters
    ----------
    vertices : (n, 3) float64, mm
    faces : (m, 3) int64, turned so that they look out of the material; all bodies that are looked
        at together
    low, high : mm, widths between which throats matter; the grid resolves `low`, and what is wider
        than `high` is not told apart from the outside
    effort : bounds on memory and work
    limits : mm, widths that throats will be compared with; where there are very many openings
        those nearest to a limit are measured exactly first
    coordinate_step : mm, how far coordinates may be off, if by more than a step of float32

    Returns
    -------
    Voids : `left_out` says what could not be seen and why

    Examples
    --------
    A cube has no hollow:

    >>> import trimesh
    >>> cube = trimesh.creation.box((10, 10, 10))
    >>> found = find_voids(cube.vertices, cube.faces, 1.5, 5.0)
    >>> found.sealed, found.pockets
    ([], [])
    """
    effort = effort or Effort()
    vertices = np.asarray(vertices, np.float64)
    faces = np.asarray(faces, np.int64)
    if len(faces) == 0:
        return Voids(pitch=low / POINTS_PER_WIDTH, left_out=[NotSeen("There are no faces.")])
    voids = Voids(pitch=low / POINTS_PER_WIDTH)
    if is_in_pieces(edge_table(faces, len(vertices))):
        voids.left_out.append(NotSeen(_IN_PIECES))
        return voids
    surface = Surface(vertices, faces, shell_regions(vertices, faces))
    clearance = voids.clearance = Clearance(vertices, faces)
    settled = np.isin(surface.regions.region, surface.regions.cavities())
    boxes = regions_of_hollows(vertices, faces, settled[surface.regions.of_face])
    graphs = []
    for box in boxes:
        grid, reason = choose_grid(box, low, effort.memory_bytes / len(boxes))
        if reason and not any(reason == one.reason for one in voids.left_out):
            voids.left_out.append(NotSeen(reason))
        voids.pitch = max(voids.pitch, grid.pitch)
        space = build_space(vertices, faces, grid, high / 2 + 2 * grid.pitch, effort.workers)
        voids.spaces.append(space)
        voids.leaks += len(space.raster.leaking)
        if space.raster.deepest > 1 and not voids.overlaps:
            voids.overlaps = True
            surface = _one_surface(surface, voids)
        openings = _openings((vertices, faces), space, clearance, effort, limits)
        openings += find_hidden_necks(surface, space, clearance, voids.left_out, limits)
        graph, pockets = find_pockets(space, clearance, openings, high)
        found = openings
        if pockets:
            found = openings + find_second_ways(surface, space, clearance, graph, limits)
            found = gaps_as_one(space, clearance, graph, found, limits)
        if found != openings:
            graph, pockets = find_pockets(space, clearance, found, high)
        pockets = with_shared_gaps(graph, pockets, clearance, limits)
        graphs.append((graph, with_trunks(space, clearance, graph, pockets, high)))
    if voids.overlaps:
        # A union leaves slivers where walls coincide: what looks like a neck may be none.
        voids.left_out = [
            replace(one, may_be_sealed=True) if one.position is not None else one
            for one in voids.left_out
        ]
    voids.graph, voids.pockets = put_side_by_side(graphs)
    voids.sealed = _sealed_pockets(surface, coordinate_step)
    if voids.leaks:
        voids.left_out.append(
            NotSeen(
                "The surface is open; what lies behind the gaps was decided by the vote of three "
                "directions. Close the surface first (solid/open-edge)."
            )
        )
    return voids


def choose_grid(box: tuple[Floats, Floats], low: float, memory_bytes: float) -> tuple[Grid, str]:
    """A grid that resolves a width, or the finest that memory allows, and what to say then."""
    wanted = low / POINTS_PER_WIDTH
    size = np.maximum(box[1] - box[0], wanted)
    most = memory_bytes / BYTES_PER_POINT
    pitch = wanted
    while np.prod(size / pitch + 2 * MARGIN + 2) > most:
        pitch *= 1.05
    reason = ""
    if pitch > _HARDLY_COARSER * wanted:
        reason = (
            f"A grid of {wanted:.3g} mm would not fit in {memory_bytes / 1e9:.2g} GB; it has "
            f"{pitch:.3g} mm. Chambers and throats below {POINTS_PER_WIDTH * pitch:.3g} mm may be "
            "missed. Split the part, or allow more memory."
        )
    return Grid.around(*box, pitch, MARGIN), reason


def _one_surface(surface: Surface, voids: Voids) -> Surface:
    """The common surface of overlapping bodies."""
    joined = united(surface.vertices, surface.faces, surface.regions.of_face)
    if joined is None:
        voids.left_out.append(
            NotSeen(
                "Bodies overlap and could not be made one, because they are not sound. Hollows "
                "between them are judged on the grid only.",
                may_be_sealed=True,
            )
        )
        return surface
    return Surface(*joined, shell_regions(*joined))


def _sealed_pockets(surface: Surface, coordinate_step: float) -> list[SealedPocket]:
    """Hollows that shells close, by falling volume."""
    regions = surface.regions
    nearest = Clearance(surface.vertices, surface.faces)
    found = []
    for cavity in regions.cavities():
        inside = np.flatnonzero(regions.region == cavity)
        loose = inside[inside != cavity]
        volume = float(-regions.volume[inside].sum())
        if regions.volume[cavity] > 0:
            # Turned the wrong way: what is inside counts as material. `solid/inside-out` tells.
            continue
        rows = np.flatnonzero(np.isin(regions.of_face, inside))
        corner = surface.vertices[surface.faces[rows]].reshape(-1, 3)
        low, high = corner.min(axis=0), corner.max(axis=0)
        step = max(float(np.abs(corner).max()) * _FLOAT32_STEP, coordinate_step)
        found.append(
            SealedPocket(
                volume,
                float(regions.area[inside].sum()) * step,
                _inside(surface, nearest, rows),
                float((high - low).max()),
                rows,
                len(loose),
            )
        )
    return sorted(found, key=lambda pocket: (-pocket.volume, *pocket.position))


def _inside(surface: Surface, nearest: Clearance, rows: Ints) -> Floats:
    """A point well inside a hollow: the middle of the largest ball that touches one of its faces.

    A few of the largest faces are tried; the balls stay in the hollow, for they grow from its wall.
    """
    corner = surface.vertices[surface.faces[rows]]
    normal = np.cross(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0])
    area = np.linalg.norm(normal, axis=1)
    tried = np.argsort(-area, kind="stable")[:_FACES_TRIED]
    foot, normal = corner[tried].mean(axis=1), normal[tried] / area[tried, None]
    low = np.zeros(len(tried))
    high = np.full(len(tried), float(np.ptp(corner.reshape(-1, 3), axis=0).max()))
    for _ in range(24):
        middle = (low + high) / 2
        fits = nearest.at(foot + normal * middle[:, None]) > 0.999 * middle
        low, high = np.where(fits, middle, low), np.where(fits, high, middle)
    best = int(np.argmax(low))
    inside: Floats = foot[best] + normal[best] * low[best]
    # Where its middle has as much room, that is the place: it does not depend on the facets.
    centre = np.average(corner.mean(axis=1), axis=0, weights=area)
    room, face, place = nearest.nearest(centre[None])
    way_out = np.cross(*np.diff(nearest.corners[face[0]], axis=0)) @ (centre - place[0])
    is_free = way_out > 0 and face[0] in rows
    return centre if is_free and room[0] > _AS_MUCH_ROOM * low[best] else inside


def _openings(
    surface: tuple[Floats, Ints],
    space: Space,
    clearance: Clearance,
    effort: Effort,
    limits: tuple[float, ...],
) -> list[tuple[Contact, Throat]]:
    """Every opening between chambers, measured."""
    found = find_contacts(space)
    if len(found) > effort.most_openings and limits:
        nearest = [min(abs(contact.width - limit) for limit in limits) for contact in found]
        found = [found[i] for i in np.argsort(nearest, kind="stable")]
    measured = []
    in_vain: Counter[frozenset[int]] = Counter()
    for number, contact in enumerate(found):
        between = frozenset(contact.chambers)
        is_exact = number < effort.most_openings and in_vain[between] < _IN_VAIN_EXACT
        rounds = FINER_ROUNDS if in_vain[between] < _IN_VAIN_MOST else 0
        throat = measure_contact(surface, space, clearance, contact, is_exact, rounds, limits)
        if throat is not None:
            measured.append((contact, throat))
            in_vain[between] += not is_close(throat, limits)
    measured.sort(key=lambda pair: -pair[1].lower)
    return without_doubles(measured, clearance)
