"""How much longer than bare Python does `lint3d --help` take to start?

Prints medians of one run, taken in turn; it judges nothing.

    python tests/bench/bench_start.py
"""

from __future__ import annotations

import statistics
import subprocess
import sys
import time

RUNS = 15


def seconds(command: list[str]) -> float:
    begun = time.perf_counter()
    subprocess.run(command, check=True, stdout=subprocess.DEVNULL)
    return time.perf_counter() - begun


def main() -> None:
    bare, helped = [], []
    for _ in range(RUNS):
        bare.append(seconds([sys.executable, "-c", "pass"]))
        helped.append(seconds([sys.executable, "-m", "lint3d", "--help"]))
    one, two = statistics.median(bare), statistics.median(helped)
    print(f"python -c pass {one:.3f} s, lint3d --help {two:.3f} s, difference {two - one:.3f} s")


if __name__ == "__main__":
    main()
