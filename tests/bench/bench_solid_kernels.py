"""How long do the kernels of the solid rules take, and how much memory, against trimesh's load?

Run by hand: `python tests/bench/bench_solid_kernels.py [FACES ...]`. For each size a rough torus is
written as binary STL; a fresh process for each size times `trimesh.load` (defaults, median of 3)
and then every kernel once, and reads the peak memory less what stood after imports. Targets at
1.3 M faces: time at most 2.5 x the load, memory at most 12 x the arrays V float64 + F int64; growth
exponent from the smallest to the largest size at most 1.1. On a busy machine the ratio of CPU times
says more than that of wall times: both are printed. Linux only (memory from /proc).
"""

from __future__ import annotations

import json
import math
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

SIZES = (80_000, 1_300_000, 5_000_000)
FLOOR_MM = 0.05


def write_rough_torus(path: Path, faces: int) -> None:
    """Binary STL of about `faces` facets, a tenth of a percent of an edge rough."""
    sys.path.insert(0, str(Path(__file__).parents[1]))
    import shapes_basic

    around = math.isqrt(faces)
    vertices, rows = shapes_basic.torus(60.0, 20.0, around, faces // (2 * around))
    rough = vertices + np.random.default_rng(0).normal(0, 1e-4, vertices.shape)
    record = np.zeros(len(rows), [("normal", "<3f4"), ("corner", "<9f4"), ("pad", "<u2")])
    record["corner"] = rough[rows].reshape(-1, 9)
    path.write_bytes(b" " * 80 + np.uint32(len(rows)).tobytes() + record.tobytes())


def memory_mib(key: str) -> float:
    lines = Path("/proc/self/status").read_text().splitlines()
    return next(int(line.split()[1]) / 1024 for line in lines if line.startswith(key))


def measure(path: Path) -> dict[str, float]:
    """Time and memory of all kernels on one file, in this process."""
    import trimesh

    from lint3d.geometry.chord import chord_deviation_mm
    from lint3d.geometry.facets import degenerate_faces, duplicate_faces
    from lint3d.geometry.intersect import self_intersections
    from lint3d.geometry.nesting import nest_shells
    from lint3d.geometry.orientation import orient
    from lint3d.geometry.shells import closed_shells, facet_volumes, split_shells
    from lint3d.geometry.topology import edge_table, nonmanifold_vertices, open_edges
    from lint3d.geometry.weld import stitch_open_edges, weld_exact

    Path("/proc/self/clear_refs").write_text("5")
    before = memory_mib("VmRSS")
    times: dict[str, float] = {}
    cpu_start = time.process_time()

    def timed(name, function, *arguments):
        start = time.perf_counter()
        result = function(*arguments)
        times[name] = time.perf_counter() - start
        return result

    record = np.fromfile(path, [("n", "<3f4"), ("corner", "<9f4"), ("pad", "<u2")], offset=84)
    points = record["corner"].reshape(-1, 3)
    del record
    vertices, index = timed("weld", weld_exact, points)
    del points
    faces, _ = timed("stitch", stitch_open_edges, vertices, index.reshape(-1, 3), 1e-3)
    del index
    table = timed("edges", edge_table, faces, len(vertices))
    timed("open", open_edges, table)
    timed("fans", nonmanifold_vertices, table, faces)
    label = timed("shells", split_shells, table, faces)
    closed = timed("closed", closed_shells, table, label)
    volume = timed("volume", facet_volumes, vertices, faces, label)
    flipped = timed("orient", orient, table, volume).is_flipped
    timed("nest", nest_shells, vertices, faces, label, closed, flipped)
    timed("degenerate", degenerate_faces, vertices, faces)
    timed("duplicate", duplicate_faces, faces)
    timed("crossings", self_intersections, vertices, faces, None, table)
    timed("chords", chord_deviation_mm, vertices, faces, table, FLOOR_MM)
    peak = memory_mib("VmHWM") - before
    cpu = time.process_time() - cpu_start
    loads, cpu_loads = [], []
    for _ in range(3):
        start, cpu_start = time.perf_counter(), time.process_time()
        trimesh.load(path)
        loads.append(time.perf_counter() - start)
        cpu_loads.append(time.process_time() - cpu_start)
    total = sum(times.values())
    return {
        "faces": len(faces),
        "total": total,
        "load": sorted(loads)[1],
        "time ratio": total / sorted(loads)[1],
        "cpu ratio": cpu / sorted(cpu_loads)[1],
        "memory ratio": peak * 2**20 / (vertices.nbytes + faces.nbytes),
        **times,
    }


def main(sizes: tuple[int, ...]) -> None:
    results = []
    with tempfile.TemporaryDirectory() as folder:
        for faces in sizes:
            path = Path(folder) / "torus.stl"
            write_rough_torus(path, faces)
            command = [sys.executable, __file__, "--measure", str(path)]
            output = subprocess.run(command, check=True, capture_output=True, text=True).stdout
            results.append(json.loads(output))
            print("  ".join(f"{key} {value:.4g}" for key, value in results[-1].items()))
    if len(results) > 1:
        first, last = results[0], results[-1]
        growth = math.log(last["total"] / first["total"]) / math.log(last["faces"] / first["faces"])
        print(f"growth exponent {growth:.3f}")


if __name__ == "__main__":
    if sys.argv[1:2] == ["--measure"]:
        print(json.dumps(measure(Path(sys.argv[2]))))
    else:
        main(tuple(int(size) for size in sys.argv[1:]) or SIZES)
