"""Do spans agree with other people's thickness, and with distances on a grid?

Sources: `trimesh.proximity.thickness(method="max_sphere")` (PyPI trimesh, MIT), a shrinking-ball
thickness; `scipy.ndimage.distance_transform_edt` (PyPI scipy, BSD-3) on a raster of the part:
Hildebrand & Rueegsegger, J. Microscopy 185 (1997) 67, define thickness by the largest ball, whose
centre is where the distance to the surface has its ridge. Jetted features below 0.423 mm distorted
and below 0.212 mm failed: Materials 2021, 14, 1989 (PMC8071569).
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import parts
import pytest
import shapes_walls as shapes
import trimesh
from scipy import ndimage

import lint3d
from lint3d.config import Config
from lint3d.geometry.spans import spans_at
from lint3d.geometry.spans_surface import surface_from_mesh


@pytest.mark.parametrize("look", ["inward", "outward"])
def test_nested_spheres_as_the_shrinking_ball_of_trimesh(look: str) -> None:
    """A shell 0.7 mm thick; outward the space between a ball and its cage, as wide."""
    outer = trimesh.creation.icosphere(subdivisions=4, radius=10.0)
    inner = trimesh.creation.icosphere(subdivisions=4, radius=9.3)
    inner.invert()
    shell = trimesh.util.concatenate([outer, inner])
    if look == "outward":
        shell.invert()
    facets = np.arange(0, len(outer.faces), 7)
    points = shell.triangles_center[facets]
    value, interval, _ = spans_at(
        surface_from_mesh(np.asarray(shell.vertices), np.asarray(shell.faces)),
        points,
        facets,
        1.25,
        look,  # type: ignore[arg-type]
    )
    true = 0.7
    sagitta = 10.0 * (1 - np.cos(outer.edges_unique_length.max() / 20))
    assert np.abs(value - true).max() <= 2 * sagitta
    if look == "inward":
        theirs = trimesh.proximity.thickness(
            shell, points, normals=shell.face_normals[facets], method="max_sphere"
        )
        assert np.median(np.abs(theirs - value)) < 0.01
        # Where both balls rest on the same facet they agree; theirs shrinks at facets' edges.
        assert (theirs <= interval[:, 1] + 0.01).all()
        assert np.abs(value - true).max() <= np.abs(theirs - true).max() + 1e-3


def test_a_tapered_plate_as_distances_on_a_grid(tmp_path: Path) -> None:
    """The tightest wall is twice the ridge of the distance transform, to a voxel's diagonal."""
    pitch = 0.05
    outline = [(0, 0), (12, 0), (12, 1.6), (6, 0.4), (0, 1.6)]
    body = shapes.prism(outline, 6)
    vertices, faces = shapes.arrays(body)
    found = lint3d.inspect(
        parts.write_stl(tmp_path / "plate.stl", vertices[faces]),
        only=["walls/thin-wall"],
        workers=0,
        config=Config(),
    )
    (wall,) = found.results
    x, y = np.meshgrid(np.arange(pitch / 2, 12, pitch), np.arange(-0.975, 3, pitch), indexing="ij")
    top = np.interp(x, [0, 6, 12], [1.6, 0.4, 1.6])
    inside = (y > 0) & (y < top)
    distance = ndimage.distance_transform_edt(inside) * pitch
    ridge = 2 * distance[:, :].max(axis=1)[20:-20].min()
    assert wall.measured == pytest.approx(ridge, abs=np.sqrt(2) * pitch * 2)
    assert wall.lower <= 0.4 <= wall.upper


def test_holes_as_distances_on_a_grid(tmp_path: Path) -> None:
    """Of the void in a plate with five holes the ridges are their diameters."""
    pitch, diameters = 0.02, (0.2, 0.3, 0.4, 0.55, 0.7)
    body = shapes.box([12, 4, 3])
    for i, diameter in enumerate(diameters):
        body -= shapes.rod(diameter / 2, 9, 48).translate((2 + 2 * i, 2, -3))
    vertices, faces = shapes.arrays(body)
    found = lint3d.inspect(
        parts.write_stl(tmp_path / "holes.stl", vertices[faces]),
        only=["walls/small-hole"],
        limits=["walls/small-hole=0.8mm"],
        workers=0,
        config=Config(),
    )
    measured = sorted(one.measured for one in found.results if one.kind == "fail")
    x, y = np.meshgrid(np.arange(0.01, 12, pitch), np.arange(0.01, 4, pitch), indexing="ij")
    for i, diameter in enumerate(diameters):
        void = np.hypot(x - 2 - 2 * i, y - 2) < diameter / 2
        theirs = 2 * ndimage.distance_transform_edt(void).max() * pitch
        assert measured[i] == pytest.approx(theirs, abs=2 * pitch)
        assert measured[i] == pytest.approx(diameter * np.cos(np.pi / 48), abs=1e-4)


@pytest.mark.parametrize(
    ("thickness", "kinds"), [(0.212, {"fail"}), (0.41, {"fail"}), (0.45, {"pass"})]
)
def test_jetted_features_below_the_published_value_fail(
    thickness: float, kinds: set[str], tmp_path: Path
) -> None:
    """Materials 2021, 14, 1989: below 0.423 mm distorted. Wall, pin, slot and hole of that size."""
    block = shapes.box([20, 20, 5])
    held = shapes.box([20, 20, 12]) - shapes.box([9, 14, 12], [10 + thickness, 3, 4])
    wall = held - shapes.box([7, 14, 12], [3, 3, 4])
    pin = block + shapes.box([thickness, thickness, 9], [9, 9, 0])
    slot = block - shapes.box([thickness, 60, 5], [9, -20, 2])
    hole = block - shapes.box([thickness, thickness, 9], [9, 9, -2])
    for rule, body in {
        "thin-wall": wall,
        "thin-rod": pin,
        "narrow-gap": slot,
        "small-hole": hole,
    }.items():
        vertices, faces = shapes.arrays(body)
        found = lint3d.inspect(
            parts.write_stl(tmp_path / "part.stl", vertices[faces]),
            only=[f"walls/{rule}"],
            workers=0,
            config=Config(),
        )
        assert {one.kind for one in found.results} == kinds, rule
