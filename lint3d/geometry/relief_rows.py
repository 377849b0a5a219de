"""Do characters stand on lines, as type does, or as hooks, lugs and slots happen to be set out?

Lengths in mm. Guarded by tests/geometry/test_relief_rows.py.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from lint3d.geometry.relief_border import is_tall

if TYPE_CHECKING:
    from lint3d.geometry.relief_lines import Inscription

Floats = NDArray[np.float64]

#: Characters share a foot line, a head line or a middle with another of their line, within this
#: share of its height: this share of them at least. In 70 words on all bases at least 0.6 did (of
#: a g beside a 7, not both); of hooks and lugs that are set out otherwise next to none.
WITHIN, LEAST_SET = 0.1, 0.4
#: So many are needed to say so: the way of three (Wg7 on a coarse drum) may be told wrong.
LEAST_TALL = 4


def are_set_on_lines(lines: Sequence[Inscription]) -> bool:
    """Do the characters of some lines stand beside each other as type does?

    Parameters
    ----------
    lines : that one group of islands makes up

    Returns
    -------
    bool : True for fewer than four characters, and where each line has one alone
    """
    shared = [_shares_a_line(line) for line in lines]
    of_several = [one for one in shared if len(one) > 1]
    count = sum(len(one) for one in of_several)
    return count < LEAST_TALL or sum(int(one.sum()) for one in of_several) >= LEAST_SET * count


def _shares_a_line(line: Inscription) -> NDArray[np.bool_]:
    """(k,) does each tall island share its foot, its head or its middle with another?"""
    tall = line.overall_height
    rows = [row for row, shape in enumerate(line.shapes) if is_tall(shape, tall)]
    mine = [line.shapes[row] for row in rows]
    if len(mine) < 2:
        return np.zeros(len(mine), bool)
    normal = np.array([shape.measured.island.normal for shape in mine])
    across: Floats = np.cross(normal, line.direction[rows])
    extent = np.array([shape.extent(way) for shape, way in zip(mine, across, strict=True)])
    middle = np.array([shape.standing.centre for shape in mine])
    # Over a bent base, along the way that lies between those of both.
    way = across[:, None] + across
    way /= np.maximum(np.linalg.norm(way, axis=2), 1e-12)[:, :, None]
    higher = np.einsum("ijk,ijk->ij", middle[None] - middle[:, None], way)
    places = np.column_stack([extent, extent.mean(axis=1)])
    step = higher[:, :, None] + places[None] - places[:, None]
    step[np.arange(len(mine)), np.arange(len(mine))] = np.inf
    found: NDArray[np.bool_] = (np.abs(step).min(axis=2) <= WITHIN * tall).any(axis=1)
    return found
