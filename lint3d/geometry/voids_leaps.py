"""Which links between balls lead past a rim, through space that a larger ball gets to?

Balls at the mouths of two gaps may see each other past the wall between them: along its edge, or
where places lie far apart, over it. The gaps are two for all that. Lengths in mm. Guarded by
tests/geometry/test_voids_recesses.py.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lint3d.geometry.throats_clearance import Clearance
from lint3d.geometry.voids_tight import grown

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

#: A link is looked at where it comes so near to the surface, times the smaller of its balls;
#: where it all but touches, it leads along an edge.
_NEAR, _TOUCHES = 0.5, 0.02
#: There is room for the larger ball if one grows to so much of it.
_AS_FAR = 0.95
#: Places along a link are this far apart, times the smaller of its balls, and as many at most.
_APART, _MOST_PLACES = 0.7, 24


def without_leaps(
    clearance: Clearance,
    centre: Floats,
    radius: Floats,
    links: Ints,
    at_mouth: Ints,
    most: float,
) -> Ints:
    """(k, 2) those links that do not lead out of a mouth and in by another.

    Parameters
    ----------
    centre, radius : (n, 3) and (n,) mm, of the balls
    links : (m, 2) balls that see each other
    at_mouth : rows of the balls at a mouth
    most : mm, radius of the ball that gets to all mouths
    """
    is_mouth = np.zeros(len(centre), bool)
    is_mouth[at_mouth] = True
    asked = np.flatnonzero(is_mouth[links].all(axis=1))
    ends = links[asked]
    least = radius[ends].min(axis=1)
    step = centre[ends[:, 1]] - centre[ends[:, 0]]
    gap = np.linalg.norm(step, axis=1)
    count = np.clip(gap / (_APART * least), 1, _MOST_PLACES).astype(np.int64)
    row = np.repeat(np.arange(len(asked)), count)
    number = np.arange(len(row)) - np.repeat(np.cumsum(count) - count, count)
    place = centre[ends[row, 0]] + ((number + 1) / (count[row] + 1))[:, None] * step[row]
    free = clearance.at(place)
    leaps = np.zeros(len(asked), bool)
    leaps[row[free < _TOUCHES * least[row]]] = True
    near = np.flatnonzero((free < _NEAR * least[row]) & ~leaps[row])
    leaps[row[near[_is_roomy(clearance, place[near], free[near], most)]]] = True
    return np.delete(links, asked[leaps], axis=0)


def _is_roomy(clearance: Clearance, place: Floats, free: Floats, most: float) -> Bools:
    """Does the larger ball lie at a place, as soon as it is moved off the surface?"""
    roomy: Bools = grown(clearance, place, free, most)[1] >= _AS_FAR * most
    return roomy
