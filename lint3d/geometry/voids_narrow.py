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

from lint3d.geometry.throats import Throat, Way, narrowest
from lint3d.geometry.throats_clearance import Clearance
from lint3d.geometry.voids_cells import ways_through_cells
from lint3d.geometry.voids_crossings import Crossings
from lint3d.geometry.voids_model import NotSeen
from lint3d.geometry.voids_openings import (
    GRID_DOUBT,
    Contact,
    is_close,
    measure_closely,
    way_from_top,
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
#: A throat is followed well if its bounds are no farther apart than this.
_GOOD_SHARE = 0.9
#: How many cells wide its passing ball is: more of them until it is followed well.
_CELLS_ACROSS = (3.0, 6.0, 12.0)
#: Finer cells that let hardly a larger ball pass than the last ones are the end of it.
_GAINS = 1.01
#: How far about its shortest place a neck is followed first, times the way from there to the
#: farther piece, if that is less than this share of it.
_AROUND, _FEW = 1.5, 0.5
#: How far from the wall a way goes over to finer cells, voxels: more than its half diagonal.
_OFF_THE_WALL = 0.4


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
        if to == other and throat.lower > _GOOD_SHARE * throat.upper:
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
    border: Crossings | None = None,
) -> tuple[Contact, Throat] | None:
    """Find the way through a neck in finer and finer cells, and measure it.

    Parameters
    ----------
    between : pieces that it leads from and to
    places : (n, 3) mm, on the walls of the neck
    limits : mm, near which the bounds are to be close
    border : between the two pieces, if what passes is bounded there
    """
    if border is not None:
        some = _where_it_is_short(walls, between, places)
        if len(some) < _FEW * len(places):
            # A gap all round a lid is as wide all along, mostly; if not, the border tells.
            short = _led(walls, clearance, between, some)
            if short is not None:
                throat = border.bounded(short[1])
                if is_close(throat, limits):
                    return short[0], throat
    led = _led(walls, clearance, between, places)
    if led is None:
        return None
    contact, throat, finer = led
    if border is not None and not is_close(throat, limits):
        throat = border.bounded(throat)
    whole = surface.vertices, surface.faces
    bound = GRID_DOUBT * walls.space.grid.pitch
    return contact, measure_closely(whole, clearance, throat, finer, bound, limits=limits)


def _where_it_is_short(walls: Walls, between: tuple[int, int], places: Floats) -> Floats:
    """Of places in a neck those about the one from which it is least far to both pieces."""
    gaps = [cKDTree(walls.point[walls.part == part]).query(places)[0] for part in between]
    farther = np.maximum(*gaps)
    least = int(np.argmin(farther))
    near = np.linalg.norm(places - places[least], axis=1)
    return places[near < _AROUND * farther[least] + 4 * walls.space.grid.pitch]


def _led(
    walls: Walls, clearance: Clearance, between: tuple[int, int], places: Floats
) -> tuple[Contact, Throat, float] | None:
    """A way through the space about some places, and the size of the finest cells there, mm."""
    space = walls.space
    start, goal = (walls.nearest_point(part, places) for part in between)
    contact = _contact(space, start, goal, 0.0)
    halves = [
        _off_the_wall(way_from_top(space, clearance, chamber, point), clearance, space.grid.pitch)
        for chamber, point in zip(contact.chambers, contact.step, strict=True)
    ]
    if not all(len(half) for half in halves):
        return None
    pitch = space.grid.pitch
    ends = halves[0][-1], halves[1][-1]
    best: tuple[Contact, Throat, float] | None = None
    for middle, finer in ways_through_cells(clearance, places, ends, pitch, _CELLS_ACROSS):
        path = np.vstack([halves[0], middle, halves[1][::-1]])
        throat = narrowest(clearance, path, finer, GRID_DOUBT * pitch)
        gains = best is None or throat.lower > _GAINS * best[1].lower
        if best is None or throat.lower > best[1].lower:
            best = contact, throat, finer
        if best[1].lower > _GOOD_SHARE * best[1].upper or not gains:
            break
    return best


def _off_the_wall(way: Floats, clearance: Clearance, pitch: float) -> Floats:
    """A way without its last points that lie too near to the wall to go on from."""
    if len(way) == 0:
        return way
    free = np.flatnonzero(clearance.at(way) > _OFF_THE_WALL * pitch)
    return way[: free[-1] + 1] if len(free) else way


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
    throat = Throat(0.0, 0.0, bound, ends[0], direction, 0.0, 0.0, np.inf, way, 0)
    return _contact(space, start, goal, 0.0), throat


def _contact(space: Space, start: int, goal: int, width: float) -> Contact:
    label = space.basins.label.reshape(-1)
    one, two = (int(space.chambers.of_basin[label[end]]) for end in (start, goal))
    return Contact((one, two), (start, goal), width)
