"""How long do the gaps of a full build take, against the time to load it?

1,000 balls of about 2,000 faces on a jittered grid, near enough to each other that most of them are
neighbours. Run by hand: python tests/bench/bench_clearance.py [bodies]
"""

from __future__ import annotations

import io
import sys
import time

import numpy as np
import trimesh

from lint3d.geometry.clearance import Surface, near_pairs, near_spots
from lint3d.geometry.overlap import contains, may_contain

LOW, HIGH = 0.4, 0.5


def main(count: int) -> None:
    """Print the times and their ratio."""
    rng = np.random.default_rng(0)
    meshes = build(count, rng)
    data = trimesh.util.concatenate(meshes).export(file_type="stl")
    start = time.perf_counter()
    trimesh.load(io.BytesIO(data), file_type="stl")
    loading = time.perf_counter() - start

    start = time.perf_counter()
    bodies = [Surface(np.array(m.vertices), np.array(m.faces, np.int64)) for m in meshes]
    pairs = near_pairs(bodies, HIGH)
    found = [near_spots(bodies[a], bodies[b], [1e-4, LOW, HIGH]) for a, b in pairs]
    for a, b in pairs:
        if may_contain(bodies[a], bodies[b]):
            contains(bodies[a], bodies[b].corners[0, 0])
    measuring = time.perf_counter() - start
    near = sum(bool(spots) for spots in found)
    print(f"{count} bodies, {len(pairs)} pairs of boxes, {near} nearer than {HIGH} mm")
    print(f"load {loading:.2f} s, gaps {measuring:.2f} s: ratio {measuring / loading:.2f}")


def build(count: int, rng: np.random.Generator) -> list[trimesh.Trimesh]:
    """Balls and their places: 5 mm across, 5.45 mm apart."""
    side = int(np.ceil(count ** (1 / 3)))
    places = np.stack(np.meshgrid(*[np.arange(side)] * 3), axis=-1).reshape(-1, 3)[:count] * 5.45
    meshes = []
    for place in places:
        ball = trimesh.creation.uv_sphere(radius=2.5, count=[32, 32])
        turn = trimesh.transformations.random_rotation_matrix(rng.random(3))
        ball.apply_transform(turn)
        ball.apply_translation(place + rng.uniform(-0.05, 0.05, 3))
        meshes.append(ball)
    return meshes


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 1000)
