"""Values of a foreign JSON object, by type."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from lint3d.jsontable import JsonTable, Malformed

TABLE = JsonTable(
    {"text": "a", "number": 2, "list": [{"x": True}], "point": [1, 2.5, -3], "gap": [1, None]}, "it"
)


def test_what_is_there_and_what_is_not() -> None:
    assert TABLE.text("text") == "a"
    assert TABLE.number("number") == 2.0
    assert TABLE.count("number") == 2
    assert TABLE.point("point") == (1.0, 2.5, -3.0)
    assert TABLE.numbers("gap", 2) == [1.0, None]
    assert TABLE.tables("list")[0].raw("x") is True
    assert TABLE.one_of("none", ("a", "b"), "b") == "b"
    for absent in (TABLE.text("no"), TABLE.number("no"), TABLE.point("no"), TABLE.count("no")):
        assert absent is None
    assert TABLE.tables("no") == []
    assert TABLE.table("no").text("deeper") is None


@pytest.mark.parametrize(
    ("taken", "said"),
    [
        (lambda: TABLE.text("number"), "it.number must be a text"),
        (lambda: TABLE.number("text"), "it.text must be a number"),
        (lambda: TABLE.tables("list")[0].number("x"), "it.list[0].x must be a number"),
        (lambda: TABLE.tables("text"), "it.text must be a list"),
        (lambda: TABLE.table("list"), "it.list must be an object"),
        (lambda: TABLE.numbers("point", 2), "it.point must be a list of 2 numbers"),
        (lambda: TABLE.one_of("text", ("b",), "b"), "it.text must be one of b"),
        (lambda: JsonTable(3, ""), "the file must be an object"),
    ],
)
def test_errors_say_where(taken: Callable[[], Any], said: str) -> None:
    with pytest.raises(Malformed) as caught:
        taken()
    assert str(caught.value) == said
