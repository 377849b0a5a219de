"""How are very many places of one kind summed up, and how is a position told in plain numbers?

Guarded by tests/plugins/test_many_places.py.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

#: More places of one kind than this, on one body or in one connected hollow, are told as one with
#: their distribution. common practice, no source
MANY = 20


def distribution(values: Floats) -> dict[str, float]:
    """Least, quartiles, largest and mean of some values, (n,) float64, at least one."""
    least, low, middle, high, most = np.quantile(values, [0, 0.25, 0.5, 0.75, 1]).tolist()
    return {
        "least": least,
        "lower_quartile": low,
        "median": middle,
        "upper_quartile": high,
        "largest": most,
        "mean": float(np.mean(values)),
    }


def point(position: Floats) -> tuple[float, float, float]:
    """A position (3,) float64, mm, as plain numbers."""
    x, y, z = (float(one) for one in position)
    return (x, y, z)
