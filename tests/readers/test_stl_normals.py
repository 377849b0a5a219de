"""Stored normals: contradictions are found, rounding is not taken for one."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from mesh_files import CUBE, ascii_stl, binary_stl, unit_normals

from lint3d import Fault, ReadLimits
from lint3d.readers.stl_ascii import AsciiStlReader
from lint3d.readers.stl_binary import ROUNDING, BinaryStlReader
from lint3d.readers.stl_normals import contradicting_normals


def faults(normals: np.ndarray) -> list[Fault]:
    return BinaryStlReader().read(binary_stl(CUBE, normals), ReadLimits()).faults


def leaning(degrees: float) -> np.ndarray:
    """The cube's normals, each turned about an axis across it."""
    normals = unit_normals(CUBE)
    across = np.roll(normals, 1, axis=1)
    angle = np.radians(degrees)
    return normals * np.cos(angle) + across * np.sin(angle)


@pytest.mark.parametrize("degrees", [0, 10, 30, 44])
def test_leaning_a_little_is_no_contradiction(degrees: float) -> None:
    assert faults(leaning(degrees)) == []


@pytest.mark.parametrize("degrees", [46, 60, 90, 120, 180])
def test_leaning_far_is(degrees: float) -> None:
    (fault,) = faults(leaning(degrees))
    assert "has 12 facets whose stored normal contradicts the order of their corners" in (
        fault.message
    )
    assert fault.region is not None
    assert fault.region.byte_offset == 84


@given(st.floats(1e-6, 1e6))
def test_length_of_a_normal_does_not_matter(length: float) -> None:
    assert faults(unit_normals(CUBE) * length) == []


def test_only_those_that_contradict_are_counted() -> None:
    normals = unit_normals(CUBE)
    normals[[3, 7]] *= -1
    (fault,) = faults(normals)
    assert fault.count == 2
    assert fault.region is not None
    assert fault.region.facet == 3


def test_zero_normals_are_information() -> None:
    """Zero for "work it out": common practice, no source."""
    (fault,) = faults(np.zeros((12, 3)))
    assert fault.harmless
    assert fault.count == 12


def test_zero_is_the_right_normal_of_a_facet_without_area() -> None:
    corners = np.concatenate([CUBE, [[[0, 0, 0], [1, 1, 1], [2, 2, 2]]]])
    assert BinaryStlReader().read(binary_stl(corners), ReadLimits()).faults == []


@pytest.mark.parametrize("value", [np.nan, np.inf])
def test_normal_that_is_no_number(value: float) -> None:
    normals = unit_normals(CUBE)
    normals[5, 0] = value
    (fault,) = faults(normals)
    assert "stored normal that is no finite number" in fault.message
    assert fault.count == 1


@settings(deadline=None)
@given(st.integers(0, 10**6), st.floats(1e-3, 1e3))
def test_rounding_to_float32_is_never_accused(seed: int, size: float) -> None:
    """Slivers of every thinness: the normal is the designer's, the corners are rounded."""
    chance = np.random.default_rng(seed)
    corners = chance.uniform(-size, size, (500, 3, 3))
    share = 10.0 ** chance.uniform(-9, 0, (500, 1))
    on_edge = corners[:, 0] + chance.uniform(0, 1, (500, 1)) * (corners[:, 1] - corners[:, 0])
    corners[:, 2] = on_edge + share * (corners[:, 2] - on_edge)
    normals = unit_normals(corners).astype(np.float32)
    assert len(contradicting_normals(normals, corners.astype(np.float32), ROUNDING)) == 0


@settings(deadline=None)
@given(st.integers(0, 10**6))
def test_flipped_facets_of_any_frame_are_found(seed: int) -> None:
    chance = np.random.default_rng(seed)
    turn = np.linalg.qr(chance.normal(size=(3, 3)))[0]
    corners = CUBE @ turn.T + chance.uniform(-100, 100, 3)
    normals = unit_normals(corners)
    chosen = chance.random(12) < 0.4
    normals[chosen] *= -1
    found = contradicting_normals(normals, corners, ROUNDING)
    np.testing.assert_array_equal(found, np.flatnonzero(chosen))


def test_ascii_too() -> None:
    normals = unit_normals(CUBE)
    normals[4] *= -1
    (fault,) = AsciiStlReader().read(ascii_stl(normals=normals), ReadLimits()).faults
    assert "contradicts" in fault.message
    assert fault.region is not None
    assert (fault.region.facet, fault.region.start_line) == (4, 2 + 7 * 4)
