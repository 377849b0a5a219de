"""Is the demo kit sound as meshes, and does it hold the faults and values that it claims?

The meshes are read and judged here by other means than those that made them: trimesh's reader,
libigl's distances, lib3mf in strict mode, and whole numbers for crossings (`exact_crossings`).
"""

import runpy
import subprocess
import sys
import tomllib
import zipfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import igl
import lib3mf
import numpy as np
import pytest
import trimesh
from exact_crossings import piercings
from manifold3d import Error, Manifold, Mesh64
from numpy.typing import NDArray

FIXTURES = Path(__file__).parent.parent / "fixtures"
TRUTH = tomllib.loads((FIXTURES / "truth.toml").read_text("utf-8"))
PARTS: dict[str, Any] = TRUTH["parts"]
KIT_FILE = FIXTURES / TRUTH["kit"]["file"]
LIB3MF = lib3mf.Wrapper()  # kept: what it made dies with it

Floats = NDArray[np.float64]


def load(part: str, folder: Path = FIXTURES) -> trimesh.Trimesh:
    """The part's file, with only exactly equal corners made one."""
    raw = trimesh.load_mesh(folder / PARTS[part]["file"], process=False)
    corners, faces = np.unique(raw.triangles.reshape(-1, 3), axis=0, return_inverse=True)
    return trimesh.Trimesh(corners, faces.reshape(-1, 3), process=False)


def solid(mesh: trimesh.Trimesh) -> Manifold:
    """The same mesh for manifold3d, which refuses it where it is not closed and oriented."""
    made = Manifold(Mesh64(mesh.vertices, mesh.faces.astype(np.uint64)))
    assert made.status() == Error.NoError
    return made


def bodies(part: str) -> list[Manifold]:
    """The closed bodies of a part's file."""
    return list(solid(load(part)).decompose())


def known(part: str, name: str) -> dict[str, Any]:
    (found,) = [entry for entry in PARTS[part]["known"] if entry["name"] == name]
    return dict(found)


def width_at(mesh: trimesh.Trimesh, point: list[float]) -> float:
    """Diameter of the ball around a point that just touches the surface (libigl)."""
    squared, _, _ = igl.point_mesh_squared_distance(
        np.array([point]), np.asarray(mesh.vertices), np.asarray(mesh.faces)
    )
    return 2.0 * float(np.sqrt(squared[0]))


def thickness_along(mesh: trimesh.Trimesh, point: list[float], axis: int) -> float:
    """Length inside the material of a line through a point along an axis (manifold3d)."""
    step = 20.0 * np.eye(3)[axis]
    ways = [solid(mesh).ray_cast(tuple(point), tuple(point + sign * step)) for sign in (1, -1)]
    return float(sum(min(hit.distance for hit in way) for way in ways) * 20.0)


# Soundness of every mesh


@pytest.mark.parametrize("part", PARTS)
def test_mesh_is_closed_oriented_and_free_of_slivers(part: str) -> None:
    mesh = load(part)
    sides = np.diff(mesh.triangles[:, [0, 1, 2, 0]], axis=1)
    altitude = 2.0 * mesh.area_faces / np.linalg.norm(sides, axis=2).max(axis=1)
    assert mesh.is_watertight
    assert mesh.is_winding_consistent
    assert igl.is_edge_manifold(np.asarray(mesh.faces))[0]
    assert np.all(igl.is_vertex_manifold(np.asarray(mesh.faces)))
    assert altitude.min() > 0.001
    assert solid(mesh).volume() == pytest.approx(PARTS[part]["volume_mm3"], rel=1e-6)
    assert len(mesh.faces) == PARTS[part]["faces"]
    np.testing.assert_allclose(mesh.bounds, [PARTS[part]["low"], PARTS[part]["high"]], atol=1e-5)


@pytest.mark.parametrize("part", PARTS)
@pytest.mark.cases(2)
def test_no_edge_pierces_a_facet(part: str) -> None:
    mesh = load(part)
    assert not list(piercings(mesh))
    # Without a piercing, only a fold by 180° could still lay one facet over another.
    assert mesh.face_adjacency_angles.max() < np.radians(150.0)


def test_a_piercing_edge_is_noticed() -> None:
    box = trimesh.creation.box((1.0, 1.0, 1.0))
    corners = np.concatenate([box.vertices, box.vertices + np.array([0.3, 0.4, 0.55])])
    faces = np.concatenate([box.faces, box.faces + len(box.vertices)])
    assert list(piercings(trimesh.Trimesh(corners, faces, process=False)))


@pytest.mark.parametrize("part", PARTS)
def test_chords_stay_close_to_the_round_shape(part: str) -> None:
    mesh = load(part)
    corners = np.asarray(mesh.vertices)
    edge = corners[mesh.face_adjacency_edges]
    length = np.linalg.norm(edge[:, 1] - edge[:, 0], axis=1)
    width = 2.0 * mesh.area_faces[mesh.face_adjacency].min(axis=1) / length
    bend = np.asarray(mesh.face_adjacency_angles)
    # Chord w between facets that meet at ψ: sagitta w/2 · tan(ψ/4). The coarsest polygon has 12
    # sides (30°); the bluntest corner meant as one, in a letter Y, has 33°.
    is_round = bend < np.radians(31.0)
    assert (width * np.tan(bend / 4.0) / 2.0)[is_round].max() < 0.05


def test_files_are_small() -> None:
    sizes = [path.stat().st_size for path in FIXTURES.glob("*.*")]
    assert max(sizes) < 1_000_000
    assert sum(sizes) < 4_000_000


@pytest.mark.parametrize("part", PARTS)
def test_format_is_what_it_says(part: str) -> None:
    content = (FIXTURES / PARTS[part]["file"]).read_bytes()
    if PARTS[part]["format"] == "ascii":
        assert content.startswith(b"solid ")
        assert content.isascii()
    else:
        # 84 + 50 n bytes: the STL format as commonly described
        assert not content.startswith(b"solid")
        assert len(content) == 84 + 50 * PARTS[part]["faces"]


# The faults and the true values


def test_float_chamber_is_a_sealed_void() -> None:
    shells = load("housing").split(only_watertight=False)
    chamber = known("housing", "float chamber")
    inner = min(shells, key=lambda shell: shell.volume)
    assert len(shells) == 2
    assert -inner.volume == pytest.approx(chamber["value"], abs=1e-3)
    np.testing.assert_allclose(inner.bounds.mean(axis=0), chamber["position"], atol=1e-4)
    polygon = 18.0 * np.cos(np.pi / chamber["segments"])
    assert width_at(inner, chamber["position"]) == pytest.approx(polygon, abs=2e-4)


def test_hinge_clearances() -> None:
    lid, arm = bodies("lid")
    for number, (start, stop) in enumerate([(8.0, 18.0), (40.0, 50.0), (72.0, 82.0)], start=1):
        knuckle = known("lid", f"knuckle {number}")
        # Trimmed well inside the knuckle, so that the gaps beside it do not count.
        bore, pin = (
            body.trim_by_plane((1, 0, 0), start + 1.0).trim_by_plane((-1, 0, 0), 1.0 - stop)
            for body in (lid, arm)
        )
        assert bore.min_gap(pin, 1.0) == pytest.approx(knuckle["value"], abs=1e-5)
        assert knuckle["fault"] == (knuckle["nominal"] < 0.5)
    assert lid.min_gap(arm, 1.0) == pytest.approx(known("lid", "knuckle 2")["value"], abs=1e-5)


def test_hinge_arm_cannot_leave() -> None:
    lid, arm = bodies("lid")
    for shift in np.concatenate([np.eye(3), -np.eye(3)]) * 3.0:
        assert (arm.translate(tuple(shift)) ^ lid).volume() > 1.0


def test_lettering_heights() -> None:
    mesh = load("name-plate")
    flat = np.abs(mesh.face_normals[:, 2]) > 0.999
    levels = np.unique(np.round(mesh.triangles[flat][:, :, 2], 4))
    face = 3.0
    for line in PARTS["name-plate"]["known"]:
        raised = 1.0 if line["rule"] == "relief/raised-height" else -1.0
        assert face + raised * line["value"] == pytest.approx(line["position"][2])
        assert np.isclose(levels, line["position"][2], atol=1e-4).any()
        at_level = flat & (np.abs(mesh.triangles_center[:, 2] - line["position"][2]) < 1e-3)
        heights = mesh.triangles[at_level][:, :, 1]
        # Round letters reach a little beyond the flat capitals, and Q has a tail below the line.
        half = line["cap_height_mm"] / 2.0
        assert 0.0 <= heights.max() - line["position"][1] - half < 0.05 * half
        assert np.isclose(heights, line["position"][1] - half, atol=1e-3).any()
        assert np.isclose(heights, line["position"][1] + half, atol=1e-3).any()
    np.testing.assert_allclose(levels, [0.0, 2.4, 2.85, 3.0, 3.8], atol=1e-4)


@pytest.mark.parametrize(
    ("name", "level", "uprights"),
    # Upright just below the middle: T I D E, G's spur, U's two sides, G's spur, E; in the second
    # line U's two sides, Y E T; in the third E R T I L L.
    [("TIDE GAUGE 3", 3.4, 9), ("QUAY EAST", 2.7, 5), ("ZERO AT SILL", 2.925, 6)],
)
def test_stroke_widths(name: str, level: float, uprights: int) -> None:
    line = known("name-plate", name)
    below_middle = line["position"][1] - 0.15 * line["cap_height_mm"]
    section = solid(load("name-plate")).slice(level)
    strokes = section_lengths(section, below_middle, is_material=level > 3.0)
    is_upright = np.isclose(strokes, line["stroke_width_mm"], atol=0.012)
    assert is_upright.sum() == uprights, strokes


def test_bracket_walls() -> None:
    mesh = load("bracket")
    axes = {"middle web": 0, "gusset 1": 0, "gusset 2": 0, "foot": 2, "upright": 1}
    for name, axis in axes.items():
        wall = known("bracket", name)
        measured = thickness_along(mesh, wall["position"], axis)
        assert measured == pytest.approx(wall["value"], abs=1e-4)
        assert wall["fault"] == (measured < 2.0)


def test_throats_of_the_manifold_block() -> None:
    mesh = load("manifold-block")
    for duct in PARTS["manifold-block"]["known"]:
        assert width_at(mesh, duct["position"]) == pytest.approx(duct["value"], abs=2e-4)
        # cos(π/N): a ball in a regular polygon with its corners on the circle
        polygon = duct["nominal"] * np.cos(np.pi / duct["segments"])
        assert duct["value"] == pytest.approx(polygon, abs=1e-6)
    other = known("manifold-block", "damping chamber")["other_way_mm"]
    assert width_at(mesh, [55.15, 42.0, 20.0]) == pytest.approx(other, abs=2e-4)


@pytest.mark.parametrize(
    ("name", "plugs"),
    [
        ("damping chamber", [(27.5, 30.7, 42.0), (54.15, 57.0, 42.0)]),
        ("blind chamber", [(45.0, 55.0, 76.25)]),
    ],
)
def test_a_chamber_is_sealed_by_plugging_its_ways_out(
    name: str, plugs: list[tuple[float, float, float]]
) -> None:
    block = solid(load("manifold-block"))
    for count, (start, stop, y) in enumerate(plugs):
        assert len(block.decompose()) == 1, f"sealed already with {count} plugs"
        assert not cavities(block)
        width = stop - start
        block += Manifold.cube((width, 7.5, 10.0), True).translate(((start + stop) / 2, y, 20.0))
    (cavity,) = cavities(block)
    chamber = known("manifold-block", name)
    assert -cavity == pytest.approx(chamber["chamber_volume_mm3"], rel=1e-4)


def test_routes_pass_through_the_block() -> None:
    # Two handles: the main and the damping route lead through; the blind chamber adds none.
    assert solid(load("manifold-block")).genus() == 2


def test_filter_has_its_holes() -> None:
    mesh = load("filter")
    hole, wall = known("filter", "holes"), known("filter", "wall")
    assert solid(mesh).genus() == 288  # a cup has none, and each hole adds one
    assert width_at(mesh, hole["position"]) == pytest.approx(hole["value"], abs=2e-4)
    cosine, sine = np.cos(np.pi / 48), np.sin(np.pi / 48)
    turned = mesh.copy()
    turned.vertices = mesh.vertices @ [[cosine, -sine, 0.0], [sine, cosine, 0.0], [0.0, 0.0, 1.0]]
    middle = [float(np.hypot(*hole["position"][:2])), 0.0, 20.0 - 2.0]
    assert thickness_along(turned, middle, 0) == pytest.approx(wall["value"], abs=2e-4)


def test_coupon_has_one_hole_and_sound_walls() -> None:
    mesh = load("sound-coupon")
    hole, wall = known("sound-coupon", "through hole"), known("sound-coupon", "block")
    assert solid(mesh).genus() == 1
    assert width_at(mesh, hole["position"]) == pytest.approx(hole["value"], abs=2e-4)
    assert thickness_along(mesh, wall["position"], 1) == pytest.approx(wall["value"], abs=2e-4)
    assert not any(entry["fault"] for entry in PARTS["sound-coupon"]["known"])


# The assembly


def test_3mf_is_valid_in_strict_mode() -> None:
    model = read_kit()
    assert model.GetUnit() == lib3mf.ModelUnit.MilliMeter


def test_3mf_holds_the_parts_where_it_says() -> None:
    placed = dict(placed_meshes())
    expected = {
        body["name"]: (part, body)
        for part, facts in PARTS.items()
        for body in facts["bodies"]
        if "matrix_in_kit" in body
    }
    assert placed.keys() == expected.keys()
    assert len(placed) == 7
    for name, (part, body) in expected.items():
        assert placed[name].volume == pytest.approx(body["volume_mm3"], rel=1e-5)
        own = load(part)
        if len(PARTS[part]["bodies"]) > 1:
            (own,) = [
                shell
                for shell in own.split(only_watertight=False)
                if len(shell.faces) == body["faces"]
            ]
        own.apply_transform(body["matrix_in_kit"])
        np.testing.assert_allclose(placed[name].bounds, own.bounds, atol=1e-4)
        np.testing.assert_allclose(placed[name].center_mass, own.center_mass, atol=1e-3)


def test_positions_in_the_kit_follow_from_the_placement() -> None:
    for part in PARTS.values():
        for entry in part["known"]:
            if "position_in_kit" in entry:
                matrix = np.array(part["bodies"][0]["matrix_in_kit"])
                moved = trimesh.transform_points([entry["position"]], matrix)[0]
                np.testing.assert_allclose(moved, entry["position_in_kit"], atol=1e-5)


def test_bodies_of_the_assembly_stand_apart_on_the_plate() -> None:
    placed = [(name, mesh, solid(mesh)) for name, mesh in placed_meshes()]
    for number, (name, mesh, body) in enumerate(placed):
        assert mesh.bounds[0, 2] > -1e-4
        for other_name, _, other in placed[number + 1 :]:
            is_hinge = {name, other_name} == {"lid", "hinge arm"}
            assert body.min_gap(other, 4.0) > (0.149 if is_hinge else 3.9), (name, other_name)
            assert (body ^ other).is_empty()


def test_3mf_does_not_hold_the_time() -> None:
    with zipfile.ZipFile(KIT_FILE) as archive:
        assert {entry.date_time for entry in archive.infolist()} == {(1980, 1, 1, 0, 0, 0)}


# The script


def test_script_gives_the_same_bytes_twice_and_the_committed_kit(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Once in a process of its own, with hashes of its own, and once here."""
    runs = [tmp_path / "first", tmp_path / "second"]
    script = FIXTURES / "make_kit.py"
    subprocess.run([sys.executable, script, "--into", runs[0]], check=True, timeout=60)
    monkeypatch.setattr(sys, "argv", [str(script), "--into", str(runs[1])])
    monkeypatch.syspath_prepend(FIXTURES)
    runpy.run_path(str(script), run_name="__main__")
    first, second = ({path.name: path.read_bytes() for path in run.iterdir()} for run in runs)
    assert first == second
    assert all((FIXTURES / name).is_file() for name in first)
    # Other versions of the libraries may cut faces into other triangles: the shape must stay.
    for part in PARTS:
        again, committed = load(part, runs[0]), load(part)
        assert again.volume == pytest.approx(committed.volume, rel=1e-6)
        assert again.euler_number == committed.euler_number
        assert again.body_count == committed.body_count
        np.testing.assert_allclose(again.bounds, committed.bounds, atol=1e-4)
    assert first["README.md"] == (FIXTURES / "README.md").read_bytes()


# Helpers that read and judge


def cavities(block: Manifold) -> list[float]:
    """Volumes (below 0) of the closed shells that bound a void."""
    raw = block.to_mesh64()
    mesh = trimesh.Trimesh(
        np.asarray(raw.vert_properties)[:, :3], np.asarray(raw.tri_verts, np.int64), process=False
    )
    mesh.merge_vertices()
    return [shell.volume for shell in mesh.split(only_watertight=False) if shell.volume < 0.0]


def section_lengths(section: Any, y: float, *, is_material: bool) -> Floats:
    """Lengths of the pieces that a line of constant y cuts from a section, or from its holes."""
    crossings: list[float] = []
    for ring in section.to_polygons():
        start, end = np.asarray(ring), np.roll(ring, -1, axis=0)
        is_across = (start[:, 1] > y) != (end[:, 1] > y)
        start, end = start[is_across], end[is_across]
        share = (y - start[:, 1]) / (end[:, 1] - start[:, 1])
        crossings += list(start[:, 0] + share * (end[:, 0] - start[:, 0]))
    pieces = np.diff(np.sort(crossings))
    return pieces[::2] if is_material else pieces[1::2]


def read_kit() -> Any:
    """The kit's model as lib3mf reads it in strict mode, without a single warning."""
    model = LIB3MF.CreateModel()
    reader = model.QueryReader("3mf")
    reader.SetStrictModeActive(True)
    reader.ReadFromFile(str(KIT_FILE))
    warnings = [reader.GetWarning(number) for number in range(reader.GetWarningCount())]
    assert not warnings
    return model


def placed_meshes() -> Iterator[tuple[str, trimesh.Trimesh]]:
    """Every mesh of the kit's build with its name, in the frame of the build."""
    model = read_kit()
    items = model.GetBuildItems()
    while items.MoveNext():
        item = items.GetCurrent()
        yield from leaves(item.GetObjectResource(), matrix_of(item.GetObjectTransform()))


def leaves(node: Any, matrix: Floats) -> Iterator[tuple[str, trimesh.Trimesh]]:
    if node.IsMeshObject():
        vertices = np.array([list(vertex.Coordinates) for vertex in node.GetVertices()])
        faces = np.array([list(face.Indices) for face in node.GetTriangleIndices()])
        mesh = trimesh.Trimesh(vertices, faces, process=False)
        yield node.GetName(), mesh.apply_transform(matrix)
        return
    for number in range(node.GetComponentCount()):
        component = node.GetComponent(number)
        inner = matrix_of(component.GetTransform())
        yield from leaves(component.GetObjectResource(), matrix @ inner)


def matrix_of(transform: Any) -> Floats:
    """(4, 4) from the four rows of three that 3MF keeps (Core 1.4, §3.3)."""
    matrix = np.eye(4)
    matrix[:3] = np.array([list(row) for row in transform.Fields]).T
    return matrix
