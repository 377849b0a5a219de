"""Does a body lie so far from the origin that its coordinates have lost their last digits?

Formats of single precision hold seven digits: 1 km away a part is resolved to 0.06 mm only. Guarded
by tests/plugins/test_far_off.py.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

#: So many times its own size from the origin, a body has lost two digits of seven.
FAR = 100.0


def far_off(vertices: NDArray[Any]) -> str | None:
    """What to tell of a body far from the origin, with the remedy; None if it is near.

    Parameters
    ----------
    vertices : (n, 3) float64, mm

    Examples
    --------
    >>> far_off(np.array([[0.0, 0, 0], [20, 20, 20]]))
    >>> far_off(np.array([[1e6, 0, 0], [1e6 + 20, 20, 20]]))[:50]
    'It lies 1e+06 mm from the origin, where neighbouri'
    """
    if not len(vertices):
        return None
    largest = float(np.abs(vertices).max())
    if largest <= FAR * float(np.ptp(vertices, axis=0).max()):
        return None
    step = float(np.spacing(np.float32(largest)))
    return (
        f"It lies {largest:.3g} mm from the origin, where neighbouring numbers of single precision "
        f"are {step:.2g} mm apart: move it to the origin in the design, and export it again."
    )
