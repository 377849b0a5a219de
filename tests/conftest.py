"""How do the tests share a machine?

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

from hypothesis import settings

sys.dont_write_bytecode = False

# Tests pass or fail by what is found, not by how fast the machine is.
settings.register_profile("untimed", deadline=None)
settings.load_profile("untimed")
