"""How long does it take to find reliefs, beside loading the file with trimesh?

    python tests/bench/bench_relief.py

Prints ratios of one run and judges nothing. Parts: the demo's name plate cut into ever more faces,
clean and with noise; a wavy ball with nothing on it; plates full of bosses and of holes, through
and blind; a gear, a thread. Peer: `trimesh.load(path)` with its defaults, binary STL, median of 3,
in the same process, imports done; processor time of both (targets: 6 times that with lettering at
400 k faces, once without candidates; growth exponent 1.1).

Then counts what is told of sound parts: the named lists in shapes_sound.py and shapes_machined.py,
and the 112 CAD files of PyPI `gymnasium-robotics` if LINT3D_CAD_MODELS names the unpacked package.
Of the latter four carry markings, each looked at as an outline: link0 (a maker's name in two lines
with a sign, plugs X1 to X5, and a word 1 mm tall on a connector's lever), link5 (the maker's name),
forearm_electric (twice; a nickname and a sign of three strokes, on two sides). Lone marks there,
told as information: three arrows on estop_link, curved slots in the forearm's plates, and the
latch of a connector (link0) and of the hand.
"""

from __future__ import annotations

import math
import os
import statistics
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
import trimesh

from lint3d.geometry.reliefs import Found, find_reliefs
from lint3d.geometry.topology import edge_table

sys.path.insert(0, str(Path(__file__).parents[1]))
import shapes_machined as machined
import shapes_sound as sound

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


def plate_with_holes(count: int, deep: float) -> trimesh.Trimesh:
    """A plate with 400 holes so deep (it is 4 mm thick), cut into small faces."""
    import manifold3d as m3

    drill = m3.Manifold.cylinder(10, 1.5, circular_segments=32)
    row = [drill.translate((5.0 * i, 5.0 * j, 4 - deep)) for i in range(20) for j in range(20)]
    body = m3.Manifold.cube((105, 105, 4)).translate((-5, -5, 0))
    return cut_up(body - m3.Manifold.batch_boolean(row, m3.OpType.Add), count)


def plate_with_bosses(count: int) -> trimesh.Trimesh:
    """A plate with 400 bosses, cut into small faces."""
    import manifold3d as m3

    boss = m3.Manifold.cylinder(3, 1.5, circular_segments=32)
    row = [boss.translate((5.0 * i, 5.0 * j, 3)) for i in range(20) for j in range(20)]
    body = m3.Manifold.cube((105, 105, 4)).translate((-5, -5, 0))
    return cut_up(body + m3.Manifold.batch_boolean(row, m3.OpType.Add), count)


def cut_up(body: sound.M, count: int) -> trimesh.Trimesh:
    """A body with at least so many faces."""
    mesh = body.to_mesh64()
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
            start = time.process_time()
            trimesh.load(path)
            loads.append(time.process_time() - start)
    vertices, faces = np.array(body.vertices), np.array(body.faces, np.int64)
    found, took = timed(vertices, faces)
    return len(faces), took, statistics.median(loads), len(found.inscriptions)


def timed(vertices: np.ndarray, faces: np.ndarray) -> tuple[Found, float]:
    """What is found, and the seconds it takes."""
    table = edge_table(faces, len(vertices))  # every body has it
    step = 2.0**-23 * float(np.abs(vertices).max())
    start = time.process_time()
    found = find_reliefs(vertices, faces, table, step, plain=False)  # as the rules ask
    return found, time.process_time() - start


def count(name: str, parts: dict[str, tuple[np.ndarray, np.ndarray]]) -> None:
    """How many parts carry what."""
    told = {part: timed(*mesh) for part, mesh in parts.items()}
    print(f"{name}: {len(parts)} parts, {sum(took for _, took in told.values()):.1f} s")
    for kind in ("inscriptions", "dots", "codes", "marks", "bars", "trouble"):
        having = [part for part, (found, _) in told.items() if getattr(found, kind)]
        print(f"  with {kind}: {len(having)} {', '.join(having)}")


def cad_files(folder: Path) -> dict[str, tuple[np.ndarray, np.ndarray]]:
    """The CAD files in millimetres."""
    found = {}
    for path in sorted(folder.rglob("*.stl")):
        mesh = trimesh.load(path)
        scale = 1000.0 if np.ptp(mesh.vertices, axis=0).max() < 2.0 else 1.0
        key = "/".join(path.parts[-2:])
        found[key] = np.array(mesh.vertices) * scale, np.array(mesh.faces, np.int64)
    return found


def main() -> None:
    """Every part, and how times grow."""
    parts = {
        "plate": [plate(count) for count in (50_000, 200_000, 800_000)],
        "plate, noise 0.5 um": [plate(count, 0.0005) for count in (50_000, 200_000, 800_000)],
        "ball": [ball(400_000)],
        "holes through": [plate_with_holes(400_000, 6.0)],
        "blind holes": [plate_with_holes(400_000, 2.0)],
        "bosses": [plate_with_bosses(400_000)],
        "gear": [cut_up(sound.gear(80), 400_000)],
        "thread": [cut_up(sound.thread(40, 1.5, 8, 0.8), 400_000)],
    }
    for name, bodies in parts.items():
        told = [measure(body) for body in bodies]
        for faces, took, load, lines in told:
            print(f"{name}: {faces} faces, {took:.2f} s, {took / load:.2f} x load, {lines} lines")
        if len(told) > 1:
            (f0, t0, *_), (f1, t1, *_) = told[0], told[-1]
            print(f"{name}: growth exponent {math.log(t1 / t0) / math.log(f1 / f0):.2f}")
    count("named sound parts", {name: sound.sound_part(name) for name in sound.SOUND})
    count("machined", {name: machined.machined_part(name) for name in machined.MACHINED})
    if folder := os.environ.get("LINT3D_CAD_MODELS"):
        count("CAD files", cad_files(Path(folder)))


if __name__ == "__main__":
    main()
