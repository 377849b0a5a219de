"""Which necks lie on the widest ways out of pockets, and how long is each?

A bend of a duct may be wide enough for a chamber. It does not end a neck, which runs on through it
and is told once. Lengths in mm. Guarded by tests/plugins/test_drain_necks.py.
"""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from typing import TYPE_CHECKING

from lint3d_plugins.drain_places import Neck

if TYPE_CHECKING:
    from lint3d.geometry.throats import Throat
    from lint3d.geometry.voids_model import Pocket
    from lint3d_plugins.drain_hollows import Hollow

    Hop = tuple[int, int]


def necks_on_ways(hollow: Hollow) -> list[Neck]:
    """Every neck on the widest ways out, each with the pockets that need it."""
    from lint3d.geometry.throats_length import NECK_FACTOR
    from lint3d.geometry.throats_series import lengths_in_series
    from lint3d.geometry.voids_ways import widest_between

    graph = hollow.voids.graph
    if graph is None:
        return []
    throats: dict[Hop, Throat] = {}
    behind: dict[Hop, list[Pocket]] = {}
    for pocket in hollow.voids.pockets:
        for hop in pairwise(pocket.way_nodes):
            if hop not in throats:
                throats[hop] = widest_between(graph, *hop)
            behind.setdefault(hop, []).append(pocket)
    wide = dict(graph.nodes(data="diameter"))
    runs = {hop: _run(wide, behind[hop][0], hop, throats[hop].diameter) for hop in throats}
    told: dict[Hop, list[Pocket]] = {}
    for hop in sorted(throats, key=lambda hop: throats[hop].diameter):
        same = [
            one
            for one in told
            if one in runs[hop]
            and hop in runs[one]
            and throats[hop].diameter <= NECK_FACTOR * throats[one].diameter
        ]
        if same:
            told[same[0]] += behind[hop]
        else:
            told[hop] = list(behind[hop])
    found = []
    for hop in throats:
        if hop not in told:
            continue
        throat, run = throats[hop], runs[hop]
        if len(run) > 1:
            series = [throats[one] for one in run]
            throat = replace(throat, lengths=lengths_in_series(series, run.index(hop)))
        pockets = [one for one in hollow.voids.pockets if any(one is own for own in told[hop])]
        found.append(Neck(hollow, throat, tuple(pockets)))
    return found


def _run(wide: dict[int, float], pocket: Pocket, hop: Hop, width: float) -> list[Hop]:
    """The openings on the way of a pocket that follow each other with nothing but bends between.

    Parameters
    ----------
    wide : mm, diameter of each chamber
    width : mm, of the throat of `hop`, one of those openings
    """
    from lint3d.geometry.throats_length import BEND_FACTOR

    hops = list(pairwise(pocket.way_nodes))
    first = last = hops.index(hop)
    while first > 0 and wide[hops[first][0]] <= BEND_FACTOR * width:
        first -= 1
    while last + 1 < len(hops) and wide[hops[last][1]] <= BEND_FACTOR * width:
        last += 1
    return hops[first : last + 1]
