"""Which faults of a mesh are one place?

Faults (edges, vertices, faces, pairs of faces) whose affected faces touch are one region.
Guarded by tests/geometry/test_regions.py.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lint3d.geometry.components import connected_groups

Ints = NDArray[np.int64]


def group_regions(face: Ints, fault: Ints, faces: Ints, fault_count: int | None = None) -> Ints:
    """Which connected region does each fault belong to?

    Two faults belong together if a face of the one shares a vertex with a face of the other,
    directly or through further faults.

    Parameters
    ----------
    face : (a,) int64, affected faces
    fault : (a,) int64, number of the fault that each affected face belongs to
    faces : (m, 3) int64, vertices of all faces
    fault_count : how many faults there are; by default the highest in `fault` and one

    Returns
    -------
    (fault_count,) int64 : region of each fault, numbered from 0 by lowest fault

    Examples
    --------
    >>> chain = np.array([[0, 1, 2], [2, 3, 4], [5, 6, 7]])
    >>> group_regions(np.array([0, 1, 2]), np.array([0, 1, 2]), chain)
    array([0, 0, 1])
    """
    if fault_count is None:
        fault_count = int(fault.max()) + 1 if len(fault) else 0
    used, vertex = np.unique(faces[face], return_inverse=True)
    owner = np.repeat(fault, 3)
    groups = connected_groups(fault_count + len(used), owner, fault_count + vertex.ravel())
    # Faults come first and groups are numbered by lowest member: faults fill the numbers from 0.
    return groups[:fault_count]
