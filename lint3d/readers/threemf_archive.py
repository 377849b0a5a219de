"""What is in the archive, and may it be unpacked?

Members are unpacked only when they are needed, in memory, in pieces: how much comes out is measured
and not believed from headers. Nothing is ever written to disk. An archive that cannot be opened is
`UnreadableFile`; oddities that leave it readable are faults.
Guarded by tests/readers/test_threemf_archive.py.
"""

from __future__ import annotations

import hashlib
import io
import struct
import zipfile
import zlib
from collections.abc import Iterator

from lint3d.errors import UnreadableFile
from lint3d.model import Region
from lint3d.readers import ReadLimits
from lint3d.readers.faultlist import FaultList, Kind

#: Below this many bytes unpacked a member's ratio does not matter.
SMALL_MEMBER = 10_000_000
_PIECE = 1 << 20
_DIRECTORY_ENTRY, _END_RECORD = b"PK\x01\x02", b"PK\x05\x06"
COPY_AGAIN = "The archive is damaged; copy or export the file again."

UNSAFE_NAME = Kind(
    "member",
    "with an absolute name, or with '..' or a backslash in it",
    "Export the file again; such names can be made to overwrite files where they are unpacked.",
)
DOUBLE_NAME = Kind(
    "member",
    "whose name another one has too, so programs may read either",
    "Export the file again.",
)
BOMB = Kind(
    "member",
    "that would unpack to more than its size allows, not unpacked",
    "Do not unpack the archive elsewhere either unless you trust its sender.",
)
EXACT_NAME = Kind(
    "reference",
    "to a member that is spelt otherwise in the archive (case, % codes, slashes), "
    "followed here, but not by every program",
    "Export the file again.",
)


class MissingMember(Exception):
    """There is no such member."""


class Archive:
    """A ZIP archive whose members have paths without a leading slash.

    Raises
    ------
    UnreadableFile : no archive, or one with too many members
    """

    def __init__(self, data: bytes, limits: ReadLimits, faults: FaultList) -> None:
        self._limits, self._faults = limits, faults
        self._length = len(data)
        self._unpacked = 0
        self.members: list[tuple[str, int, str]] = []
        """What was read: path, length, SHA-256."""
        self._check_count(data)
        self._zip = _opened(data)
        self._files = [info for info in self._zip.infolist() if not info.filename.endswith("/")]
        self._info = {info.filename: info for info in self._files}
        self._folded: dict[str, str] = {}
        for name in self._info:
            self._folded.setdefault(_fold(name), name)
        self._tell_oddities(data)

    def __contains__(self, path: str) -> bool:
        return path in self._info

    def __iter__(self) -> Iterator[str]:
        return iter(self._info)

    def find(self, path: str, source: Region) -> str:
        """The member's name for a path; a fault if only case, % codes or slashes differ.

        Raises
        ------
        MissingMember : there is none
        """
        if path in self._info:
            return path
        name = self._folded.get(_fold(path))
        if name is None:
            raise MissingMember(path)
        self._faults.count(EXACT_NAME, source)
        return name

    def read(self, name: str) -> bytes:
        """Unpack a member.

        Raises
        ------
        UnreadableFile : encrypted, packed in an unknown way, damaged, or a bomb
        """
        info = self._info[name]
        if info.flag_bits & 0x1:
            raise UnreadableFile(
                f"has an encrypted member, {name}.",
                "Export it again without a password.",
                Region(member=name),
            )
        if info.compress_type not in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED):
            raise UnreadableFile(
                f"has a member, {name}, that is packed by method {info.compress_type}; a 3MF has "
                "only stored (0) and deflated (8) ones.",
                "Export the file again.",
                Region(member=name),
            )
        try:
            content = b"".join(self._pieces(info))
        except (
            zipfile.BadZipFile,
            zlib.error,
            struct.error,
            EOFError,
            OSError,
            ValueError,
            NotImplementedError,
            RuntimeError,
        ) as error:
            raise UnreadableFile(
                f"has a damaged member, {name} ({_plain(error)}).", COPY_AGAIN, Region(member=name)
            ) from error
        self.members.append((name, len(content), hashlib.sha256(content).hexdigest()))
        return content

    def _pieces(self, info: zipfile.ZipInfo) -> Iterator[bytes]:
        packed = max(1, min(info.compress_size, self._length))
        size = 0
        with self._zip.open(info) as stream:
            while piece := stream.read(_PIECE):
                size += len(piece)
                self._unpacked += len(piece)
                if self._unpacked > self._limits.archive_bytes:
                    raise self._bomb(
                        info,
                        f"the setting read.archive_bytes allows "
                        f"{self._limits.archive_bytes} bytes in all",
                    )
                if size > SMALL_MEMBER and size > self._limits.archive_ratio * packed:
                    raise self._bomb(
                        info,
                        f"the setting read.archive_ratio allows "
                        f"{self._limits.archive_ratio:g} times its packed size",
                    )
                yield piece

    def _bomb(self, info: zipfile.ZipInfo, bound: str) -> UnreadableFile:
        return UnreadableFile(
            f"has a member, {info.filename}, that unpacks to more than it should from "
            f"{info.compress_size} bytes: {bound}.",
            f"{BOMB.remedy} If the file is sound, raise the setting.",
            Region(member=info.filename),
        )

    def _check_count(self, data: bytes) -> None:
        """Before the directory is read: each entry of it has this mark."""
        if data.count(_DIRECTORY_ENTRY) > self._limits.archive_members:
            raise UnreadableFile(
                f"is an archive of more than {self._limits.archive_members} members (setting "
                "read.archive_members).",
                "Raise the setting if the file is sound.",
            )

    def _tell_oddities(self, data: bytes) -> None:
        for info in self._files:
            if _is_unsafe(info.filename):
                self._faults.count(UNSAFE_NAME, Region(member=info.filename))
            if self._info.get(info.filename, info) is not info:
                self._faults.count(DOUBLE_NAME, Region(member=info.filename))
            allowed = self._limits.archive_ratio * max(1, info.compress_size)
            if info.file_size > SMALL_MEMBER and info.file_size > allowed:
                self._faults.count(BOMB, Region(member=info.filename))
        if not data.startswith(b"PK"):
            self._faults.add("has something before its archive.", COPY_AGAIN, Region(byte_offset=0))
        end = data.rfind(_END_RECORD)
        expected = end + 22 + int.from_bytes(data[end + 20 : end + 22], "little")
        if expected != len(data):
            self._faults.add(
                f"ends at byte {len(data)}, but its archive ends at byte {expected}.",
                COPY_AGAIN,
                Region(byte_offset=min(expected, len(data))),
            )


def _opened(data: bytes) -> zipfile.ZipFile:
    try:
        return zipfile.ZipFile(io.BytesIO(data))
    except Exception as error:  # zipfile lets struct, Unicode and other errors out for bad bytes
        if data.startswith(b"PK"):
            message = f"is an archive without a usable directory at its end ({_plain(error)})."
            remedy = "The file was probably cut off; copy or export it again."
        else:
            message = "is no ZIP archive, which a 3MF must be."
            remedy = "Export the part again as 3MF, or rename the file to what it is."
        raise UnreadableFile(message, remedy, Region(byte_offset=0)) from error


def _fold(path: str) -> str:
    """A form in which spellings of the same name are equal."""
    from urllib.parse import unquote

    return unquote(path).replace("\\", "/").lstrip("/").lower()


def _is_unsafe(name: str) -> bool:
    return name.startswith("/") or "\\" in name or ".." in name.split("/") or name[1:2] == ":"


def _plain(error: Exception) -> str:
    return " ".join(str(error).split()) or type(error).__name__
