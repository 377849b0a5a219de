"""What does a binary STL file hold?

80 bytes of header, the number of facets as a little-endian uint32, then 50 bytes a facet: normal
and three corners as float32, and two bytes that nobody agrees on (ignored). Facet i stands at byte
84 + 50 i. The format has no unit. The number is believed only as far as the bytes are there:
nothing is ever allocated from it. Guarded by tests/readers/test_stl_binary.py.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lint3d.errors import UnreadableFile
from lint3d.model import Reading, ReadPart, Region
from lint3d.readers import ReadLimits
from lint3d.readers.faultlist import FaultList, counted
from lint3d.readers.plausible import COORDINATE_MAX, usable_facets
from lint3d.readers.sniff import looks_like_text
from lint3d.readers.stl_normals import check_normals

HEADER_BYTES = 84
FACET_BYTES = 50
FACET = np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("attribute", "<u2")])
#: Half a step of float32, as a share of the number.
ROUNDING = 2.0**-24
EXPORT_AGAIN = "Copy or export the file again."


@dataclass(frozen=True)
class BinaryStlProvenance:
    """Byte region of each facet."""

    def locate(self, facet: int) -> Region:
        offset = HEADER_BYTES + FACET_BYTES * facet
        return Region(byte_offset=offset, byte_length=FACET_BYTES, facet=facet)


class BinaryStlReader:
    """Binary STL."""

    name = "stl-binary"
    suffixes: tuple[str, ...] = (".stl",)

    def claims(self, head: bytes, suffix: str, length: int) -> float:
        """Sure when length and number of facets agree, whatever the header says."""
        if length >= HEADER_BYTES and length == HEADER_BYTES + FACET_BYTES * _stated(head):
            return 1.0 if suffix == ".stl" else 0.5
        return 0.5 if suffix == ".stl" and not looks_like_text(head) else 0.0

    def read(self, data: bytes | memoryview, limits: ReadLimits) -> Reading:
        """Read the whole file.

        Raises
        ------
        UnreadableFile : shorter than its header, no whole facet, too many facets
        """
        faults = FaultList()
        _check_header(data, faults)
        facets = np.frombuffer(data, FACET, _facets_to_read(data, limits, faults), HEADER_BYTES)
        provenance = BinaryStlProvenance()
        usable, trouble = usable_facets(facets["corners"])
        for kind, bad in trouble:
            faults.count(kind, provenance.locate(int(bad[0])), len(bad))
        rows = None if usable is None else np.flatnonzero(usable)
        kept = facets if rows is None else facets[rows]
        if len(kept) == 0:
            raise faults.unreadable("has no facet that can be inspected.", EXPORT_AGAIN)
        check_normals(kept["normal"], kept["corners"], rows, ROUNDING, provenance, faults)
        corners = kept["corners"].reshape(-1, 3)
        faces = np.arange(len(corners), dtype=np.int64).reshape(-1, 3)
        part = ReadPart(None, corners, faces, provenance, facet=rows)
        return Reading("STL (binary)", [part], faults=faults.faults())


def _stated(data: bytes | memoryview) -> int:
    return int.from_bytes(data[80:84], "little")


def _check_header(data: bytes | memoryview, faults: FaultList) -> None:
    if len(data) < HEADER_BYTES:
        raise UnreadableFile(
            f"ends at byte {len(data)}, inside the {HEADER_BYTES} bytes that begin a binary STL.",
            f"The file was cut off. {EXPORT_AGAIN}",
            Region(byte_offset=0, byte_length=len(data)),
        )
    if bytes(data[:16]).lstrip()[:5].lower() == b"solid":
        faults.add(
            "is a binary STL whose header begins with 'solid', the mark of an ASCII STL (at byte "
            "0); it was read as binary, but other programs may take it for text.",
            "Export it again with another header, or as ASCII STL.",
            Region(byte_offset=0, byte_length=80),
        )


def _facets_to_read(data: bytes | memoryview, limits: ReadLimits, faults: FaultList) -> int:
    """How many facets to believe in, with a fault where number and length disagree."""
    stated, (present, rest) = _stated(data), divmod(len(data) - HEADER_BYTES, FACET_BYTES)
    count = min(stated, present)
    if stated > present:
        _tell_truncated(stated, present, rest, len(data), faults)
    elif present > stated or rest:
        count = _with_uncounted(data, stated, present, rest, faults)
    if count == 0:
        raise faults.unreadable(
            f"is a binary STL without a facet ({len(data)} bytes).",
            "Export the part again and check that something was selected.",
        )
    if count > limits.faces:
        raise UnreadableFile(
            f"has {count} facets; the setting read.faces allows {limits.faces}.",
            "Raise the setting, or export the part with a coarser tolerance.",
        )
    return count


def _tell_truncated(stated: int, present: int, rest: int, length: int, faults: FaultList) -> None:
    where = f"inside facet {present}" if rest else f"behind facet {present - 1}"
    faults.add(
        f"states {counted(stated, 'facet')} but holds {present} whole: it ends at byte {length}, "
        f"{where if present or rest else 'right behind its header'}.",
        f"The file was cut off, or its number of facets (byte 80) is wrong. {EXPORT_AGAIN}",
        Region(byte_offset=HEADER_BYTES + FACET_BYTES * present, byte_length=rest),
    )


def _with_uncounted(
    data: bytes | memoryview, stated: int, present: int, rest: int, faults: FaultList
) -> int:
    """The number of facets in a file that is longer than it states.

    Whole facets of sensible numbers behind the stated ones mean that the number is wrong, and they
    are inspected; anything else is left alone.
    """
    end = HEADER_BYTES + FACET_BYTES * stated
    extra = np.frombuffer(data, FACET, present - stated, end)
    as_facets = rest == 0 and _sensible(extra, np.frombuffer(data, FACET, stated, HEADER_BYTES))
    what = (
        f"{counted(present - stated, 'facet')} more, which were inspected too"
        if as_facets
        else "what cannot be facets and was not inspected"
    )
    faults.add(
        f"states {counted(stated, 'facet')}, which end at byte {end}, but is {len(data)} bytes "
        f"long: the {len(data) - end} bytes behind them hold {what}."
        + _handled_as_text(bytes(data[: 1 << 20])),
        f"Its number of facets (byte 80) is wrong, or something was appended. {EXPORT_AGAIN}",
        Region(byte_offset=end, byte_length=len(data) - end),
    )
    return present if as_facets else stated


def _sensible(extra: NDArray[Any], counted_ones: NDArray[Any]) -> bool:
    """Could these be facets of the same part? Finite, not all zero, and of the same magnitude."""
    if not (extra["corners"] != 0).any():
        return False
    reach = COORDINATE_MAX
    if len(counted_ones) and np.isfinite(counted_ones["corners"]).all():
        reach = 100.0 * max(float(np.abs(counted_ones["corners"]).max()), 1e-30)
    with np.errstate(invalid="ignore"):
        return bool((np.abs(extra["corners"]) <= reach).all())


def _handled_as_text(data: bytes) -> str:
    """A remark if bytes were replaced by U+FFFD: some program took the file for UTF-8 text."""
    if data.count(b"\xef\xbf\xbd") < 2:
        return ""
    return " Bytes were replaced by EF BF BD, so some program has handled the file as text."
