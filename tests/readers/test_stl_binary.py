"""Binary STL: every facet with its byte, and one clear sentence for whatever is wrong."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from mesh_files import CUBE, ascii_stl, binary_stl, unit_normals

from lint3d import Fault, Reading, ReadLimits, Region, UnreadableFile
from lint3d.readers.stl_binary import BinaryStlReader

READER = BinaryStlReader()


def read(data: bytes, **limits: int) -> Reading:
    return READER.read(data, ReadLimits(**limits))  # type: ignore[arg-type]


def only_fault(data: bytes) -> Fault:
    (fault,) = read(data).faults
    assert not fault.fatal
    assert not fault.harmless
    return fault


def refused(data: bytes, **limits: int) -> UnreadableFile:
    with pytest.raises(UnreadableFile) as caught:
        read(data, **limits)
    return caught.value


def test_sound_file() -> None:
    reading = read(binary_stl())
    (part,) = reading.parts
    assert reading.format == "STL (binary)"
    assert reading.unit is None
    assert reading.faults == []
    assert part.name is None
    np.testing.assert_array_equal(part.vertices[part.faces], CUBE)


def test_facet_stands_at_byte_84_plus_50_i() -> None:
    """The format as commonly described."""
    provenance = read(binary_stl()).parts[0].provenance
    assert provenance.locate(0) == Region(byte_offset=84, byte_length=50, facet=0)
    assert provenance.locate(11) == Region(byte_offset=634, byte_length=50, facet=11)


@given(st.binary(min_size=24, max_size=24))
def test_attribute_bytes_mean_nothing(attributes: bytes) -> None:
    data = bytearray(binary_stl())
    for facet in range(12):
        data[84 + 50 * facet + 48 : 84 + 50 * facet + 50] = attributes[2 * facet : 2 * facet + 2]
    assert read(bytes(data)).faults == []


@given(st.integers(84 + 50, 684 - 1))
def test_truncated_anywhere(length: int) -> None:
    fault = only_fault(binary_stl()[:length])
    whole = (length - 84) // 50
    assert f"states 12 facets but holds {whole} whole: it ends at byte {length}" in fault.message
    assert len(read(binary_stl()[:length]).parts[0].faces) == whole


@pytest.mark.parametrize("length", [84, 100, 133])
def test_truncated_before_the_first_facet_ends(length: int) -> None:
    assert f"it ends at byte {length}" in str(refused(binary_stl()[:length]))


@pytest.mark.parametrize("length", [1, 40, 83])
def test_truncated_in_the_header(length: int) -> None:
    assert f"ends at byte {length}" in str(refused(binary_stl()[:length]))


@given(st.binary(min_size=1, max_size=49))
def test_over_long(more: bytes) -> None:
    fault = only_fault(binary_stl() + more)
    assert f"is {684 + len(more)} bytes long" in fault.message
    assert fault.region == Region(byte_offset=684, byte_length=len(more))


@pytest.mark.parametrize("more", [b"\0" * 50, b"\xff" * 100, b"fifty letters " * 25])
def test_whole_facets_of_nonsense_are_not_read(more: bytes) -> None:
    data = binary_stl() + more
    assert "cannot be facets" in only_fault(data).message
    assert len(read(data).parts[0].faces) == 12


@given(st.integers(0, 11))
def test_facets_beyond_a_number_that_is_too_low_are_read(stated: int) -> None:
    data = binary_stl(stated=stated)
    assert f"{12 - stated} facet" in only_fault(data).message
    assert len(read(data).parts[0].faces) == 12


@given(st.integers(13, 2**32 - 1))
def test_numbers_that_are_too_high(stated: int) -> None:
    data = binary_stl(stated=stated)
    assert f"states {stated} facets but holds 12 whole" in only_fault(data).message
    assert len(read(data).parts[0].faces) == 12


def test_no_facets() -> None:
    assert "without a facet" in str(refused(binary_stl(CUBE[:0])))


def test_too_many_facets() -> None:
    assert "read.faces" in str(refused(binary_stl(), faces=11))


def test_solid_in_the_header() -> None:
    data = binary_stl(header=b"solid cube")
    assert "'solid'" in only_fault(data).message
    assert READER.claims(data, ".stl", len(data)) == 1.0


@pytest.mark.parametrize("value", [np.nan, np.inf, -np.inf])
@given(st.integers(0, 11), st.integers(0, 2), st.integers(0, 2))
def test_not_finite(value: float, facet: int, corner: int, axis: int) -> None:
    corners = CUBE.copy()
    corners[facet, corner, axis] = value
    data = binary_stl(corners, unit_normals(CUBE))
    fault = only_fault(data)
    assert "has 1 facet with a corner that is no finite number" in fault.message
    assert fault.region == Region(byte_offset=84 + 50 * facet, byte_length=50, facet=facet)
    part = read(data).parts[0]
    assert part.facet is not None
    assert part.facet.tolist() == [number for number in range(12) if number != facet]
    np.testing.assert_array_equal(part.vertices[part.faces], CUBE[part.facet])


def test_huge_coordinate_is_left_out() -> None:
    corners = CUBE.copy()
    corners[[3, 8], 2, 1] = 1e38
    fault = only_fault(binary_stl(corners, unit_normals(CUBE)))
    assert "has 2 facets with a corner further than 1e+09" in fault.message
    assert fault.count == 2
    assert fault.region == Region(byte_offset=234, byte_length=50, facet=3)


def test_nothing_finite() -> None:
    corners = np.full_like(CUBE, np.nan)
    assert "no finite number" in str(refused(binary_stl(corners, unit_normals(CUBE))))


def test_file_handled_as_text() -> None:
    data = binary_stl().decode("utf-8", "replace").encode()
    assert any("handled the file as text" in fault.message for fault in read(data).faults)


def test_claims() -> None:
    data = binary_stl()
    assert READER.claims(data, ".stl", len(data)) == 1.0
    assert READER.claims(data, ".dat", len(data)) == 0.5
    assert 0 < READER.claims(data[:300], ".stl", 300) < 1
    assert READER.claims(data[:300], ".dat", 300) == 0.0
    assert READER.claims(ascii_stl(), ".stl", len(ascii_stl())) == 0.0
