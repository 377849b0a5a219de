"""How long do the rules of assembly take over a full build, against the time to load it?

    python tests/bench/bench_clearance.py            # 1,000 bodies
    python tests/bench/bench_clearance.py 300

1,000 balls of about 2,000 faces on a jittered grid, near enough to each other that most of them are
neighbours; as one STL without names, and as a 3MF with an object each. Timed are the kernel alone
(trees, pairs, spots), all rules of assembly through the engine, and the same run without a rule
that measures, which tells what reading takes. Peer: `trimesh.load(path)` with its defaults, in the
same process, imports done (target: 10 times that for the rules). Prints ratios, judges nothing.
"""

from __future__ import annotations

import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import trimesh

import lint3d
from lint3d.geometry.clearance import Surface, near_pairs
from lint3d.geometry.clearance_spots import near_spots
from lint3d.geometry.overlap import contains, may_contain

sys.path.insert(0, str(Path(__file__).parents[1]))

LOW, HIGH = 0.4, 0.5


def main(count: int) -> None:
    """Print the times and their ratios."""
    meshes = build(count, np.random.default_rng(0))
    kernel = seconds(lambda: run_kernel(meshes))
    print(f"{count} bodies of {len(meshes[0].faces)} faces: kernel {kernel:.2f} s")
    with tempfile.TemporaryDirectory() as folder:
        for path in (as_stl(meshes, Path(folder)), as_3mf(meshes, Path(folder))):
            loading = seconds(lambda one=path: trimesh.load(one))
            reading = seconds(lambda one=path: inspected(one, "file"))
            rules = seconds(lambda one=path: inspected(one, "assembly"))
            print(
                f"{path.suffix[1:]}: load {loading:.2f} s, read {reading:.2f} s; with the rules "
                f"{rules:.2f} s: {rules / loading:.2f} times load, without reading "
                f"{(rules - reading) / loading:.2f}"
            )


def seconds(work: Callable[[], Any]) -> float:
    """Time of the processor, so that what else runs counts for less."""
    start = time.process_time()
    work()
    return time.process_time() - start


def inspected(path: Path, family: str) -> None:
    found = lint3d.inspect([path], only=[family], workers=0)
    assert [n for n in found.notifications if n.level == "error"] == []


def run_kernel(meshes: list[trimesh.Trimesh]) -> None:
    bodies = [Surface(np.array(m.vertices), np.array(m.faces, np.int64)) for m in meshes]
    for a, b in near_pairs(bodies, HIGH):
        near_spots(bodies[a], bodies[b], [1e-4, LOW, HIGH])
        if may_contain(bodies[a], bodies[b]):
            contains(bodies[a], bodies[b].corners[0, 0])


def build(count: int, rng: np.random.Generator) -> list[trimesh.Trimesh]:
    """Balls and their places: 5 mm across, 5.45 mm apart."""
    side = int(np.ceil(count ** (1 / 3)))
    places = np.stack(np.meshgrid(*[np.arange(side)] * 3), axis=-1).reshape(-1, 3)[:count] * 5.45
    meshes = []
    for place in places:
        ball = trimesh.creation.uv_sphere(radius=2.5, count=[24, 24])
        turn = trimesh.transformations.random_rotation_matrix(rng.random(3))
        ball.apply_transform(turn)
        ball.apply_translation(place + rng.uniform(-0.05, 0.05, 3))
        meshes.append(ball)
    return meshes


def as_stl(meshes: list[trimesh.Trimesh], folder: Path) -> Path:
    path = folder / "build.stl"
    trimesh.util.concatenate(meshes).export(path)
    return path


def as_3mf(meshes: list[trimesh.Trimesh], folder: Path) -> Path:
    import mesh_files

    objects = [
        mesh_files.object_xml(
            number,
            mesh_files.mesh_xml(
                mesh_files.vertices_xml(np.array(mesh.vertices)),
                mesh_files.triangles_xml(np.array(mesh.faces, np.int64)),
            ),
        )
        for number, mesh in enumerate(meshes, 1)
    ]
    items = [mesh_files.item_xml(number) for number in range(1, len(meshes) + 1)]
    path = folder / "build.3mf"
    path.write_bytes(mesh_files.threemf(mesh_files.model_xml("".join(objects), "".join(items))))
    return path


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 1000)
