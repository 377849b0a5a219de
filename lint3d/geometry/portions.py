"""How is a long array worked through without large temporary arrays?"""

from __future__ import annotations


def chunks(count: int, size: int = 1 << 17) -> list[slice]:
    """Slices of at most `size` rows that cover `count` rows in order.

    Small enough for temporary arrays of three corners a row to stay in the processor's cache.

    Examples
    --------
    >>> chunks(5, 3)
    [slice(0, 3, None), slice(3, 6, None)]
    """
    return [slice(begin, begin + size) for begin in range(0, count, size)]
