"""What does an opening hold that is too small to let go of the liquid above it?

A pocket is stood for by points spread over its space: what lies lower than the head that the
opening holds stays. Everything here holds for a liquid: support above the temperature at which it
congeals. Lengths in mm, volumes in mm3. Guarded by tests/plugins/test_drain_held.py.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from lint3d import Place
from lint3d.geometry.pools_laws import Liquid, head_held_mm, self_venting_mm
from lint3d.geometry.pools_sphere import around, caps, coarse_triangles, directions, split
from lint3d.geometry.portions import chunks
from lint3d_plugins.drain_hollows import Hollow
from lint3d_plugins.drain_liquid import WHILE_MOLTEN
from lint3d_plugins.drain_necks import necks
from lint3d_plugins.drain_places import MUCH_WIDER, neck_place

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from lint3d.geometry.voids_model import Pocket

    Floats = NDArray[np.float64]
    Ints = NDArray[np.int64]

#: Positions that are tried for what an opening holds, and how far a direction may lie from the
#: nearest of them, rad (`test_every_direction_is_near_one_that_is_tried`).
TRIES, BETWEEN = 1000, 0.09
#: The best of them is bettered by turns down to this, rad.
FINEST = 0.004
#: Pieces of the sphere are cut down to this, rad, unless they hold this share of the least known.
FINEST_PIECE, CLOSE_ENOUGH = 0.012, 0.97
#: Points times positions at once, and beyond which pieces are not cut further.
PRODUCTS_AT_ONCE, PRODUCTS_MOST = 2_000_000, 80_000_000
#: Points that stand for the space of a pocket.
SAMPLES = 4000
#: Scatters numbers: 2³² over the golden ratio (D. Knuth, The Art of Computer Programming 3, 6.4).
_SCATTER = 2_654_435_769
#: A neck ends where the way is wider than this times its throat.
NECK = 1.05


@dataclass(frozen=True, eq=False)
class Held:
    """What an opening does not let go of, in the position where that is least."""

    volume: float
    lower: float
    upper: float
    head: float
    """mm, how high the liquid may stand above the opening"""
    up: Floats
    """(3,) unit vector, the position"""


def held_by(
    liquid: Liquid, pockets: Sequence[Pocket], points: Sequence[Floats], pitch: float
) -> Held:
    """What stays in pockets because their common throat is too small to let go of the head.

    Parameters
    ----------
    pockets : all with the same throat
    points : (k, 3) mm for each pocket, spread evenly over its space
    pitch : mm, of the grid that the points come from
    """
    throat = pockets[0].throat
    ups = directions(TRIES)
    offset = np.concatenate(points) - _outlet(pockets[0])
    # A point stands for its cell, half of which lies lower.
    doubt = pitch / 2
    # Where on a neck the grid ends a pocket is chance: what fills the neck is not the pocket's.
    share = [_outside_neck(pockets[0], some) / max(len(some), 1) for some in points]
    for number, pocket in enumerate(pockets[1:], 1):
        share[number] *= not _is_bend(pockets[0], pocket)
    volume, least, most = (
        np.concatenate([s * v for s, v in zip(share, volumes, strict=True)])
        for volumes in (
            [p.volume for p in pockets],
            [p.volume_lower for p in pockets],
            [p.volume_upper for p in pockets],
        )
    )
    head = _head(liquid, throat.diameter)
    first, value = _least_of(offset, head, volume, ups)
    up, value = _bettered(
        lambda one: float(_share_below(offset @ one[:, None], head, volume)[0]),
        ups[first],
        value,
    )
    lower = 0.0
    if value > 0:
        lower = least_below(offset, _head(liquid, throat.upper) - doubt, least)
    upper = _share_below((offset @ up)[:, None] - doubt, _head(liquid, throat.lower), most)[0]
    return Held(
        value,
        min(float(lower), value),
        max(float(upper), value),
        head,
        up,
    )


def least_below(offset: Floats, head: float, volume: Floats) -> float:
    """mm3 of what stands lower than a head in every position for certain.

    The sphere of all positions is cut into pieces, and those with the least are cut again.

    Parameters
    ----------
    offset : (n, 3) mm, from the opening
    volume : (n,) mm3, that each point stands for
    """
    pieces, known = coarse_triangles(), np.inf
    while len(pieces):
        middle, angle = caps(pieces)
        bound, below = _below_in_caps(offset, head, volume, middle, angle)
        if angle.max() <= FINEST_PIECE or 4 * len(pieces) * len(offset) > PRODUCTS_MOST:
            return float(min(known, bound.min()))
        # No position has less than the least bound, nor need any be known closer than this.
        is_open = bound < CLOSE_ENOUGH * below.min()
        known = min(known, float(bound[~is_open].min(initial=np.inf)))
        pieces = split(pieces[is_open])
    return known


def _least_of(offset: Floats, head: float, volume: Floats, ups: Floats) -> tuple[int, float]:
    """Which of some positions has the least below the head, the first among equals; mm3."""
    best, least = 0, np.inf
    for some in chunks(len(ups), max(PRODUCTS_AT_ONCE // len(offset) // 8, 1)):
        below = _share_below(offset @ ups[some].T, head, volume)
        at = int(np.argmin(below))
        if below[at] < least:
            best, least = some.start + at, float(below[at])
        if least <= 0:
            break
    return best, least


def _below_in_caps(
    offset: Floats, head: float, volume: Floats, middle: Floats, angle: Floats
) -> tuple[Floats, Floats]:
    """(k,) mm3 below the head in all positions within an angle of one, and in that one."""
    length = np.linalg.norm(offset, axis=1)[:, None]
    bound, below = np.zeros(len(middle)), np.zeros(len(middle))
    for some in chunks(len(middle), max(PRODUCTS_AT_ONCE // len(offset), 1)):
        along = offset @ middle[some].T
        aside = np.sqrt(np.maximum(length**2 - along**2, 0.0))
        cosine, sine = np.cos(angle[some]), np.sin(angle[some])
        # As high as a point gets there.
        highest = np.where(along >= length * cosine, length, along * cosine + aside * sine)
        bound[some] = _share_below(highest, head, volume)
        below[some] = _share_below(along, head, volume)
    return bound, below


def _bettered(left: Callable[[Floats], float], up: Floats, value: float) -> tuple[Floats, float]:
    """Turned by smaller and smaller steps to where less is left, whatever the part's frame."""
    step, turned = BETWEEN, 0
    while step > FINEST and value > 0:
        found = [(left(one), i, one) for i, one in enumerate(around(up, step, turned))]
        least, _, one = min(found, key=lambda item: item[:2])
        if least < value:
            up, value = one, least
        else:
            step, turned = step / 2, turned + 1
    return up, value


def held_places(hollow: Hollow, liquid: Liquid) -> list[tuple[int, Place]]:
    """A place for what each throat holds, with the number of the connected hollow it is part of."""
    every = necks(hollow, lambda pocket: pocket.throat)
    # What lets go of any head holds nothing, wherever the liquid stands.
    is_any_held = any(_head(liquid, neck.throat.lower) > 0 for neck in every)
    points = sample(hollow) if is_any_held else {}
    found = []
    for neck in every:
        some = [points.get(one.node, one.position[None]) for one in neck.pockets]
        kept = held_by(liquid, neck.pockets, some, hollow.voids.pitch)
        head = f"{kept.head:.3g} mm of liquid" if math.isfinite(kept.head) else "any head"
        remark = (
            f"An opening {neck.width} wide holds {head}: {kept.volume:.4g} of {neck.volume:.4g} "
            f"mm³ stay. {WHILE_MOLTEN}"
        )
        facts = {
            "head_held_mm": kept.head if math.isfinite(kept.head) else None,
            "up": kept.up.tolist(),
        }
        value = (kept.volume, kept.lower, kept.upper)
        found.append((neck.system, neck_place(neck, value, remark, **facts)))
    return found


def sample(hollow: Hollow) -> dict[int, Floats]:
    """Points spread over the space of each pocket, by its node: (k, 3) mm."""
    found: dict[int, Floats] = {}
    for space in hollow.spaces():
        pockets = hollow.members(space)
        if not pockets:
            continue
        node = np.full(len(space.chambers.peak), -1, np.int64)
        for one, owners in pockets.items():
            node[one] = owners[0].node
        volume = np.bincount(node[node >= 0], space.chambers.volume[node >= 0])
        points = {one: -(-int(volume[one]) // SAMPLES) for one in np.unique(node[node >= 0])}
        for one, rows in _every(space.basins.label, node[space.chambers.of_basin], points).items():
            found[one] = hollow.to_file(space.points(rows))
    return found


def _every(label: NDArray[np.int32], node: Ints, steps: dict[int, int]) -> dict[int, Ints]:
    """Flat numbers of every so many points of each node, without a copy of the grid.

    Parameters
    ----------
    label : grid, basin of each point; −1 in the material
    node : (n,) node of each basin; −1 where it is none in question
    steps : of how many points of each node one is taken
    """
    flat = label.reshape(-1)
    passed = dict.fromkeys(steps, 0)
    found: dict[int, list[Ints]] = {one: [] for one in steps}
    node = node.astype(np.int32)
    for some in chunks(len(flat)):
        free = np.flatnonzero(flat[some] >= 0)
        owner = node[flat[some][free]]
        for one in np.flatnonzero(np.bincount(owner[owner >= 0])).tolist():
            rows = free[owner == one]
            number = np.arange(passed[one], passed[one] + len(rows))
            found[one].append(rows[_is_chosen(number, steps[one])] + some.start)
            passed[one] += len(rows)
    return {one: np.concatenate(rows) for one, rows in found.items() if rows}


def _is_chosen(number: Ints, step: int) -> NDArray[np.bool_]:
    """One of every `step` numbers in a row, and not always the same one.

    Where a room is as long as some steps, points an equal step apart would lie in a few planes.
    """
    block = number // step
    return number % step == (block * _SCATTER >> 7) % step


def _outside_neck(pocket: Pocket, points: Floats) -> Floats:
    """(k,) 0 for points that lie in the neck of a pocket, 1 for others."""
    from scipy.spatial import cKDTree

    from lint3d.geometry.throats_length import BEND_FACTOR

    diameter, width = pocket.throat.diameter, pocket.way_width
    narrow = np.flatnonzero(width <= NECK * diameter)
    if len(narrow) < 2:
        return np.ones(len(points))
    # A neck runs on through its bends, and what fills them is not the pocket's either: whether the
    # grid takes a bend for a pocket of its own is chance.
    rows = np.arange(narrow[0], narrow[-1] + 1)
    rows = rows[width[rows] <= BEND_FACTOR * diameter]
    way = pocket.way[rows]
    gap, near = cKDTree(way).query(points)
    reach = np.maximum(MUCH_WIDER * diameter, width[rows][near]) / 2
    is_before = (near == 0) & ((points - way[0]) @ (way[1] - way[0]) < 0)
    outside: Floats = (is_before | (gap > reach)).astype(np.float64)
    return outside


def _is_bend(pocket: Pocket, other: Pocket) -> bool:
    """Is another pocket one of the bends of the neck that leads out of the first?"""
    from lint3d.geometry.throats_length import BEND_FACTOR

    is_small = other.diameter <= BEND_FACTOR * pocket.throat.diameter
    return is_small and not _outside_neck(pocket, other.position[None])[0]


def _outlet(pocket: Pocket) -> Floats:
    """Where the liquid hangs: the outer end of the neck, for its head counts from there."""
    diameter = pocket.throat.diameter
    narrow = np.flatnonzero(pocket.way_width <= NECK * diameter)
    if len(narrow) == 0:
        return pocket.throat.position
    # Past a sharp rim a way widens as √(r² + s²): that much of it is outside.
    last = int(narrow[-1])
    past = diameter / 2 * math.sqrt(NECK**2 - 1)
    line = pocket.way[: last + 1]
    if last + 1 < len(pocket.way):
        widths = pocket.way_width[last : last + 2]
        share = (NECK * diameter - widths[0]) / (widths[1] - widths[0])
        step = pocket.way[last + 1] - pocket.way[last]
        line = np.vstack([line, pocket.way[last] + share * step])
    back = line[::-1]
    along = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(back, axis=0), axis=1))])
    past = min(past, float(along[-1]))
    return np.array([np.interp(past, along, back[:, axis]) for axis in range(3)])


def _head(liquid: Liquid, diameter: float) -> float:
    """mm of liquid that an opening holds; none where it lets air past (Bretherton)."""
    if diameter >= self_venting_mm(liquid):
        return 0.0
    return head_held_mm(liquid, diameter)


def _share_below(height: Floats, head: float, volume: Floats) -> Floats:
    """(d,) mm3 of what stands lower than the head, for each direction.

    What lies below the opening is counted too: it could only leave upward.
    """
    if head <= 0:
        return np.zeros(height.shape[1])
    below: Floats = volume @ (height < head)
    return below
