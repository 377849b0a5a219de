"""How long does the best position to drain in take, against reading the part?

Prints, for each part, the time over trimesh's load time (binary STL, its defaults, median of 3),
how many positions that were, and what was found; and the growth of one position with the number of
facets. Run by hand: `python tests/bench/bench_pools.py`.
"""

from __future__ import annotations

import sys
import tempfile
import time
from pathlib import Path

import numpy as np
import trimesh

sys.path.insert(0, str(Path(__file__).parent.parent))
import shapes_pools as pools
import shapes_voids as parts

from lint3d.geometry.pools import Goal, retained_liquid
from lint3d.geometry.pools_surface import PoolSurface

FIXTURES = Path(__file__).parents[2] / "fixtures"
#: As the sheet's limit of 6 mm3 asks.
GOAL = Goal(enough=0.06, passes=6.0, beyond=7.5)


def load_time(vertices: np.ndarray, faces: np.ndarray) -> float:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "part.stl"
        trimesh.Trimesh(vertices, faces, process=False).export(path)
        times = []
        for _ in range(3):
            start = time.perf_counter()
            trimesh.load(path)
            times.append(time.perf_counter() - start)
    return float(np.median(times))


def wavy_ring(count: int) -> tuple[np.ndarray, np.ndarray]:
    """A ring of 2 count² facets with low waves that hold a little in most positions."""
    angle = np.linspace(0, 2 * np.pi, count, endpoint=False)
    a, b = np.meshgrid(angle, angle, indexing="ij")
    radius = 15 * (1 + 0.02 * np.sin(9 * a) * np.cos(7 * b))
    out = 60 + radius * np.cos(b)
    points = np.stack([out * np.cos(a), out * np.sin(a), radius * np.sin(b)], -1).reshape(-1, 3)
    here = np.arange(count * count).reshape(count, count)
    next_a, next_b = np.roll(here, -1, 0), np.roll(here, -1, 1)
    across = np.roll(next_a, -1, 1)
    faces = [np.stack([here, next_a, across], -1), np.stack([here, across, next_b], -1)]
    return points, np.concatenate([one.reshape(-1, 3) for one in faces])


def main() -> None:
    block = trimesh.load_mesh(FIXTURES / "manifold-block.stl")
    cases = {
        "manifold block": (np.array(block.vertices), np.array(block.faces)),
        "cube": parts.mesh(parts.block([9, 8, 7])),
        "bottle": parts.mesh(parts.bottle()),
        "keeps some: inkwell": parts.mesh(pools.inkwell()[0]),
        "ring, 20 k": wavy_ring(100),
        "ring, 1.3 M": wavy_ring(806),
    }
    for name, (vertices, faces) in cases.items():
        start = time.perf_counter()
        found = retained_liquid(vertices, faces, goal=GOAL)
        took = time.perf_counter() - start
        print(
            f"{name}: {len(faces)} facets, {took:.2f} s, "
            f"{took / load_time(vertices, faces):.2f} x load, "
            f"{found.volume:.3g} mm3 (at least {found.volume_lower:.3g})"
        )
    times = []
    for count in (100, 400, 806):
        surface = PoolSurface(*wavy_ring(count))
        start = time.perf_counter()
        for _ in range(3):
            surface.volumes(surface.standing(np.array([0.1, 0.2, 0.9])))
        times.append((2 * count**2, (time.perf_counter() - start) / 3))
    (few, short), (many, long) = times[0], times[-1]
    print("one position:", ", ".join(f"{n}: {t * 1000:.1f} ms" for n, t in times))
    print(f"growth: exponent {np.log(long / short) / np.log(many / few):.2f}")


if __name__ == "__main__":
    main()
