"""How long does the search for hollows take, and all rules over it, against peers on the same grid?

Prints CPU seconds and ratios: over what the distance transform alone takes on a grid of the whole
part (one thread each, the mean of before and after), and over what trimesh needs to voxelise and
fill the part at the same pitch; the memory above what was in use before; what all rules of the
family take, file and report included; and the exponent with which the search grows with the part's
size (3 is the volume). Run by hand:
`python tests/bench/bench_voids.py [size_mm …]`.
"""

from __future__ import annotations

import sys
import tempfile
import threading
import time
from pathlib import Path

import edt
import numpy as np
import psutil
import trimesh

sys.path.insert(0, str(Path(__file__).parent.parent))
import shapes_voids as parts
from parts import write_stl

import lint3d
from lint3d.geometry.raster import Grid, rasterise
from lint3d.geometry.voids import find_voids

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
    """Seconds for the hollows, seconds for all rules, and the most megabytes of the two."""
    seconds, megabytes = measured(lambda: find_voids(vertices, faces, LIMIT, HIGH))
    with tempfile.TemporaryDirectory() as folder:
        path = write_stl(Path(folder) / "part.stl", vertices[faces])
        every, more = measured(lambda: lint3d.inspect([path], only=["drain"], workers=0))
    return seconds, every, max(megabytes, more)


def edt_alone(vertices: np.ndarray, faces: np.ndarray) -> float:
    """Seconds for the distances alone, on a grid of the whole part."""
    grid = Grid.around(vertices.min(0), vertices.max(0), LIMIT / 4)
    free = (~rasterise(vertices, faces, grid).solid).view(np.uint8)
    edt.edt(free, parallel=1)
    return measured(lambda: edt.edt(free, parallel=1))[0]


def main() -> None:
    sizes = [float(one) for one in sys.argv[1:]] or [50.0, 100.0, 200.0]
    judged(*parts.mesh(parts.bottle()))  # imports done
    print(f"{'part':26}{'mm':>5}{'s':>8}{'all':>8}{'MB':>7}{'/ edt':>8}{'all':>7}{'/ trimesh':>11}")
    taken: dict[str, list[float]] = {}
    for size in sizes:
        for name, solid in cases(size).items():
            vertices, faces = parts.mesh(solid)
            before = edt_alone(vertices, faces)
            seconds, every, megabytes = judged(vertices, faces)
            alone = (before + edt_alone(vertices, faces)) / 2
            taken.setdefault(name, []).append(seconds)
            peer = "-"
            if size <= 100:
                mesh = trimesh.Trimesh(vertices, faces, process=False)
                filled, _ = measured(lambda mesh=mesh: mesh.voxelized(LIMIT / 4).fill())
                peer = f"{seconds / filled:.2f}"
            print(
                f"{name:26}{size:5.0f}{seconds:8.2f}{every:8.2f}{megabytes:7.0f}"
                f"{seconds / alone:8.2f}{every / alone:7.2f}{peer:>11}",
                flush=True,
            )
    if len(sizes) > 1:
        for name, seconds in taken.items():
            slope = np.log(seconds[-1] / seconds[0]) / np.log(sizes[-1] / sizes[0])
            print(f"{name:26} grows with size to the power of {slope:.2f}")


if __name__ == "__main__":
    main()
