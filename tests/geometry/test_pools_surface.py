"""Is what stays in one position the same as by two other means: cuts by a plane, and voxels?"""

from __future__ import annotations

import flood
import manifold3d
import numpy as np
import pytest
import shapes_pools as pools
import shapes_voids as parts
from hypothesis import given, settings
from hypothesis import strategies as st

from lint3d.geometry.pools_fall import Floor
from lint3d.geometry.pools_surface import PoolSurface


def messy(seed: int) -> manifold3d.Manifold:
    """A block with random rooms, ducts and bars."""
    random = np.random.default_rng(seed)
    solid = parts.block([24, 24, 24])
    for _ in range(random.integers(2, 5)):
        solid -= parts.ball(random.uniform(3, 7), random.uniform(-7, 7, 3), 20)
    for _ in range(random.integers(1, 4)):
        start, way = random.uniform(-8, 8, 3), random.normal(size=3)
        solid -= parts.rod(start, start + 40 * way / np.linalg.norm(way), random.uniform(2, 4), 12)
    for _ in range(random.integers(0, 3)):
        solid += parts.rod(random.uniform(-11, 11, 3), random.uniform(-11, 11, 3), 2.5, 8)
    return solid


def volume(vertices: np.ndarray, faces: np.ndarray, up: np.ndarray) -> float:
    surface = PoolSurface(vertices, faces)
    return float(surface.volumes(surface.standing(up)).sum())


def cut_pools(solid: manifold3d.Manifold, up: np.ndarray) -> float:
    """What stays, by cutting the free space at the level over which each pool runs out.

    Levels are taken from the program, what hangs together below them from manifold3d: below the
    level a pool must be shut, and just above it open.
    """
    vertices, faces = parts.mesh(solid)
    surface = PoolSurface(vertices, faces)
    one = surface.standing(up)
    turn = flood.upright(np.eye(3), up).T
    turned = solid.transform(np.column_stack([turn, np.zeros(3)]))
    box = np.array(turned.bounding_box())
    around = manifold3d.Manifold.cube((box[3:] - box[:3] + 4).tolist()).translate(
        (box[:3] - 2).tolist()
    )
    free = around - turned
    whole = 0.0
    for group in np.unique(one.group[one.group >= 0]):
        basins = np.flatnonzero(one.group == group)
        level = one.level[basins[0]] + float(surface.middle @ one.up)
        bottom = turn @ surface.vertices[one.lowest[basins[0]]]
        shut = [p for p in below(free, level - 1e-6) if touches(p, bottom)]
        assert shut
        assert not any(reaches_out(p, box) for p in shut)
        spilling = [p for p in below(free, level + 1e-4) if touches(p, bottom)]
        assert any(reaches_out(p, box) for p in spilling)
        whole += sum(p.volume() for p in shut)
    return whole


def below(free: manifold3d.Manifold, level: float) -> list[manifold3d.Manifold]:
    return list(free.trim_by_plane([0.0, 0.0, -1.0], -level).decompose())


def touches(piece: manifold3d.Manifold, point: np.ndarray) -> bool:
    corners = np.asarray(piece.to_mesh64().vert_properties)[:, :3]
    return bool(np.linalg.norm(corners - point, axis=1).min() < 1e-6)


def reaches_out(piece: manifold3d.Manifold, box: np.ndarray) -> bool:
    return bool((np.array(piece.bounding_box())[:3] < box[:3] - 1).any())


@pytest.mark.parametrize("seed", range(8))
def test_cuts_by_a_plane_agree(seed: int) -> None:
    """manifold3d cuts the free space and says what hangs together."""
    solid = messy(seed)
    vertices, faces = parts.mesh(solid)
    for up in np.random.default_rng(seed).normal(size=(3, 3)):
        found = volume(vertices, faces, up)
        assert found == pytest.approx(cut_pools(solid, up), rel=1e-4, abs=1e-3)


FLOODED = {
    "bowl": (lambda: parts.bowl(10, 2, 48), [0.3, 0.1, 1.0]),
    "cup": (parts.cup, [0.2, -0.3, 1.0]),
    "bottle on its side": (lambda: parts.bottle(6, 4, 3), [1.0, 0.0, 0.2]),
    "serpentine": (lambda: parts.serpentine(3.0, 4, 14.0), [-1.0, 0.5, 0.2]),
    "two chambers": (lambda: parts.series([4.0, 5.0]), [1.0, 0.2, 0.3]),
    "cave": (lambda: parts.block([20, 20, 20]) - parts.ball(9, [0, 0, 6]), [0.0, 0.4, 1.0]),
}


@pytest.mark.parametrize("name", FLOODED)
@pytest.mark.cases(4)
def test_flooded_voxels_agree(name: str) -> None:
    """scipy.ndimage labels, on a grid of 60 points: within a third of a voxel over the surface."""
    make, up = FLOODED[name]
    vertices, faces = parts.mesh(make())
    surface = PoolSurface(vertices, faces)
    one = surface.standing(np.array(up))
    coarse, pitch = flood.flooded_volume(vertices, faces, np.array(up), 60)
    wet = one.level[one.owner] > one.corner.min(axis=0)
    doubt = pitch / 3 * np.linalg.norm(surface.area[wet], axis=1).sum() + 0.02 * coarse
    assert surface.volumes(one).sum() == pytest.approx(coarse, abs=doubt)
    assert coarse > 3 * doubt


@settings(max_examples=25, deadline=None)
@given(seed=st.integers(0, 10_000), scale=st.floats(0.05, 40.0))
def test_moved_scaled_and_shuffled(seed: int, scale: float) -> None:
    """A rigid motion changes nothing, a scale its cube, the order of facets nothing."""
    random = np.random.default_rng(seed)
    vertices, faces = parts.mesh(messy(seed % 5))
    up = random.normal(size=3)
    before = volume(vertices, faces, up)
    frame = parts.random_frame(seed)
    number = random.permutation(len(vertices))
    moved = np.empty_like(vertices)
    moved[number] = scale * (vertices @ frame[:, :3].T) + frame[:, 3]
    turned = np.roll(number[faces][random.permutation(len(faces))], seed % 3, axis=1)
    after = volume(moved, turned, frame[:, :3] @ up)
    assert after == pytest.approx(scale**3 * before, rel=1e-6, abs=1e-6 * scale**3)


@pytest.mark.parametrize("up", [[0, 0, 1], [1, 0, 0], [0, 1, 1], [1, 1, 1]])
def test_level_floors_and_drops_right_above_edges(up: list[float]) -> None:
    """A peg hangs from the ceiling, its corners right above edges and corners of the floor."""
    solid = parts.block([20, 20, 20]) - parts.block([16, 16, 16])
    solid += parts.block([4, 4, 6], [0, 0, 5]) + parts.block([4, 4, 6], [0, 0, -5])
    solid -= parts.block([16, 4, 6], [10, 0, -5])
    vertices, faces = parts.mesh(solid)
    for jolt in (0.0, 1e-9, 1e-5):
        exact = volume(vertices, faces, np.array(up, float))
        near = volume(vertices, faces, np.array(up, float) + jolt)
        assert near == pytest.approx(exact, abs=0.05)
    # The door's sill is level with the floor: nothing stays upright.
    assert volume(vertices, faces, np.array([0, 0, 1.0])) == pytest.approx(0.0, abs=1e-9)


def test_level_edges_at_the_bottom_of_the_part() -> None:
    """Found in use: right above a facet that is all but upright a drop went nowhere.

    The part's lowest edge and the tube's are level, and the block's side is upright but for the
    last digit.
    """
    vertices, faces = parts.mesh(pools.inkwell()[0])
    up = np.array([-9.98291903e-01, -5.84232603e-02, -5.23707763e-17])
    assert volume(vertices, faces, up) == pytest.approx(
        volume(vertices, faces, up + 1e-7), rel=1e-5
    )


@settings(max_examples=40, deadline=None)
@given(
    seed=st.integers(0, 30),
    up=st.tuples(*[st.sampled_from([-1.0, -0.5, 0.0, 1e-17, 1e-12, 0.5, 1.0])] * 3).filter(
        lambda up: max(map(abs, up)) > 0.1
    ),
)
def test_directions_with_ties_are_as_those_beside_them(seed: int, up: tuple[float, ...]) -> None:
    """A level floor that drains may keep a film when it is tilted by 1e-7, and no more."""
    random = np.random.default_rng(seed)
    solid = parts.block([20, 20, 20])
    for _ in range(4):
        solid -= parts.block(random.integers(2, 7, 3) * 2.0, random.integers(-4, 5, 3) * 2.0)
    vertices, faces = parts.mesh(solid)
    at = volume(vertices, faces, np.array(up))
    beside = [
        volume(vertices, faces, np.array(up) + 1e-7 * way) for way in random.normal(size=(4, 3))
    ]
    assert min(beside) - 0.01 <= at <= max(beside) + 0.01


def test_bars_that_stand_in_a_pool_take_room() -> None:
    """Loose and fixed bodies in a pool are not liquid."""
    cup = parts.cup(8, 12, 2)
    room = parts.Manifold.cylinder(12, 8, 8, 64).volume()
    for inside in (parts.block([3, 3, 3], [0, 0, 8]), parts.rod([0, 0, 1], [0, 0, 9], 4)):
        vertices, faces = parts.mesh(cup + inside)
        taken = inside.trim_by_plane([0, 0, 1], 2.0).volume()
        assert volume(vertices, faces, np.array([0, 0, 1.0])) == pytest.approx(
            room - taken, rel=1e-9
        )


def test_rays_and_tries_land_on_the_same_facets(monkeypatch: pytest.MonkeyPatch) -> None:
    """Where facets are many rays take over; the pools are the same."""
    vertices, faces = parts.mesh(messy(3))
    ups = np.random.default_rng(1).normal(size=(10, 3))
    tried = [volume(vertices, faces, up) for up in ups]
    monkeypatch.setattr("lint3d.geometry.pools_fall._MOST_TRIED", 0)
    assert [volume(vertices, faces, up) for up in ups] == pytest.approx(tried, rel=1e-9)


def test_floor_below_a_corner() -> None:
    """Of two floors the upper one; none below the lower one."""
    square = np.array([[0, 0, 0], [4, 0, 0], [4, 4, 0], [0, 4, 0]], float)
    vertices = np.concatenate([square, square + [0, 0, 2], [[2, 2, 5], [9, 9, 9]]])
    faces = np.array([[0, 1, 2], [0, 2, 3], [4, 5, 6], [4, 6, 7]])
    corner = vertices[faces]
    area = np.cross(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0]) / 2
    found = Floor(vertices, faces, area).below(
        np.array([0, 0, 1.0]), vertices[:, 2], np.array([8, 9])
    )
    # (2, 2) lies right above the diagonal that two facets share.
    assert found[0] in (2, 3)
    assert found[1] == -1
