"""How is one piece of work after another done on two cores?

Numpy and Embree let go of the interpreter while they work, so that threads are enough. Each piece
writes to rows of its own: the result is the same in whichever order they end.
Tested by tests/geometry/test_side_by_side.py.
"""

from __future__ import annotations

import os
import threading
from collections.abc import Callable, Iterable
from concurrent.futures import ThreadPoolExecutor
from typing import Any

THREADS = 2
_here = threading.local()


def side_by_side(
    work: Callable[[int], None], starts: Iterable[int], before: Callable[[], Any] | None = None
) -> None:
    """Call `work` with each number, two at a time where there are two cores.

    What is called by a piece of such work does its own pieces one after the other.

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
    if len(starts) < 2 or (os.cpu_count() or 1) < 2 or getattr(_here, "is_one_of_two", False):
        for start in starts:
            work(start)
        return
    with ThreadPoolExecutor(THREADS, initializer=_remember) as threads:
        for _ in threads.map(work, starts):
            pass


def _remember() -> None:
    """This thread is one of two already."""
    _here.is_one_of_two = True
