"""How long do the wall and gap rules take beside loading the file with trimesh?

    python tests/bench/bench_walls.py            # 80 k and 1.3 M faces
    python tests/bench/bench_walls.py 5          # and 5 M

Prints ratios of one run and judges nothing. Three parts: a ring with a wall of 0.7 mm, thin
everywhere, a wavy ball with nothing thin, and the housing of the demo with each of its facets cut
into many as long and as narrow. Peer: `trimesh.load(path)` with its defaults, binary
STL, median of 3, in the same process, imports done (target: 3 times that at 1.3 M faces).
"""

from __future__ import annotations

import json
import statistics
import subprocess
import sys
import tempfile
import time
from itertools import pairwise
from pathlib import Path
from typing import Any

COUNTS = (200, 806)
MORE = 1581


def ring(path: Path, count: int) -> None:
    """A torus with a wall of 0.7 mm: 2 * count ** 2 faces."""
    from bench_spans import hollow_ring

    hollow_ring(count).export(path)


def ball(path: Path, count: int) -> None:
    """A wavy ball of about as many faces, with nothing thin."""
    import numpy as np
    import trimesh

    body = trimesh.creation.uv_sphere(radius=40.0, count=[count, count // 2])
    x, y = body.vertices[:, [0]], body.vertices[:, [1]]
    waves = body.vertices * (1 + 0.02 * np.sin(x / 3) * np.cos(y / 4))
    trimesh.Trimesh(waves, body.faces, process=False).export(path)


def housing(path: Path, count: int) -> None:
    """The housing of the demo, cut into about as many faces."""
    import manifold3d
    import numpy as np
    import trimesh

    body = trimesh.load_mesh(Path(__file__).parents[2] / "fixtures" / "housing.stl")
    solid = manifold3d.Manifold(
        manifold3d.Mesh64(np.asarray(body.vertices, np.float64), np.asarray(body.faces, np.uint64))
    )
    cuts = round(count * (2 / solid.num_tri()) ** 0.5)
    mesh = solid.refine(cuts).to_mesh64()
    trimesh.Trimesh(mesh.vert_properties[:, :3], mesh.tri_verts, process=False).export(path)


def measure(path: str) -> dict[str, Any]:
    """Times of one file, in this process."""
    import trimesh
    from embreex.mesh_construction import TriangleMesh  # noqa: F401
    from embreex.rtcore_scene import EmbreeScene  # noqa: F401
    from scipy.spatial import cKDTree  # noqa: F401

    from lint3d.api import prepare, run, settings
    from lint3d.config import Config

    chosen = settings(Config(), only=["walls"], workers=0)
    prepared = prepare(chosen)
    steps: list[tuple[str, float]] = []
    prepared.progress = lambda uri, step, body: steps.append((step, time.perf_counter()))
    begun = time.perf_counter()
    inspection = run(prepared, [path], frozenset())
    ended = time.perf_counter()
    loads = []
    for _ in range(3):
        start = time.perf_counter()
        trimesh.load(path)
        loads.append(time.perf_counter() - start)
    steps.append(("", ended))
    peak = int(Path("/proc/self/status").read_text().split("VmHWM:")[1].split()[0]) / 1e6
    return {
        "faces": inspection.artifacts[0].faces,
        "reading": round(steps[1][1] - begun, 2),
        "rules": round(ended - steps[1][1], 2),
        "trimesh": round(statistics.median(loads), 2),
        "peak GB": round(peak, 2),
        "steps": {a: round(t2 - t1, 2) for (a, t1), (_, t2) in pairwise(steps)},
        "counts": inspection.counts(),
    }


def main() -> None:
    """Each part in a process of its own."""
    counts = (*COUNTS, MORE) if sys.argv[1:2] == ["5"] else COUNTS
    for make in (ring, ball, housing):
        for count in counts:
            with tempfile.TemporaryDirectory() as folder:
                path = Path(folder) / f"{make.__name__}.stl"
                make(path, count)
                command = [sys.executable, __file__, "--measure", str(path)]
                told = subprocess.run(command, check=True, stdout=subprocess.PIPE).stdout
            found = json.loads(told)
            ratio = found["rules"] / found["trimesh"]
            print(make.__name__, f"rules / trimesh's load = {ratio:.2f} (target 3)", found)


if __name__ == "__main__":
    if sys.argv[1:2] == ["--measure"]:
        print(json.dumps(measure(sys.argv[2])))
    else:
        main()
