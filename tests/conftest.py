"""How do the tests share a machine, and which of them make the normal run?

A dear test keeps only some of its cases in the normal run, and a few tests are none of it; CI runs
all. `cases` says how many: they are spread evenly over the test's parameters.

pytest-xdist runs a process on every core already. OpenBLAS would start a thread on every core in
each of them, which wait for one another in busy loops: the small products of these tests took twice
the processor time. It must be said before numpy is imported; processes that tests start inherit it.

Every test module is rewritten and compiled before it is collected, and every process that a test
starts imports the whole of lint3d. Where the environment forbids Python to keep what it compiled,
both are done over and over. The suite keeps it in `__pycache__`, as Python does unless told
otherwise.
"""

import os
import sys

os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import pytest
from hypothesis import settings

sys.dont_write_bytecode = False

# Tests pass or fail by what is found, not by how fast the machine is.
settings.register_profile("untimed", deadline=None)
settings.load_profile("untimed")


def is_kept(index: int, kept: int, count: int) -> bool:
    """Whether case `index` of `count` is among `kept` spread evenly; the first always is."""
    return index == 0 or index * kept // count > (index - 1) * kept // count


@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Marks as `further` what `cases` leaves to CI, before the markers choose."""
    of_test: dict[str, list[pytest.Item]] = {}
    for item in items:
        if item.get_closest_marker("cases") and not item.get_closest_marker("slow"):
            of_test.setdefault(item.nodeid.partition("[")[0], []).append(item)
    for cases in of_test.values():
        kept = cases[0].get_closest_marker("cases").args[0]
        for index, item in enumerate(cases):
            if not is_kept(index, kept, len(cases)):
                item.add_marker(pytest.mark.further)
