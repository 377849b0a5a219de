"""How long does it take to find reliefs, beside loading the file with trimesh?

    python tests/bench/bench_relief.py

Prints ratios of one run and judges nothing. Parts: the demo's name plate cut into ever more faces,
clean and with noise; a wavy ball with nothing on it; a plate full of holes. Peer:
`trimesh.load(path)` with its defaults, binary STL, median of 3, in the same process, imports done
(targets: 6 times that with lettering at 400 k faces, once without; growth exponent 1.1).
"""

from __future__ import annotations

import math
import statistics
import tempfile
import time
from pathlib import Path

import numpy as np
import trimesh

from lint3d.geometry.reliefs import find_reliefs
from lint3d.geometry.topology import edge_table

PLATE = Path(__file__).parents[2] / "fixtures" / "name-plate.stl"


def plate(count: int, noise: float = 0.0) -> trimesh.Trimesh:
    """The name plate with at least so many faces."""
    body = trimesh.load(PLATE)
    while len(body.faces) < count:
        body = body.subdivide()
    points = body.vertices + np.random.default_rng(0).normal(0, 1, body.vertices.shape) * noise
    return trimesh.Trimesh(points, body.faces, process=False)


def ball(count: int) -> trimesh.Trimesh:
    """A wavy ball."""
    rows = int(math.sqrt(count / 2))
    body = trimesh.creation.uv_sphere(radius=40.0, count=[rows, rows])
    x, y = body.vertices[:, [0]], body.vertices[:, [1]]
    waves = body.vertices * (1 + 0.02 * np.sin(x / 3) * np.cos(y / 4))
    return trimesh.Trimesh(waves, body.faces, process=False)


def holes(count: int) -> trimesh.Trimesh:
    """A plate with 400 holes through it, cut into small faces: creases, but no island."""
    import manifold3d as m3

    drill = m3.Manifold.cylinder(10, 1.5, circular_segments=32)
    row = [drill.translate((5.0 * i, 5.0 * j, -3)) for i in range(20) for j in range(20)]
    body = m3.Manifold.cube((105, 105, 4)).translate((-5, -5, 0))
    mesh = (body - m3.Manifold.batch_boolean(row, m3.OpType.Add)).to_mesh64()
    found = trimesh.Trimesh(
        np.asarray(mesh.vert_properties)[:, :3], np.asarray(mesh.tri_verts), process=False
    )
    while len(found.faces) < count:
        found = found.subdivide()
    return found


def measure(body: trimesh.Trimesh) -> tuple[int, float, float, int]:
    """Faces, seconds to find reliefs, seconds to load, inscriptions."""
    loads = []
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "part.stl"
        body.export(path)
        for _ in range(3):
            start = time.perf_counter()
            trimesh.load(path)
            loads.append(time.perf_counter() - start)
    vertices, faces = np.array(body.vertices), np.array(body.faces, np.int64)
    table = edge_table(faces, len(vertices))  # every body has it
    step = 2.0**-23 * float(np.abs(vertices).max())
    start = time.perf_counter()
    found = find_reliefs(vertices, faces, table, step)
    took = time.perf_counter() - start
    return len(faces), took, statistics.median(loads), len(found.inscriptions)


def main() -> None:
    """Every part, and how times grow."""
    parts = {
        "plate": [plate(count) for count in (50_000, 200_000, 800_000)],
        "plate, noise 0.5 um": [plate(count, 0.0005) for count in (50_000, 200_000, 800_000)],
        "ball": [ball(400_000)],
        "holes": [holes(400_000)],
    }
    for name, bodies in parts.items():
        told = [measure(body) for body in bodies]
        for faces, took, load, lines in told:
            print(f"{name}: {faces} faces, {took:.2f} s, {took / load:.2f} x load, {lines} lines")
        if len(told) > 1:
            (f0, t0, *_), (f1, t1, *_) = told[0], told[-1]
            print(f"{name}: growth exponent {math.log(t1 / t0) / math.log(f1 / f0):.2f}")


if __name__ == "__main__":
    main()
