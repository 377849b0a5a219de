"""Bars by their ends, for tests that look bars up."""

from __future__ import annotations

from typing import Any

import numpy as np

from lint3d.geometry.rods_bar import Bar


def bar(start: Any, end: Any, diameter: float) -> Bar:
    """A straight bar without faces."""
    start, end = np.asarray(start, float), np.asarray(end, float)
    length = float(np.linalg.norm(end - start))
    return Bar(
        diameter,
        diameter,
        diameter,
        length,
        length,
        length,
        (end - start) / length,
        start,
        end,
        True,
        (False, False),
        np.zeros(0, np.int64),
        0.0,
        length,
    )
