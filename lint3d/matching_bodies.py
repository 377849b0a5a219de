"""Which body of an earlier report is this one, in spite of moves and new names?

By name, if it is much the same body as before; else by what bodies are known by, each with one
other at most and so that the differences are smallest.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from lint3d.geometry.likeness import Likeness
from lint3d.geometry.rigid_fit import unlikeness

Floats = NDArray[np.float64]
#: File and body.
Key = tuple[str, str]

#: The cost of what must not be paired.
NEVER = 1e6
#: Bodies of other names that differ by more than this are others. common practice, no source
_MOST_UNLIKE = 0.15
#: Bodies of one name that differ by no more than this are the same, whatever else there is.
_SURELY_ALIKE = 0.02


def pair_bodies(old: dict[Key, Likeness | None], new: dict[Key, Likeness | None]) -> dict[Key, Key]:
    """The earlier body of each new one that has one."""
    pairs: dict[Key, Key] = {}
    for key in sorted(old.keys() & new.keys()):
        one, other = old[key], new[key]
        if one is None or other is None or unlikeness([one], [other])[0, 0] <= _SURELY_ALIKE:
            pairs[key] = key
    ours = sorted(old.keys() - set(pairs.values()))
    theirs = sorted(new.keys() - pairs.keys())
    if not ours or not theirs:
        return pairs
    cost = _body_costs([(key, old[key]) for key in ours], [(key, new[key]) for key in theirs])
    for row, column in assigned(cost):
        pairs[theirs[column]] = ours[row]
    return pairs


def _body_costs(
    ours: Sequence[tuple[Key, Likeness | None]], theirs: Sequence[tuple[Key, Likeness | None]]
) -> Floats:
    """(n, m) how unlikely it is that two bodies are one."""
    cost = np.ones((len(ours), len(theirs)))
    known = [row for row, (_, shape) in enumerate(ours) if shape is not None]
    seen = [row for row, (_, shape) in enumerate(theirs) if shape is not None]
    shapes = [ours[row][1] for row in known], [theirs[row][1] for row in seen]
    cost[np.ix_(known, seen)] = unlikeness(*shapes)  # type: ignore[arg-type]
    uris, names = (np.array([k[i] for k, _ in ours], object)[:, None] for i in (0, 1))
    new_uris, new_names = (np.array([k[i] for k, _ in theirs], object)[None] for i in (0, 1))
    same_file, same_name = uris == new_uris, names == new_names
    alone = _alone(uris[:, 0])[:, None] & _alone(new_uris[0])[None]
    allowed = (cost <= _MOST_UNLIKE) | (same_file & (same_name | alone))
    result: Floats = np.where(allowed, cost + 0.05 * ~same_name + 0.05 * ~same_file, NEVER)
    return result


def _alone(uris: NDArray[np.object_]) -> NDArray[np.bool_]:
    """Which of the bodies are the only one of their file."""
    number = Counter(uris.tolist())
    return np.array([number[uri] == 1 for uri in uris], bool)


def assigned(cost: Floats) -> list[tuple[int, int]]:
    """Rows and columns that belong together: as many as may, at the lowest cost."""
    # It takes as long to import as a small part to inspect, and most runs look back at nothing.
    from scipy.optimize import linear_sum_assignment

    rows, columns = linear_sum_assignment(cost)
    return [(int(r), int(c)) for r, c in zip(rows, columns, strict=True) if cost[r, c] < NEVER]
