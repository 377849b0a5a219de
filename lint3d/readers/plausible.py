"""Can these numbers be the corners of a part?

Coordinates in the file's unit, (m, 3, 3) for m facets of three corners.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from lint3d.readers.faultlist import Kind

#: Further out than this, in any unit, is no part: 1e9 mm are a thousand kilometres, 1e9 µm one.
#: Products of three such lengths stay far inside float64. common practice, no source
COORDINATE_MAX = 1e9

NOT_FINITE = Kind(
    "facet",
    "with a corner that is no finite number (NaN or infinity), left out",
    "Export the part again; if that does not help, look for a broken face in the CAD model.",
)
TOO_FAR = Kind(
    "facet",
    f"with a corner further than {COORDINATE_MAX:.0e} units from the origin, left out",
    "Such numbers come from damaged data; export the part again, near the origin.",
)


# Damaged data hold NaN of every kind; some of them warn at the first touch.
@np.errstate(invalid="ignore")
def usable_facets(
    corners: NDArray[Any],
) -> tuple[NDArray[np.bool_] | None, list[tuple[Kind, NDArray[np.int64]]]]:
    """Which facets have three corners that a part can have?

    Parameters
    ----------
    corners : (m, 3, 3) float

    Returns
    -------
    usable : (m,) bool, or None if every facet is
    trouble : for each kind of trouble the rows of the facets that have it

    Examples
    --------
    >>> corners = np.zeros((2, 3, 3)); corners[1, 0, 0] = np.nan
    >>> usable, trouble = usable_facets(corners)
    >>> usable, trouble[0][1]
    (array([ True, False]), array([1]))
    """
    if corners.size == 0 or _largest(corners) <= COORDINATE_MAX:
        return None, []
    flat = corners.reshape(len(corners), -1)
    finite = np.isfinite(flat).all(axis=1)
    near = (np.abs(flat) <= COORDINATE_MAX).all(axis=1)
    trouble = [
        (kind, np.flatnonzero(rows))
        for kind, rows in ((NOT_FINITE, ~finite), (TOO_FAR, finite & ~near))
        if rows.any()
    ]
    return finite & near, trouble


def _largest(values: NDArray[Any]) -> float:
    """Largest absolute value, infinity if any is not finite, without a copy of the array."""
    low, high = float(values.min()), float(values.max())
    if not (np.isfinite(low) and np.isfinite(high)):
        return float("inf")
    return max(-low, high)
