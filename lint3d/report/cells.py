"""How wide is a text in a terminal, and how is it made to fit?

Widths are columns of a fixed-pitch terminal: 2 for wide East Asian characters and emoji, 0 for
combining marks. What a file calls itself can never move the cursor, turn the direction of writing
or hide: such characters are shown as escapes.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterator

#: Control, format, surrogate, private, unassigned; line and paragraph separators.
_UNPRINTABLE = frozenset({"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"})
_MARKS = frozenset({"Mn", "Me"})
_EMOJI_STYLE = "\ufe0f"
_JOINERS = frozenset("\u200c\u200d")  # needed to write some languages, harmless to a terminal
ELLIPSIS = "…"
#: Where a word that is too long may be broken with no mark: after these.
_BREAKS = re.compile(r"(?<=[/\\_\-.,])")


def safe(text: str) -> str:
    r"""The text with everything that could control a terminal written as an escape.

    Examples
    --------
    >>> safe("lid\x1b[2J\u202e é")
    'lid\\x1b[2J\\u202e é'
    """
    return text if text.isprintable() else "".join(map(_safe_character, text))


def _safe_character(character: str) -> str:
    if character in _JOINERS or unicodedata.category(character) not in _UNPRINTABLE:
        return character
    code = ord(character)
    if code < 0x100:
        return f"\\x{code:02x}"
    return f"\\u{code:04x}" if code < 0x10000 else f"\\U{code:08x}"


def columns(text: str) -> int:
    """How many columns the text takes.

    Examples
    --------
    >>> columns("lid"), columns("浮き室"), columns("e\u0301"), columns("")
    (3, 6, 1, 0)
    """
    if text.isascii():
        return len(text)
    return sum(_columns(cluster) for cluster in clusters(text))


def clusters(text: str) -> Iterator[str]:
    """The text in pieces that must not be torn apart: a character with its marks."""
    piece = ""
    for character in text:
        attached = unicodedata.category(character) in _MARKS or character in _JOINERS
        if piece and not attached:
            yield piece
            piece = ""
        piece += character
    if piece:
        yield piece


def _columns(cluster: str) -> int:
    first = cluster[0]
    if unicodedata.category(first) in _MARKS or first in _JOINERS:
        return 0
    if unicodedata.east_asian_width(first) in "WF" or _EMOJI_STYLE in cluster:
        return 2
    return 1


def padded(text: str, width: int) -> str:
    """The text with spaces behind it up to the width."""
    return text + " " * (width - columns(text))


def shortened(text: str, width: int) -> str:
    """The text with its middle left out if it is wider than `width`.

    Examples
    --------
    >>> shortened("the-left-hand-bracket", 11)
    'the-l…acket'
    """
    if columns(text) <= width:
        return text
    pieces = list(clusters(text))
    head = _fitting(pieces, width // 2)
    tail = _fitting(pieces[::-1], width - 1 - sum(map(_columns, head)))
    return "".join(head) + ELLIPSIS + "".join(reversed(tail))


def wrapped(text: str, width: int) -> list[str]:
    """The text in lines of at most `width` columns, broken at spaces where there are any.

    A word wider than a line is broken after a slash, hyphen, dot or underscore, or anywhere.

    Examples
    --------
    >>> wrapped("thicken the wall", 11), wrapped("solid/non-manifold-vertex", 20), wrapped("", 5)
    (['thicken the', 'wall'], ['solid/non-manifold-', 'vertex'], [''])
    """
    lines = [""]
    for word in text.split():
        joined = f"{lines[-1]} {word}" if lines[-1] else word
        if columns(joined) <= width:
            lines[-1] = joined
            continue
        pieces = list(_broken(word, width))
        if lines[-1] and columns(lines[-1]) + 1 + columns(pieces[0]) <= width and len(pieces) > 1:
            lines[-1] += f" {pieces.pop(0)}"
        lines.extend(pieces)
    return lines if lines[0] or len(lines) == 1 else lines[1:]


def _broken(word: str, width: int) -> Iterator[str]:
    """The word in pieces of at most `width` columns."""
    line = ""
    for part in _BREAKS.split(word):
        if columns(line + part) <= width:
            line += part
            continue
        if line:
            yield line
        pieces = list(clusters(part))
        while sum(map(_columns, pieces)) > width:
            head = _fitting(pieces, width)
            yield "".join(head)
            pieces = pieces[len(head) :]
        line = "".join(pieces)
    if line:
        yield line


def _fitting(pieces: list[str], width: int) -> list[str]:
    """As many pieces from the start as fit."""
    used = 0
    for count, piece in enumerate(pieces):
        used += _columns(piece)
        if used > width:
            return pieces[:count]
    return pieces
