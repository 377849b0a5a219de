"""Where in a TOML file does a key stand, and which right key was meant?

`tomllib` tells no line numbers of keys, so they are found by scanning. `Table` is a view of a TOML
table that knows its file and checks its keys.
"""

from __future__ import annotations

import difflib
import re
import tomllib
from collections.abc import Collection
from functools import lru_cache
from pathlib import Path
from typing import Any

from lint3d.errors import ConfigurationError

_HEADER = re.compile(r"\s*\[\[?\s*(?P<path>[^\]]+?)\s*\]\]?\s*(#.*)?$")
_KEY = re.compile(
    r"\s*(?P<path>(?:[A-Za-z0-9_-]+|\"[^\"]*\"|'[^']*')(?:\s*\.\s*(?:[A-Za-z0-9_-]+|\"[^\"]*\"|'[^']*'))*)\s*="
)
_PIECE = re.compile(r"\"([^\"]*)\"|'([^']*)'|([A-Za-z0-9_-]+)")


def nearest(word: str, known: Collection[str]) -> str:
    """ " (did you mean 'x'?)" or an empty string: a full stop may follow."""
    found = difflib.get_close_matches(word, sorted(known), n=1, cutoff=0.6)
    return f" (did you mean '{found[0]}'?)" if found else ""


def _pieces(path: str) -> tuple[str, ...]:
    return tuple(a or b or c for a, b, c in _PIECE.findall(path))


def key_lines(text: str) -> dict[tuple[str, ...], int]:
    """Line (from 1) on which each key or table header stands.

    The tables of an array are numbered: `("for", "0", "match")`; `("for",)` is the first of them.

    Examples
    --------
    >>> key_lines('[rules."a/b"]\\nat_least = 1\\n')
    {('rules', 'a/b'): 1, ('rules', 'a/b', 'at_least'): 2}
    """
    lines: dict[tuple[str, ...], int] = {}
    counts: dict[tuple[str, ...], int] = {}
    table: tuple[str, ...] = ()
    quotes = ""
    for number, line in enumerate(text.split("\n"), 1):
        if quotes:
            quotes = "" if line.count(quotes) % 2 else quotes
            continue
        if header := _HEADER.match(line):
            table = _pieces(header["path"])
            if line.lstrip().startswith("[["):
                lines.setdefault(table, number)
                counts[table] = counts.get(table, -1) + 1
                table = (*table, str(counts[table]))
            elif table[:1] in counts:
                table = (table[0], str(counts[table[:1]]), *table[1:])
            lines[table] = number
        elif key := _KEY.match(line):
            lines.setdefault((*table, *_pieces(key["path"])), number)
        quotes = next((q for q in ('"""', "'''") if line.count(q) % 2), "")
    return lines


@lru_cache(maxsize=64)
def _parsed(text: str) -> tuple[dict[str, Any], dict[tuple[str, ...], int]]:
    """The content and the lines of its keys; one run reads the same few sheets several times."""
    return tomllib.loads(text), key_lines(text)


class TomlFile:
    """A parsed TOML file whose errors say line and nearest key.

    `data` is shared by all files of the same text: nobody may change it.
    """

    def __init__(self, path: Path, shown: str | None = None) -> None:
        self.path = path
        self.shown = shown or path.name
        try:
            text = path.read_bytes().decode("utf-8-sig")
        except OSError as error:
            raise ConfigurationError(
                f"{self.shown}: cannot be read ({error.strerror}). Check the path."
            ) from error
        except UnicodeDecodeError as error:
            raise ConfigurationError(
                f"{self.shown}: is not UTF-8 text (byte {error.start}). Save it as UTF-8."
            ) from error
        try:
            self.data, self._lines = _parsed(text)
        except tomllib.TOMLDecodeError as error:
            raise ConfigurationError(f"{self.shown}: is not valid TOML: {error}.") from error

    def line(self, *path: str) -> int | None:
        """The line of a key, or of the nearest table around it."""
        for end in range(len(path), 0, -1):
            if (found := self._lines.get(path[:end])) is not None:
                return found
        return None

    def error(self, message: str, *path: str) -> ConfigurationError:
        """An error that begins with file and line."""
        line = self.line(*path)
        at = f"{self.shown}, line {line}" if line else self.shown
        return ConfigurationError(f"{at}: {message}")

    def check_keys(self, table: Any, known: Collection[str], *path: str) -> None:
        """Refuse what is not a table, and keys that are not known."""
        named = [f'"{p}"' if "/" in p else p for p in path if not p.isdigit()]
        where = ".".join(named) or "the file"
        if not isinstance(table, dict):
            raise self.error(f"{where} must be a table.", *path)
        for key in table:
            if key not in known:
                hint = nearest(key, known) or f"; known keys: {', '.join(sorted(known))}"
                raise self.error(f"'{key}' is not a key of {where}{hint}", *path, key)

    def take(
        self, table: dict[str, Any], key: str, kind: type | tuple[type, ...], *path: str
    ) -> Any:
        """The value of a key, None if it is not there; refused if it is of another type."""
        value = table.get(key)
        wrong_bool = isinstance(value, bool) and kind not in (bool, (bool,))
        if value is not None and (not isinstance(value, kind) or wrong_bool):
            kinds = kind if isinstance(kind, tuple) else (kind,)
            names = {
                "str": "text",
                "bool": "true or false",
                "int": "a number",
                "float": "a number",
                "dict": "a table",
                "list": "a list",
            }
            wanted = " or ".join(dict.fromkeys(names[k.__name__] for k in kinds))
            raise self.error(f"'{key}' must be {wanted}, not {value!r}.", *path, key)
        return value
