"""Which facets stand in a stretch of ASCII STL, on which lines, and what is wrong with them?

A facet is 21 words: facet normal x y z outer loop, three times vertex x y z, endloop endfacet. Text
is taken in chunks. A chunk that is nothing but such facets is read by columns (`_read_regular`);
any other chunk facet by facet (`_read_irregular`), which knows what to call each trouble. Letters
may be small or capital, blanks of any kind and number, lines ended by LF, CR LF or CR.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from lint3d.errors import UnreadableFile
from lint3d.model import Region
from lint3d.readers.faultlist import FaultList, Kind

CHUNK_BYTES = 1 << 22
WORDS = 21
_KEYWORDS_AT = {
    0: b"facet", 1: b"normal", 5: b"outer", 6: b"loop", 7: b"vertex", 11: b"vertex",
    15: b"vertex", 19: b"endloop", 20: b"endfacet",
}  # fmt: skip
_NUMBERS_AT = (2, 3, 4, 8, 9, 10, 12, 13, 14, 16, 17, 18)
_KEYWORDS = frozenset(_KEYWORDS_AT.values())
_NUMBER = re.compile(rb"[+-]?(?:\d+\.?\d*|\.\d+)(?:e[+-]?\d+)?")
_NO_NUMBER = re.compile(rb"[+-]?(?:nan|inf|infinity|1\.#\w+)(?:\(\w*\))?")
_DECIMAL_COMMA = re.compile(rb"[+-]?\d*,\d+(?:e[+-]?\d+)?")
_WORD = re.compile(rb"\S+")

EXPORT_AGAIN = "Export the part again, or mend the file in a text editor."
CORNERS = Kind(
    "facet",
    "with more or fewer than three corners, left out",
    "Export the part again as triangles.",
)
DECIMAL_COMMA = Kind(
    "facet",
    "with a decimal comma, left out",
    "Export the part again with decimal points (a setting of the language).",
)
NO_NUMBER = Kind("facet", "with a word where a number belongs, left out", EXPORT_AGAIN)
NUMBERS = Kind("facet", "with a corner of more or fewer than three numbers, left out", EXPORT_AGAIN)
NO_NORMAL = Kind(
    "facet",
    "without a normal of three numbers (the facets were inspected)",
    "Export the part again; 'facet normal' is followed by three numbers.",
)
NOT_CLOSED = Kind(
    "facet",
    "lacking 'outer loop', 'endloop' or 'endfacet' (the facets were inspected)",
    EXPORT_AGAIN,
)
CUT_OFF = Kind(
    "facet",
    "breaking off in the middle, left out",
    "The file was cut off; copy or export it again.",
)
STRAY = Kind("word", "that {does} not belong to the format, passed over", EXPORT_AGAIN)


@dataclass
class Facets:
    """What was read. Every facet of the text has lines; only sound ones have corners."""

    start_line: list[NDArray[np.int64]] = field(default_factory=list)
    end_line: list[NDArray[np.int64]] = field(default_factory=list)
    rows: list[NDArray[np.int64]] = field(default_factory=list)
    """for each facet with corners, its number"""
    normals: list[NDArray[np.float64]] = field(default_factory=list)
    corners: list[NDArray[np.float64]] = field(default_factory=list)
    count: int = 0

    def add(
        self,
        start_line: NDArray[np.int64],
        end_line: NDArray[np.int64],
        rows: NDArray[np.int64],
        numbers: NDArray[np.float64],
    ) -> None:
        """One chunk: lines (n,) of its facets, `rows` (k,) among them, `numbers` (k, 12)."""
        self.start_line.append(start_line)
        self.end_line.append(end_line)
        self.rows.append(rows + self.count)
        self.normals.append(numbers[:, :3])
        self.corners.append(numbers[:, 3:].reshape(-1, 3, 3))
        self.count += len(start_line)


def read_facets(
    text: memoryview,
    first_line: int,
    first_facet: int,
    at_end: bool,
    faces_allowed: int,
    faults: FaultList,
) -> Facets:
    """Read a stretch that should be nothing but facets.

    Parameters
    ----------
    text : the stretch
    first_line, first_facet : number of its first line, from 1, and of its first facet, from 0
    at_end : nothing follows, so a last facet that is not whole means that the file was cut off

    Raises
    ------
    UnreadableFile : more facets than are allowed, those before this stretch included
    """
    found = Facets()
    for chunk, is_last in _chunks(text):
        lines = LineNumbers(chunk, first_line)
        if not _read_regular(chunk, lines, found):
            offset = first_facet + found.count
            _read_irregular(chunk, lines, found, offset, at_end and is_last, faults)
        first_line = lines.after
        if first_facet + found.count > faces_allowed:
            raise UnreadableFile(
                f"has more facets than the setting read.faces allows ({faces_allowed}).",
                "Raise the setting, or export the part with a coarser tolerance.",
            )
    return found


def _chunks(text: memoryview) -> Iterator[tuple[bytes, bool]]:
    """Small-lettered pieces that end behind an 'endfacet', and whether it is the last."""
    start = 0
    while start < len(text):
        chunk = bytes(text[start : start + CHUNK_BYTES]).lower()
        is_last = start + len(chunk) >= len(text)
        if not is_last:
            end = chunk.rfind(b"endfacet") + len(b"endfacet")
            if end < len(b"endfacet"):
                end = max(chunk.rfind(b"\n") + 1, chunk.rfind(b" ") + 1) or len(chunk)
            chunk = chunk[:end]
        start += len(chunk)
        yield chunk, is_last


class LineNumbers:
    """Which line does each byte of a chunk stand on?"""

    def __init__(self, chunk: bytes, first: int) -> None:
        self._first = first
        codes = np.frombuffer(chunk, np.uint8)
        ends = codes == 10
        if b"\r" in chunk:
            alone = codes == 13
            alone[:-1] &= ~ends[1:]
            if len(alone):  # a CR LF cut in two by the end of a chunk counts once, at its LF
                alone[-1] = False
            ends |= alone
        self._ends = np.flatnonzero(ends)
        self.after = first + len(self._ends)

    def of(self, offsets: NDArray[np.int64]) -> NDArray[np.int64]:
        """Line of each byte offset, (n,) int64."""
        return self._first + np.searchsorted(self._ends, offsets)


def _read_regular(chunk: bytes, lines: LineNumbers, found: Facets) -> bool:
    """Read a chunk of nothing but whole facets; False if it is not."""
    words = chunk.split()
    count, rest = divmod(len(words), WORDS)
    if rest or b"_" in chunk:  # float() would take 1_0 for 10
        return False
    if any(words[at::WORDS].count(word) != count for at, word in _KEYWORDS_AT.items()):
        return False
    numbers = np.empty((count, 12))
    try:
        for column, at in enumerate(_NUMBERS_AT):
            numbers[:, column] = np.fromiter(map(float, words[at::WORDS]), np.float64, count)
    except ValueError:
        return False
    starts, ends = _word_bounds(chunk)
    if len(starts) != len(words):
        return False
    found.add(
        lines.of(starts[::WORDS]), lines.of(ends[WORDS - 1 :: WORDS] - 1), np.arange(count), numbers
    )
    return True


def _word_bounds(chunk: bytes) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Byte offsets of the first letter of each word and of the byte behind its last."""
    in_word = np.zeros(len(chunk) + 2, bool)
    np.greater(np.frombuffer(chunk, np.uint8), 32, out=in_word[1:-1])
    changes = np.flatnonzero(in_word[1:] != in_word[:-1])
    return changes[0::2], changes[1::2]


def _read_irregular(
    chunk: bytes, lines: LineNumbers, found: Facets, offset: int, at_end: bool, faults: FaultList
) -> None:
    """Read facet by facet and say what is wrong with each."""
    matches = [(match.group(), match.start()) for match in _WORD.finditer(chunk)]
    words = [word for word, _ in matches]
    heads = [at for at, word in enumerate(words) if word == b"facet"]
    starts = np.array([start for _, start in matches], np.int64)
    line_of = lines.of(starts)
    before = heads[0] if heads else len(words)
    if before:
        faults.count(STRAY, _at_line(int(line_of[0])), before)
    start_line, end_line = np.empty(len(heads), np.int64), np.empty(len(heads), np.int64)
    rows, numbers = [], []
    ends = [*heads[1:], len(words)][: len(heads)]  # no head, no end: only stray words
    for row, (head, end) in enumerate(zip(heads, ends, strict=True)):
        parsed = _parse_facet(words[head:end], at_end and end == len(words))
        start_line[row], end_line[row] = line_of[head], line_of[head + parsed.length - 1]
        region = Region(
            start_line=int(start_line[row]), end_line=int(end_line[row]), facet=offset + row
        )
        for kind in parsed.trouble:
            faults.count(kind, region)
        if parsed.stray:
            faults.count(STRAY, _at_line(int(line_of[head + parsed.length])), parsed.stray)
        if parsed.numbers is not None:
            rows.append(row)
            numbers.append(parsed.numbers)
    found.add(
        start_line, end_line, np.array(rows, np.int64), np.array(numbers, float).reshape(-1, 12)
    )


def _at_line(line: int) -> Region:
    return Region(start_line=line, end_line=line)


@dataclass
class _Parsed:
    """One facet: its numbers (None: left out), what is wrong, and where it ends."""

    numbers: list[float] | None
    trouble: list[Kind]
    length: int
    """words up to and with 'endfacet'"""
    stray: int
    """words behind it"""


def _parse_facet(words: list[bytes], may_be_cut: bool) -> _Parsed:
    """Understand the words from one 'facet' to the next."""
    length = words.index(b"endfacet") + 1 if b"endfacet" in words else len(words)
    body, stray = words[:length], len(words) - length
    normals, corners, misplaced, frame = _sections(body)
    closed = frame == [b"facet", b"outer", b"loop", b"endloop", b"endfacet"]
    if may_be_cut and body[-1] != b"endfacet":
        return _Parsed(None, [CUT_OFF], length, stray)
    values, kind = _corner_values(corners)
    trouble = [kind] if kind else []
    if misplaced and not trouble:
        values, trouble = None, [NO_NUMBER]
    if values is not None:
        normal = _normal(normals)
        trouble += [] if normal else [NO_NORMAL]
        trouble += [] if closed else [NOT_CLOSED]
        values = [*(normal or (0.0, 0.0, 0.0)), *values]
    return _Parsed(values, trouble, length, stray)


def _sections(
    body: list[bytes],
) -> tuple[list[list[bytes]], list[list[bytes]], int, list[bytes]]:
    """The words behind each 'normal', behind each 'vertex', misplaced ones, and the frame."""
    normals: list[list[bytes]] = []
    corners: list[list[bytes]] = []
    frame: list[bytes] = []
    current: list[bytes] | None = None
    misplaced = 0
    for word in body:
        if word in _KEYWORDS:
            current = None
            if word in (b"normal", b"vertex"):
                current = []
                (normals if word == b"normal" else corners).append(current)
            else:
                frame.append(word)
        elif current is not None:
            current.append(word)
        else:
            misplaced += 1
    return normals, corners, misplaced, frame


def _corner_values(corners: list[list[bytes]]) -> tuple[list[float] | None, Kind | None]:
    """Nine numbers, or the trouble with them."""
    values = []
    for word in (word for corner in corners for word in corner):
        value = _value(word)
        if value is None:
            return None, DECIMAL_COMMA if _DECIMAL_COMMA.fullmatch(word) else NO_NUMBER
        values.append(value)
    if len(corners) != 3:
        return None, CORNERS
    if any(len(corner) != 3 for corner in corners):
        return None, NUMBERS
    return values, None


def _normal(normals: list[list[bytes]]) -> list[float] | None:
    """Three numbers (perhaps not finite), or None if there are not three."""
    if len(normals) != 1 or len(normals[0]) != 3:
        return None
    values = [value for value in map(_value, normals[0]) if value is not None]
    return values if len(values) == 3 else None


def _value(word: bytes) -> float | None:
    if _NUMBER.fullmatch(word):
        return float(word)
    return float("nan") if _NO_NUMBER.fullmatch(word) else None
