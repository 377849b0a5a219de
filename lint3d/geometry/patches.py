"""Which parts of a surface hang on one smooth patch alone?

A *crease* is an edge where the surface turns sharply; a *patch* is what hangs together without
crossing a crease. What falls off when one patch is taken away *hangs* on that patch: a letter hangs
on the face that it stands on. Lengths in mm, angles in radians. Knows nothing of letters.
Guarded by tests/geometry/test_patches.py.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_array
from scipy.sparse.csgraph import depth_first_order

from lint3d.geometry.components import connected_groups
from lint3d.geometry.relief_coarse import with_cut_off_faces
from lint3d.geometry.topology import EdgeTable, expand_runs
from lint3d.geometry.vectors import cross_product

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]


#: A face lower than this share of its length, and than this in mm, is a needle: where a vertex lies
#: on an edge of a bent surface, the chord's height turns it square to the surface.
NEEDLE, NEEDLE_MM = 0.02, 0.05
#: A patch thinner than this, most of whose border is with one other patch, is a part of that.
CLIFF_MM, WITHIN = 0.15, 0.7
#: Normals of a flat face stray less than this.
FLAT = np.radians(0.1)


@dataclass(frozen=True, eq=False)
class Folds:
    """How the surface turns at each edge that two faces share and agree on."""

    vertices: Floats
    faces: Ints
    normal: Floats
    """(m, 3) unit normals; a sliver's is that of the face that it belongs to."""
    area: Floats
    """(m,) mm2"""
    start: Ints
    """(e,) vertex at which the first face's side starts: the side runs from `start` to `end`."""
    end: Ints
    face: Ints
    """(e, 2) the face whose side runs from `start` to `end`, and the one on the other side."""
    turn: Floats
    """(e,) angle between the normals, positive where the surface is convex."""
    length: Floats
    """(e,) mm"""
    width: Floats
    """(e,) mm: how far the narrower of both faces reaches from the edge."""
    is_plain: Bools
    """(m,) is it no sliver: are its normal and its plane its own?"""


def folds(vertices: Floats, faces: Ints, table: EdgeTable, sliver_mm: float = 0.0) -> Folds:
    """Angles at all sound edges.

    Parameters
    ----------
    vertices : (n, 3) mm
    faces : (m, 3)
    table : EdgeTable of `faces`
    sliver_mm : a face that is no higher than this has no direction of its own, and takes that of
        its neighbour; so does a needle

    Returns
    -------
    Folds : edges with one user, more than two, or two that disagree are left out
    """
    a, b, c = (vertices[faces[:, corner]] for corner in range(3))
    cross = cross_product(b - a, c - a)
    twice = np.linalg.norm(cross, axis=1)
    normal = cross / np.where(twice > 0, twice, 1.0)[:, None]
    first = table.start[:-1]
    edges = np.flatnonzero(table.users() == 2)
    edges = edges[table.is_reverse[first[edges]] != table.is_reverse[first[edges] + 1]]
    use = np.stack([table.use[first[edges]], table.use[first[edges] + 1]], axis=1).astype(np.int64)
    face, corner = use // 3, use % 3
    start = faces[face[:, 0], corner[:, 0]]
    end = faces[face[:, 0], (corner[:, 0] + 1) % 3]
    along = vertices[end] - vertices[start]
    length = np.linalg.norm(along, axis=1)
    side_length = np.zeros((len(faces), 3))
    beyond = np.repeat(np.arange(len(faces))[:, None], 3, axis=1)
    for side in range(2):
        side_length[face[:, side], corner[:, side]] = length
        beyond[face[:, side], corner[:, side]] = face[:, 1 - side]
    longest = side_length.max(axis=1, initial=0.0)
    height = twice / np.maximum(longest, 1e-300)
    is_plain = (height > sliver_mm) & ((height > NEEDLE * longest) | (height > NEEDLE_MM))
    normal = normal[_plain_face(beyond, side_length, height, is_plain)]
    one, two = normal[face[:, 0]], normal[face[:, 1]]
    angle = 2 * np.arctan2(np.linalg.norm(one - two, axis=1), np.linalg.norm(one + two, axis=1))
    is_convex = np.einsum("ij,ij->i", cross_product(one, two), along) >= 0
    width = twice[face].min(axis=1) / np.where(length > 0, length, 1.0)
    turn = np.where(is_convex, angle, -angle)
    return Folds(
        vertices, faces, normal, twice / 2, start, end, face, turn, length, width, is_plain
    )


def _plain_face(beyond: Ints, length: Floats, height: Floats, is_plain: Bools) -> Ints:
    """(m,) for each face itself, for a sliver the face whose plane it belongs to.

    A sliver is a vertex that lies on an edge of another face: it goes with what is across its
    longest side. Of two slivers back to back one goes with what is across its other long side.
    """
    own = np.arange(len(is_plain))
    sliver = np.flatnonzero(~is_plain)
    if not len(sliver):
        return own
    by_length = np.argsort(-length[sliver], axis=1, kind="stable")
    first, second = own.copy(), own.copy()
    first[sliver] = beyond[sliver, by_length[:, 0]]
    second[sliver] = beyond[sliver, by_length[:, 1]]
    across = first
    mutual = sliver[(first[first[sliver]] == sliver) & ~is_plain[first[sliver]]]
    lower = mutual[height[mutual] <= height[first[mutual]]]
    across = first.copy()
    across[lower] = second[lower]
    for _ in range(6):
        across = across[across]
    # What leads round in a circle keeps what it has.
    return np.where(is_plain[across], across, own)


@dataclass(frozen=True)
class Cut:
    """Which edges count as creases.

    An edge that turns by `steep` or more is one; so is one that turns by `least` or more where the
    surface bends more tightly than `radius` mm (turn over width of the narrower face). Two patches
    that are both wider than `wide` mm are one, for all that, where they meet at an edge that turns
    by less than `over`: the faces on both sides of an edge that letters run over.
    """

    steep: float
    least: float = np.inf
    radius: float = 0.0
    over: float = 0.0
    wide: float = 0.0

    def of(self, folds: Folds) -> Bools:
        """(e,) is it a crease?"""
        turn = np.abs(folds.turn)
        tight = (turn >= self.least) & (folds.width <= self.radius * turn)
        creases: Bools = (turn >= self.steep) | tight
        return creases


def lonely_share(folds: Folds, cut: Cut) -> float:
    """Area of the faces that have creases all round, as a share of the whole surface."""
    smooth = folds.face[~cut.of(folds)]
    lonely = np.ones(len(folds.faces), bool)
    lonely[smooth.ravel()] = False
    return float(folds.area[lonely].sum() / max(folds.area.sum(), 1e-300))


@dataclass(frozen=True, eq=False)
class Hanging:
    """Parts of a surface that hang on one patch, and the border (the *foot*) between both."""

    folds: Folds
    patch: Ints
    """(m,) patch of each face."""
    base: Ints
    """(h,) patch that each part hangs on."""
    order: Ints
    """Patches in such an order that each hanging part is a run of them."""
    first: Ints
    """(h,) the run starts here ..."""
    last: Ints
    """(h,) ... and ends before here."""
    foot: Ints
    """Rows of `folds`: the edges of all feet, part by part."""
    foot_start: Ints
    """(h + 1,) the foot of part i is foot[foot_start[i]:foot_start[i + 1]]."""
    on_base: Ints
    """For each foot edge: which column of `folds.face` lies on the base."""
    over_edge: Bools
    """(h,) does the foot run over an edge between wide patches that are one here?"""
    _face_order: Ints
    _face_start: Ints

    def __len__(self) -> int:
        return len(self.base)

    def faces_of_patches(self, patches: Ints) -> Ints:
        """Faces of some patches."""
        rows, _ = expand_runs(self._face_start, patches)
        return self._face_order[rows]

    def faces(self, part: int) -> Ints:
        """Faces of one hanging part."""
        return self.faces_of_patches(self.order[self.first[part] : self.last[part]])

    def base_faces(self, part: int) -> Ints:
        """Faces of the patch that it hangs on."""
        return self.faces_of_patches(self.base[part : part + 1])

    def foot_of(self, part: int) -> tuple[Ints, Ints]:
        """Foot edges of one part (rows of `folds`), and the column of the face on the base."""
        rows = slice(self.foot_start[part], self.foot_start[part + 1])
        return self.foot[rows], self.on_base[rows]


def smooth_patches(folds: Folds, crease: Bools) -> Ints:
    """(m,) which patch each face belongs to: creases bound them, chords of a bent surface do not.

    Parameters
    ----------
    folds : angles of a surface
    crease : (e,) is an edge one?
    """
    joined = folds.face[~crease]
    patch = connected_groups(len(folds.faces), joined[:, 0], joined[:, 1])
    return with_cut_off_faces(folds, _without_cliffs(folds, patch, np.flatnonzero(crease)))


def hanging_parts(folds: Folds, cut: Cut, patch: Ints | None = None) -> Hanging:
    """Everything that hangs on one patch.

    Each connected surface is looked at from its largest patch, which never hangs: of the two sides
    of a patch in the middle, the one without the largest patch is told.

    Parameters
    ----------
    folds : angles of a surface
    cut : which edges are creases
    patch : its `smooth_patches`, where they are known

    Returns
    -------
    Hanging : parts may hold each other (a letter's cap hangs on its walls)
    """
    crease = cut.of(folds)
    rows = np.flatnonzero(crease)
    if patch is None:
        patch = smooth_patches(folds, crease)
    apart = patch
    if cut.over > cut.steep:
        patch = _with_wide_ones_joined(folds, patch, rows, cut)
    pair: Ints = patch[folds.face[rows]]
    between = pair[:, 0] != pair[:, 1]
    rows, pair = rows[between], pair[between]
    count = int(patch.max(initial=-1)) + 1
    tree = _search(count, pair, np.bincount(patch, folds.area, count).astype(np.float64))
    # Every crease runs between a patch and one below it in the search tree.
    upper = np.where(tree.place[pair[:, 0]] < tree.place[pair[:, 1]], 0, 1)
    take = np.arange(len(rows))
    above, below = pair[take, upper], pair[take, 1 - upper]
    child = tree.child_towards(above, below)
    part_of_child = np.full(count + 1, -1)
    children = np.flatnonzero(tree.hangs)
    part_of_child[children] = np.arange(len(children))
    part = part_of_child[child]
    kept = np.flatnonzero(part >= 0)
    kept = kept[np.argsort(part[kept], kind="stable")]
    start = np.searchsorted(part[kept], np.arange(len(children) + 1))
    lies_on = apart[folds.face[rows[kept], upper[kept]]]
    # Feet are runs: another patch than that of the edge before, in the same run.
    owner = part[kept]
    changes = (np.diff(lies_on) != 0) & (np.diff(owner) == 0)
    over_edge = np.zeros(len(children), bool)
    over_edge[owner[1:][changes]] = True
    face_order = np.argsort(patch, kind="stable")
    return Hanging(
        folds=folds,
        patch=patch,
        base=tree.parent[children],
        order=tree.order,
        first=tree.place[children],
        last=tree.place[children] + tree.size[children],
        over_edge=over_edge,
        foot=rows[kept],
        foot_start=start,
        on_base=upper[kept],
        _face_order=face_order,
        _face_start=np.searchsorted(patch[face_order], np.arange(count + 1)),
    )


def _without_cliffs(folds: Folds, patch: Ints, crease: Ints) -> Ints:
    """Patches, where thin ones that lie within another are a part of that.

    On coarse bent surfaces a vertex beside a chord leaves a cliff, a sagitta high. The walls of a
    relief and the strips of a fillet lie between two patches, and are kept; so is what lies in a
    flat face, where there are no chords: a dot of a quarter of a millimetre.
    """
    count = int(patch.max(initial=-1)) + 1
    pair = patch[folds.face[crease]]
    between = pair[:, 0] != pair[:, 1]
    pair, length = pair[between], folds.length[crease[between]]
    both = np.concatenate([pair, pair[:, ::-1]])
    beyond = folds.face[crease[between]][:, ::-1].ravel(order="F")
    if not len(both):
        return patch
    key, row = np.unique(both[:, 0] * np.int64(count) + both[:, 1], return_inverse=True)
    border = np.bincount(row, np.concatenate([length, length]))
    mine, other = key // count, key % count
    around = np.bincount(mine, border, count)
    thin = 2 * np.bincount(patch, folds.area, count) < CLIFF_MM * around
    # Cliffs come in heaps of slivers: what matters is the border of the heap with what is whole.
    inner = thin[mine] & thin[other]
    heap = connected_groups(count, mine[inner], other[inner])
    outer = thin[mine] & ~thin[other]
    key, row = np.unique(heap[mine[outer]] * np.int64(count) + other[outer], return_inverse=True)
    if not len(key):
        return patch
    shared, whole = np.bincount(row, border[outer]), key % count
    total = np.bincount(key // count, shared, count)
    most = shared > WITHIN * total[key // count]
    rim = np.flatnonzero(thin[both[:, 0]] & ~thin[both[:, 1]])
    most &= ~_is_flat(folds, beyond[rim], np.tile(length, 2)[rim], heap[both[rim, 0]])[key // count]
    target = np.full(count, -1)
    target[(key // count)[most]] = whole[most]
    into = np.where(thin & (target[heap] >= 0), target[heap], np.arange(count))
    return np.unique(into[patch], return_inverse=True)[1].astype(np.int64)


def _is_flat(folds: Folds, face: Ints, length: Floats, heap: Ints) -> Bools:
    """(count,) is all that surrounds each heap in one plane? Told from the faces along its rim."""
    count = len(folds.faces)
    total = np.bincount(heap, length, count)
    mean = [np.bincount(heap, length * folds.normal[face, k], count) for k in range(3)]
    # Chords of a bent surface turn by more than half a degree against each other.
    flat: Bools = np.linalg.norm(mean, axis=0) >= total * np.cos(FLAT)
    return flat & (total > 0)


def _with_wide_ones_joined(folds: Folds, patch: Ints, crease: Ints, cut: Cut) -> Ints:
    """Patches, where wide ones on both sides of an edge are one: walls and strokes are not wide."""
    count = int(patch.max(initial=-1)) + 1
    pair: Ints = patch[folds.face[crease]]
    around = np.bincount(pair.ravel(), np.repeat(folds.length[crease], 2), count)
    wide = 2 * np.bincount(patch, folds.area, count) >= cut.wide * around
    bent = (np.abs(folds.turn[crease]) < cut.over) & wide[pair].all(axis=1)
    return connected_groups(count, pair[bent, 0], pair[bent, 1])[patch]


@dataclass(frozen=True, eq=False)
class _Tree:
    """A depth-first search over the patches, below a root that is no patch (the highest number)."""

    order: Ints
    place: Ints
    """Place of each patch in `order`."""
    parent: Ints
    size: Ints
    """How many patches each subtree has: its run in `order`."""
    hangs: Bools
    """(count + 1,) does the subtree of this patch hang on the patch's parent alone?"""
    key: Ints
    child: Ints

    def child_towards(self, above: Ints, below: Ints) -> Ints:
        """The child of `above` whose subtree holds `below`."""
        wanted = above * np.int64(len(self.order) + 1) + self.place[below]
        return self.child[np.searchsorted(self.key, wanted, side="right") - 1]


def _search(count: int, pair: Ints, area: Floats) -> _Tree:
    root = count
    shell = connected_groups(count, pair[:, 0], pair[:, 1])
    by_area = np.lexsort((-np.arange(count), area, shell))
    largest = by_area[np.flatnonzero(np.diff(shell[by_area], append=-1))]
    ends = np.concatenate([pair, np.column_stack([np.full(len(largest), root), largest])])
    both = np.concatenate([ends, ends[:, ::-1]])
    graph = csr_array(
        (np.ones(len(both), np.int8), (both[:, 0], both[:, 1])), shape=(count + 1, count + 1)
    )
    graph.sum_duplicates()
    order, parent = depth_first_order(graph, root, directed=True, return_predecessors=True)
    order, parent = order.astype(np.int64), parent.astype(np.int64)
    place = np.empty(count + 1, np.int64)
    place[order] = np.arange(count + 1)
    size = _subtree_sizes(place[parent[order[1:]]], count + 1)[place]
    # The highest place that the subtree of each patch reaches with one step.
    reach = np.arange(count + 1)
    np.minimum.at(reach, place[both[:, 0]], place[both[:, 1]])
    low = _least_in_runs(reach, place, place + size)
    above = np.where(parent >= 0, parent, root)
    hangs = (low >= place[above]) & (above != root) & (np.arange(count + 1) != root)
    child = np.flatnonzero(parent >= 0)
    key = parent[child] * np.int64(count + 2) + place[child]
    by_key = np.argsort(key)
    return _Tree(order, place, parent, size, hangs, key[by_key], child[by_key])


def _subtree_sizes(parent_place: Ints, count: int) -> Ints:
    """Sizes by place, from the place of the parent of each place but the first (the root).

    The subtree of a place ends before the next place that is no deeper.
    """
    depth = np.zeros(count, np.int64)
    # Depth by pointer doubling: how many parents up to the root.
    up = np.concatenate([[0], parent_place])
    steps = np.ones(count, np.int64)
    steps[0] = 0
    while up.any():
        steps = steps + steps[up]
        up = up[up]
    depth = steps
    return _next_not_deeper(depth) - np.arange(count)


def _next_not_deeper(depth: Ints) -> Ints:
    """For each place, the next place whose depth is not larger; the end if there is none."""
    count = len(depth)
    last = np.full(count, count)
    # In a preorder the next place that is no deeper than d is the next one of depth d, or the next
    # of a lower depth, whichever comes first: found by halving over a table of least depths.
    table = _least_table(depth)
    at = np.arange(1, count + 1)
    for level in range(len(table) - 1, -1, -1):
        width = 1 << level
        can = at + width <= count
        least = np.where(can, table[level][np.minimum(at, len(table[level]) - 1)], -1)
        at = np.where(can & (least > depth), at + width, at)
    last = at
    return last


def _least_table(values: Ints) -> list[Ints]:
    """Row k: the least of the 2^k values from each place on."""
    table = [values]
    width = 1
    while 2 * width <= len(values):
        row = table[-1]
        table.append(np.minimum(row[: len(row) - width], row[width:]))
        width *= 2
    return table


def _least_in_runs(values: Ints, first: Ints, last: Ints) -> Ints:
    """Least value of each run first .. last - 1; no run may be empty."""
    table = _least_table(values)
    level = np.frexp((last - first).astype(np.float64))[1] - 1
    least = np.empty(len(first), np.int64)
    for k, row in enumerate(table):
        mine = np.flatnonzero(level == k)
        least[mine] = np.minimum(row[first[mine]], row[last[mine] - (1 << k)])
    return least


def vector_area(start: Floats, end: Floats, owner: NDArray[Any], count: int) -> Floats:
    """(count, 3) vector area of closed loops, from their directed edges and owners."""
    cross = cross_product(start, end) / 2
    return np.column_stack([np.bincount(owner, cross[:, k], count) for k in range(3)])
