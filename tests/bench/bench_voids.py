"""How long does the search for hollows take, against peers on the same grid?

Prints CPU seconds and ratios: over what the distance transform alone takes on a grid of the whole
part (one thread each), and over what trimesh needs to voxelise and fill the part at the same pitch;
the memory above what was in use before; what the search for recesses adds; and the exponent with
which time grows with the part's size (3 is the volume). Run by hand:
`python tests/bench/bench_voids.py [size_mm …]`.
"""

from __future__ import annotations

import sys
import threading
import time
from pathlib import Path

import edt
import numpy as np
import psutil
import trimesh

sys.path.insert(0, str(Path(__file__).parent.parent))
import shapes_voids as parts

from lint3d.geometry.raster import Grid, rasterise
from lint3d.geometry.voids import find_voids
from lint3d.geometry.voids_recesses import find_recesses

LIMIT, HIGH = 1.5, 12.75


def cases(size: float) -> dict[str, object]:
    """Parts of one size: none, one and many hollows, and one that is nearly all hollow."""
    half = size / 2
    many = parts.block([size] * 3)
    for x in np.linspace(-0.75, 0.75, 3) * half:
        for y in np.linspace(-0.75, 0.75, 3) * half:
            many -= parts.ball(0.1 * size, [x, y, 0], 48)
            many -= parts.rod([x, y, 0], [x, y, size], 2.0, 24)
    return {
        "ball": parts.ball(half, segments=256),
        "one hollow, 0.3 mm neck": parts.block([size] * 3)
        - parts.ball(0.06 * size)
        - parts.rod([0, 0, 0], [0, 0, size], 0.3, 16),
        "nine hollows": many,
        "shell": parts.block([size] * 3)
        - parts.block([size - 6] * 3)
        - parts.rod([0, 0, 0], [0, 0, size], 6, 32),
    }


def measured(work: object) -> tuple[float, float]:
    """CPU seconds and megabytes above what was in use before."""
    process = psutil.Process()
    before, most, done = process.memory_info().rss, [0], threading.Event()

    def watch() -> None:
        while not done.wait(0.02):
            most[0] = max(most[0], process.memory_info().rss)

    watcher = threading.Thread(target=watch)
    watcher.start()
    begin = time.process_time()
    work()  # type: ignore[operator]
    seconds = time.process_time() - begin
    done.set()
    watcher.join()
    return seconds, max(most[0] - before, 0) / 1e6


def judged(vertices: np.ndarray, faces: np.ndarray) -> tuple[float, float, float]:
    """Seconds for the hollows, peak megabytes, and seconds more for the recesses."""
    found = []
    seconds, megabytes = measured(lambda: found.append(find_voids(vertices, faces, LIMIT, HIGH)))
    voids = found.pop()

    def recesses() -> None:
        for space in voids.spaces:
            find_recesses((vertices, faces), space, voids.clearance, LIMIT, LIMIT / 3, True)

    more, higher = measured(recesses)
    return seconds, max(megabytes, higher), more


def main() -> None:
    sizes = [float(one) for one in sys.argv[1:]] or [50.0, 100.0, 200.0]
    find_voids(*parts.mesh(parts.bottle()), LIMIT, HIGH)  # imports done
    print(f"{'part':26}{'mm':>5}{'s':>8}{'MB':>7}{'recesses':>10}{'/ edt':>8}{'/ trimesh':>11}")
    taken: dict[str, list[float]] = {}
    for size in sizes:
        for name, solid in cases(size).items():
            vertices, faces = parts.mesh(solid)
            seconds, megabytes, more = judged(vertices, faces)
            taken.setdefault(name, []).append(seconds)
            grid = Grid.around(vertices.min(0), vertices.max(0), LIMIT / 4)
            free = (~rasterise(vertices, faces, grid).solid).view(np.uint8)
            alone, _ = measured(lambda free=free: edt.edt(free, parallel=1))
            del free
            peer = "-"
            if size <= 100:
                mesh = trimesh.Trimesh(vertices, faces, process=False)
                filled, _ = measured(lambda mesh=mesh: mesh.voxelized(LIMIT / 4).fill())
                peer = f"{seconds / filled:.2f}"
            print(
                f"{name:26}{size:5.0f}{seconds:8.2f}{megabytes:7.0f}{more:10.2f}"
                f"{seconds / alone:8.2f}{peer:>11}",
                flush=True,
            )
    if len(sizes) > 1:
        for name, seconds in taken.items():
            slope = np.log(seconds[-1] / seconds[0]) / np.log(sizes[-1] / sizes[0])
            print(f"{name:26} grows with size to the power of {slope:.2f}")


if __name__ == "__main__":
    main()
