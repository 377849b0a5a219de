"""How do the tests share a machine?

pytest-xdist runs a process on every core already. OpenBLAS would start a thread on every core in
each of them, which wait for one another in busy loops: the small products of these tests took twice
the processor time. It must be said before numpy is imported; processes that tests start inherit it.
"""

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

from hypothesis import settings

# Tests pass or fail by what is found, not by how fast the machine is.
settings.register_profile("untimed", deadline=None)
settings.load_profile("untimed")
