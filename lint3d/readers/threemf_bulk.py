"""How are the long lists of vertices and triangles read quickly?

Element by element expat takes seconds for a million triangles. Here the text between <vertices> and
</vertices> is split at its quotation marks and read by columns, but only if every piece of it fits
the strict pattern of such a list. Anything else (comments, entities, other quotes, unknown
attributes, a word for a number) makes `read_block` answer None, and expat reads it as usual.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

CHUNK_BYTES = 1 << 22
#: Bytes of a plain list; '&' would begin an entity, '_' is taken by float().
_PLAIN = bytes(sorted((set(range(32, 127)) | set(b"\t\n\r")) - set(b"&_'")))
_OPENING = re.compile(rb"<(vertices|triangles)(?:\s[^<>]*)?(?<!/)>")
_OPENS = 64
_MAX_PIECES = 256
_TINY = re.compile(rb"[^1-9eE]*(?:[eE].*)?", re.S)


@dataclass(frozen=True)
class Block:
    """A stretch of content between two tags: `tag` begins the first, the list is start:end."""

    tag: int
    start: int
    end: int
    is_vertices: bool


@dataclass(frozen=True)
class _Layout:
    element: bytes
    names: tuple[bytes, ...]
    required: int
    convert: Callable[[bytes], float | int]
    dtype: type


_VERTICES = _Layout(b"vertex", (b"x", b"y", b"z"), 3, float, np.float64)
_TRIANGLES = _Layout(
    b"triangle", (b"v1", b"v2", b"v3", b"pid", b"p1", b"p2", b"p3"), 3, int, np.int64
)


def blocks(content: bytes) -> Iterator[Block]:
    """Every list that a quick reading may be tried on, in order."""
    at = 0
    while found := _OPENING.search(content, at):
        end = content.find(b"</" + found[1], found.end())
        if end < 0:
            return
        yield Block(found.start(), found.end(), end, found[1] == b"vertices")
        at = end


def read_block(content: bytes, block: Block) -> Iterator[NDArray[Any] | None]:
    """The list in chunks.

    Yields
    ------
    (n, 3) float64 x y z, or (m, 7) int64 v1 v2 v3 pid p1 p2 p3 with -1 for absent properties; None,
    and then nothing more, if it is no plain list
    """
    layout = _VERTICES if block.is_vertices else _TRIANGLES
    at = block.start
    while at < block.end:
        end = min(at + CHUNK_BYTES, block.end)
        if end < block.end:
            end = content.rfind(b"<" + layout.element, at + 1, end)
        rows = _rows(content[at:end], layout) if end > at else None
        yield rows
        if rows is None:
            return
        at = end


def _rows(chunk: bytes, layout: _Layout) -> NDArray[Any] | None:
    pieces = chunk.split(b'"')
    if len(pieces) % 2 == 0 or chunk.translate(None, _PLAIN):
        return None
    if len(pieces) == 1:
        return None if chunk.strip() else np.zeros((0, len(layout.names)), layout.dtype)
    codes = _codes(pieces[0:-1:2], pieces[-1], layout)
    if codes is None:
        return None
    texts = pieces[1::2]
    try:
        values: NDArray[Any] = np.fromiter(map(layout.convert, texts), layout.dtype, len(texts))
    except (ValueError, OverflowError):
        return None
    if layout is _VERTICES and not _are_plain(values, texts):
        return None
    return _table(codes, values, layout)


def _codes(names: list[bytes], tail: bytes, layout: _Layout) -> NDArray[np.uint8] | None:
    """For each attribute its number in the layout, plus `_OPENS` where an element begins."""
    close = rb"\s*(?:/>|>\s*</" + layout.element + rb"\s*>)\s*"
    opening = rb"<" + layout.element + rb"\s+([a-z0-9]+)\s*=\s*"
    first = re.fullmatch(rb"\s*" + opening, names[0])
    if not first or first[1] not in layout.names or not re.fullmatch(close, tail):
        return None
    later = re.compile(rb"(?:(" + close + opening + rb")|\s+([a-z0-9]+)\s*=\s*)")
    table: dict[bytes, int] = {}
    distinct = set(names[1:])
    if len(distinct) > _MAX_PIECES:
        return None
    for piece in distinct:
        found = later.fullmatch(piece)
        name = found and (found[2] or found[3])
        if not found or name not in layout.names:
            return None
        table[piece] = layout.names.index(name) + (_OPENS if found[1] else 0)
    codes = np.empty(len(names), np.uint8)
    codes[0] = layout.names.index(first[1]) + _OPENS
    codes[1:] = np.fromiter(map(table.__getitem__, names[1:]), np.uint8, len(names) - 1)
    return codes


def _are_plain(values: NDArray[Any], texts: list[bytes]) -> bool:
    """Finite, and nothing that is zero only because float64 cannot hold it."""
    if not np.isfinite(values).all():
        return False
    zeros = {texts[at] for at in np.flatnonzero(values == 0).tolist()}
    return all(_TINY.fullmatch(text) for text in zeros)


def _table(codes: NDArray[np.uint8], values: NDArray[Any], layout: _Layout) -> NDArray[Any] | None:
    """One row an element; None if one lacks or repeats an attribute."""
    opens = codes >= _OPENS
    which = codes & (_OPENS - 1)
    count = int(np.count_nonzero(opens))
    width = layout.required
    columns = len(layout.names)
    if len(codes) == count * width and (which.reshape(count, width) == np.arange(width)).all():
        table = values.reshape(count, width)
        if columns == width:
            return table
        return np.hstack([table, np.full((count, columns - width), -1, layout.dtype)])
    record = np.cumsum(opens) - 1
    cells = record * columns + which
    if len(np.unique(cells)) != len(cells):
        return None
    full: NDArray[Any] = np.full((count, columns), -1, layout.dtype)
    given = np.zeros((count, columns), bool)
    full[record, which], given[record, which] = values, True
    return full if given[:, :width].all() else None
