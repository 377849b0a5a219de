"""Is this text a number as 3MF writes them?

Core Specification 1.4, ST_Number and ST_ResourceIndex; blanks around a number are allowed, as is a
point with nothing behind it, because every program reads that.
"""

from __future__ import annotations

import math
import re

import numpy as np
from numpy.typing import NDArray

_NUMBER = re.compile(r"[ \t\r\n]*[-+]?([0-9]+\.?[0-9]*|\.[0-9]+)([eE][-+]?[0-9]+)?[ \t\r\n]*")
_INTEGER = re.compile(r"[ \t\r\n]*[-+]?[0-9]{1,18}[ \t\r\n]*")
NO_INTEGER = -(1 << 62)
IDENTITY = np.eye(4, 3)
#: Rows of a matrix this near to one plane have no volume; relative to their lengths.
_FLAT = 1e-9


def number(text: str | None) -> float:
    """The number, NaN if there is none that float64 can hold.

    Examples
    --------
    >>> number("1.5e3"), number("nan"), number("1_0"), number(None), number("1e-400")
    (1500.0, nan, nan, nan, nan)
    """
    found = _NUMBER.fullmatch(text) if text is not None and len(text) < 4096 else None
    if not found:
        return float("nan")
    value = float(found[0])
    if not math.isfinite(value) or (value == 0.0 and found[1].strip("0.")):
        return float("nan")
    return value


def integer(text: str | None) -> int:
    """The whole number, `NO_INTEGER` if there is none.

    Examples
    --------
    >>> integer("7"), integer("-1"), integer("1.0") == NO_INTEGER
    (7, -1, True)
    """
    return int(text) if text is not None and _INTEGER.fullmatch(text) else NO_INTEGER


def transform(text: str) -> NDArray[np.float64] | None:
    """A matrix of 4 rows and 3 columns that a point is multiplied with as a row, [x y z 1] M.

    Returns
    -------
    (4, 3), None if there are not twelve numbers
    """
    values = [number(word) for word in text.split()] if len(text) < 4096 else []
    if len(values) != 12 or not np.isfinite(values).all():
        return None
    return np.array(values).reshape(4, 3)


def is_flat(matrix: NDArray[np.float64]) -> bool:
    """Does the matrix press everything into a plane, a line or a point?"""
    # Scaled first, so that neither the product nor the determinant leaves float64.
    rows = matrix[:3] / (float(np.abs(matrix[:3]).max()) or 1.0)
    lengths = float(np.prod(np.linalg.norm(rows, axis=1)))
    return not abs(float(np.linalg.det(rows))) > _FLAT * lengths
