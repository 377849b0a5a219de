"""Which hollows that look closed on the grid have a neck below its pitch?

A connected surface has one and the same free space all along its outer side. If its faces meet two
pieces of the grid's free space, the two are joined by a neck that the grid does not show. The neck
runs where faces of one piece give way to those of the other, over faces that no free point sees:
only the space about those is cut again, finer. Lengths in mm. Guarded by
tests/geometry/test_voids_narrow.py.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from lint3d.geometry.throats import Throat, Way
from lint3d.geometry.throats_clearance import Clearance
from lint3d.geometry.throats_length import NeckLengths
from lint3d.geometry.voids_crossings import Crossings
from lint3d.geometry.voids_led import GOOD_SHARE, contact_between, led_about
from lint3d.geometry.voids_model import NotSeen
from lint3d.geometry.voids_openings import (
    GRID_DOUBT,
    Contact,
    is_close,
    measure_closely,
    without_doubles,
)
from lint3d.geometry.voids_space import Space
from lint3d.geometry.voids_walls import Surface, Walls

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

#: A hollow narrower than this is a gap and no pocket, voxels of its radius.
GAP = 1.8
#: Necks followed for one hollow.
_MOST_NECKS = 16
#: How far about its shortest place a neck is followed first, times the way from there to the
#: farther piece, if that is less than this share of it.
_AROUND, _FEW = 1.5, 0.5


def find_hidden_necks(
    surface: Surface,
    space: Space,
    clearance: Clearance,
    left_out: list[NotSeen],
    limits: tuple[float, ...] = (),
) -> list[tuple[Contact, Throat]]:
    """Openings that the grid does not show, between hollows that it takes for closed.

    Hollows that the shells close as well are left alone. Where a neck must be there and cannot be
    followed, its throat has 0 as its lower bound, and `left_out` says so.
    """
    nearest = Clearance(surface.vertices, surface.faces)
    suspects = _suspects(surface, space, nearest)
    if not suspects:
        return []
    walls = Walls(surface, space, nearest, space.chambers.part, [0, *suspects])
    found: list[tuple[Contact, Throat]] = []
    done: set[tuple[int, int]] = set()
    for part in suspects:
        necks = walls.necks(part)[:_MOST_NECKS]
        followed: list[tuple[int, Throat]] = []
        borders: dict[int, Crossings] = {}
        for places, other in necks:
            if (other, part) in done or _is_passed(followed, other, places, space.grid.pitch):
                continue
            if other not in borders:
                borders[other] = Crossings(clearance, space, space.chambers.part, (part, other))
            if borders[other].is_known(places):
                continue
            done.add((part, other))
            one = follow(surface, walls, clearance, (part, other), places, limits, borders[other])
            if one is not None:
                found.append(one)
                followed.append((other, one[1]))
                borders[other].leads(one[1], places)
        if not any(part in _parts(space, contact) for contact, _ in found):
            found.append(_unfollowed(walls, part, 0, left_out))
    return without_doubles(sorted(found, key=lambda pair: -pair[1].lower), clearance)


def _is_passed(
    followed: list[tuple[int, Throat]], other: int, places: Floats, pitch: float
) -> bool:
    """Does a way that is known already lead past these places to the same piece?"""
    for to, throat in followed:
        if to == other and throat.lower > GOOD_SHARE * throat.upper:
            gap = cKDTree(throat.way.point).query(places)[0]
            if np.min(gap) < throat.diameter + 1.5 * pitch:
                return True
    return False


def _parts(space: Space, contact: Contact) -> set[int]:
    return {int(space.chambers.part[chamber]) for chamber in contact.chambers}


def _suspects(surface: Surface, space: Space, nearest: Clearance) -> list[int]:
    """Pieces of free space that the grid takes for closed and the shells do not."""
    chambers = space.chambers
    tops = []
    for part in np.unique(chambers.part[chambers.part > 0]):
        inside = np.flatnonzero(chambers.part == part)
        widest = inside[np.argmax(chambers.peak[inside])]
        if chambers.peak[widest] >= GAP:
            tops.append((int(part), int(chambers.top[widest])))
    if not tops:
        return []
    # The nearest face to a free point bounds the very space that the point is in.
    face = nearest.nearest(space.points(np.array([top for _, top in tops])))[1]
    region = surface.regions.region[surface.regions.of_face[face]]
    return [part for (part, _), one in zip(tops, region, strict=True) if one < 0]


def follow(
    surface: Surface,
    walls: Walls,
    clearance: Clearance,
    between: tuple[int, int],
    places: Floats,
    limits: tuple[float, ...] = (),
    crossings: Crossings | None = None,
) -> tuple[Contact, Throat] | None:
    """Find the way through a neck in finer and finer cells, and measure it.

    Parameters
    ----------
    between : pieces that it leads from and to
    places : (n, 3) mm, on the walls of the neck
    limits : mm, near which the bounds are to be close
    crossings : between the two pieces, if what passes is bounded there
    """
    space = walls.space
    if crossings is not None:
        some = _where_it_is_short(walls, between, places)
        if len(some) < _FEW * len(places):
            # A gap all round a lid is as wide all along, mostly; if not, the border tells.
            short = led_about(space, clearance, _ends(walls, between, some), some)
            if short is not None:
                found = crossings.squeezed(short[:2], limits)
                if is_close(found[1], limits):
                    return found
    led = led_about(space, clearance, _ends(walls, between, places), places)
    if led is None:
        return None
    contact, throat, finer = led
    if crossings is not None and not is_close(throat, limits):
        contact, throat = crossings.squeezed((contact, throat), limits)
    whole = surface.vertices, surface.faces
    bound = GRID_DOUBT * space.grid.pitch
    return contact, measure_closely(whole, clearance, throat, finer, bound, limits=limits)


def _ends(walls: Walls, between: tuple[int, int], places: Floats) -> tuple[int, int]:
    """Points at the walls of two pieces, nearest to places between them."""
    one, two = (walls.nearest_point(part, places) for part in between)
    return one, two


def _where_it_is_short(walls: Walls, between: tuple[int, int], places: Floats) -> Floats:
    """Of places in a neck those about the one from which it is least far to both pieces."""
    gaps = [cKDTree(walls.point[walls.part == part]).query(places)[0] for part in between]
    farther = np.maximum(*gaps)
    least = int(np.argmin(farther))
    near = np.linalg.norm(places - places[least], axis=1)
    return places[near < _AROUND * farther[least] + 4 * walls.space.grid.pitch]


def _unfollowed(
    walls: Walls, part: int, other: int, left_out: list[NotSeen]
) -> tuple[Contact, Throat]:
    """An opening that must be there and was not found: narrower than the grid can show."""
    space = walls.space
    inside = walls.row[walls.part == part]
    start = int(inside[np.argmax(space.distance.reshape(-1)[inside])])
    goal = walls.nearest_point(other, space.points(np.array([start])))
    ends = space.points(np.array([start, goal]))
    bound = GRID_DOUBT * space.grid.pitch
    left_out.append(
        NotSeen(
            f"A hollow is joined to the outside by a neck narrower than {bound:.3g} mm that could "
            "not be followed: its place is not known.",
            tuple(ends[0].tolist()),
        )
    )
    way = Way(ends, np.zeros(2))
    direction = (ends[1] - ends[0]) / max(float(np.linalg.norm(ends[1] - ends[0])), 1e-9)
    unknown = NeckLengths.known(0.0, 0.0, np.inf)
    throat = Throat(0.0, 0.0, bound, ends[0], direction, unknown, way, 0)
    return contact_between(space, start, goal), throat
