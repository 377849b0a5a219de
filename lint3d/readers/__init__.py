"""What must a reader offer, and which bounds does it keep?

A reader gets the bytes of one file and hands over a `Reading` in the file's own unit. It never
opens anything by itself, never guesses a unit, never mends silently: whatever is wrong is a `Fault`
with what, where and what to do.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol, runtime_checkable

from lint3d.model import Reading


@dataclass(frozen=True)
class ReadLimits:
    """Bounds that keep a hostile or unlucky file from costing much. Settings `[read]`."""

    file_bytes: int = 2_000_000_000
    faces: int = 20_000_000
    archive_bytes: int = 4_000_000_000
    """All members of an archive together, once unpacked."""
    archive_ratio: float = 200.0
    """Unpacked over packed bytes of one member; small members (below 10 MB) are exempt."""
    archive_members: int = 10_000


@runtime_checkable
class Reader(Protocol):
    """One file format."""

    @property
    def name(self) -> str:
        """Plain name, shown by `lint3d list readers`: "stl-binary"."""

    @property
    def suffixes(self) -> tuple[str, ...]:
        """With the dot, small letters; a folder is searched for these."""

    def claims(self, head: bytes, suffix: str, length: int) -> float:
        """How sure is it, from 0 to 1, that a file with this beginning is its own?

        `head` holds the first 4096 bytes (fewer if the file is shorter).
        """
        ...

    def read(self, data: bytes | memoryview, limits: ReadLimits) -> Reading:
        """Read the whole file.

        Raises
        ------
        UnreadableFile : nothing can be inspected
        """
        ...
