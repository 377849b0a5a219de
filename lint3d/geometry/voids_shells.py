"""Which hollows are closed for certain?

That is no question for a grid: a neck can be narrower than any pitch. A closed shell that another
one holds, and that lies an odd number of times inside, bounds a hollow that nothing leads to; the
shells directly inside it are loose bodies. Its volume follows from the facets. Lengths in mm.
Guarded by tests/geometry/test_voids_shells.py.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lint3d.geometry.nesting import nest_shells
from lint3d.geometry.shells import (
    closed_shells,
    facet_areas,
    facet_volumes,
    split_shells,
    sum_by_shell,
)
from lint3d.geometry.topology import edge_table

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class ShellRegions:
    """Shells and the free region that each of them bounds."""

    of_face: Ints
    """(m,) shell of each face"""
    closed: Bools
    """(s,)"""
    depth: Ints
    """(s,) how many shells hold each one"""
    volume: Floats
    """(s,) mm3, signed"""
    area: Floats
    """(s,) mm2"""
    region: Ints
    """(s,) the cavity shell around the region that lies on its free side; −1 = the outside"""

    def cavities(self) -> Ints:
        """Closed shells that bound a hollow from outside."""
        return np.flatnonzero((self.depth % 2 == 1) & self.closed)


def shell_regions(vertices: Floats, faces: Ints) -> ShellRegions:
    """Split faces into shells and tell which region each one bounds.

    Parameters
    ----------
    vertices : (n, 3) mm
    faces : (m, 3) turned so that they look out of the material
    """
    table = edge_table(faces, len(vertices))
    label = split_shells(table, faces)
    closed = closed_shells(table, label)
    volume = sum_by_shell(facet_volumes(vertices, faces, label), label)
    if len(closed) > 1:
        parent, depth = nest_shells(vertices, faces, label, closed)
    else:
        parent, depth = np.full(len(closed), -1), np.zeros(len(closed), np.int64)
    odd = depth % 2 == 1
    region = np.where(odd, np.arange(len(closed)), parent)
    area = sum_by_shell(facet_areas(vertices, faces), label)
    return ShellRegions(label, closed, depth, volume, area, region)
