"""Is no position better than the best, and does in every position stay what is said to?"""

from __future__ import annotations

import numpy as np
import pytest
import shapes_pools as pools
import shapes_voids as parts
from hypothesis import given, settings
from hypothesis import strategies as st

from lint3d.geometry.pools_bound import stays_near
from lint3d.geometry.pools_outlet import letting_out
from lint3d.geometry.pools_search import Goal, Search, best_position
from lint3d.geometry.pools_sphere import (
    caps,
    coarse_triangles,
    directions,
    large_normals,
    principal_axes,
    split,
)
from lint3d.geometry.pools_surface import PoolSurface


def surface_of(name: str) -> PoolSurface:
    solid = pools.KEEPS[name]()[0] if name in pools.KEEPS else pools.EMPTIES[name]()
    return PoolSurface(*parts.mesh(solid))


def near(up: np.ndarray, angle: float, random: np.random.Generator) -> np.ndarray:
    """A direction within an angle of another."""
    side = np.cross(up, random.normal(size=3))
    side /= np.linalg.norm(side)
    turn = angle * np.sqrt(random.uniform())
    return np.cos(turn) * up + np.sin(turn) * side


# --- what stays near a position -----------------------------------------------------------------

SURFACES = {name: surface_of(name) for name in ("inkwell", "two spouts", "trap", "bottle")}


@settings(max_examples=60, deadline=None)
@given(
    name=st.sampled_from(sorted(SURFACES)),
    angle=st.floats(0.001, 0.6),
    seed=st.integers(0, 10_000),
)
def test_bound_holds_within_its_angle(name: str, angle: float, seed: int) -> None:
    surface, random = SURFACES[name], np.random.default_rng(seed)
    one = surface.standing(random.normal(size=3))
    least = stays_near(surface, one, angle)
    assert least <= surface.volumes(one).sum() + 1e-9
    for _ in range(6):
        other = surface.standing(near(one.up, angle, random))
        assert surface.volumes(other).sum() >= least - 1e-9


def test_bound_is_close_for_small_angles() -> None:
    surface = SURFACES["inkwell"]
    one = surface.standing(np.array([0.3, -0.2, -1.0]))
    whole = surface.volumes(one).sum()
    assert stays_near(surface, one, 0.01) > 0.9 * whole
    assert stays_near(surface, one, 0.001) > 0.99 * whole


# --- the search ---------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["inkwell", pytest.param("two spouts", marks=pytest.mark.slow)])
@pytest.mark.further
def test_bound_is_close_to_the_best_where_no_limit_is_named(name: str) -> None:
    surface = SURFACES[name]
    up, proven = best_position(surface, np.zeros((0, 3)))
    best = surface.volumes(surface.standing(up)).sum()
    assert 0.5 * best < proven <= best
    for other in directions(300):
        assert surface.volumes(surface.standing(other)).sum() >= max(proven, 0.999 * best)


def test_nothing_is_proven_where_the_best_is_good_enough() -> None:
    surface = SURFACES["bottle"]
    search = Search(surface, Goal(enough=0.1))
    search.try_all(directions(6))
    assert search.best == 0.0
    assert search.tried < 7


def test_small_hole_is_found_without_its_direction() -> None:
    """A room with a flat funnel: positions within 6° of one empty it, one in four hundred."""
    solid = pools.flat_funnel()
    surface = PoolSurface(*parts.mesh(solid, parts.random_frame(8)))
    every = [surface.volumes(surface.standing(up)).sum() for up in directions(400)]
    assert np.mean(np.array(every) < 1.0) < 0.02
    up, _ = best_position(surface, np.zeros((0, 3)))
    assert surface.volumes(surface.standing(up)).sum() < 0.01


def test_letting_out_turns_the_outlet_downward() -> None:
    """From a position with everything in, one step empties a bottle."""
    surface = SURFACES["bottle"]
    one = surface.standing(np.array([0.1, 0.2, 1.0]))
    up = letting_out(surface, one, [])
    assert up is not None
    assert surface.volumes(surface.standing(up)).sum() < 0.05 * surface.volumes(one).sum()


def test_letting_out_of_nothing() -> None:
    surface = PoolSurface(*parts.mesh(parts.block([3, 4, 5])))
    assert letting_out(surface, surface.standing(np.array([0, 0, 1.0])), []) is None


def test_effort_is_bounded() -> None:
    """A part of very many facets is not searched for ever."""
    surface = SURFACES["inkwell"]
    search = Search(surface, Goal())
    search.most = 90
    search.prove(np.eye(3))
    # The coarse division is always looked at once.
    assert 80 <= search.tried <= 90 + 80
    assert search.proven <= search.best


# --- directions ---------------------------------------------------------------------------------


def test_pieces_cover_the_sphere() -> None:
    triangles = split(coarse_triangles())
    assert triangles.shape == (320, 3, 3)
    middle, angle = caps(triangles)
    every = np.random.default_rng(1).normal(size=(20_000, 3))
    every /= np.linalg.norm(every, axis=1, keepdims=True)
    assert ((every @ middle.T) >= np.cos(angle)).any(axis=1).all()
    assert angle.max() < np.radians(13)
    # Corners lie in the caps of their triangles.
    assert ((triangles * middle[:, None]).sum(axis=2) >= np.cos(angle)[:, None] - 1e-12).all()
    area = np.linalg.norm(
        np.cross(triangles[:, 1] - triangles[:, 0], triangles[:, 2] - triangles[:, 0]), axis=1
    )
    assert area.sum() / 2 == pytest.approx(4 * np.pi, rel=0.03)


def test_axes_turn_with_the_body() -> None:
    solid = parts.block([20, 12, 7]) - parts.block([5, 4, 3], [7, 3, 3])
    here = PoolSurface(*parts.mesh(solid))
    frame = parts.random_frame(3)
    there = PoolSurface(*parts.mesh(solid, frame))
    one = principal_axes(here.vertices, here.faces, here.area)
    two = principal_axes(there.vertices, there.faces, there.area)
    assert np.allclose(one @ frame[:, :3].T, two, atol=1e-6)
    assert np.allclose(one @ one.T, np.eye(3))


def test_flats_come_by_their_size() -> None:
    surface = PoolSurface(*parts.mesh(parts.block([9, 8, 7])))
    normals = large_normals(surface.area, 10)
    assert len(normals) == 6
    assert np.allclose(np.abs(normals[:2, 2]), 1)


def test_directions_are_spread() -> None:
    every = directions(200)
    assert every.shape == (200, 3)
    assert np.allclose(np.linalg.norm(every, axis=1), 1)
    assert (every @ every.T - 2 * np.eye(200)).max(axis=1).min() > 0.95


def test_a_surface_without_area_has_some_axes() -> None:
    """Every corner of a spoilt file may lie in one point."""
    axes = principal_axes(np.ones((3, 3)), np.array([[0, 1, 2]]), np.zeros((1, 3)))
    assert axes @ axes.T == pytest.approx(np.eye(3))
