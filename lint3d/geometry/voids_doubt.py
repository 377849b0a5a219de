"""How far do steps of the coordinates put the widths of a part off?

Far from the origin single-precision coordinates lie far apart, and what was written is the shape
with every corner moved to the nearest of them. Lengths in mm. Guarded by
tests/geometry/test_voids_doubt.py.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from lint3d.geometry.throats import Throat
from lint3d.geometry.throats_length import NeckLengths
from lint3d.geometry.voids_model import Pocket, Voids

Floats = NDArray[np.float64]

#: A width that is known to be more than nothing stays so, by this share.
_SOMETHING = 1e-5
#: Steps of single precision are no larger than this share of a coordinate.
_STEP = 2.0**-23


def width_doubt(vertices: Floats, step: float = 0.0) -> float:
    """How much wider or narrower than drawn may a passage be in the file, mm?

    A corner is off by half a step along each axis, so a wall by √3/2 steps, and two walls face
    each other across a passage.

    Parameters
    ----------
    vertices : (n, 3) mm, in the frame of the file
    step : mm, how far coordinates may be off, if by more than a step of float32
    """
    largest = float(np.abs(vertices).max(initial=0.0))
    more = max(step - _STEP * largest, 0.0)
    return float(np.sqrt(3.0) * (np.spacing(np.float32(largest)) + more))


def with_doubt(voids: Voids, doubt: float) -> Voids:
    """The same hollows, the bounds of every width and length so much farther apart.

    Parameters
    ----------
    doubt : mm, of a width
    """
    throats: dict[int, tuple[Throat, Throat]] = {}

    def doubted(throat: Throat) -> Throat:
        if id(throat) not in throats:
            throats[id(throat)] = throat, _doubted(throat, doubt)
        return throats[id(throat)][1]

    def pocket_doubted(pocket: Pocket) -> Pocket:
        return replace(
            pocket,
            openings=tuple(replace(one, throat=doubted(one.throat)) for one in pocket.openings),
            throat=doubted(pocket.throat),
            bridge=doubted(pocket.bridge) if pocket.bridge is not None else None,
        )

    graph = voids.graph
    if graph is not None:
        graph = graph.copy()
        for *_, data in graph.edges(data=True):
            throat = data["throat"] = doubted(data["throat"])
            data["lower"], data["upper"] = throat.lower, throat.upper
    return replace(voids, pockets=[pocket_doubted(one) for one in voids.pockets], graph=graph)


def _doubted(throat: Throat, doubt: float) -> Throat:
    def lengths() -> tuple[float, float, float]:
        lower, length, upper = throat.lengths.bounds
        return max(lower - doubt, 0.0), length, upper + doubt

    return replace(
        throat,
        lower=max(throat.lower - doubt, _SOMETHING * throat.lower),
        upper=throat.upper + doubt,
        lengths=NeckLengths(lengths),
    )
