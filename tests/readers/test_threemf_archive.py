"""Archives: measured while unpacked, never written, each trouble named."""

from __future__ import annotations

import io
import zipfile
from typing import Any

import pytest
from mesh_files import binary_stl, zipped

from lint3d import ReadLimits, Region, UnreadableFile
from lint3d.readers.faultlist import FaultList
from lint3d.readers.threemf_archive import Archive, MissingMember

MB = 1_000_000


def opened(data: bytes, **limits: Any) -> tuple[Archive, FaultList]:
    faults = FaultList()
    return Archive(data, ReadLimits(**limits), faults), faults


def messages(data: bytes) -> list[str]:
    return [fault.message for fault in opened(data)[1].faults()]


def refused(data: bytes, member: str | None = None, **limits: Any) -> str:
    def attempt() -> None:
        archive, _ = opened(data, **limits)
        if member is not None:
            archive.read(member)

    with pytest.raises(UnreadableFile) as caught:
        attempt()
    return caught.value.message


def with_stated_size(data: bytes, size: int) -> bytes:
    """The last member's headers state another unpacked size."""
    changed = bytearray(data)
    for mark, at in ((b"PK\x03\x04", 22), (b"PK\x01\x02", 24)):
        start = data.rfind(mark) + at
        changed[start : start + 4] = size.to_bytes(4, "little")
    return bytes(changed)


def test_members_are_read_with_their_digests() -> None:
    archive, faults = opened(zipped({"a/b.txt": "text", "folder/": ""}))
    assert list(archive) == ["a/b.txt"]
    assert archive.read("a/b.txt") == b"text"
    assert archive.members[0][:2] == ("a/b.txt", 4)
    assert faults.faults() == []


@pytest.mark.parametrize("data", [b"nothing", b"", binary_stl()])
def test_no_archive(data: bytes) -> None:
    assert "is no ZIP archive" in refused(data)


@pytest.mark.parametrize("share", [0.1, 0.5, 0.9])
def test_cut_off(share: float) -> None:
    data = zipped({"a": "a" * 100, "b": "b" * 100})
    assert "without a usable directory" in refused(data[: int(share * len(data))])


def test_spellings_are_found_and_told() -> None:
    archive, faults = opened(zipped({"3D/My%20Part.model": "", "a\\b.txt": ""}))
    where = Region(member="x")
    assert archive.find("3D/My%20Part.model", where) == "3D/My%20Part.model"
    assert not any("spelt" in fault.message for fault in faults.faults())
    assert archive.find("3d/my part.MODEL", where) == "3D/My%20Part.model"
    assert "spelt otherwise" in faults.faults()[-1].message
    with pytest.raises(MissingMember):
        archive.find("3D/other.model", where)


@pytest.mark.parametrize("name", ["/etc/a", "../a", "a/../../b", "a\\b", "C:/a"])
def test_unsafe_names(name: str) -> None:
    assert "absolute name" in messages(zipped({name: ""}))[0]


def test_double_names() -> None:
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w") as archive:
        archive.writestr("a", "1")
        with pytest.warns(UserWarning, match="Duplicate"):
            archive.writestr("a", "2")
    assert "whose name another one has too" in messages(buffer.getvalue())[0]


def test_something_before_and_behind() -> None:
    data = zipped({"a": "b"})
    assert "before its archive" in messages(b"before" + data)[0]
    assert f"its archive ends at byte {len(data)}" in messages(data + b"behind")[0]


def test_bomb_by_ratio() -> None:
    data = zipped({"a": b"\0" * (11 * MB)})
    assert "read.archive_ratio" in refused(data, "a")
    assert len(opened(data, archive_ratio=2000)[0].read("a")) == 11 * MB


def test_small_members_may_be_packed_well() -> None:
    archive, faults = opened(zipped({"a": b"\0" * (9 * MB)}))
    assert len(archive.read("a")) == 9 * MB
    assert faults.faults() == []


@pytest.mark.parametrize("stated", [10, 100_000])
def test_headers_are_not_believed(stated: int) -> None:
    """A bomb that states a small size: it ends as bomb or as damaged, and costs nothing."""
    data = with_stated_size(zipped({"a": b"\0" * (50 * MB)}), stated)
    assert opened(data)[1].faults() == []
    message = refused(data, "a")
    assert "damaged" in message or "read.archive_ratio" in message


def test_bomb_that_is_not_needed_is_told_and_not_unpacked() -> None:
    assert "not unpacked" in messages(zipped({"a": b"\0" * (20 * MB)}))[0]


def test_bound_on_all_members_together() -> None:
    archive, _ = opened(zipped({"a": "1" * 600, "b": "2" * 600}), archive_bytes=1000)
    archive.read("a")
    with pytest.raises(UnreadableFile, match=r"read\.archive_bytes"):
        archive.read("b")


def test_bound_on_the_number_of_members() -> None:
    data = zipped({str(number): "" for number in range(12)})
    assert "read.archive_members" in refused(data, archive_members=11)
    assert len(list(opened(data, archive_members=12)[0])) == 12


def test_damaged_member() -> None:
    stored = zipped({"a": "here is text"}, zipfile.ZIP_STORED)
    assert "damaged member, a" in refused(stored.replace(b"text", b"TEXT"), "a")
    packed = bytearray(zipped({"a": "here is text" * 100}))
    packed[35:45] = b"\xff" * 10
    assert "damaged member, a" in refused(bytes(packed), "a")


@pytest.mark.parametrize("method", [zipfile.ZIP_BZIP2, zipfile.ZIP_LZMA])
def test_other_ways_of_packing(method: int) -> None:
    assert f"packed by method {method}" in refused(zipped({"a": "b"}, method), "a")


def test_encrypted() -> None:
    data = bytearray(zipped({"a": "b"}))
    data[6] |= 1
    data[data.rfind(b"PK\x01\x02") + 8] |= 1
    assert "encrypted member, a" in refused(bytes(data), "a")
