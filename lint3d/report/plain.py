"""What may be written into a JSON report?

Numbers are rounded to twelve significant digits, so that the last bits of a sum do not change a
report, and the ends of an interval outward; NaN and infinity, which JSON has no words for, become
null; keys that stand in no fixed order are sorted.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

DIGITS = 12


def rounded(value: float | None) -> float | None:
    """The number to twelve significant digits; None for what is no finite number.

    Examples
    --------
    >>> rounded(0.1 + 0.2), rounded(-0.0), rounded(float("inf")), rounded(None)
    (0.3, 0.0, None, None)
    """
    if value is None or not math.isfinite(value):
        return None
    return float(f"{value:.{DIGITS}g}") + 0.0  # + 0.0 turns -0.0 into 0.0


def outward(value: float | None, way: int) -> float | None:
    """The end of an interval, rounded so that the interval grows: down (-1) or up (1).

    Examples
    --------
    >>> outward(0.1 + 0.2, 1), outward(0.1 + 0.2, -1), outward(2.0, 1)
    (0.300000000001, 0.3, 2.0)
    """
    near = rounded(value)
    if near is None or value is None or (value - near) * way <= 0:
        return near
    step = 10.0 ** (math.floor(math.log10(abs(value))) - DIGITS + 1)
    return rounded(near + way * step)


def writable(text: str) -> str:
    r"""The text without lone surrogates (undecodable bytes of a file name), which UTF-8 refuses.

    Examples
    --------
    >>> writable("a\udce9.stl")
    'a\\udce9.stl'
    """
    return text.encode("utf-8", "backslashreplace").decode("utf-8")


def plain(value: Any) -> Any:
    """The value as JSON can hold it, whatever a plugin put there.

    Parameters
    ----------
    value : numbers, text, None, and lists, tuples, sets and dicts of these; objects with `tolist`
        (numpy arrays and scalars) count as what that returns; anything else becomes its `str`

    Examples
    --------
    >>> plain({"b": (1, float("nan")), "a": True})
    {'a': True, 'b': [1, None]}
    """
    if value is None or isinstance(value, bool | int):
        return value
    if isinstance(value, float):
        return rounded(value)
    if isinstance(value, str):
        return writable(value)
    if isinstance(value, Mapping):
        return {writable(str(key)): plain(value[key]) for key in sorted(value, key=str)}
    if isinstance(value, set | frozenset):
        return sorted((plain(item) for item in value), key=repr)
    if isinstance(value, list | tuple):
        return [plain(item) for item in value]
    if hasattr(value, "tolist"):
        return plain(value.tolist())
    return writable(str(value))
