"""A shape is laid on an earlier one of itself: turned, changed, symmetric, without corners."""

from __future__ import annotations

from collections.abc import Callable

import manifold3d
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from lint3d.geometry.likeness import Likeness, likeness
from lint3d.geometry.rigid_fit import Frame, fit, rigid, unlikeness

Solid = manifold3d.Manifold
Floats = NDArray[np.float64]
cube, cylinder = Solid.cube, Solid.cylinder


def bracket(wall: float) -> Solid:
    whole = (
        cube((60, 40, 4)) + cube((4, 40, 30)) + cube((60, wall, 20)).translate((0, 40 - wall, 0))
    )
    return whole - cylinder(20, 3, 3, 48).translate((40, 15, -5))


def hollow(wall: float) -> Solid:
    """A cube with one thin wall: without its inside, 24 frames are alike."""
    return cube((60, 60, 60)) - cube((58 - wall, 56, 56)).translate((2, 2, 2))


def disc(wall: float) -> Solid:
    """Round all over, with a bore near the rim: no corner anywhere."""
    return cylinder(5, 20, 20, 128) - cylinder(20, 3, 3, 64).translate((17 - wall, 0, -5))


def of(solid: Solid, turn: Floats | None = None, shift: Floats | None = None) -> Likeness:
    """As a binary STL would hold it: float32."""
    mesh = solid.to_mesh()
    points = np.asarray(mesh.vert_properties, np.float64)[:, :3]
    if turn is not None:
        points = points @ turn.T + shift
    points = points.astype(np.float32).astype(np.float64)
    found = likeness(points, np.asarray(mesh.tri_verts, np.int64))
    assert found is not None
    return found


def motion(seed: int) -> tuple[Floats, Floats]:
    rng = np.random.default_rng(seed)
    turn, r = np.linalg.qr(rng.normal(size=(3, 3)))
    turn = turn * np.sign(np.diag(r))
    if np.linalg.det(turn) < 0:
        turn[:, 0] *= -1
    return turn, rng.uniform(-100, 100, 3)


def error(frames: list[Frame], turn: Floats, shift: Floats, point: list[float]) -> float:
    """mm by which the best frame misses where a point went."""
    there = turn @ point + shift
    return min(float(np.linalg.norm(f.moved(np.array([point]))[0] - there)) for f in frames)


@pytest.mark.parametrize(
    ("before", "after", "place", "most"),
    [
        (lambda: bracket(0.6), lambda: bracket(0.6), [30, 39.7, 15], 1),
        (lambda: bracket(0.6), lambda: bracket(0.4), [30, 39.7, 15], 1),
        (lambda: hollow(1.0), lambda: hollow(0.5), [59.5, 30, 30], 4),
        (lambda: disc(0.6), lambda: disc(0.4), [19.7, 0, 2.5], 24),
        (lambda: cube((10, 20, 30)), lambda: cube((10, 20, 30)), [1, 2, 3], 4),
        (lambda: cube((20, 20, 20)), lambda: cube((20, 20, 20)), [1, 2, 3], 24),
        # A bar that stuck out far was cut off: the farthest corners are gone.
        (lambda: bracket(0.6) + cube((90, 3, 3)), lambda: bracket(0.6), [30, 39.7, 15], 1),
    ],
)
@given(seed=st.integers(0, 10**6))
@settings(max_examples=5, deadline=None)
@pytest.mark.cases(1)
def test_a_place_is_found_again(
    before: Callable[[], Solid],
    after: Callable[[], Solid],
    place: list[float],
    most: int,
    seed: int,
) -> None:
    turn, shift = motion(seed)
    frames = fit(of(before()), of(after(), turn, shift))
    assert len(frames) <= most
    assert error(frames, turn, shift, place) < 0.1
    for frame in frames:
        assert np.linalg.det(frame.turn) == pytest.approx(1)
        assert frame.turn @ frame.turn.T == pytest.approx(np.eye(3), abs=1e-9)


def test_what_was_not_moved_is_not_moved() -> None:
    """Of 24 equally good frames the still one stands first."""
    (frame,) = fit(of(cube((20, 20, 20))), of(cube((20, 20, 20))))
    assert frame.turn == pytest.approx(np.eye(3))
    assert frame.shift == pytest.approx(np.zeros(3))
    changed = fit(of(bracket(0.6)), of(bracket(0.3)))[0]
    assert changed.moved(np.array([[0.0, 0, 0]]))[0] == pytest.approx([0, 0, 0], abs=0.02)


def test_a_frame_that_fits_another_body_is_taken_if_it_fits_exactly() -> None:
    turn, shift = motion(3)
    told = Frame(turn, shift, 0.0)
    (frame,) = fit(of(cube((20, 20, 20))), of(cube((20, 20, 20)), turn, shift), [told])
    assert frame.turn == pytest.approx(turn)


def test_unlike_shapes_are_told_apart_wherever_they_lie() -> None:
    solids = [bracket(0.6), bracket(0.4), hollow(1.0), disc(0.6), cube((60, 40, 30))]
    here = [of(one) for one in solids]
    there = [of(one, *motion(seed)) for seed, one in enumerate(solids)]
    table = unlikeness(here, there)
    assert np.diag(table).max() < 1e-4
    assert table[0, 1] < 0.03
    assert table[2:, :2].min() > 0.1
    assert unlikeness([], here).shape == (0, 5)


def test_points_on_points() -> None:
    turn, shift = motion(5)
    points = np.random.default_rng(1).normal(size=(7, 3))
    found = rigid(points, points @ turn.T + shift)
    assert found[0] == pytest.approx(turn)
    assert found[1] == pytest.approx(shift)
