"""Which necks are there, which pockets lie behind each, and how long is it?

A bend of a duct may be wide enough for a chamber. It does not end a neck, which runs on through it
and is told once. Lengths in mm. Guarded by tests/plugins/test_drain_necks.py.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from itertools import pairwise
from typing import TYPE_CHECKING

from lint3d_plugins.drain_places import Neck

if TYPE_CHECKING:
    from lint3d.geometry.throats import Throat
    from lint3d.geometry.voids_model import Pocket
    from lint3d_plugins.drain_hollows import Hollow

Hop = tuple[int, int]


def necks(hollow: Hollow, of: Callable[[Pocket], Throat | None]) -> list[Neck]:
    """Pockets by the throat that `of` names for each; those with none are left out.

    Throats as wide in one run of openings are one neck: the bends of a serpentine are pockets, too.
    """
    throats: list[Throat] = []
    behind: dict[bytes, list[Pocket]] = {}
    for pocket in hollow.voids.pockets:
        throat = of(pocket)
        if throat is None:
            continue
        key = throat.position.tobytes()
        if key not in behind:
            throats.append(throat)
        behind.setdefault(key, []).append(pocket)
    if len(throats) < 2:
        return [_neck(hollow, one, behind[one.position.tobytes()]) for one in throats]
    runs = _Runs(hollow)
    told: dict[int, list[Pocket]] = {}
    hops = [runs.hop_at(one) for one in throats]
    for i in sorted(range(len(throats)), key=lambda i: throats[i].diameter):
        mine = behind[throats[i].position.tobytes()]
        same = [j for j in told if runs.are_one(hops[j], hops[i])]
        told.setdefault(same[0] if same else i, []).extend(mine)
    return [_neck(hollow, throats[i], told[i]) for i in range(len(throats)) if i in told]


def necks_on_ways(hollow: Hollow) -> list[Neck]:
    """Every neck on the widest ways out, each with the pockets that need it."""
    from lint3d.geometry.throats_series import lengths_in_series

    runs = _Runs(hollow)
    throats = runs.throats
    told: dict[Hop, list[Pocket]] = {}
    for hop in sorted(throats, key=lambda hop: throats[hop].diameter):
        same = [one for one in told if runs.are_one(one, hop)]
        told.setdefault(same[0] if same else hop, []).extend(runs.behind[hop])
    found = []
    for hop in throats:
        if hop not in told:
            continue
        throat, run = throats[hop], runs.of[hop]
        if len(run) > 1:
            series = [throats[one] for one in run]
            throat = replace(throat, lengths=lengths_in_series(series, run.index(hop)))
        found.append(_neck(hollow, throat, told[hop]))
    return found


def _neck(hollow: Hollow, throat: Throat, behind: Sequence[Pocket]) -> Neck:
    """A neck with the pockets behind it, each once, in the order of all."""
    pockets = [one for one in hollow.voids.pockets if any(one is own for own in behind)]
    return Neck(hollow, throat, tuple(pockets))


class _Runs:
    """The openings on the widest ways out, and which follow each other with only bends between.

    Attributes
    ----------
    throats, behind, of : of each opening its throat, the pockets that need it, and its run
    """

    def __init__(self, hollow: Hollow) -> None:
        from lint3d.geometry.voids_ways import widest_between

        self.throats: dict[Hop, Throat] = {}
        self.behind: dict[Hop, list[Pocket]] = {}
        self.of: dict[Hop, list[Hop]] = {}
        graph = hollow.voids.graph
        if graph is None:
            return
        for pocket in hollow.voids.pockets:
            for hop in pairwise(pocket.way_nodes):
                if hop not in self.throats:
                    self.throats[hop] = widest_between(graph, *hop)
                self.behind.setdefault(hop, []).append(pocket)
        self._wide = wide = dict(graph.nodes(data="diameter"))
        for hop, throat in self.throats.items():
            # A bend that is a pocket, too, knows nothing of what lies behind it.
            runs = [_run(wide, pocket, hop, throat.diameter) for pocket in self.behind[hop]]
            self.of[hop] = max(runs, key=len)

    def hop_at(self, throat: Throat) -> Hop | None:
        """The opening that a throat is in, if it is on a way out."""
        for hop, one in self.throats.items():
            if (one.position == throat.position).all():
                return hop
        return None

    def are_one(self, narrow: Hop | None, hop: Hop | None) -> bool:
        """Are two openings, the narrower first, one neck?"""
        from lint3d.geometry.throats_length import NECK_FACTOR

        if narrow is None or hop is None:
            return False
        width = self.throats[narrow].diameter
        if self.throats[hop].diameter > NECK_FACTOR * width:
            return False
        both = [one for one in self.behind[narrow] if hop in pairwise(one.way_nodes)]
        return any(hop in _run(self._wide, pocket, narrow, width) for pocket in both)


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
