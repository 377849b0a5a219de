"""In which position does the least stay, and how sure is it that none is better?

Positions come from the body itself, so that the answer turns with it: openings downward, its axes,
its flats, and positions in which a pool's own outlet is the lowest place of that pool. The best are
bettered step by step. Then the sphere of all positions is divided: pieces in which more stays for
certain than the best position leaves are dropped, the others are parted again, until the best is
proven or the effort is spent; what is proven then is the lower bound. Lengths in mm, volumes in
mm3. Guarded by tests/geometry/test_pools_search.py.

References
----------
Branch and bound: A. H. Land, A. G. Doig, Econometrica 28 (1960) 497. Least distance programming
for the positions that let pools run out: C. L. Lawson, R. J. Hanson, Solving Least Squares
Problems (1974), chapter 23.
"""

from __future__ import annotations

import heapq
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lint3d.geometry.pools_bound import stays_near
from lint3d.geometry.pools_outlet import letting_out
from lint3d.geometry.pools_sphere import (
    around,
    caps,
    coarse_triangles,
    large_normals,
    principal_axes,
    split,
    unit,
)
from lint3d.geometry.pools_surface import PoolSurface, Standing

Floats = NDArray[np.float64]

#: Facets × positions that a search may cost, and the positions that it always and at most tries.
_EFFORT, _LEAST, _MOST = 6e6, 60, 2500
#: Share of that which is spent on bettering what passes already.
_ON_PASSING = 0.2
#: The largest flats that are laid level.
_FLATS = 24
#: Positions that are bettered, and steps of letting pools out for each.
_STARTS, _OUTLETS = 6, 6
#: Steps of bettering, rad: from, to.
_COARSE, _FINE = 0.2, 2e-4
#: A best position is proven if no other can leave less than this share of it.
_PROVEN = 0.95


@dataclass(frozen=True)
class Goal:
    """What does the asker need to know?

    Attributes
    ----------
    enough : mm3, a position that leaves less need not be bettered
    passes : mm3, if less than this stays nobody asks whether another position is better still
    beyond : mm3, if more than this stays in every position no closer bound is needed
    """

    enough: float = 0.0
    passes: float = 0.0
    beyond: float = np.inf


class Search:
    """The best position so far, and what is known of the rest."""

    def __init__(self, surface: PoolSurface, goal: Goal) -> None:
        self._surface, self._goal = surface, goal
        self.most = int(np.clip(_EFFORT / max(len(surface.faces), 1), _LEAST, _MOST))
        self._on_passing = min(_ON_PASSING * _EFFORT / max(len(surface.faces), 1), self.most)
        self.tried = 0
        self.best = np.inf
        self.up = np.array([0.0, 0.0, 1.0])
        self.proven = 0.0

    def is_done(self) -> bool:
        """Is the best good enough, or the effort spent?"""
        if self.best <= self._goal.passes and self.tried >= self._on_passing:
            return True
        return self.best <= self._goal.enough or self.tried >= self.most

    def look(self, up: Floats) -> tuple[Standing, float]:
        """What stays in a position."""
        self.tried += 1
        one = self._surface.standing(up)
        volume = max(float(self._surface.volumes(one).sum()), 0.0)
        if volume < self.best:
            self.best, self.up = volume, one.up
        return one, volume

    def try_all(self, ups: Iterable[Floats]) -> list[tuple[float, Floats, Standing]]:
        """Positions with what they leave, the least first; stops at one that is good enough."""
        found = []
        for up in ups:
            if self.is_done():
                break
            one, volume = self.look(up)
            found.append((volume, one.up, one))
        return sorted(found, key=lambda item: item[0])

    def let_out(self, one: Standing) -> None:
        """Turn the part until each pool's outlet is its lowest place, again and again."""
        rows: list[Floats] = []
        for _ in range(_OUTLETS):
            next_up = letting_out(self._surface, one, rows)
            if next_up is None or self.is_done():
                return
            one, _ = self.look(next_up)

    def better(self, up: Floats, volume: float, step: float, last: float = _FINE) -> None:
        """Turn the part by smaller and smaller steps to where less stays."""
        turned = 0
        while step > last and not self.is_done():
            for near in around(up, step, turned):
                if self.is_done():
                    return
                found = self.look(near)[1]
                if found < volume:
                    up, volume = near, found
                    break
            else:
                step /= 2
                turned += 1

    def prove(self, axes: Floats) -> None:
        """Divide the sphere until no position can be better, or the effort is spent."""
        queue: list[tuple[float, int, float, int, Floats]] = []
        number = 0
        waiting = [(coarse_triangles() @ axes, 0, 0.0)]
        while True:
            for triangles, depth, known in waiting:
                for corners, middle, angle in zip(triangles, *caps(triangles), strict=True):
                    before = self.best
                    one, volume = self.look(middle)
                    if volume < before * 0.999:
                        self.better(middle, volume, angle / 2)
                    least = max(known, stays_near(self._surface, one, float(angle)))
                    heapq.heappush(queue, (least, depth, volume, number, corners))
                    number += 1
            self.proven = min(queue[0][0], self.best)
            wanted = min(_PROVEN * self.best, self._goal.beyond)
            if self.proven > wanted or self.is_done():
                return
            least, depth, _, _, corners = heapq.heappop(queue)
            waiting = [(split(corners[None]), depth + 1, least)]


def best_position(
    surface: PoolSurface, openings: Floats, goal: Goal | None = None
) -> tuple[Floats, float]:
    """The position in which the least stays, and what stays in every position for certain.

    Parameters
    ----------
    openings : (k, 3) directions in which openings lead out of the part

    Returns
    -------
    (3,) unit vector upward, mm3
    """
    goal = goal or Goal()
    search = Search(surface, goal)
    axes = principal_axes(surface.vertices, surface.faces, surface.area)
    flats = large_normals(surface.area, _FLATS)
    first = np.concatenate([-unit(openings.reshape(-1, 3)), axes, -axes, flats, -flats])
    found = search.try_all(first)
    for _, _, one in found[:_STARTS]:
        search.let_out(one)
    if not search.is_done():
        search.better(search.up, search.best, _COARSE)
    for volume, up, _ in found[1:3]:
        search.better(up, volume, _COARSE, last=0.02)
    if search.best > max(goal.enough, goal.passes):
        search.prove(axes)
        search.better(search.up, search.best, 0.01)
    return search.up, min(search.proven, search.best)
