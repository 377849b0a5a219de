"""Are rooms and steps between labels those of scipy and of a plain comparison?"""

from __future__ import annotations

import numpy as np
import pytest
from scipy import ndimage

from lint3d.geometry import chambers_rooms
from lint3d.geometry.chambers_rooms import room_tops, set_outside, wide_rooms
from lint3d.geometry.chambers_steps import steps_between

SHAPES = [(9, 7, 8), (26, 24, 28), (3, 3, 3)]


def _field(seed: int, shape: tuple[int, int, int]) -> np.ndarray:
    noise = ndimage.gaussian_filter(np.random.default_rng(seed).normal(size=shape), 1.2)
    return (20 * noise / np.abs(noise).max()).astype(np.float32)


def _wide(distance: np.ndarray, reach: float) -> np.ndarray:
    wide = distance > reach
    for axis in range(3):
        for end in (0, -1):
            wide[(slice(None),) * axis + (end,)] = True
    return wide


@pytest.mark.parametrize("at_once", [40, 1 << 19])
@pytest.mark.parametrize("shape", SHAPES)
@pytest.mark.parametrize("seed", range(4))
def test_rooms_are_those_of_scipy(
    monkeypatch: pytest.MonkeyPatch, seed: int, shape: tuple[int, int, int], at_once: int
) -> None:
    """Reference: scipy.ndimage.label, which numbers by first point as well."""
    monkeypatch.setattr(chambers_rooms, "AT_ONCE", at_once)
    distance = _field(seed, shape)
    expected, count = ndimage.label(_wide(distance, 4.0))
    number, rooms = wide_rooms(distance, 4.0)
    assert rooms == count - 1
    assert (number == expected - 1).all()
    top, peak, size = room_tops(distance.reshape(-1), number, rooms)
    for room in range(1, rooms + 1):
        assert size[room] == np.count_nonzero(number == room)
        assert peak[room] == distance[number == room].max()
        assert number.reshape(-1)[top[room]] == room
        assert distance.reshape(-1)[top[room]] == peak[room]


def test_outside_is_infinitely_wide() -> None:
    distance = _field(5, (26, 24, 28))
    before = distance.copy()
    number, _ = wide_rooms(distance, 4.0)
    set_outside(distance, number)
    assert np.isinf(distance[number == 0]).all()
    assert (distance[number != 0] == before[number != 0]).all()


@pytest.mark.parametrize("seed", range(4))
def test_steps_are_all_that_lead_from_one_label_to_another(seed: int) -> None:
    label = np.random.default_rng(seed).integers(-1, 3, (9, 7, 8)).astype(np.int32)
    rim = _wide(label, 9.0)
    label[rim] = 0
    found = {
        (int(one), int(two))
        for ones, twos in steps_between(label)
        for one, two in zip(ones, twos, strict=True)
    }
    number = np.arange(label.size).reshape(label.shape)
    expected = set()
    for axis in range(3):
        one, two = (
            tuple(slice(None) if a != axis else part for a in range(3))
            for part in (slice(None, -1), slice(1, None))
        )
        differs = (label[one] != label[two]) & (label[one] >= 0) & (label[two] >= 0)
        expected |= set(
            zip(number[one][differs].tolist(), number[two][differs].tolist(), strict=True)
        )
    assert found == expected
