"""How long do our readers take, as a share of what trimesh takes to load the same file?

`python tests/bench/bench_readers.py [FACETS]` (default a million). Both in one process, imports
done, median of three; trimesh with its defaults (vertices merged), ours with every check of the
reader, without the welding that follows. Memory: the peak less what was used before, over the bytes
of the file, in a process of its own for each reader (Linux only: the peak of a process's own memory
is read from /proc).
"""

from __future__ import annotations

import multiprocessing
import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import trimesh

sys.path.insert(0, str(Path(__file__).parents[1]))
from mesh_files import (
    ascii_stl,
    binary_stl,
    mesh_xml,
    model_xml,
    object_xml,
    threemf,
    triangles_xml,
)

from lint3d import ReadLimits
from lint3d.readers.stl_ascii import AsciiStlReader
from lint3d.readers.stl_binary import BinaryStlReader
from lint3d.readers.threemf import ThreeMfReader


def wavy_torus(facets: int) -> tuple[np.ndarray, np.ndarray]:
    """Vertices and faces of a closed shape of about so many facets."""
    count = round((facets / 2) ** 0.5)
    u, v = np.meshgrid(*[np.arange(count) * 2 * np.pi / count] * 2, indexing="ij")
    radius = 8 + np.sin(7 * u) * np.cos(5 * v)
    vertices = np.stack(
        [(30 + radius * np.cos(v)) * np.cos(u), (30 + radius * np.cos(v)) * np.sin(u),
         radius * np.sin(v)], axis=-1,
    )  # fmt: skip
    a = np.arange(count * count).reshape(count, count)
    b, c = np.roll(a, -1, 0), np.roll(a, -1, 1)
    d = np.roll(b, -1, 1)
    faces = np.stack([np.stack([a, b, d], -1), np.stack([a, d, c], -1)])
    return vertices.reshape(-1, 3), faces.reshape(-1, 3)


def files(facets: int) -> dict[str, tuple[str, bytes, Any]]:
    """Name -> suffix, bytes, reader."""
    vertices, faces = wavy_torus(facets)
    corners = vertices[faces]
    lines = "\n".join(f'<vertex x="{x!r}" y="{y!r}" z="{z!r}" />' for x, y, z in vertices.tolist())
    model = model_xml(object_xml(1, mesh_xml(lines, triangles_xml(faces))))
    return {
        "STL (binary)": (".stl", binary_stl(corners), BinaryStlReader()),
        "STL (ASCII)": (".stl", ascii_stl(corners), AsciiStlReader()),
        "3MF": (".3mf", threemf(model), ThreeMfReader()),
    }


def median_time(function: Callable[[], object]) -> float:
    """Seconds, of three runs."""
    times = []
    for _ in range(3):
        start = time.perf_counter()
        function()
        times.append(time.perf_counter() - start)
    return statistics.median(times)


def peak_over_file(reader: Any, path: Path) -> float:
    """Peak memory of one reading, the bytes of the file included, over the file's length."""
    with multiprocessing.get_context("spawn").Pool(1) as pool:
        return pool.apply(_peak, (reader, path)) / path.stat().st_size


def _peak(reader: Any, path: Path) -> int:
    before = _peak_so_far()
    reader.read(path.read_bytes(), ReadLimits())
    return _peak_so_far() - before


def _peak_so_far() -> int:
    status = Path("/proc/self/status").read_text()
    return 1024 * int(status.split("VmHWM:")[1].split()[0])


def main(facets: int) -> None:
    """Print a line for each format."""
    with tempfile.TemporaryDirectory() as folder:
        for name, (suffix, data, reader) in files(facets).items():
            path = Path(folder) / f"part{suffix}"
            path.write_bytes(data)
            ours = median_time(lambda: reader.read(path.read_bytes(), ReadLimits()))  # noqa: B023
            theirs = median_time(lambda: trimesh.load(path))  # noqa: B023
            memory = peak_over_file(reader, path)
            print(
                f"{name:13} {len(data) / 1e6:6.0f} MB  ours {ours:6.2f} s  trimesh {theirs:6.2f} s"
                f"  ratio {ours / theirs:5.2f}  memory {memory:4.1f} x file"
            )


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 1_000_000)
