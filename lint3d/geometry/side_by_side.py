"""How is one piece of work after another done on two cores?

Numpy and Embree let go of the interpreter while they work, so that threads are enough. Each piece
writes to rows of its own: the result is the same in whichever order they end.
Tested by tests/geometry/test_side_by_side.py.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable
from concurrent.futures import ThreadPoolExecutor
from typing import Any

THREADS = 2


def side_by_side(
    work: Callable[[int], None], starts: Iterable[int], before: Callable[[], Any] | None = None
) -> None:
    """Call `work` with each number, two at a time where there are two cores.

    Parameters
    ----------
    work : writes to rows that no other call touches
    starts : what to call it with
    before : called once beforehand, for what is made on first use and must not be made twice

    Raises
    ------
    Exception : the first that a piece of work raised
    """
    starts = list(starts)
    if before is not None:
        before()
    if len(starts) < 2 or (os.cpu_count() or 1) < 2:
        for start in starts:
            work(start)
        return
    with ThreadPoolExecutor(THREADS) as threads:
        for _ in threads.map(work, starts):
            pass
