"""How long do the solid rules take, and how much memory, beside loading the file with trimesh?

Prints ratios of one run; it judges nothing. Each size runs in a process of its own, so that peak
memory means something. Peer: `trimesh.load(path)` with its defaults, binary STL, median of 3, in
the same process, imports done. Memory: peak RSS less RSS after imports, over the bytes of V float64
+ F int64.

    python tests/bench/bench_solid_rules.py            # 80 k, 1.3 M and 5 M faces
    python tests/bench/bench_solid_rules.py 7          # one size: 20 * 4**7 faces
"""

from __future__ import annotations

import itertools
import json
import math
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

SUBDIVISIONS = (6, 8, 9)


def wavy_sphere(path: Path, subdivisions: int) -> None:
    """A sphere of radius 40 mm with gentle waves, so that no two facets are alike."""
    import numpy as np
    import trimesh

    ball = trimesh.creation.icosphere(subdivisions, 40.0)
    x, y = ball.vertices[:, [0]], ball.vertices[:, [1]]
    vertices = ball.vertices * (1 + 0.02 * np.sin(x / 3) * np.cos(y / 4))
    trimesh.Trimesh(vertices, ball.faces, process=False).export(path)


def peak_bytes() -> int:
    """Peak resident memory of this process (Linux; getrusage would tell the parent's, too)."""
    status = Path("/proc/self/status").read_text()
    return 1024 * int(status.split("VmHWM:")[1].split()[0])


def measure(path: str) -> dict[str, Any]:
    """Times and memory for one file, in this process."""
    import igl  # noqa: F401
    import numpy as np  # noqa: F401
    import rtree  # noqa: F401
    import scipy.sparse.csgraph
    import scipy.spatial  # noqa: F401
    import trimesh

    from lint3d.api import prepare, run, settings

    prepared = prepare(settings(only=["solid"], workers=0))
    rss = peak_bytes()
    steps: list[tuple[str, float]] = []
    prepared.progress = lambda uri, step, body: steps.append((step, time.perf_counter()))
    begun = time.perf_counter()
    inspection = run(prepared, [path], frozenset())
    ended = time.perf_counter()
    peak = peak_bytes() - rss
    faces = inspection.artifacts[0].faces
    loads = []
    for _ in range(3):
        start = time.perf_counter()
        trimesh.load(path)
        loads.append(time.perf_counter() - start)
    steps.append(("", ended))
    return {
        "faces": faces,
        "seconds": ended - begun,
        "trimesh": statistics.median(loads),
        "memory": peak / (faces / 2 * 24 + faces * 24),
        "steps": {a: round(t2 - t1, 2) for (a, t1), (_, t2) in itertools.pairwise(steps)},
        "counts": inspection.counts(),
    }


def main(sizes: tuple[int, ...]) -> None:
    rows = []
    with tempfile.TemporaryDirectory() as folder:
        for size in sizes:
            path = Path(folder) / f"{size}.stl"
            wavy_sphere(path, size)
            out = subprocess.run(
                [sys.executable, __file__, "--one", str(path)], capture_output=True, check=True
            )
            row = json.loads(out.stdout)
            rows.append(row)
            print(
                f"{row['faces']:>9,} faces: rules {row['seconds']:.2f} s, trimesh.load "
                f"{row['trimesh']:.2f} s, ratio {row['seconds'] / row['trimesh']:.2f}; "
                f"memory {row['memory']:.1f} x V+F; {row['counts']}"
            )
            print("          ", {k: v for k, v in row["steps"].items() if v >= 0.05})
    for a, b in itertools.pairwise(rows):
        growth = math.log(b["seconds"] / a["seconds"]) / math.log(b["faces"] / a["faces"])
        print(f"growth {a['faces']:,} -> {b['faces']:,}: exponent {growth:.2f}")
    if len(rows) > 2:
        a, b = rows[0], rows[-1]
        growth = math.log(b["seconds"] / a["seconds"]) / math.log(b["faces"] / a["faces"])
        print(f"growth over all: exponent {growth:.2f}")


if __name__ == "__main__":
    if sys.argv[1:2] == ["--one"]:
        print(json.dumps(measure(sys.argv[2])))
    else:
        main(tuple(int(a) for a in sys.argv[1:]) or SUBDIVISIONS)
