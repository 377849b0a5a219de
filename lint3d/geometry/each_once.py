"""Whole numbers, each once: sorted, where NumPy's own functions hash.

On numbers so alike as rows of a mesh, or pairs of them, hashing is up to 80 times slower. Tested by
tests/geometry/test_each_once.py.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Ints = NDArray[np.int64]


def distinct(key: Ints) -> Ints:
    """Each once, ascending."""
    key = np.sort(key)
    first = np.ones(len(key), dtype=bool)
    first[1:] = key[1:] != key[:-1]
    found: Ints = key[first]
    return found


def distinct_but(key: Ints, known: Ints) -> Ints:
    """Those that are not among the known ones, each once, ascending."""
    key, known = distinct(key), np.sort(known)
    if not len(known):
        return key
    place = np.minimum(np.searchsorted(known, key), len(known) - 1)
    found: Ints = key[known[place] != key]
    return found
