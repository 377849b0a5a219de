"""ASCII STL: every facet with its lines, every solid a part, one sentence for each trouble."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from mesh_files import CUBE, ascii_stl, binary_stl

from lint3d import Fault, Reading, ReadLimits, UnreadableFile
from lint3d.readers import stl_ascii_facets
from lint3d.readers.stl_ascii import MAX_SOLIDS, AsciiStlReader

READER = AsciiStlReader()
TEXT = ascii_stl().decode()
LINES = TEXT.splitlines()


def read(text: str | bytes, **limits: int) -> Reading:
    data = text.encode() if isinstance(text, str) else text
    return READER.read(data, ReadLimits(**limits))  # type: ignore[arg-type]


def told(text: str | bytes) -> list[str]:
    return [fault.message for fault in read(text).faults]


def only_fault(text: str | bytes) -> Fault:
    (fault,) = read(text).faults
    assert not fault.fatal
    return fault


def refused(text: str | bytes, **limits: int) -> str:
    with pytest.raises(UnreadableFile) as caught:
        read(text, **limits)
    return str(caught.value)


def corners(reading: Reading, part: int = 0) -> np.ndarray:
    one = reading.parts[part]
    return np.asarray(one.vertices[one.faces])


def lines_of(reading: Reading, facet: int, part: int = 0) -> tuple[int | None, int | None]:
    region = reading.parts[part].provenance.locate(facet)
    return region.start_line, region.end_line


def test_sound_file() -> None:
    reading = read(TEXT)
    assert reading.format == "STL (ASCII)"
    assert reading.unit is None
    assert reading.faults == []
    assert reading.parts[0].name == "cube"
    np.testing.assert_array_equal(corners(reading), CUBE)


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_lines_of_a_facet(end: str) -> None:
    reading = read(ascii_stl(end=end))
    assert reading.faults == []
    assert lines_of(reading, 0) == (2, 8)
    assert lines_of(reading, 11) == (79, 85)


@pytest.mark.parametrize(
    "change",
    [
        str.upper,
        str.title,
        lambda text: text.replace("  ", "\t"),
        lambda text: "\ufeff" + text,
        lambda text: text.replace(" ", "   "),
        lambda text: "\n\n" + text + "\n\n",
        lambda text: text.replace("vertex", "\n\nvertex"),
        lambda text: text.replace("outer loop\n", "outer loop "),
        lambda text: text.replace("\n  facet", " facet"),
        lambda text: " ".join(text.split()),
    ],
)
def test_blanks_and_case_do_not_matter(change: object) -> None:
    reading = read(change(TEXT))  # type: ignore[operator]
    assert reading.faults == []
    np.testing.assert_array_equal(corners(reading), CUBE)


def test_one_line_holds_everything() -> None:
    reading = read(" ".join(TEXT.split()))
    assert reading.parts[0].name == "cube"
    assert lines_of(reading, 11) == (1, 1)


@given(st.lists(st.integers(0, 3), min_size=12, max_size=12))
def test_lines_with_blank_lines_between(blanks: list[int]) -> None:
    lines, starts = [LINES[0]], []
    for facet, count in enumerate(blanks):
        lines += [""] * count
        starts.append(len(lines) + 1)
        lines += LINES[1 + 7 * facet : 8 + 7 * facet]
    reading = read("\n".join([*lines, LINES[-1], ""]))
    assert [lines_of(reading, facet) for facet in range(12)] == [(at, at + 6) for at in starts]


@pytest.mark.parametrize("number", ["1e1", "10", "10.", "+1.0E+01", "0.1e2", "1.0e+001", ".1E2"])
def test_forms_of_numbers(number: str) -> None:
    np.testing.assert_array_equal(corners(read(TEXT.replace("1.000000e+01", number))), CUBE)


@settings(deadline=None)
@given(st.lists(st.floats(-1e8, 1e8, allow_subnormal=False), min_size=9, max_size=9))
def test_numbers_are_exact(values: list[float]) -> None:
    facet = np.array(values).reshape(1, 3, 3)
    text = "solid\nfacet normal 0 0 0\nouter loop\n"
    text += "".join(f"vertex {x!r} {y!r} {z!r}\n" for x, y, z in facet[0].tolist())
    np.testing.assert_array_equal(corners(read(text + "endloop\nendfacet\nendsolid\n")), facet)


def test_chunks_make_no_difference(monkeypatch: pytest.MonkeyPatch) -> None:
    for end in ("\n", "\r\n", "\r"):
        data = ascii_stl(np.tile(CUBE, (20, 1, 1)), end=end)
        whole = read(data)
        for size in (300, 1001, 5000):
            monkeypatch.setattr(stl_ascii_facets, "CHUNK_BYTES", size)
            pieces = read(data)
            np.testing.assert_array_equal(corners(pieces), corners(whole))
            for facet in (0, 1, 7, 120, 239):
                assert lines_of(pieces, facet) == lines_of(whole, facet)
        monkeypatch.undo()


@pytest.mark.parametrize(
    ("raw", "name"),
    [
        (b"lid 2", "lid 2"),
        ("Gehäuse ½".encode(), "Gehäuse ½"),
        ("Gehäuse".encode("latin-1"), "Gehäuse"),
        (b"", None),
        (b"   spaced\t out  ", "spaced out"),
        (b"a solid facet", "a solid facet"),
        (b"bell\x07", "bell"),
    ],
)
def test_names(raw: bytes, name: str | None) -> None:
    data = TEXT.encode().replace(b"solid cube", b"solid " + raw)
    assert read(data).parts[0].name == name


def test_several_solids_are_several_parts() -> None:
    second = ascii_stl(CUBE[:4] + 20, "lid")
    reading = read(ascii_stl() + second)
    assert [part.name for part in reading.parts] == ["cube", "lid"]
    assert reading.faults == []
    np.testing.assert_array_equal(corners(reading, 1), CUBE[:4] + 20)
    region = reading.parts[1].provenance.locate(1)
    assert (region.facet, region.start_line, region.end_line) == (13, 95, 101)


def test_other_name_at_the_end_is_fine() -> None:
    assert told(TEXT.replace("endsolid cube", "endsolid box")) == []
    assert told(TEXT.replace("endsolid cube", "endsolid")) == []


@pytest.mark.parametrize("end", [7, 30, 86])
def test_missing_endsolid(end: int) -> None:
    end = 1 + 7 * (end // 7)
    fault = only_fault("\n".join(LINES[:end]) + "\n")
    assert "endsolid" in fault.message
    assert fault.region is not None
    assert fault.region.start_line == 1


@given(st.integers(1, 11), st.integers(0, 5))
def test_cut_off_in_the_middle_of_a_facet(facet: int, more: int) -> None:
    lines = LINES[: 1 + 7 * facet + 1 + more]
    reading = read("\n".join(lines))
    messages = [fault.message for fault in reading.faults]
    assert len(messages) == 1
    assert f"breaking off in the middle, left out (at facet {facet}, line" in messages[0]
    np.testing.assert_array_equal(corners(reading), CUBE[:facet])


@pytest.mark.parametrize("keyword", ["outer loop", "endloop", "endfacet"])
def test_missing_frame(keyword: str) -> None:
    text = TEXT.replace(keyword + "\n", "\n", 1)
    assert "lacking 'outer loop', 'endloop' or 'endfacet'" in only_fault(text).message
    np.testing.assert_array_equal(corners(read(text)), CUBE)


@pytest.mark.parametrize("change", [-1, 1])
def test_two_and_four_corners(change: int) -> None:
    lines = list(LINES)
    lines[3 + 7 * 5 : 4 + 7 * 5] = lines[3 + 7 * 5 : 4 + 7 * 5] * (1 + change)
    reading = read("\n".join(lines))
    (fault,) = reading.faults
    assert "more or fewer than three corners" in fault.message
    assert fault.region is not None
    assert (fault.region.facet, fault.region.start_line) == (5, 37)
    assert reading.parts[0].facet is not None
    assert reading.parts[0].facet.tolist() == [0, 1, 2, 3, 4, 6, 7, 8, 9, 10, 11]
    assert lines_of(reading, 6) == (44 + change, 50 + change)


@pytest.mark.parametrize(
    ("word", "says"),
    [
        ("ten", "a word where a number belongs"),
        ("1_0", "a word where a number belongs"),
        ("0x10", "a word where a number belongs"),
        ("1.0d1", "a word where a number belongs"),
        ("--1", "a word where a number belongs"),
        ("1,5", "decimal comma"),
        ("1e400", "no finite number"),
        ("nan", "no finite number"),
        ("-NaN", "no finite number"),
        ("inf", "no finite number"),
        ("-Infinity", "no finite number"),
        ("1.#QNAN", "no finite number"),
        ("1e30", "further than"),
        ("1 0", "more or fewer than three numbers"),
        ("", "more or fewer than three numbers"),
    ],
)
def test_words_for_numbers(word: str, says: str) -> None:
    lines = list(LINES)
    lines[3 + 7 * 2] = f"vertex {word} 0 0"
    fault = only_fault("\n".join(lines))
    assert says in fault.message
    assert fault.count == 1
    assert fault.region is not None
    assert (fault.region.facet, fault.region.start_line, fault.region.end_line) == (2, 16, 22)


def test_decimal_commas_everywhere() -> None:
    message = refused(TEXT.replace(".", ","))
    assert "12 facets with a decimal comma" in message
    assert "line 2" in message


def test_missing_normal() -> None:
    lines = list(LINES)
    lines[8] = "  facet normal"
    reading = read("\n".join(lines))
    assert "without a normal" in reading.faults[0].message
    np.testing.assert_array_equal(corners(reading), CUBE)


def test_same_trouble_is_told_once() -> None:
    (fault,) = read(TEXT.replace("vertex 1.0", "vertex x1.0")).faults
    assert fault.count > 3
    assert fault.message.startswith(f"has {fault.count} facets with a word")


def test_stray_words() -> None:
    fault = only_fault(TEXT.replace("  facet", "  colour 1 2 3\n  facet", 1))
    assert "has 4 words that do not belong to the format" in fault.message
    assert "line 2" in fault.message


def test_facets_outside_of_a_solid() -> None:
    fault = only_fault("\n".join(LINES[1:-1]))
    assert "outside 'solid'" in fault.message
    both = read(TEXT + "\n".join(LINES[1:8]) + "\n" + TEXT)
    assert [len(part.faces) for part in both.parts] == [12, 1, 12]
    assert len(both.faults) == 1


@pytest.mark.parametrize("text", ["solid\nendsolid\n", "solid a\n", "solid"])
def test_no_facets(text: str) -> None:
    assert "without a facet that can be inspected" in refused(text)


def test_empty_solid_among_others() -> None:
    assert "1 solid without a facet" in only_fault(TEXT + "solid b\nendsolid b\n").message


def test_bounds() -> None:
    assert "read.faces" in refused(TEXT, faces=11)
    assert "more than 10000 solids" in refused("solid\nendsolid\n" * (MAX_SOLIDS + 1))


def test_claims() -> None:
    assert READER.claims(TEXT.encode(), ".stl", 2000) == 0.9
    assert READER.claims(b"\xef\xbb\xbf" + TEXT.encode(), ".stl", 2000) == 0.9
    assert 0 < READER.claims(TEXT.encode().replace(b"e", b"\0", 1), ".stl", 2000) < 0.9
    assert READER.claims(b"nothing of the kind", ".stl", 2000) == 0
    data = binary_stl(header=b"solid facet normal")
    assert READER.claims(data, ".stl", len(data)) < 1
