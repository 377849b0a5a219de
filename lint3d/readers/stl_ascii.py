"""What does an ASCII STL file hold?

One part for each 'solid', with its name; a line for the first and last word of every facet. The
format has no unit. Names are UTF-8, else Latin-1. What a facet looks like, and what can be wrong
with one, stands in `stl_ascii_facets.py`. Guarded by tests/readers/test_stl_ascii.py.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lint3d.errors import UnreadableFile
from lint3d.model import Reading, ReadPart, Region
from lint3d.readers import ReadLimits
from lint3d.readers.faultlist import FaultList, Kind
from lint3d.readers.plausible import usable_facets
from lint3d.readers.sniff import UTF8_BOM, looks_like_text
from lint3d.readers.stl_ascii_facets import CUT_OFF, EXPORT_AGAIN, Facets, LineNumbers, read_facets
from lint3d.readers.stl_normals import check_normals

#: Text is often written with five or six digits.
ROUNDING = 1e-5
MAX_SOLIDS = 10_000
MAX_NAME_BYTES = 1 << 12
_WINDOW = 1 << 22
_NAME_END = re.compile(rb"[\r\n]|\bfacet\s+normal\b", re.I)
_CLAIM = re.compile(rb"^[ \t]*(solid|facet)\b", re.I | re.M)

NO_SOLID = Kind(
    "stretch", "of facets outside 'solid' and 'endsolid' (the facets were inspected)", EXPORT_AGAIN
)
NO_ENDSOLID = Kind(
    "solid", "without an 'endsolid'", "The file may have been cut off; copy or export it again."
)
LONE_ENDSOLID = Kind("'endsolid' line", "without a 'solid' before it", EXPORT_AGAIN)
NO_FACETS = Kind("solid", "without a facet", "Export again and check what was selected.")


@dataclass(frozen=True)
class AsciiStlProvenance:
    """First and last line of each facet of a solid."""

    start_line: NDArray[np.int64]
    end_line: NDArray[np.int64]
    first: int = 0
    """Number within the file of the solid's first facet."""

    def locate(self, facet: int) -> Region:
        return Region(
            start_line=int(self.start_line[facet]),
            end_line=int(self.end_line[facet]),
            facet=self.first + facet,
        )


@dataclass(frozen=True)
class _Mark:
    """A 'solid' or 'endsolid' with its name: bytes from `start` up to `end`."""

    start: int
    end: int
    opens: bool
    name: str | None


class AsciiStlReader:
    """ASCII STL."""

    name = "stl-ascii"
    suffixes: tuple[str, ...] = (".stl",)

    def claims(self, head: bytes, suffix: str, length: int) -> float:
        """Text with a line that begins with 'solid' or 'facet'."""
        if not _CLAIM.search(head.removeprefix(UTF8_BOM)):
            return 0.0
        if looks_like_text(head):
            return 0.9 if suffix == ".stl" else 0.4
        return 0.7 if suffix == ".stl" and re.search(rb"facet\s+normal", head, re.I) else 0.0

    def read(self, data: bytes | memoryview, limits: ReadLimits) -> Reading:
        """Read the whole file.

        Raises
        ------
        UnreadableFile : no facet that can be inspected, too many facets or solids
        """
        faults = FaultList()
        text = bytes(data)
        parts = list(_parts(text, limits, faults))
        if not parts:
            raise faults.unreadable(
                "is an ASCII STL without a facet that can be inspected.",
                "Export the part again and check that something was selected.",
            )
        return Reading("STL (ASCII)", parts, faults=faults.faults())


def _parts(text: bytes, limits: ReadLimits, faults: FaultList) -> Iterator[ReadPart]:
    """One part for each stretch between marks that holds facets."""
    view = memoryview(text)
    facets_before = 0
    begin, line = len(UTF8_BOM) if text.startswith(UTF8_BOM) else 0, 1
    opened: _Mark | None = None
    opened_line = 0
    for mark in [*_marks(text), None]:
        end = mark.start if mark else len(text)
        found = read_facets(
            view[begin:end], line, facets_before, mark is None, limits.faces, faults
        )
        _tell_frame(opened, opened_line, mark, found, line, faults)
        yield from _part(found, opened.name if opened else None, facets_before, faults)
        facets_before += found.count
        line += _line_ends(view[begin:end])
        if mark:
            opened, opened_line = (mark if mark.opens else None), line
            line += _line_ends(view[mark.start : mark.end])
            begin = mark.end


def _tell_frame(
    opened: _Mark | None,
    opened_line: int,
    mark: _Mark | None,
    found: Facets,
    line: int,
    faults: FaultList,
) -> None:
    """Do 'solid' and 'endsolid' stand where they should around this stretch?"""
    at_solid = Region(start_line=opened_line, end_line=opened_line)
    if opened is None and found.count:
        first = int(found.start_line[0][0])
        faults.count(NO_SOLID, Region(start_line=first, end_line=first))
    elif opened is None and mark is not None and not mark.opens:
        faults.count(LONE_ENDSOLID, Region(start_line=line, end_line=line))
    if opened is not None and (mark is None or mark.opens) and not faults.has(CUT_OFF):
        faults.count(NO_ENDSOLID, at_solid)
    if opened is not None and not found.count:
        faults.count(NO_FACETS, at_solid)


def _part(found: Facets, name: str | None, first: int, faults: FaultList) -> Iterator[ReadPart]:
    """The part, if any facet of it can be inspected."""
    if not found.count:
        return
    rows, corners = np.concatenate(found.rows), np.concatenate(found.corners)
    normals = np.concatenate(found.normals)
    provenance = AsciiStlProvenance(
        np.concatenate(found.start_line), np.concatenate(found.end_line), first
    )
    usable, trouble = usable_facets(corners)
    for kind, bad in trouble:
        faults.count(kind, provenance.locate(int(rows[bad[0]])), len(bad))
    if usable is not None:
        rows, corners, normals = rows[usable], corners[usable], normals[usable]
    if not len(rows):
        return
    check_normals(normals, corners, rows, ROUNDING, provenance, faults)
    faces = np.arange(3 * len(corners), dtype=np.int64).reshape(-1, 3)
    yield ReadPart(name, corners.reshape(-1, 3), faces, provenance, facet=rows)


def _marks(text: bytes) -> list[_Mark]:
    """Every 'solid' and 'endsolid' that begins a line or follows an 'endfacet'."""
    found: list[_Mark] = []
    done = 0
    for at in _occurrences(text, b"solid"):
        if at < done:
            continue
        opens = text[at - 3 : at].lower() != b"end" if at >= 3 else True
        start = at if opens else at - 3
        if not _begins_statement(text, start) or text[at + 5 : at + 6].strip():
            continue
        name_end = _NAME_END.search(text, at, at + MAX_NAME_BYTES)
        end = name_end.start() if name_end else min(at + MAX_NAME_BYTES, len(text))
        found.append(_Mark(start, end, opens, _name(text[at + 5 : end])))
        done = end
        if len(found) > 2 * MAX_SOLIDS:
            raise UnreadableFile(
                f"has more than {MAX_SOLIDS} solids.", "Split it, or export fewer bodies at a time."
            )
    return found


def _occurrences(text: bytes, word: bytes) -> Iterator[int]:
    """Where a small-lettered word stands in any letter case, without a second copy of the text."""
    for start in range(0, len(text), _WINDOW):
        window = text[start : start + _WINDOW + len(word) - 1].lower()
        at = window.find(word)
        while at >= 0:
            yield start + at
            at = window.find(word, at + 1)


def _begins_statement(text: bytes, at: int) -> bool:
    """Is there nothing between here and the line's start or an 'endfacet' but blanks?"""
    reach = 64
    while True:
        before = text[max(0, at - reach) : at]
        stripped = before.rstrip(b" \t\f\v")
        if stripped:
            return (
                stripped[-1:] in b"\r\n"
                or stripped.endswith(UTF8_BOM)
                or (stripped[-8:].lower() == b"endfacet")
            )
        if at <= reach:
            return True
        reach *= 2


def _name(raw: bytes) -> str | None:
    try:
        text = raw.decode("utf-8")
    except UnicodeDecodeError:
        text = raw.decode("latin-1")
    printable = "".join(letter if letter.isprintable() else " " for letter in text)
    return " ".join(printable.split()) or None


def _line_ends(text: memoryview) -> int:
    """How many lines end in this stretch?"""
    return sum(
        LineNumbers(bytes(text[start : start + _WINDOW]), 0).after
        for start in range(0, len(text), _WINDOW)
    )
