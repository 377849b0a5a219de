"""Where do chambers meet, and how wide are they there?

Steps from one chamber to another that lie side by side are one opening. Each is measured exactly
along the widest way between the tops of both chambers. Two openings whose throats overlap are one
and the same. Lengths in mm. Guarded by tests/geometry/test_voids.py.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from lint3d.geometry.chambers import contacts
from lint3d.geometry.components import connected_groups
from lint3d.geometry.throats import Throat, glimpsed, narrowest
from lint3d.geometry.throats_clearance import Clearance
from lint3d.geometry.throats_route import tolerance_of
from lint3d.geometry.voids_box import box_grid, widest_way
from lint3d.geometry.voids_branches import Branches
from lint3d.geometry.voids_cells import way_through_cells
from lint3d.geometry.voids_cut import HIDDEN_RADIUS, Squares, widest_across
from lint3d.geometry.voids_space import Space
from lint3d.geometry.voids_straight import straightened
from lint3d.geometry.voids_tight import grown

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

#: Steps this near to each other belong to one opening, voxels.
_SIDE_BY_SIDE = 2.3
#: How much wider than the grid says a passage can be, voxels of its diameter.
GRID_DOUBT = 2 * HIDDEN_RADIUS
#: A throat whose bounds are farther apart than both of these is looked at on a finer grid; where no
#: limit is nearer to it than that, the second two do.
_GOOD_SHARE, _GOOD_MM = 0.01, 0.01
#: Near a limit they are to be no farther apart than this.
_NEAR_MM, _AT_BEST = 0.02, 2.5
_FAIR_SHARE, _FAIR_MM, FAR_FROM_LIMIT = 0.03, 0.02, 0.15
_FINER = 3
#: How often that is done.
FINER_ROUNDS = 2
_MOST_POINTS = 8e6
#: Branches of a duct that are followed besides the first, at most.
_MOST_BRANCHES = 6
#: Beyond this, times the width of an opening, the top of a chamber is wide enough anywhere.
_ROOMY = 1.25
#: Cells that the passing ball is wide where a neck is too long for a finer grid of its box.
_CELLS_ACROSS = 6.0
#: The way is the opening itself where it is no wider than this times its throat.
NARROW = 1.25
#: The line between two throats of one passage runs across both ways, as a cosine; and how many
#: balls are looked at on it at most.
_ACROSS, _MOST_ACROSS = 0.5, 400


@dataclass(frozen=True, eq=False)
class Contact:
    """An opening as the grid sees it."""

    chambers: tuple[int, int]
    step: tuple[int, int]
    """flat numbers of the two points of its widest step, in the order of `chambers`"""
    width: float
    """mm, diameter at that step by the grid"""
    steps: Ints | None = None
    """(k, 2) flat numbers of the points of every step, if the grid shows the opening"""


def find_contacts(space: Space) -> list[Contact]:
    """All openings between chambers, by falling width."""
    pair, step, value = contacts(
        space.basins, space.chambers, space.distance, space.reach / space.grid.pitch + 1.0
    )
    if len(pair) == 0:
        return []
    group = _side_by_side(space, pair, step)
    order = np.lexsort((step[:, 0], -value, group))
    begin = np.flatnonzero(np.diff(group[order], prepend=-1))
    members = dict(zip(order[begin].tolist(), np.split(order, begin[1:]), strict=True))
    first = order[begin]
    first = first[np.lexsort((step[first, 0], -value[first]))]
    pitch = space.grid.pitch
    return [
        Contact(
            (int(pair[row, 0]), int(pair[row, 1])),
            (int(step[row, 0]), int(step[row, 1])),
            2.0 * pitch * float(value[row]),
            step[members[row]],
        )
        for row in first.tolist()
    ]


def measure_contact(
    surface: tuple[Floats, Ints],
    space: Space,
    clearance: Clearance,
    contact: Contact,
    is_exact: bool = True,
    rounds: int = FINER_ROUNDS,
    limits: tuple[float, ...] = (),
) -> Throat | None:
    """The narrowest place between the tops of the two chambers, through this opening.

    Parameters
    ----------
    is_exact : False for a glimpse: the bounds of the grid and of the way on it
    rounds : of finer grids about the opening
    limits : mm, widths near which the bounds are to be close
    """
    halves = _halves(space, clearance, contact)
    if halves is None:
        return None
    pitch = space.grid.pitch
    bound = contact.width + GRID_DOUBT * pitch
    if not is_exact:
        throat = glimpsed(clearance, np.vstack([halves[0], halves[1][::-1]]), pitch, bound)
        throat, _ = _bounded(space, clearance, contact, throat, (bound, limits))
        return _guessed(clearance, space, contact, throat)

    def along(ways: list[Floats]) -> Throat:
        ways = [_from_middle(clearance, way, bound) for way in ways]
        path, opening = np.vstack([ways[0], ways[1][::-1]]), len(ways[0]) - 1
        throat = narrowest(clearance, path, pitch, bound, opening)
        throat, most = _bounded(space, clearance, contact, throat, (bound, limits))
        return measure_closely(surface, clearance, throat, pitch, most, rounds, limits)

    return _widest_branch(space, clearance, contact, halves, along, bound)


def _from_middle(clearance: Clearance, way: Floats, width: float) -> Floats:
    """A way from the middle of where it begins, if that is hardly wider than the opening.

    The top of a chamber is a point of the grid. In a junction of ducts it may lie so far off the
    middle that it, and not a duct, is the narrowest place.

    Parameters
    ----------
    width : mm, no opening is wider
    """
    free = clearance.at(way[:1])
    if not 0 < 2 * free[0] < _ROOMY * width:
        return way
    return np.concatenate([grown(clearance, way[:1], free, _ROOMY * width / 2)[0], way])


def _bounded(
    space: Space,
    clearance: Clearance,
    contact: Contact,
    throat: Throat,
    known: tuple[float, tuple[float, ...]],
) -> tuple[Throat, float]:
    """A throat bounded by the steps of its opening, and that bound, mm.

    Parameters
    ----------
    known : what bounds it on the grid, mm, and limits as for `measure_contact`
    """
    bound, limits = known
    if contact.steps is not None and not is_close(throat, limits):
        bound = min(bound, widest_across(clearance, space, contact.steps, throat.diameter))
        throat = replace(throat, upper=min(throat.upper, bound))
    return throat, bound


def _widest_branch(
    space: Space,
    clearance: Clearance,
    contact: Contact,
    halves: list[Floats],
    along: Callable[[list[Floats]], Throat],
    bound: float,
) -> Throat:
    """The throat of the widest way through an opening, beside which a duct may fork.

    Parameters
    ----------
    halves : (n, 3) mm each, the ways from the tops of both chambers to the opening
    along : measures the throat of a way in two such halves
    bound : mm, what is known of ways that are not followed
    """
    best = latest = along(halves)
    steps = np.array([contact.step]) if contact.steps is None else contact.steps
    branches = Branches(space, contact.chambers, steps)
    most = best.upper
    for followed in range(_MOST_BRANCHES + 1):
        ways = branches.ways_past(clearance, latest) if latest.lower > 0 else None
        if ways is None:
            break
        if followed == _MOST_BRANCHES:
            most = max(most, bound)
            break
        latest = along(
            [straightened(space.points(way), space.grid, space.distance, clearance) for way in ways]
        )
        most = max(most, latest.upper)
        if latest.lower > best.lower:
            best = latest
    return replace(best, upper=most)


def _guessed(clearance: Clearance, space: Space, contact: Contact, throat: Throat) -> Throat:
    """A throat that is only glimpsed, as wide as the opening is where the chambers meet.

    A way that is pulled to the middle only roughly may be far narrower than what it runs through.
    """
    if contact.steps is None:
        return throat
    squares = Squares.of_steps(space.grid, contact.steps)
    wide = 2 * squares.largest(clearance, throat.lower / 2)
    return replace(throat, diameter=min(max(throat.diameter, wide), throat.upper))


def is_close(throat: Throat, limits: tuple[float, ...] = ()) -> bool:
    """Do the bounds of a throat say all that is asked for?

    Parameters
    ----------
    limits : mm, widths near which more is asked for; everywhere if there are none
    """
    apart = throat.upper - throat.lower
    if limits and all(
        not throat.lower - FAR_FROM_LIMIT < limit < throat.upper + FAR_FROM_LIMIT
        for limit in limits
    ):
        return apart <= max(_FAIR_SHARE * throat.upper, _FAIR_MM)
    good = _GOOD_SHARE * throat.upper
    if limits:
        # No closer than the bounds of a way that is pulled to the middle come at best.
        good = min(good, max(_NEAR_MM, _AT_BEST * tolerance_of(throat.upper / 2)))
    return apart <= max(good, _GOOD_MM)


def measure_closely(
    surface: tuple[Floats, Ints],
    clearance: Clearance,
    throat: Throat,
    pitch: float,
    bound: float,
    rounds: int = FINER_ROUNDS,
    limits: tuple[float, ...] = (),
) -> Throat:
    """The same throat, on finer grids around it until its bounds are close."""
    for _ in range(rounds):
        if is_close(throat, limits):
            break
        pitch /= _FINER
        finer = measure_finer(surface, clearance, throat, pitch, bound)
        if finer is None:
            continue
        if finer.lower > throat.upper:
            # The widest way in that box leads through another opening, measured by itself.
            break
        upper = min(finer.upper, throat.upper)
        better = finer if finer.lower > throat.lower else throat
        throat = replace(better, upper=upper, diameter=min(better.diameter, upper))
    return throat


def measure_finer(
    surface: tuple[Floats, Ints], clearance: Clearance, throat: Throat, pitch: float, bound: float
) -> Throat | None:
    """The same throat, along a way found on a finer grid of the box around it."""
    point, width = throat.way.point, throat.way.width
    row = int(np.argmin(width))
    first = last = row
    wide = 1.2 * min(throat.upper, bound)
    while first > 0 and width[first] < wide:
        first -= 1
    while last + 1 < len(width) and width[last] < wide:
        last += 1
    box = point[first : last + 1]
    reach = 1.5 * wide
    grid = box_grid(box.min(axis=0) - reach, box.max(axis=0) + reach, pitch, _MOST_POINTS)
    if grid.pitch > 0.9 * pitch * _FINER:
        # The box of a long neck askew is too large for a finer grid; what is about it is not.
        line = _dense(box, pitch * _FINER / 2)
        found = way_through_cells(
            clearance, line, (point[first], point[last]), pitch * _FINER, _CELLS_ACROSS
        )
    else:
        middle = widest_way(*surface, grid, point[first], point[last])
        found = None if middle is None else (middle, grid.pitch)
    if found is None:
        return None
    path = np.vstack([point[: first + 1], found[0], point[last:]])
    return narrowest(clearance, path, found[1], bound)


def _dense(line: Floats, apart: float) -> Floats:
    """A line with points no farther apart than given."""
    step = np.linalg.norm(np.diff(line, axis=0), axis=1)
    along = np.concatenate([[0.0], np.cumsum(step)])
    at = np.union1d(along, np.linspace(0.0, along[-1], int(along[-1] / apart) + 2))
    return np.column_stack([np.interp(at, along, line[:, axis]) for axis in range(3)])


def without_doubles(
    measured: list[tuple[Contact, Throat]], clearance: Clearance
) -> list[tuple[Contact, Throat]]:
    """Leave out openings that are one passage with a wider one between the same two.

    Parameters
    ----------
    measured : the best ones first: of two that are the same the first is kept
    """
    # Passages beside one another hang together in a chain: the gap round a lid is one opening.
    groups: list[list[tuple[Contact, Throat]]] = []
    for contact, throat in measured:
        same = [
            group
            for group in groups
            if set(group[0][0].chambers) == set(contact.chambers)
            and any(is_one_passage(clearance, throat, seen) for _, seen in group)
        ]
        if not same:
            groups.append([(contact, throat)])
            continue
        same[0] += [(contact, throat), *(one for group in same[1:] for one in group)]
        groups = [group for group in groups if not any(group is gone for gone in same[1:])]
    return [group[0] for group in groups]


def runs_through(one: Throat, two: Throat) -> bool:
    """Does a ball on the way of one overlap the throat of the other, in the same passage?"""
    for throat, other in ((one, two), (two, one)):
        gap = np.linalg.norm(throat.way.point - other.position, axis=1)
        if np.any(gap < (np.minimum(throat.way.width, other.diameter) + other.diameter) / 2):
            return True
    return False


def is_one_passage(clearance: Clearance, one: Throat, two: Throat) -> bool:
    """Do two ways lead through the same neck?

    So they do if one runs through the throat of the other, or if nothing stands between a throat
    and the narrow part of the other way: between the arms of a cross, or the ends of a slit.
    """
    return runs_through(one, two) or any(
        sees_across(clearance, throat.position, throat.lower, other, throat.direction)
        for throat, other in ((one, two), (two, one))
    )


def sees_across(
    clearance: Clearance,
    place: Floats,
    width: float,
    throat: Throat,
    direction: Floats | None = None,
) -> bool:
    """Is the straight line from a place to the nearest narrow point of a way free?

    Parameters
    ----------
    place : (3,) mm, in the free space
    width : mm, of a ball about it that touches no facet
    throat : of the way, which the line must run across
    direction : unit vector; across which it must run as well
    """
    widest = NARROW * max(throat.diameter, float(throat.way.width.min()))
    narrow = throat.way.point[throat.way.width <= widest]
    step = 0.25 * min(width, throat.lower)
    if len(narrow) == 0 or step <= 0:
        return False
    end = narrow[np.argmin(np.linalg.norm(narrow - place, axis=1))]
    line = end - place
    length = float(np.linalg.norm(line))
    ways = [throat.direction] if direction is None else [throat.direction, direction]
    along = max(abs(float(line @ way)) for way in ways)
    count = int(np.ceil(length / step)) + 1
    # Along a way its bends and branches are seen, too: they are others.
    if along > _ACROSS * length or count > _MOST_ACROSS:
        return False
    share = np.linspace(0.0, 1.0, count)[:, None]
    free = clearance.at(place + share * line)
    return bool(free.min() > 0.51 * step)


def _halves(space: Space, clearance: Clearance, contact: Contact) -> list[Floats] | None:
    """The ways from the tops of two chambers to an opening; None if a top cannot be reached."""
    halves = [
        way_from_top(space, clearance, chamber, point)
        for chamber, point in zip(contact.chambers, contact.step, strict=True)
    ]
    return halves if all(len(half) for half in halves) else None


def way_from_top(space: Space, clearance: Clearance, chamber: int, point: int) -> Floats:
    """(n, 3) mm, the widest way from the top of a chamber to one of its points, made straight."""
    basin = int(space.basins.label.reshape(-1)[point])
    goal = 0 if chamber == 0 else _top_basin(space, chamber)
    chain, gates = space.chain(goal, basin)
    if not chain:
        return np.zeros((0, 3))
    way = space.points(space.way(chain, gates, point))
    return straightened(way, space.grid, space.distance, clearance)


def _top_basin(space: Space, chamber: int) -> int:
    return int(space.basins.label.reshape(-1)[space.chambers.top[chamber]])


def _side_by_side(space: Space, pair: Ints, step: Ints) -> Ints:
    """(k,) which steps between the same two chambers lie next to each other?"""
    middle = (
        np.stack(np.unravel_index(step[:, 0], space.grid.shape), axis=-1)
        + np.stack(np.unravel_index(step[:, 1], space.grid.shape), axis=-1)
    ) / 2.0
    links = cKDTree(middle).query_pairs(_SIDE_BY_SIDE, output_type="ndarray")
    same = (pair[links[:, 0]] == pair[links[:, 1]]).all(axis=1)
    links = links[same]
    between = np.rint((middle[links[:, 0]] + middle[links[:, 1]]) / 2).astype(np.int64)
    free = ~space.raster.solid[tuple(between.T)]
    return connected_groups(len(step), links[free, 0], links[free, 1])
