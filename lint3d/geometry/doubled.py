"""Which faces are there more than once, and which cancel each other?

A second copy that looks the same way adds nothing; two that look opposite ways leave nothing
between them. Tested by tests/geometry/test_doubled.py.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]


def doubled_faces(faces: Ints) -> tuple[Bools, Ints]:
    """Second copies of a facet, and pairs of opposite facets; (c, 2) of the latter one a group."""
    none = np.zeros((0, 2), dtype=np.int64)
    doubled = np.zeros(len(faces), dtype=bool)
    ordered = np.sort(faces, axis=1).astype(np.uint64)
    # Equal facets have equal sums: where no sum comes twice there is nothing to look at.
    mark = ordered[:, 0] + ordered[:, 1] * np.uint64(0x9E3779B97F4A7C15)
    mark ^= ordered[:, 2] * np.uint64(0xC2B2AE3D27D4EB4F)
    ranked = np.sort(mark)
    twice = np.unique(ranked[1:][ranked[1:] == ranked[:-1]])
    rows = np.flatnonzero(np.isin(mark, twice)) if len(twice) else np.zeros(0, np.int64)
    if not len(rows):
        return doubled, none
    _, group = np.unique(ordered[rows], axis=0, return_inverse=True)
    group = group.ravel()
    # An even permutation of the ascending order turns the same way as that order.
    a, b, c = faces[rows].T
    turn = np.where(((a < b) & (b < c)) | ((b < c) & (c < a)) | ((c < a) & (a < b)), 1, -1)
    net = np.sign(np.bincount(group, weights=turn))[group]
    doubled[rows] = np.bincount(group)[group] > 1
    staying = np.flatnonzero(turn == net)
    doubled[rows[staying[np.unique(group[staying], return_index=True)[1]]]] = False
    out, back = (np.flatnonzero((net == 0) & (turn == way)) for way in (1, -1))
    pairs = [rows[one[np.unique(group[one], return_index=True)[1]]] for one in (out, back)]
    return doubled, np.stack(pairs, axis=1)


def doubled_in_place(vertices: Floats, faces: Ints) -> Bools:
    """Further copies of a facet that looks the same way, with corners of their own."""
    copy = np.zeros(len(faces), dtype=bool)
    word = np.ascontiguousarray(vertices + 0.0).view(np.uint64)  # -0.0 is 0.0
    mark = word[:, 0] * np.uint64(0x9E3779B97F4A7C15)
    mark = (mark ^ (mark >> np.uint64(29))) + word[:, 1] * np.uint64(0xC2B2AE3D27D4EB4F)
    mark = (mark ^ (mark >> np.uint64(31))) + word[:, 2] * np.uint64(0x165667B19E3779F9)
    ranked = np.sort(mark)
    twice = ranked[1:][ranked[1:] == ranked[:-1]]
    if not len(twice):
        return copy
    rows = np.flatnonzero(np.isin(mark, twice))
    same = np.arange(len(vertices))
    _, first, inverse = np.unique(vertices[rows], axis=0, return_index=True, return_inverse=True)
    same[rows] = rows[first[inverse.ravel()]]
    faces = same[faces]
    # Turned so that the smallest corner comes first, whichever way round the facet runs.
    turn = (faces.argmin(axis=1)[:, None] + np.arange(3)) % 3
    faces = np.take_along_axis(faces, turn, axis=1)
    order = np.lexsort(faces.T)
    copy[order[1:]] = (faces[order][1:] == faces[order][:-1]).all(axis=1)
    return copy
