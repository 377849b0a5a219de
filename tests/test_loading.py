"""From a path to parts: whatever is wrong with path, bytes or reader is told, never raised."""

from __future__ import annotations

import errno
import os
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from parts import NthFacet, box, stl_bytes, write_stl

from lint3d import Fault, Reading, ReadLimits, ReadPart, Source, UnreadableFile
from lint3d.loading import LoadOptions, ReaderCrashed, load
from lint3d.readers.stl_binary import BinaryStlReader

STL = {"stl-binary": BinaryStlReader()}


def loaded(path: Path | str, readers: dict[str, Any] = STL, **options: Any) -> Source:
    return load(path, "a.stl", readers, LoadOptions(**options))


def trouble(path: Path | str, **options: Any) -> str:
    """The one fatal fault of a file that cannot be read."""
    source = loaded(path, **options)
    (fault,) = source.faults
    assert fault.fatal
    assert fault.remedy
    assert not source.parts
    assert source.format is None
    return fault.message


class Reader:
    """A reader that hands over whatever it is made with."""

    name = "own"
    suffixes = (".own",)

    def __init__(self, reading: Any, claim: Any = 1.0) -> None:
        self.reading, self.claim = reading, claim

    def claims(self, head: bytes, suffix: str, length: int) -> float:
        if isinstance(self.claim, Exception):
            raise self.claim
        return self.claim  # type: ignore[no-any-return]

    def read(self, data: bytes, limits: ReadLimits) -> Reading:
        if isinstance(self.reading, BaseException):
            raise self.reading
        return self.reading  # type: ignore[no-any-return]


def read_part(name: str | None = None, size: float = 10.0) -> ReadPart:
    corners = box(size).reshape(-1, 3)
    return ReadPart(name, corners, np.arange(36).reshape(-1, 3), NthFacet())


def triangle(coordinate: float = 0.0, corners: tuple[int, int, int] = (0, 1, 2)) -> ReadPart:
    vertices = np.array([[0.0, 0, 0], [1, 0, 0], [0, 1, coordinate]])
    return ReadPart("x", vertices, np.array([corners]), NthFacet())


@pytest.fixture
def own(tmp_path: Path) -> Path:
    path = tmp_path / "file.own"
    path.write_bytes(b"something")
    return path


def test_a_sound_file(tmp_path: Path) -> None:
    path = write_stl(tmp_path / "cube.stl", box())
    source = loaded(path)
    import hashlib

    assert source.digest == hashlib.sha256(path.read_bytes()).hexdigest()
    assert source.length == 84 + 12 * 50  # STL as commonly described: 84 + 50 n bytes
    assert (source.format, source.faults) == ("STL (binary)", [])
    assert (source.unit, source.unit_origin) == ("mm", "assumed")
    (part,) = source.parts
    assert (part.name, len(part.faces), len(part.vertices)) == ("part-1", 12, 8)
    region = part.bodies[0].region_of(7)
    assert (region.byte_offset, region.byte_length) == (84 + 50 * 7, 50)


@pytest.mark.parametrize(
    "name",
    ["with space.stl", "100%.stl", "%41%00.stl", "schön-Ø-浮.stl", "a#b?c.stl", "-dash.stl",
     "{0}.stl", "new\nline.stl"],
)  # fmt: skip
def test_odd_names_are_read(tmp_path: Path, name: str) -> None:
    assert loaded(write_stl(tmp_path / name, box())).faults == []


def test_a_name_that_is_no_text_is_read(tmp_path: Path) -> None:
    path = os.fsdecode(os.fsencode(tmp_path) + b"/bad\xff.stl")
    Path(path).write_bytes(stl_bytes(box()))
    assert loaded(path).faults == []


def test_what_is_wrong_with_a_path_is_told(tmp_path: Path) -> None:
    (tmp_path / "round.stl").symlink_to("round.stl")
    (tmp_path / "dangling.stl").symlink_to("nowhere.stl")
    (tmp_path / "file").touch()
    os.mkfifo(tmp_path / "pipe.stl")
    assert trouble(tmp_path / "no.stl") == "does not exist."
    assert trouble(tmp_path / "dangling.stl") == "does not exist."
    assert trouble(tmp_path / "file" / "a.stl").startswith("does not exist: a folder in its path")
    assert trouble(tmp_path) == "is a folder, not a file."
    assert trouble(tmp_path / "round.stl") == "is a link that leads round in a circle."
    assert trouble(tmp_path / "pipe.stl") == "is a device or a pipe, not a file."
    assert trouble("/dev/null") == "is a device or a pipe, not a file."
    assert trouble(tmp_path / ("x" * 300)) == "has a name that is too long."
    assert "no usable name" in trouble("a\0b.stl")


@pytest.mark.parametrize(
    ("number", "message"),
    [
        (errno.EACCES, "may not be read."),
        (errno.EPERM, "may not be read."),
        (errno.EIO, "cannot be opened (Input/output error)."),
    ],
)
def test_no_permission_and_a_broken_disk_are_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, number: int, message: str
) -> None:
    """As root nothing is forbidden, so the refusal is played."""
    path = write_stl(tmp_path / "a.stl", box())

    def refuse(self: Path) -> bytes:
        raise OSError(number, os.strerror(number))

    monkeypatch.setattr(Path, "read_bytes", refuse)
    assert trouble(path) == message


def test_a_folder_that_may_not_be_listed_is_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(path: object) -> None:
        raise PermissionError(errno.EACCES, "Permission denied")

    monkeypatch.setattr(os, "scandir", refuse)
    assert trouble(tmp_path) == "may not be read."


def test_a_file_that_is_too_long_is_not_opened(tmp_path: Path) -> None:
    path = write_stl(tmp_path / "a.stl", box())
    message = trouble(path, limits=ReadLimits(file_bytes=600))
    assert message == "is 684 bytes long; the setting read.file_bytes allows 600."
    assert loaded(path, limits=ReadLimits(file_bytes=684)).faults == []


def test_an_empty_file(tmp_path: Path) -> None:
    path = tmp_path / "a.stl"
    path.touch()
    assert "is empty" in trouble(path)


def test_a_format_that_nobody_reads(tmp_path: Path) -> None:
    path = tmp_path / "a.dat"
    path.write_bytes(b"\x01\x02\x03" * 100)
    assert trouble(path) == "is in no format that can be read here."


# --- units ----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("stated", "given", "unit", "origin", "size"),
    [
        (None, None, "mm", "assumed", 10.0),
        (None, "in", "in", "given", 254.0),
        ("cm", None, "cm", "found", 100.0),
        ("cm", "in", "cm", "found", 100.0),  # what the file says wins
        ("micron", None, "micron", "found", 0.01),
    ],
)
def test_units(
    own: Path, stated: str | None, given: str | None, unit: str, origin: str, size: float
) -> None:
    source = loaded(own, {"own": Reader(Reading("own", [read_part()], unit=stated))}, unit=given)
    assert (source.unit, source.unit_origin) == (unit, origin)
    assert source.parts[0].vertices.max() == pytest.approx(size)


def test_the_weld_tolerance_is_mm_whatever_the_unit(own: Path) -> None:
    """A crack of 0.001 cm is 0.01 mm wide."""
    part = read_part()
    part.vertices[15] += 0.001
    readers = {"own": Reader(Reading("own", [part], unit="cm"))}
    assert loaded(own, readers, weld_mm=0.1).parts[0].stitched > 0
    assert loaded(own, readers, weld_mm=0.001).parts[0].stitched == 0


# --- readers --------------------------------------------------------------------------------------


def test_the_surest_reader_reads(own: Path) -> None:
    readers = {
        "a": Reader(Reading("a", [read_part()]), 0.4),
        "b": Reader(Reading("b", [read_part()]), 0.6),
        "c": Reader(Reading("c", [read_part()]), 0.0),
    }  # fmt: skip
    assert loaded(own, readers).format == "b"
    assert loaded(own, {"c": readers["c"]}).faults[0].fatal


def test_names_of_parts(own: Path) -> None:
    names = ["pin", "pin", None, "pin-2", "pin", None]
    reading = Reading("own", [read_part(name) for name in names])
    source = loaded(own, {"own": Reader(reading)})
    found = [part.name for part in source.parts]
    assert found == ["pin", "pin-2", "part-3", "pin-2-2", "pin-3", "part-6"]
    assert len(set(found)) == len(found)


def test_names_of_bodies_are_told_apart_too(own: Path) -> None:
    """A part may be called what the second body of another one is called."""
    pair = read_part("pin")
    corners = np.concatenate([box(10), box(3, (50, 0, 0))]).reshape(-1, 3)
    pair.vertices, pair.faces = corners, np.arange(len(corners)).reshape(-1, 3)
    source = loaded(own, {"own": Reader(Reading("own", [pair, read_part("pin/2")]))})
    found = [body.name for part in source.parts for body in part.bodies]
    assert found == ["pin", "pin/2", "pin/2-2"]


def test_what_a_reader_found_wrong_stays_beside_what_it_read(own: Path) -> None:
    fault = Fault("has a scratch.", "Polish it.")
    members = [("3D/a.model", 7, "00")]
    reading = Reading("own", [read_part()], faults=[fault], members=members)
    source = loaded(own, {"own": Reader(reading)})
    assert source.faults == [fault]
    assert source.members == members
    assert len(source.parts) == 1


def test_a_reading_without_a_facet_is_a_fault(own: Path) -> None:
    source = loaded(own, {"own": Reader(Reading("own", []))})
    assert [(fault.message, fault.fatal) for fault in source.faults] == [("holds no facet.", True)]


def test_a_reader_that_gives_up_tells_why(own: Path) -> None:
    source = loaded(own, {"own": Reader(UnreadableFile("is torn.", "Mend it."))})
    assert [(f.message, f.remedy, f.fatal) for f in source.faults] == [
        ("is torn.", "Mend it.", True)
    ]
    assert source.digest is not None


@pytest.mark.parametrize(
    "reader",
    [
        Reader(RuntimeError("oops")),
        Reader(None, ValueError("oops")),
        Reader(None),
        Reader(Reading("own", [None])),  # type: ignore[list-item]
        Reader(Reading("own", [read_part()], unit="parsec")),
        Reader(Reading("own", [triangle(corners=(0, 1, 7))])),
        Reader(Reading("own", [triangle(corners=(0, 1, -1))])),
        Reader(Reading("own", [triangle(coordinate=np.nan)])),
        Reader(Reading("own", [triangle(coordinate=np.inf)])),
        Reader(Reading("own", [triangle(coordinate=-np.inf)])),
    ],
)  # fmt: skip
def test_a_faulty_reader_is_named(own: Path, reader: Reader) -> None:
    with pytest.raises(ReaderCrashed, match="the reader 'own' crashed: "):
        loaded(own, {"own": reader})


def test_too_little_memory_is_for_the_caller_to_tell(own: Path) -> None:
    with pytest.raises(MemoryError):
        loaded(own, {"own": Reader(MemoryError())})
