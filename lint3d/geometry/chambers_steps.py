"""Where does one label of a grid meet another?

Of a large grid only a few steps lead from one label to another: it is compared with itself, moved
by a step, a stretch at a time. Guarded by tests/geometry/test_chambers_rooms.py.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from lint3d.geometry.portions import chunks

Ints = NDArray[np.int64]


def steps_between(label: NDArray[np.int32]) -> Iterator[tuple[Ints, Ints]]:
    """Flat numbers of neighbouring points that are labelled differently, neither of them −1.

    Parameters
    ----------
    label : (nx, ny, nz); its outermost layer must be of one label, for steps wrap round at its ends

    Yields
    ------
    (k,) flat numbers, and those of the points one step further along one of the axes
    """
    flat = label.reshape(-1)
    for some in chunks(len(flat)):
        for offset in (1, label.shape[2], label.shape[1] * label.shape[2]):
            other = flat[some.start + offset : some.stop + offset]
            own = flat[some][: len(other)]
            found = np.flatnonzero(own != other)
            found = found[(own[found] >= 0) & (other[found] >= 0)]
            if len(found):
                yield found + some.start, found + some.start + offset
