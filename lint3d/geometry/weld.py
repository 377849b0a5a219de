"""Which corners are the same point?

A file of loose triangles names every corner by its coordinates. `weld_exact` gives equal
coordinates one vertex; `stitch_open_edges` closes cracks no wider than a tolerance and touches
nothing else. Lengths in mm; points (n, 3), faces (m, 3) int64. Guarded by
tests/geometry/test_weld.py.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from lint3d.geometry.components import connected_groups

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

# Odd 64-bit constants with well spread bits (golden ratio, and two of the SplitMix64 finaliser).
_MULTIPLIERS = (0x9E3779B97F4A7C15, 0xBF58476D1CE4E5B9, 0x94D049BB133111EB)
# Neighbours looked at for each open vertex: enough for any corner of a cracked mesh.
_NEIGHBOURS = 8


def weld_exact(points: NDArray[Any]) -> tuple[Floats, Ints]:
    """Which points have exactly the same coordinates?

    -0.0 equals 0.0; a NaN equals a NaN of the same bits. Rows are sorted by a hash of their bits
    with the row number in the low bits; runs whose hashes agree but whose coordinates do not are
    sorted again by coordinates, so the answer never depends on the hash.

    Parameters
    ----------
    points : (n, 3) float32 or float64 (anything else is converted to float64)

    Returns
    -------
    vertices : (k, 3) float64, the distinct points in order of first appearance
    index : (n,) int64, row of `vertices` for each point

    Raises
    ------
    ValueError : `points` has not three columns

    Examples
    --------
    >>> weld_exact(np.array([[1.0, 0, 0], [0, 0, 0], [1, -0.0, 0]]))[1]
    array([0, 1, 0])
    """
    points = np.asarray(points)
    if points.ndim != 2 or points.shape[1] != 3:
        raise ValueError(f"points must have the shape (n, 3), got {points.shape}")
    count = len(points)
    if count == 0:
        return np.zeros((0, 3)), np.zeros(0, np.int64)
    words = _words(points)
    order, starts = _runs_of_equal(words, count)
    # Within a run the row numbers ascend, so the first of each run is its first appearance.
    is_first = np.zeros(count, bool)
    first_rows = order[starts]
    is_first[first_rows] = True
    number = np.cumsum(is_first, dtype=np.int64)
    number -= 1
    index = np.empty(count, np.int64)
    lengths = np.diff(starts, append=count)
    index[order] = np.repeat(number[first_rows], lengths)
    return points[is_first].astype(np.float64) + 0.0, index


def _words(points: NDArray[Any]) -> list[NDArray[Any]]:
    """The bits of each row as whole numbers, -0.0 made 0.0."""
    if points.dtype != np.float32:
        plain = points.astype(np.float64) + 0.0
        return [np.ascontiguousarray(plain[:, axis]).view(np.uint64) for axis in range(3)]
    plain = points + np.float32(0.0)
    bits = np.ascontiguousarray(plain).view(np.uint32)
    pair = bits[:, 0].astype(np.uint64)
    pair <<= np.uint64(32)
    pair |= bits[:, 1]
    return [pair, bits[:, 2].copy()]


def _hashes(words: list[NDArray[Any]]) -> NDArray[np.uint64]:
    total = np.zeros(len(words[0]), np.uint64)
    for word, multiplier in zip(words, _MULTIPLIERS, strict=False):
        total ^= word
        total *= np.uint64(multiplier)
        total ^= total >> np.uint64(32)
    total *= np.uint64(_MULTIPLIERS[2])
    total ^= total >> np.uint64(29)
    return total


def _runs_of_equal(words: list[NDArray[Any]], count: int) -> tuple[Ints, Ints]:
    """Row numbers with equal rows side by side, ascending within a run, and where runs start."""
    low_bits = np.uint64(max(1, (count - 1).bit_length()))
    low_mask = (np.uint64(1) << low_bits) - np.uint64(1)
    keys = _hashes(words)
    keys &= ~low_mask
    keys |= np.arange(count, dtype=np.uint64)
    keys.sort()
    order = (keys & low_mask).view(np.int64)
    keys >>= low_bits
    same_hash = keys[1:] == keys[:-1]
    del keys
    same = same_hash.copy()
    for word in words:
        sorted_word = word[order]
        same &= sorted_word[1:] == sorted_word[:-1]
    if not np.array_equal(same, same_hash):
        order, same = _split_collisions(words, order, same_hash, same)
    starts = np.flatnonzero(np.concatenate(([True], ~same)))
    return order, starts


def _split_collisions(
    words: list[NDArray[Any]], order: Ints, same_hash: NDArray[np.bool_], same: NDArray[np.bool_]
) -> tuple[Ints, NDArray[np.bool_]]:
    """Sort by coordinates within those runs of equal hashes that hold unequal rows."""
    run = np.concatenate(([0], np.cumsum(~same_hash)))
    is_mixed = np.zeros(run[-1] + 1, bool)
    is_mixed[run[1:][same_hash & ~same]] = True
    where = np.flatnonzero(is_mixed[run])
    rows = order[where]
    by_words = np.lexsort((rows, *[word[rows] for word in reversed(words)], run[where]))
    order[where] = rows[by_words]
    same = same_hash.copy()
    for word in words:
        sorted_word = word[order]
        same &= sorted_word[1:] == sorted_word[:-1]
    return order, same


def stitch_open_edges(vertices: Floats, faces: Ints, tolerance_mm: float) -> tuple[Ints, int]:
    """Close cracks no wider than the tolerance; leave closed surfaces alone.

    Only vertices at the end of an open edge (one that a single face uses) may move. Two of them
    are linked if they lie within the tolerance and no edge joins them. A chain of links is
    merged whole only if each of its vertices lies within the tolerance of their mean and no face
    would lose a side; of any other chain only those pairs are merged that are each other's nearest.
    So no vertex moves by more than the tolerance, whatever the order of vertices and faces.

    Parameters
    ----------
    vertices : (n, 3) float64, mm
    faces : (m, 3) int64
    tolerance_mm : the widest crack that is closed; 0 or less closes none

    Returns
    -------
    faces : (m, 3) int64, now naming the lowest-numbered vertex of each merged set
    merged_count : how many vertices were merged into another

    Examples
    --------
    >>> corners = np.array([[0, 0, 0], [1, 0, 0], [0, 1, 0], [1, 1, 0], [1, 1e-4, 0]], float)
    >>> stitch_open_edges(corners, np.array([[0, 1, 2], [4, 3, 2]]), 1e-3)[1]
    1
    """
    if not tolerance_mm > 0 or len(faces) == 0:
        return faces, 0
    candidates = np.unique(_open_edge_ends(faces, len(vertices)))
    if len(candidates) == 0:
        return faces, 0
    points = vertices[candidates]
    one, two, gap = _near_pairs(points, tolerance_mm)
    if len(one) == 0:
        return faces, 0
    sides = _sides_between(candidates, faces, len(vertices))
    joined = np.isin(one * len(points) + two, sides[:, 0] * len(points) + sides[:, 1])
    one, two, gap = one[~joined], two[~joined], gap[~joined]
    if len(one) == 0:
        return faces, 0
    target = _merge_targets(points, one, two, gap, tolerance_mm, sides)
    replacement = np.arange(len(vertices))
    replacement[candidates] = candidates[target]
    merged_count = int(np.count_nonzero(target != np.arange(len(target))))
    return replacement[faces], merged_count


def _open_edge_ends(faces: Ints, vertex_count: int) -> Ints:
    """(e, 2) ends of the edges that one face alone uses."""
    one = faces.ravel()
    two = faces[:, [1, 2, 0]].ravel()
    keys = np.minimum(one, two) * np.int64(vertex_count) + np.maximum(one, two)
    keys = np.sort(keys[one != two])
    if len(keys) == 0:
        return np.zeros((0, 2), np.int64)
    differs = np.concatenate(([True], keys[1:] != keys[:-1], [True]))
    open_keys = keys[differs[1:] & differs[:-1]]
    return np.stack(np.divmod(open_keys, np.int64(vertex_count)), axis=1)


def _sides_between(candidates: Ints, faces: Ints, vertex_count: int) -> Ints:
    """(s, 2) sides of faces with both ends among the candidates, as rows of `candidates`."""
    row = np.full(vertex_count, -1, np.int64)
    row[candidates] = np.arange(len(candidates))
    corner = row[faces]
    sides = np.concatenate([corner[:, [0, 1]], corner[:, [1, 2]], corner[:, [2, 0]]])
    is_side = (sides >= 0).all(axis=1) & (sides[:, 0] != sides[:, 1])
    ordered: Ints = np.sort(sides[is_side], axis=1)
    return ordered


def _near_pairs(points: Floats, tolerance_mm: float) -> tuple[Ints, Ints, Floats]:
    """Pairs one < two within the tolerance; bounded by a few neighbours a point."""
    empty = np.zeros(0, np.int64)
    if len(points) < 2:
        return empty, empty, np.zeros(0)
    from scipy.spatial import cKDTree  # slow to load, and sound surfaces have nothing to stitch

    tree = cKDTree(points)
    # The slack lets in pairs at exactly the tolerance, which the tree's open bound would refuse.
    bound = tolerance_mm * (1 + 1e-12)
    has_neighbour = np.isfinite(tree.query(points, k=[2], distance_upper_bound=bound)[0][:, 0])
    rows = np.flatnonzero(has_neighbour)
    gap, other = tree.query(points[rows], k=_NEIGHBOURS, distance_upper_bound=bound)
    is_pair = np.isfinite(gap) & (other != rows[:, None])
    row_of = np.broadcast_to(rows[:, None], other.shape)[is_pair]
    other, gap = other[is_pair].astype(np.int64), gap[is_pair]
    one, two = np.minimum(row_of, other), np.maximum(row_of, other)
    _, keep = np.unique(one * np.int64(len(points)) + two, return_index=True)
    return one[keep], two[keep], gap[keep]


def _merge_targets(
    points: Floats, one: Ints, two: Ints, gap: Floats, tolerance_mm: float, sides: Ints
) -> Ints:
    """For each open vertex the one it is merged into (itself if none)."""
    count = len(points)
    group = connected_groups(count, one, two)
    is_whole = _fits_in_tolerance(points, group, tolerance_mm)
    inner = group[sides[:, 0]] == group[sides[:, 1]]
    is_whole[group[sides[inner, 0]]] = False
    is_mutual = _nearest_of_each_other(count, one, two, gap)
    keep = is_whole[group[one]] | is_mutual
    merged = connected_groups(count, one[keep], two[keep])
    # Groups are numbered by first member, so the first row of each group is its lowest vertex.
    _, first = np.unique(merged, return_index=True)
    return first[merged]


def _fits_in_tolerance(points: Floats, group: Ints, tolerance_mm: float) -> NDArray[np.bool_]:
    """(groups,) is every member within the tolerance of the group's mean?"""
    size = np.bincount(group)
    _, first = np.unique(group, return_index=True)
    local = points - points[first][group]
    mean = np.stack([np.bincount(group, local[:, axis]) for axis in range(3)], axis=1)
    away = np.linalg.norm(local - (mean / size[:, None])[group], axis=1)
    farthest = np.zeros(len(size))
    np.maximum.at(farthest, group, away)
    return farthest <= tolerance_mm


def _nearest_of_each_other(count: int, one: Ints, two: Ints, gap: Floats) -> NDArray[np.bool_]:
    """(pairs,) is each end the nearest link of the other? At most one pair a vertex."""
    order = np.lexsort((two, one, gap))
    rank = np.empty(len(gap), np.int64)
    rank[order] = np.arange(len(gap))
    best = np.full(count, len(gap), np.int64)
    np.minimum.at(best, one, rank)
    np.minimum.at(best, two, rank)
    return (best[one] == rank) & (best[two] == rank)
