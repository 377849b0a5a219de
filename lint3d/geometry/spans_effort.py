"""How many rays may a look across a surface cost?

A ray is tested against every facet whose box it meets. On sound surfaces these are few; in a heap
of needles that cross each other, or of large facets on top of each other, a good part of them
all, so that a ray a facet grows with the square of their number. Counted, not timed: the same
file gives the same answer on any machine. Tested by tests/geometry/test_spans_needles.py.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lint3d.geometry.spans_surface import FACETS_AT_ONCE, SpanSurface

Floats = NDArray[np.float64]

# Work of a ray, in ns of one core where it was measured: alone, for each box it passes through
# lengthwise, and for each flat box it meets.
RAY, THROUGH, FLAT = 1_000.0, 50.0, 1.0
LOOK = 6e10  # work that the rays of one look may cost
RAYS_EACH = 40  # rays that one point may cause in all later steps, at most
PAIRS_SHARE = 10  # of which pairs of facets, each worth some rays, get one in so many
FEELERS_SHARE = 4  # one in so many of the rays may go out from vertices, and from sides
STEP = 4.0  # looks that a whole step may cost, its points, pairs and all that follows from them
EACH = 60_000.0  # work a facet that a look may cost on a surface of very many
# A surface a ray into which costs more is a tangle: what it may cost does not grow with its facets,
# for then each ray costs more, too. Of a tangle of more facets than so many it is less, for all
# else that is done about them takes its time.
TANGLE = 10_000.0
FACETS_MOST = 1_000_000


@dataclass(frozen=True)
class Effort:
    """What a look may cost.

    Attributes
    ----------
    rays : at most so many points may send one
    points : how many points are taken instead where there are more than that
    pairs : at most so many pairs of large facets are compared
    """

    rays: int
    points: int
    pairs: int


def effort_for(surface: SpanSurface) -> Effort:
    """Rays, points and pairs that a look across a surface may cost."""
    ray = work_of_ray(surface)
    rays = max(int(min(LOOK, work_of_look(len(surface.faces), ray)) / ray), RAYS_EACH)
    return Effort(rays, max(rays // RAYS_EACH, 1), max(rays // PAIRS_SHARE, 1))


def effort_of_step(surface: SpanSurface) -> Effort:
    """The same, at the start of a step: from here on its rays are counted.

    What a step does about its own limits tells in part what was found; `RaysSpent` is what
    stops it where that does not do.
    """
    effort = effort_for(surface)
    ray = work_of_ray(surface)
    most = int(STEP * work_of_look(len(surface.faces), ray) / ray)
    surface.scene.allow(max(most, int(STEP) * RAYS_EACH * RAYS_EACH))
    return effort


def work_of_look(facets: int, ray: float) -> float:
    """Work that a look may cost, from how many facets there are and what a ray into them costs."""
    share = min(TANGLE / ray, 1.0) ** 3
    return max(LOOK * min(FACETS_MOST / max(facets, 1), 1.0), EACH * facets * share)


def work_of_ray(surface: SpanSurface) -> float:
    """Work of one ray, from how many boxes of facets it may be expected to meet."""
    if surface.ray_work is None:
        surface.ray_work = _work_of_ray(surface)
    return surface.ray_work


def _work_of_ray(surface: SpanSurface) -> float:
    if not len(surface.faces):
        return RAY
    # Axis by axis: much quicker than along the rows.
    sides = np.array([np.ptp(surface.vertices[:, axis]) for axis in range(3)])
    whole = np.maximum(sides, max(surface.resolution, 1e-30))
    # Every so-manieth will do: where few facets decide, few are met.
    step = -(-len(surface.faces) // FACETS_AT_ONCE)
    first, second, third = (surface.vertices[surface.faces[::step, i]] for i in range(3))
    sides = np.maximum(np.maximum(first, second), third)
    sides -= np.minimum(np.minimum(first, second), third)
    share = len(surface.faces) / len(sides)
    room = share * float(sides.prod(axis=1).sum()) / float(whole.prod())
    shadow = share * float(np.einsum("ij,ij->", sides, sides[:, [1, 2, 0]]))
    return RAY + THROUGH * room + FLAT * shadow / float(whole @ whole[[1, 2, 0]])
