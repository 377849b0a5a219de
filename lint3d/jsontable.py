"""What does a JSON object from elsewhere hold, and where is it not what it should be?

Values are taken by type, never trusted; an error says where they stand, as in
"results[3].properties.measured must be a number".
"""

from __future__ import annotations

import math
from typing import Any

from lint3d.report.plain import writable

#: mm; farther away than this nothing is part of a model
_FAR = 1e9


class Malformed(Exception):
    """Where the report is not as it should be."""


class JsonTable:
    """A JSON object whose values are taken by type; errors say where."""

    def __init__(self, value: Any, where: str) -> None:
        if not isinstance(value, dict):
            raise Malformed(f"{where or 'the file'} must be an object")
        self._value = value
        self._where = where

    def _at(self, key: str) -> str:
        return f"{self._where}.{key}" if self._where else key

    def table(self, key: str) -> JsonTable:
        """The object under a key; an empty one if there is none."""
        value = self._value.get(key)
        return JsonTable({} if value is None else value, self._at(key))

    def tables(self, key: str) -> list[JsonTable]:
        """The objects of a list; none if there is no list."""
        value = self._value.get(key)
        if value is None:
            return []
        if not isinstance(value, list):
            raise Malformed(f"{self._at(key)} must be a list")
        return [JsonTable(one, f"{self._at(key)}[{row}]") for row, one in enumerate(value)]

    def text(self, key: str) -> str | None:
        value = self._value.get(key)
        if value is not None and not isinstance(value, str):
            raise Malformed(f"{self._at(key)} must be a text")
        return value if value is None else writable(value)

    def one_of(self, key: str, known: tuple[str, ...], default: str) -> Any:
        value = self.text(key) or default
        if value not in known:
            raise Malformed(f"{self._at(key)} must be one of {', '.join(known)}")
        return value

    def number(self, key: str) -> float | None:
        return self._number(self._value.get(key), key)

    def _number(self, value: Any, key: str) -> float | None:
        if value is None:
            return None
        try:
            if isinstance(value, bool):
                raise TypeError
            found = math.fsum([value])
        except (TypeError, OverflowError):
            raise Malformed(f"{self._at(key)} must be a number") from None
        if not math.isfinite(found):
            raise Malformed(f"{self._at(key)} must be a finite number")
        return found

    def count(self, key: str) -> int | None:
        value = self.number(key)
        return None if value is None else int(value)

    def numbers(self, key: str, length: int) -> list[float | None] | None:
        """A list of so many numbers, each of which may be null; None if there is none."""
        value = self._value.get(key)
        if value is None:
            return None
        if not isinstance(value, list) or len(value) != length:
            raise Malformed(f"{self._at(key)} must be a list of {length} numbers")
        return [self._number(one, key) for one in value]

    def point(self, key: str) -> tuple[float, float, float] | None:
        found = self.numbers(key, 3)
        if found is None:
            return None
        if any(x is None or abs(x) > _FAR for x in found):
            raise Malformed(f"{self._at(key)} must be a point in mm")
        x, y, z = (float(v or 0.0) for v in found)
        return (x, y, z)

    def raw(self, key: str) -> Any:
        return self._value.get(key)
