"""How is the likeness of a body written into a report, and read again?

Numbers as text, a point as "x y z", points with "; " between them: one line each, so that reports
and concessions stay short and can be compared line by line. mm, a ten-thousandth is enough.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lint3d.geometry.likeness import MOST_CORNERS, Likeness

Floats = NDArray[np.float64]

KEYS = ("area", "volume", "box", "centre", "second", "third", "corners")
#: The entries of a symmetric tensor that are written.
_SECOND = [(i, j) for i in range(3) for j in range(i, 3)]
_THIRD = [(i, j, k) for i in range(3) for j in range(i, 3) for k in range(j, 3)]
_FARTHEST = 1e9
"""mm; beyond this nothing is a part"""


def likeness_facts(one: Likeness) -> dict[str, Any]:
    """The likeness as numbers and text.

    Examples
    --------
    >>> corner = np.zeros((1, 3))
    >>> flat = Likeness(2.0, 0.0, corner[0], corner[0] + 1, corner[0], np.eye(3),
    ...                 np.zeros((3, 3, 3)), corner)
    >>> facts = likeness_facts(flat)
    >>> facts["box"], facts["second"], facts["corners"]
    ('0 0 0; 1 1 1', '1 0 0 1 0 1', '0 0 0')
    """
    return {
        "area": float(f"{one.area:.8g}"),
        "volume": float(f"{one.volume:.8g}") + 0.0,
        "box": _points(np.array([one.low, one.high])),
        "centre": _points(one.centre[None]),
        "second": " ".join(f"{_calmed(one.second[at], one, 2):.8g}" for at in _SECOND),
        "third": " ".join(f"{_calmed(one.third[at], one, 3):.8g}" for at in _THIRD),
        "corners": _points(one.corners),
    }


def likeness_from(facts: Mapping[str, Any]) -> Likeness:
    """The likeness that was written.

    Raises
    ------
    ValueError : a key is missing, or its text is not what `likeness_facts` writes
    """
    missing = [key for key in KEYS if key not in facts]
    if missing:
        raise ValueError(f"'{missing[0]}' is missing")
    box = _read(facts, "box", 6)
    corners = _read(facts, "corners", None)
    second, third = np.zeros((3, 3)), np.zeros((3, 3, 3))
    for at, value in zip(_SECOND, _read(facts, "second", 6), strict=True):
        i, j = at
        second[i, j] = second[j, i] = value
    for at3, value in zip(_THIRD, _read(facts, "third", 10), strict=True):
        i, j, k = at3
        for order in ((i, j, k), (i, k, j), (j, i, k), (j, k, i), (k, i, j), (k, j, i)):
            third[order] = value
    area, volume = (_number(facts, key) for key in ("area", "volume"))
    if area <= 0:
        raise ValueError("'area' must be above 0")
    return Likeness(
        area=area,
        volume=volume,
        low=box[:3],
        high=box[3:],
        centre=_read(facts, "centre", 3),
        second=second,
        third=third,
        corners=corners.reshape(-1, 3),
    )


def _calmed(value: float, one: Likeness, power: int) -> float:
    """Nothing where a symmetric shape has only the noise of a sum."""
    return 0.0 if abs(value) < 1e-9 * one.extent**power else value


def _points(points: Floats) -> str:
    rounded = np.round(points, 4) + 0.0
    return "; ".join(" ".join(f"{x:.10g}" for x in point) for point in rounded)


def _read(facts: Mapping[str, Any], key: str, count: int | None) -> Floats:
    text = facts[key]
    if not isinstance(text, str) or len(text) > 100 * 3 * MOST_CORNERS:
        raise ValueError(f"'{key}' must be numbers in a text")
    try:
        values = [float(word) for word in text.replace(";", " ").split()]
    except ValueError:
        raise ValueError(f"'{key}' holds something that is no number") from None
    if not all(math.isfinite(v) and abs(v) <= _FARTHEST**3 for v in values):
        raise ValueError(f"'{key}' holds a number that is out of range")
    fits = len(values) % 3 == 0 and len(values) <= 3 * MOST_CORNERS
    if len(values) != count if count is not None else not fits:
        raise ValueError(f"'{key}' has {len(values)} numbers")
    return np.array(values, np.float64)


def _number(facts: Mapping[str, Any], key: str) -> float:
    value = facts[key]
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise ValueError(f"'{key}' must be a number")
    if not abs(value) <= _FARTHEST**3:
        raise ValueError(f"'{key}' is out of range")
    return float(value)
