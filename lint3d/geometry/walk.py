"""In which order do facets that lie near each other come soon after each other?

Lengths in mm. Tested by tests/geometry/test_walk.py.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

CELLS = 1023  # along each axis: ten bits


def near_each_other(vertices: Floats, faces: Ints) -> Ints:
    """Rows of `faces` along a curve that fills space.

    Parameters
    ----------
    vertices : (n, 3) float64, mm
    faces : (m, 3) int

    Returns
    -------
    (m,) int64, each row once; in the order of the rows where they share a cell

    References
    ----------
    G. M. Morton, A computer oriented geodetic data base (1966), from memory.
    """
    code = np.zeros(len(faces), dtype=np.int32)
    if not len(faces):
        return code.astype(np.int64)
    # Axis by axis: much quicker than along the rows.
    middles = []
    for axis in range(3):
        along = vertices[:, axis]
        middles.append(along[faces[:, 0]] + along[faces[:, 1]] + along[faces[:, 2]])
    size = max(*(float(np.ptp(middle)) for middle in middles), 1e-30)
    for axis, middle in enumerate(middles):
        bits = ((middle - middle.min()) * (CELLS / size)).astype(np.int32)
        # Spread ten bits three apart.
        for shift, mask in ((16, 0x30000FF), (8, 0x300F00F), (4, 0x30C30C3), (2, 0x9249249)):
            bits = (bits | (bits << shift)) & mask
        code |= bits << axis
    return np.argsort(code, kind="stable")
