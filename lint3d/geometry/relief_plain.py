"""Are all features of a surface plain bosses, holes and pads, which no marking can be made of?

A *feature* is what hangs together by edges that turn. It is plain if every line of concave edges in
it (for what is raised), or of convex ones (for what is sunk), is a flat closed line round a convex
outline, and if its corners lie so at every level. What has a closed space in it may be a character,
small round heads and pins may be braille, many squares a code, and low bars near each other
characters (II): these are not plain. Seen so, a plate full of blind holes is known for what it is
long before any foot is followed. Lengths in mm.
Guarded by tests/geometry/test_relief_plain.py.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from lint3d.geometry.components import connected_groups
from lint3d.geometry.vectors import square_to, square_to_one

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

#: Lines that stray less than this from a straight one, or from a plane, are so, mm.
STRAIGHT_MM = 0.02
#: Normals of one feature's lines agree by this much.
PARALLEL = np.cos(np.radians(1.0))
#: What a convex outline may turn back by in all, radians: it opens a hundredth of the hull.
TURNS_BACK = 0.1
#: Corners on one level are no farther apart than this along the normal, mm.
LEVEL_MM = 0.005
#: A boss has two levels; what has not, and is no larger than this, may be a dome: so many, braille.
BOSS_LEVELS, DOT_MM, DOTS = 2, 3.6, 3
#: ... and so may that many bosses no larger than dots, each no farther than that from another, mm:
#: a little more than `relief_dots.py` takes, where two dots leave one out between them.
PIN_MM, PIN_APART_MM = 2.6, 6.5
#: So many outlines that run along two directions, by this much, may be the squares of a code.
SQUARES, ALIGNED = 8, 0.6
#: A hole that goes down by more than this share of a boss's height is a closed space in it.
SPACE = 0.2
#: A bar may be a stroke of a letter if it is so wide for its length, no higher than so many times
#: its width, nor than a share of its length, and no farther than so many widths from another. Wider
#: limits than those of `relief_bars.py`: here all is measured at the foot.
BAR_SHARE, BAR_SLENDER, BAR_RISE, BAR_GAP = (0.068, 0.6), 2.2, 0.3, 3.2
#: More features than this that lie in each other are not looked at one by one.
MOST_PAIRS = 2000
#: Directions in a plane in which one outline is asked whether it holds another.
AROUND = np.column_stack(
    [ask(np.linspace(0, 2 * np.pi, 24, endpoint=False)) for ask in (np.cos, np.sin)]
)


def all_are_plain(vertices: Floats, ends: Ints, is_concave: Bools, step_mm: float) -> bool:
    """Is every feature a plain boss, hole, pad or outline?

    Parameters
    ----------
    vertices : (n, 3) mm
    ends : (e, 2) vertices of the edges that turn, of a surface that is closed and well wound
    is_concave : (e,)
    step_mm : what rounding of coordinates can do to a distance

    Returns
    -------
    bool : False where it is not sure
    """
    used, local = np.unique(ends, return_inverse=True)
    local = local.reshape(-1, 2)
    points = vertices[used]
    feature = connected_groups(len(used), local[:, 0], local[:, 1])
    count = int(feature.max(initial=-1)) + 1
    branched = [_branched(local[mine], feature, count) for mine in (is_concave, ~is_concave)]
    if (branched[0] & branched[1]).any():
        # Neither its concave lines nor its convex ones are closed loops: a thread is left at once.
        return False
    concave = _lines(points, local[is_concave], step_mm)
    convex = _lines(points, local[~is_concave], step_mm)
    # Nothing stands on a foot of straight lines, nor is there a floor in them: holes through walls.
    harmless = _all_in(feature[concave.first], concave.is_straight, count)
    raised = _all_in(feature[concave.first], concave.is_loop, count) & ~harmless
    sunk = _all_in(feature[convex.first], convex.is_loop, count) & ~harmless & ~raised
    if not (harmless | raised | sunk).all():
        return False
    normal = np.zeros((count, 3))
    for lines, mine in ((concave, raised), (convex, sunk)):
        owner = feature[lines.first]
        rows = np.flatnonzero(mine[owner])
        normal[owner[rows]] = lines.normal[rows]
        along = np.abs(np.einsum("ij,ij->i", lines.normal[rows], normal[owner[rows]]))
        if (along < PARALLEL).any():
            return False
        squares = int((lines.fourfold[rows] >= ALIGNED).sum())
        if squares >= SQUARES:
            return False
    looked = ~harmless[feature]
    levels = _levels(points[looked], feature[looked], normal)
    u, v = square_to(normal[feature[looked]])
    flat = np.column_stack([np.einsum("ij,ij->i", points[looked], axis) for axis in (u, v)])
    if not _are_convex(flat, levels, step_mm).all():
        return False
    owner_of_level = np.zeros(int(levels.max(initial=-1)) + 1, np.int64)
    owner_of_level[levels] = feature[looked]
    is_boss = np.bincount(owner_of_level, minlength=count) == BOSS_LEVELS
    middle, reach = _balls(points, feature, count)
    if int((raised & ~is_boss & (2 * reach <= DOT_MM)).sum()) >= DOTS:
        return False
    pins = middle[raised & is_boss & (2 * reach <= PIN_MM)]
    if len(pins) >= DOTS and (cKDTree(pins).query(pins, 2)[0][:, 1] <= PIN_APART_MM).sum() >= DOTS:
        return False
    bars = _Bars(np.zeros(count), np.zeros(count), np.zeros((count, 3)), middle)
    for lines, mine in ((concave, raised), (convex, sunk)):
        owner = feature[lines.first]
        rows = np.flatnonzero(mine[owner])
        bars.long[owner[rows]], bars.wide[owner[rows]] = lines.extent[rows].T
        bars.way[owner[rows]] = lines.way[rows]
    high = _extent(np.einsum("ij,ij->i", points, normal[feature]), feature, count)
    if bars.have_strokes(high):
        return False
    return not _have_spaces(points, feature, normal, raised | sunk, middle, reach)


def _branched(ends: Ints, feature: Ints, count: int) -> Bools:
    """(count,) do three edges of one kind meet in a vertex of each feature?"""
    branched = np.zeros(count, bool)
    branched[feature[np.bincount(ends.ravel(), minlength=len(feature)) > 2]] = True
    return branched


@dataclass(frozen=True, eq=False)
class _Bars:
    """The features as bars: (count,) how long and how wide, mm, and which way (count, 3)."""

    long: Floats
    wide: Floats
    way: Floats
    middle: Floats

    def have_strokes(self, high: Floats) -> bool:
        """Is one of them low, and near another as high, as strokes are?"""
        share = self.wide / np.maximum(self.long, 1e-300)
        is_bar = (BAR_SHARE[0] <= share) & (share <= BAR_SHARE[1])
        is_bar &= high <= np.minimum(BAR_SLENDER * self.wide, BAR_RISE * self.long)
        rows = np.flatnonzero(is_bar)
        if not len(rows):
            return False
        around = 2 * self.long[rows] + BAR_GAP * self.wide[rows]
        near = cKDTree(self.middle).query_ball_point(self.middle[rows], around)
        one = np.repeat(rows, [len(found) for found in near])
        two = np.concatenate([np.asarray(found, np.int64) for found in near])
        alike = np.abs(high[one] - high[two]) <= LEVEL_MM + 0.2 * high[one]
        alike &= (self.wide[two] > 0) & (self.wide[two] <= 2 * self.wide[one]) & (one != two)
        one, two = one[alike], two[alike]
        return bool((self._gap(one, two) <= BAR_GAP * self.wide[one]).any())

    def _gap(self, one: Ints, two: Ints) -> Floats:
        """Between bars and others, mm, or less."""
        apart = self.middle[two] - self.middle[one]
        along = np.abs(np.einsum("ij,ij->i", apart, self.way[one]))
        aside = np.sqrt(np.maximum(np.einsum("ij,ij->i", apart, apart) - along**2, 0.0))
        parallel = np.abs(np.einsum("ij,ij->i", self.way[one], self.way[two])) >= PARALLEL
        across = np.where(parallel, self.wide[two], self.long[two])
        gap: Floats = np.hypot(
            np.maximum(along - (self.long[one] + self.long[two]) / 2, 0.0),
            np.maximum(aside - (self.wide[one] + across) / 2, 0.0),
        )
        return gap


@dataclass(frozen=True, eq=False)
class _Lines:
    """Edges of one kind that hang together."""

    first: Ints
    """(k,) a point on each"""
    is_straight: Bools
    is_loop: Bools
    """Is it closed, flat and convex?"""
    normal: Floats
    fourfold: Floats
    """How well it runs along two directions at right angles."""
    extent: Floats
    """(k, 2) mm, how long and how wide it is"""
    way: Floats
    """(k, 3) along it"""


def _lines(points: Floats, ends: Ints, step_mm: float) -> _Lines:
    used, local = np.unique(ends, return_inverse=True)
    local = local.reshape(-1, 2)
    line = connected_groups(len(used), local[:, 0], local[:, 1])
    count = int(line.max(initial=-1)) + 1
    at = points[used]
    size = np.maximum(np.bincount(line, minlength=count), 1)
    centre = np.column_stack([np.bincount(line, at[:, k], count) for k in range(3)]) / size[:, None]
    arm = at - centre[line]
    spread = np.empty((count, 3, 3))
    for i in range(3):
        for j in range(3):
            spread[:, i, j] = np.bincount(line, arm[:, i] * arm[:, j], count)
    axes = np.linalg.eigh(spread)[1]
    x, y, z = (np.einsum("ij,ij->i", arm, axes[line, :, k]) for k in (2, 1, 0))
    aside = _most(np.hypot(y, z), line, count)
    off = _most(np.abs(z), line, count)
    branches = np.bincount(line, np.bincount(local.ravel(), minlength=len(used)) != 2, count) > 0
    convex = _are_convex(np.column_stack([x, y]), line, step_mm)
    first = used[np.unique(line, return_index=True)[1]] if len(used) else np.zeros(0, np.int64)
    straight = aside <= STRAIGHT_MM
    way = np.column_stack([(q[local[:, 1]] - q[local[:, 0]]) for q in (x, y)]) @ np.array([1, 1j])
    length = np.abs(way)
    owner = line[local[:, 0]]
    turned = length * (way / np.maximum(length, 1e-300)) ** 4
    sum4 = np.bincount(owner, turned.real, count) + 1j * np.bincount(owner, turned.imag, count)
    fourfold = np.abs(sum4) / np.maximum(np.bincount(owner, length, count), 1e-300)
    is_loop = ~branches & (off <= STRAIGHT_MM) & convex & ~straight
    extent = np.column_stack([_extent(q, line, count) for q in (x, y)])
    return _Lines(
        first.astype(np.int64), straight, is_loop, axes[:, :, 0], fourfold, extent, axes[:, :, 2]
    )


def _extent(values: Floats, group: Ints, count: int) -> Floats:
    """(count,) from the lowest to the highest value of each group."""
    low, high = _lowest_and_highest(values, group, count)
    found: Floats = np.where(high >= low, high - low, 0.0)
    return found


def _lowest_and_highest(values: Floats, group: Ints, count: int) -> tuple[Floats, Floats]:
    """(count, ...) of the values (k, ...) of each group; inf and -inf where there are none."""
    shape = (count, *values.shape[1:])
    low, high = np.full(shape, np.inf), np.full(shape, -np.inf)
    np.minimum.at(low, group, values)
    np.maximum.at(high, group, values)
    return low, high


def _most(values: Floats, group: Ints, count: int) -> Floats:
    most = np.zeros(count)
    np.maximum.at(most, group, values)
    return most


def _all_in(owner: Ints, kept: Bools, count: int) -> Bools:
    """(count,) are all that belong to each one so?"""
    found: Bools = np.bincount(owner[~kept], minlength=count) == 0
    return found


def _are_convex(points: Floats, group: Ints, step_mm: float) -> Bools:
    """(groups,) do the points (n, 2) of each group lie on a convex outline?"""
    count = int(group.max(initial=-1)) + 1
    size = np.bincount(group, minlength=count)
    centre = np.column_stack([np.bincount(group, points[:, k], count) for k in range(2)])
    arm = points - (centre / np.maximum(size, 1)[:, None])[group]
    order = np.lexsort((np.arctan2(arm[:, 1], arm[:, 0]), group))
    mine = group[order]
    start = np.cumsum(size) - size
    place = np.arange(len(order)) - start[mine]
    after = order[start[mine] + (place + 1) % size[mine]]
    way = points[after] - points[order]
    length = np.hypot(way[:, 0], way[:, 1])
    before = start[mine] + (place - 1) % size[mine]
    cross = way[before, 0] * way[:, 1] - way[before, 1] * way[:, 0]
    dot = (way[before] * way).sum(axis=1)
    turn = np.arctan2(cross, dot)
    # Points that rounding moved.
    noise = 2 * step_mm / np.maximum(np.minimum(length, length[before]), 1e-300)
    back = np.maximum(-turn - noise, 0.0)
    back[size[mine] < 4] = 0.0
    found: Bools = np.bincount(mine, back, count) <= TURNS_BACK
    return found


def _levels(points: Floats, feature: Ints, normal: Floats) -> Ints:
    """Numbers of the levels of all features, from 0: which one each point lies on."""
    high = np.einsum("ij,ij->i", points, normal[feature])
    order = np.lexsort((high, feature))
    new = np.diff(feature[order], prepend=-1) != 0
    new |= np.diff(high[order], prepend=-np.inf) > LEVEL_MM
    level = np.empty(len(points), np.int64)
    level[order] = np.cumsum(new) - 1
    return level


def _balls(points: Floats, feature: Ints, count: int) -> tuple[Floats, Floats]:
    """Middle of the box of each feature, (count, 3) mm, and how far it reaches from there, mm."""
    low, high = _lowest_and_highest(points, feature, count)
    middle = (low + high) / 2
    return middle, _most(np.linalg.norm(points - middle[feature], axis=1), feature, count)


def _have_spaces(
    points: Floats, feature: Ints, normal: Floats, asked: Bools, middle: Floats, reach: Floats
) -> bool:
    """Does a feature go down through another one, so that this has a closed space?"""
    rows = np.flatnonzero(asked)
    near = cKDTree(middle).query_ball_point(middle[rows], reach[rows])
    pairs = [(i, k) for i, found in zip(rows.tolist(), near, strict=True) for k in found if k != i]
    if len(pairs) > MOST_PAIRS:
        return True
    order = np.argsort(feature, kind="stable")
    start = np.searchsorted(feature[order], np.arange(len(reach) + 1))
    for i, k in pairs:
        if reach[k] >= reach[i]:
            continue
        mine, other = (points[order[start[j] : start[j + 1]]] for j in (i, k))
        around = AROUND @ square_to_one(normal[i])
        within = (other @ around.T).max(axis=0) <= (mine @ around.T).max(axis=0) + STRAIGHT_MM
        high, low = ((at @ normal[i]) for at in (mine, other))
        common = min(high.max(), low.max()) - max(high.min(), low.min())
        if within.all() and common > SPACE * np.ptp(high):
            return True
    return False
