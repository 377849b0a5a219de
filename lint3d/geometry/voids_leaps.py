"""Which links between balls lead past a rim, through space that a larger ball gets to?

Balls at the mouths of two gaps may see each other past the wall between them: along its edge, or
where places lie far apart, over it. The gaps are two for all that. Lengths in mm. Guarded by
tests/geometry/test_voids_recesses.py.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lint3d.geometry.components import connected_groups
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
#: Links are looked at in so many turns.
_TURNS = 4


def without_leaps(
    clearance: Clearance,
    balls: tuple[Floats, Floats],
    links: Ints,
    at_mouth: Ints,
    most: float,
) -> Ints:
    """(k, 2) those links that do not lead out of a mouth and in by another.

    Links between balls that hang together without them are not looked at.

    Parameters
    ----------
    balls : (n, 3) and (n,) mm, middles and radii
    links : (m, 2) balls that see each other
    at_mouth : rows of the balls at a mouth
    most : mm, radius of the ball that gets to all mouths
    """
    centre, radius = balls
    is_mouth = np.zeros(len(centre), bool)
    is_mouth[at_mouth] = True
    gap = np.linalg.norm(centre[links[:, 1]] - centre[links[:, 0]], axis=1)
    asked = np.flatnonzero(is_mouth[links].all(axis=1) & (gap > radius[links].sum(axis=1)))
    is_kept = np.ones(len(links), bool)
    is_kept[asked] = False
    # The nearest first: what these join need not be looked at.
    asked = asked[np.argsort(gap[asked], kind="stable")]
    for some in np.array_split(asked, _TURNS):
        known = links[is_kept]
        group = connected_groups(len(centre), known[:, 0], known[:, 1])
        parted = group[links[some, 0]] != group[links[some, 1]]
        is_kept[some] = True
        some = some[parted]
        is_kept[some[_leaps(clearance, centre, radius, links[some], most)]] = False
    return links[is_kept]


def _leaps(clearance: Clearance, centre: Floats, radius: Floats, links: Ints, most: float) -> Bools:
    """(k,) which links lead through space that the larger ball gets to, or along an edge?"""
    least = radius[links].min(axis=1)
    step = centre[links[:, 1]] - centre[links[:, 0]]
    gap = np.linalg.norm(step, axis=1)
    count = np.clip(gap / (_APART * least), 1, _MOST_PLACES).astype(np.int64)
    row = np.repeat(np.arange(len(links)), count)
    number = np.arange(len(row)) - np.repeat(np.cumsum(count) - count, count)
    place = centre[links[row, 0]] + ((number + 1) / (count[row] + 1))[:, None] * step[row]
    free = clearance.at(place)
    leaps = np.zeros(len(links), bool)
    leaps[row[free < _TOUCHES * least[row]]] = True
    near = np.flatnonzero((free < _NEAR * least[row]) & ~leaps[row])
    roomy = grown(clearance, place[near], free[near], most)[1] >= _AS_FAR * most
    leaps[row[near[roomy]]] = True
    return leaps
