"""Are bars that lie beside each other parted, and those on one line kept together?"""

from __future__ import annotations

import numpy as np
import pytest
import shapes_walls as shapes
from hypothesis import given, settings
from hypothesis import strategies as st
from manifold3d import Manifold
from scipy.spatial.transform import Rotation

from lint3d.geometry.rods import bars
from lint3d.geometry.rods_lines import lines_of
from lint3d.geometry.spans_surface import surface_from_mesh
from lint3d.geometry.vectors import square_to

X = np.array([1.0, 0, 0])


def on_lines(*aside: float, count: int = 20) -> tuple[np.ndarray, np.ndarray]:
    """Places along lines parallel to x, so far off the x axis in y, and the line of each."""
    along = np.linspace(0, 50, count)
    place = np.array([[x, y, 0] for y in aside for x in along])
    return place, np.repeat(np.arange(len(aside)), count)


def parted(place: np.ndarray, axis: np.ndarray, group: np.ndarray) -> np.ndarray:
    """The lines of bars 1 mm thick, felt straight across through their middles."""
    half = 0.5 * square_to(axis + (~axis.any(axis=1))[:, None] * X)[0]
    return lines_of(place - half, place + half, np.ones(len(place)), axis, group)


@settings(max_examples=25, deadline=None)
@given(seed=st.integers(0, 10_000), offset=st.sampled_from([0.0, 40.0, 1e5]))
def test_bars_beside_each_other_are_parted(seed: int, offset: float) -> None:
    rng = np.random.default_rng(seed)
    aside = np.cumsum(rng.uniform(1.0, 6.0, 5)) * 1.02
    place, line = on_lines(*aside)
    turn = Rotation.random(random_state=seed).as_matrix()
    place, axis = place @ turn.T + offset, np.broadcast_to(turn @ X, place.shape)
    order = rng.permutation(len(place))
    found = parted(place[order], axis, np.zeros(len(place), np.int64))
    assert len(set(zip(found.tolist(), line[order].tolist(), strict=True))) == 5
    assert found.max() == 4


def test_groups_stay_apart_on_one_line_and_bent_ones_stay_whole() -> None:
    place, line = on_lines(0.0, 0.0, 9.0)
    axis = np.broadcast_to(X, place.shape).copy()
    assert parted(place, axis, line).tolist() == line.tolist()
    group = np.minimum(line, 1)  # the second and the third line are one group
    assert parted(place, axis, group).max() == 2
    axis[group == 1] = 0.0
    assert parted(place, axis, group).tolist() == group.tolist()
    none = np.zeros((0, 3))
    assert not len(lines_of(none, none, np.zeros(0), none, np.zeros(0, np.int64)))


@pytest.mark.parametrize("size", [(10.0, 10.0), (10.0, 7.0), (14.0, 30.0)])
def test_the_sides_of_a_frame_lie_on_it(size: tuple[float, float]) -> None:
    """Opposite sides were one bar, with its axis in the empty middle of the frame."""
    thick = 0.5
    frame = shapes.box([*size, thick]) - shapes.box(
        [size[0] - 2 * thick, size[1] - 2 * thick, 3], [thick, thick, -1]
    )
    found = bars(surface_from_mesh(*shapes.arrays(frame)), 0.66)
    assert sorted(bar.length for bar in found) == pytest.approx(sorted([*size, *size]))
    for bar in found:
        middle = (bar.start + bar.end) / 2
        assert bar.diameter == pytest.approx(thick)
        across = 0 if abs(bar.axis[1]) > 0.5 else 1
        aside = abs(middle[across] - size[across] / 2)
        assert aside == pytest.approx(size[across] / 2 - thick / 2, abs=0.02)


@pytest.mark.cases(2)
@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize(("trunk", "deep"), [(2.8, 25.0), (2.4, 25.0), (2.8, 40.0)])
def test_two_ducts_that_lead_into_a_third(trunk: float, deep: float, seed: int) -> None:
    """They and the trunk were one hole of 0.47 mm, through the solid between the ducts."""
    flats = 24
    grown = 1 / np.cos(np.pi / flats)  # round about: as thick across the flats as told

    def duct(start: list[float], length: float, diameter: float) -> Manifold:
        radius = diameter / 2 * grown
        turned = Manifold.cylinder(length, radius, radius, flats).rotate((0, 90, 0))
        return turned.translate(start)

    block = shapes.box([23 + deep, 18, 18], [-9, -9, -9]) - Manifold.sphere(6, 32)
    for side in (-2, 2):
        block -= duct([0, 0, side], 14, 2.0)
    block -= Manifold.cylinder(5.6, grown, grown, flats).translate((14, 0, -2.8))
    block -= duct([14, 0, 0], deep + 5, trunk)
    vertices, faces = shapes.arrays(block)
    turn = Rotation.random(random_state=seed).as_matrix()
    surface = surface_from_mesh(vertices @ turn.T, faces)
    found = [bar for bar in bars(surface, 3.0, "outward") if bar.is_straight and bar.length > 5]
    assert sorted(bar.diameter for bar in found) == pytest.approx([2.0, 2.0, trunk], abs=2e-4)
    whole = max(found, key=lambda bar: bar.length)
    assert whole.diameter == pytest.approx(trunk, abs=2e-4)
    assert whole.length == pytest.approx(deep, abs=0.02)
