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

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lint3d.geometry.raster import Grid
from lint3d.geometry.throats import Throat
from lint3d.geometry.throats_clearance import Clearance
from lint3d.geometry.voids_model import NotSeen, SealedPocket, Voids
from lint3d.geometry.voids_narrow import Surface, find_hidden_necks
from lint3d.geometry.voids_openings import (
    Contact,
    find_contacts,
    measure_contact,
    without_doubles,
)
from lint3d.geometry.voids_shells import shell_regions
from lint3d.geometry.voids_space import MARGIN, POINTS_PER_WIDTH, Space, build_space
from lint3d.geometry.voids_union import united
from lint3d.geometry.voids_ways import find_pockets

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

#: Smaller hollows on the grid are noise in tight gaps unless the shells say otherwise, points.
CRUMB = 25
#: Bytes a grid point costs at the worst moment.
BYTES_PER_POINT = 14
#: mm3 of volume an error of one float32 step over the whole surface stands for.
_FLOAT32_STEP = 2.0**-23


@dataclass(frozen=True)
class Effort:
    """How much may a search cost?"""

    memory_bytes: float = 1.5e9
    workers: int = 1
    most_openings: int = 400
    """openings that are measured exactly; the rest keep what the grid says"""


def find_voids(
    vertices: Floats,
    faces: Ints,
    low: float,
    high: float,
    *,
    effort: Effort | None = None,
    limits: tuple[float, ...] = (),
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
    grid, reason = choose_grid(vertices[faces.reshape(-1)], low, effort.memory_bytes)
    regions = shell_regions(vertices, faces)
    space = build_space(vertices, faces, grid, high / 2 + 2 * grid.pitch, effort.workers)
    voids = Voids(pitch=grid.pitch, leaks=len(space.raster.leaking))
    surface = Surface(vertices, faces, regions)
    if space.raster.deepest > 1:
        voids.overlaps = True
        surface = _one_surface(surface, voids)
    if reason:
        voids.left_out.append(NotSeen(reason))
    if voids.leaks:
        voids.left_out.append(NotSeen(
            "The surface is open; what lies behind the gaps was decided by the vote of three "
            "directions. Close the surface first (solid/open-edge)."
        ))
    clearance = Clearance(vertices, faces)
    voids.space, voids.clearance = space, clearance
    voids.sealed = _sealed_pockets(surface, space)
    openings = _openings((vertices, faces), space, clearance, effort, limits)
    openings += find_hidden_necks(surface, space, clearance, voids.left_out)
    voids.graph, voids.pockets = find_pockets(space, clearance, openings, high)
    return voids


def choose_grid(points: Floats, low: float, memory_bytes: float) -> tuple[Grid, str]:
    """A grid that resolves a width, or the finest that memory allows, and what to say then."""
    box = points.min(axis=0), points.max(axis=0)
    wanted = low / POINTS_PER_WIDTH
    size = np.maximum(box[1] - box[0], wanted)
    most = memory_bytes / BYTES_PER_POINT
    pitch = wanted
    while np.prod(size / pitch + 2 * MARGIN + 2) > most:
        pitch *= 1.05
    reason = ""
    if pitch > wanted:
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
        voids.left_out.append(NotSeen(
            "Bodies overlap and could not be made one, because they are not sound. Hollows between "
            "them are judged on the grid only."
        ))
        return surface
    return Surface(*joined, shell_regions(*joined))


def _sealed_pockets(surface: Surface, space: Space) -> list[SealedPocket]:
    """Hollows that shells close, by falling volume."""
    regions = surface.regions
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
        step = float(np.abs(corner).max()) * _FLOAT32_STEP
        found.append(SealedPocket(
            volume, float(regions.area[inside].sum()) * step,
            _inside(surface, space, int(cavity), low, high), float((high - low).max()), rows,
            len(loose),
        ))
    return sorted(found, key=lambda pocket: (-pocket.volume, *pocket.position))


def _inside(surface: Surface, space: Space, cavity: int, low: Floats, high: Floats) -> Floats:
    """Where the largest ball in a cavity is by the grid; the middle of its box if unseen."""
    grid = space.grid
    first, last = grid.index(low), grid.index(high) + 1
    box = tuple(slice(a, b) for a, b in zip(first, last, strict=True))
    part = np.where(space.core[box], 0.0, space.distance[box])
    middle: Floats = (low + high) / 2
    for _ in range(8):
        at = np.unravel_index(int(np.argmax(part)), part.shape)
        if part[at] <= 0:
            return middle
        point = grid.point(np.array(at) + first)
        face = Clearance(surface.vertices, surface.faces).nearest(point[None])[1][0]
        if surface.regions.region[surface.regions.of_face[face]] == cavity:
            return point
        part[at] = 0
    return middle


def _openings(
    surface: tuple[Floats, Ints], space: Space, clearance: Clearance, effort: Effort,
    limits: tuple[float, ...],
) -> list[tuple[Contact, Throat]]:
    """Every opening between chambers, measured."""
    found = find_contacts(space)
    if len(found) > effort.most_openings and limits:
        nearest = [min(abs(contact.width - limit) for limit in limits) for contact in found]
        found = [found[i] for i in np.argsort(nearest, kind="stable")]
    measured = []
    for contact in found[: effort.most_openings]:
        throat = measure_contact(surface, space, clearance, contact)
        if throat is not None:
            measured.append((contact, throat))
    measured.sort(key=lambda pair: -pair[1].diameter)
    return without_doubles(measured)
