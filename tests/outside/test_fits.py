"""Gaps and overlaps against published fits and against other people's code.

Sources stand beside each check.
"""

from __future__ import annotations

import tomllib
from pathlib import Path

import igl
import manifold3d as m3
import numpy as np
import pytest
from shapes_pairs import ball, barrel, box, fcl_distance, in_frame, mesh, rod

from lint3d.geometry.clearance import Surface
from lint3d.geometry.clearance_fit import fit_at, smooth_patches
from lint3d.geometry.clearance_spots import near_spots
from lint3d.geometry.overlap import common_volume

SIDES = 420
TRUTH = Path(__file__).parents[2] / "fixtures" / "truth.toml"


def single(meshes):
    return [Surface(v.astype(np.float32).astype(float), f) for v, f in meshes]


# ISO 286-2, hole H7 and shafts g6 and h6 for 25 mm: deviations in um. 25 H7/g6 leaves 7 to 41 um
# and 25 H7/h6 leaves 0 to 34 um on the diameter, half of that between the bodies. An aligned N-gon
# takes cos(pi/N) of it.
@pytest.mark.parametrize(
    ("hole_um", "shaft_um", "diametral_um"),
    [(0, -7, 7), (21, -20, 41), (21, -13, 34), (0, 0, 0)],
    ids=["H7/g6 tightest", "H7/g6 loosest", "H7/h6 loosest", "H7/h6 tightest"],
)
@pytest.mark.parametrize("seed", [None, 3])
@pytest.mark.cases(1)
def test_iso_286_fits_of_25_mm(hole_um, shaft_um, diametral_um, seed):
    hole, shaft = 12.5 + hole_um / 2000, 12.5 + shaft_um / 2000
    meshes = [mesh(barrel(hole, 20, -15, 15, SIDES)), mesh(rod(shaft, -20, 20, SIDES))]
    if seed is not None:
        meshes = in_frame(meshes, np.random.default_rng(seed), 5.0)
    one, two = single(meshes)
    band = one.uncertainty_mm + two.uncertainty_mm
    spot = near_spots(one, two, [band, 0.5])[0]
    radial = diametral_um / 2000 * np.cos(np.pi / SIDES)
    assert spot.distance == pytest.approx(radial, abs=band)
    if diametral_um:
        fit = fit_at(one, two, (smooth_patches(one), smooth_patches(two)), spot, 0.5)
        assert fit.kind == "round"
        assert fit.running_gap_mm == pytest.approx(diametral_um / 2000, abs=band + 1e-6)
        assert fit.axis_offset_mm < band
    else:
        overlap = common_volume(one, two)
        assert overlap is None or overlap.volume <= overlap.uncertainty


def random_pairs():
    rng = np.random.default_rng(11)
    shapes = [ball(4, 24), rod(2, -6, 6, 17), box([5, 6, 7]), barrel(3, 4, -2, 2, 40)]
    for number in range(12):
        one, two = (shapes[i] for i in rng.choice(4, 2))
        (a, b) = in_frame([mesh(one), mesh(two)], rng)
        turned = in_frame([b], rng, 0)[0]
        middle, direction = a[0].mean(axis=0), rng.normal(size=3)
        shift = middle + direction / np.linalg.norm(direction) * rng.uniform(9.5, 15)
        yield number, a, (turned[0] - turned[0].mean(axis=0) + shift, turned[1])


@pytest.mark.parametrize(("number", "one", "two"), list(random_pairs()))
def test_distances_agree_with_other_libraries(number, one, two):
    surfaces = [Surface(*one), Surface(*two)]
    found = near_spots(*surfaces, [20.0])[0]
    assert found.distance == pytest.approx(fcl_distance(one, two), abs=1e-7)
    # manifold3d's gap between solids; 0 where they overlap.
    solids = [m3.Manifold(m3.Mesh64(v, f.astype(np.uint64))) for v, f in (one, two)]
    assert found.distance == pytest.approx(solids[0].min_gap(solids[1], 20.0), abs=1e-5)
    # libigl: no vertex of one may be nearer to the other's surface.
    for (points, _), (vertices, faces) in ((one, two), (two, one)):
        squared = igl.point_mesh_squared_distance(points, vertices, faces)[0]
        assert found.distance <= np.sqrt(squared.min()) + 1e-9


def test_a_vertex_to_face_distance_is_only_an_upper_bound():
    """Edge to edge 0.25 apart, where the nearest vertex is some millimetres off (libigl)."""
    one = mesh(box([10, 2, 2], [-5, -1, -1]).rotate([45, 0, 0]))
    two = mesh(box([2, 10, 2], [-1, -5, -1]).rotate([0, 45, 0]).translate([0, 0, 8**0.5 + 0.25]))
    found = near_spots(Surface(*one), Surface(*two), [1.0])[0].distance
    assert found == pytest.approx(0.25, abs=1e-9)
    squared = igl.point_mesh_squared_distance(one[0], *two)[0]
    assert np.sqrt(squared.min()) > 3


def test_the_demo_lid_as_it_was_made():
    """fixtures/lid.stl against the polygons in the plane that its coordinates make."""
    import trimesh

    loaded = trimesh.load(TRUTH.with_name("lid.stl"), process=False)
    loaded.merge_vertices(digits_vertex=6)
    parts = sorted(loaded.split(only_watertight=False), key=lambda part: -part.volume)
    one, two = (Surface(np.array(p.vertices), np.array(p.faces, np.int64)) for p in parts)
    spots = near_spots(one, two, [1e-4, 0.4, 0.5])
    known = tomllib.loads(TRUTH.read_text(encoding="utf-8"))["parts"]["lid"]["known"]
    gaps = [place for place in known if place["rule"] == "assembly/clearance"]
    assert len(spots) == len(gaps)
    patches = smooth_patches(one), smooth_patches(two)
    for place in gaps:
        mine = min(spots, key=lambda s: abs(s.point[0, 0] - place["position"][0]))
        assert mine.distance == pytest.approx(place["value"], abs=2e-6)
        assert (mine.level == 0.4) == place["fault"]
        fit = fit_at(one, two, patches, mine, 0.5)
        assert fit.kind == "round"
        assert fit.running_gap_mm == pytest.approx(place["value"], abs=2e-4)
