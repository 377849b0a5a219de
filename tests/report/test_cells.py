"""Texts fit their columns, and cannot control a terminal."""

import unicodedata

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lint3d.report.cells import clusters, columns, padded, safe, shortened, wrapped

WIDTHS = st.integers(4, 60)


@given(st.text())
def test_nothing_that_controls_a_terminal_is_left(text: str) -> None:
    for character in safe(text):
        category = unicodedata.category(character)
        assert category not in {"Cc", "Cs", "Co", "Cn", "Zl", "Zp"}
        assert category != "Cf" or character in "\u200c\u200d"


@pytest.mark.parametrize(
    ("raw", "shown"),
    [
        ("\x1b[2J", "\\x1b[2J"),
        ("a\rb\nc\td", "a\\x0db\\x0ac\\x09d"),
        ("\x9b31m", "\\x9b31m"),
        ("\u202egnp.exe", "\\u202egnp.exe"),
        ("\u2066x\u2069", "\\u2066x\\u2069"),
        ("\ud800", "\\ud800"),
        ("\U000e0041", "\\U000e0041"),
        ("schön 浮き室 ± ≥", "schön 浮き室 ± ≥"),
    ],
)
def test_escapes(raw: str, shown: str) -> None:
    assert safe(raw) == shown


@pytest.mark.parametrize(
    ("text", "width"),
    [
        ("", 0),
        ("lid", 3),
        ("±", 1),
        ("蓋", 2),
        ("e\u0301", 1),
        ("\u0301", 0),
        ("🔥", 2),
        ("☀\ufe0f", 2),
    ],
)
def test_columns(text: str, width: int) -> None:
    # UAX #11 (East Asian Width): wide and fullwidth take two columns.
    assert columns(text) == width


@given(st.text())
def test_clusters_lose_nothing(text: str) -> None:
    assert "".join(clusters(text)) == text


@given(st.text(), WIDTHS)
def test_wrapped_lines_fit_and_lose_nothing(text: str, width: int) -> None:
    lines = wrapped(text, width)
    assert all(columns(line) <= width for line in lines)
    assert "".join("".join(lines).split()) == "".join(text.split())


@given(st.text(), WIDTHS)
def test_shortened_fits_and_keeps_both_ends(text: str, width: int) -> None:
    short = shortened(text, width)
    assert columns(short) <= width
    if columns(text) <= width:
        assert short == text
    else:
        head, _, tail = short.partition("…")
        assert text.startswith(head)
        assert text.endswith(tail)


def test_words_stay_whole_where_they_can() -> None:
    assert wrapped("thicken the wall, or rib it", 12) == ["thicken the", "wall, or rib", "it"]
    assert wrapped("walls/thin-wall", 10) == ["walls/", "thin-wall"]
    assert wrapped("a pneumonoultramicroscopic", 10) == ["a", "pneumonoul", "tramicrosc", "opic"]


def test_padding_counts_columns_not_characters() -> None:
    assert padded("蓋", 4) == "蓋  "
    assert padded("lid", 2) == "lid"
