"""TOML files: on which line does a key stand, and which right key was meant?"""

from __future__ import annotations

from pathlib import Path

import pytest

from lint3d.errors import ConfigurationError
from lint3d.tomlfile import TomlFile, key_lines, nearest

TEXT = """\
# a comment with key = 1
process = "a"

[limits]
"walls/thin-wall" = "0.8mm"
plain.dotted = 1

[rules."solid/open-edge"]
none = true   # x = 2
[rules.'size/units-doubt']
at_least = 1
"""


def test_lines_of_keys_and_headers() -> None:
    lines = key_lines(TEXT)
    assert lines["process",] == 2
    assert lines["limits",] == 4
    assert lines["limits", "walls/thin-wall"] == 5
    assert lines["limits", "plain", "dotted"] == 6
    assert lines["rules", "solid/open-edge"] == 8
    assert lines["rules", "solid/open-edge", "none"] == 9
    assert lines["rules", "size/units-doubt", "at_least"] == 11
    assert ("key",) not in lines


def toml(tmp_path: Path, text: str | bytes) -> Path:
    path = tmp_path / "some.toml"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return path


def test_a_wrong_key_is_told_with_line_and_nearest(tmp_path: Path) -> None:
    file = TomlFile(toml(tmp_path, '[sheet]\ntitle = "x"\n\ntitel = "y"\n'))
    with pytest.raises(
        ConfigurationError,
        match=r"some\.toml, line 4: 'titel' is not a key of "
        r"sheet .did you mean 'title'\?",
    ):
        file.check_keys(file.data["sheet"], ("title", "extends"), "sheet")


def test_a_wrong_key_unlike_any_lists_the_known_ones(tmp_path: Path) -> None:
    file = TomlFile(toml(tmp_path, "zzz = 1\n"))
    with pytest.raises(
        ConfigurationError,
        match=r"line 1: 'zzz' is not a key of the file; known "
        r"keys: process, unit",
    ):
        file.check_keys(file.data, ("unit", "process"))


def test_a_key_of_an_inline_table_is_told_with_the_line_around_it(tmp_path: Path) -> None:
    file = TomlFile(toml(tmp_path, "[liquid]\ndensity = { valeu = 780 }\n"))
    with pytest.raises(ConfigurationError, match=r"line 2: 'valeu'.*did you mean 'value'"):
        file.check_keys(file.data["liquid"]["density"], ("value", "unit"), "liquid", "density")


@pytest.mark.parametrize(
    ("text", "kind", "message"),
    [
        ("k = 1", str, "'k' must be text, not 1"),
        ('k = "1"', (int, float), "'k' must be a number, not '1'"),
        ("k = true", (int, float), "'k' must be a number, not True"),
        ("k = 1", bool, "'k' must be true or false, not 1"),
    ],
)
def test_a_wrong_type_is_told(
    tmp_path: Path, text: str, kind: type | tuple[type, ...], message: str
) -> None:
    file = TomlFile(toml(tmp_path, text))
    with pytest.raises(ConfigurationError, match=rf"some\.toml, line 1: {message}"):
        file.take(file.data, "k", kind)


def test_what_is_not_there_is_none(tmp_path: Path) -> None:
    file = TomlFile(toml(tmp_path, ""))
    assert file.take(file.data, "k", str) is None


@pytest.mark.parametrize(
    ("content", "message"),
    [
        (b"\xff\xfe\x00", r"some\.toml: is not UTF-8 text \(byte 0\)\. Save it as UTF-8"),
        (b"a = 1\nb = [1,,\n", r"some\.toml: is not valid TOML: .*line 2"),
        (b"a = 1\na = 2\n", r"some\.toml: is not valid TOML"),
    ],
)
def test_what_is_no_toml_is_told(tmp_path: Path, content: bytes, message: str) -> None:
    with pytest.raises(ConfigurationError, match=message):
        TomlFile(toml(tmp_path, content))


def test_a_file_with_a_byte_order_mark_or_crlf_is_read(tmp_path: Path) -> None:
    file = TomlFile(toml(tmp_path, b"\xef\xbb\xbfa = 1\r\n[b]\r\nc = 2\r\n"))
    assert file.data == {"a": 1, "b": {"c": 2}}
    assert file.line("b", "c") == 3


def test_an_absent_file_and_a_folder_are_told(tmp_path: Path) -> None:
    for path in (tmp_path / "no.toml", tmp_path):
        with pytest.raises(ConfigurationError, match=r"cannot be read \(.*\)\. Check the path"):
            TomlFile(path)


def test_lines_inside_a_text_of_several_lines_are_no_keys(tmp_path: Path) -> None:
    file = TomlFile(toml(tmp_path, 'a = """\nb = 1\n[c]\n"""\nb = 2\n'))
    assert file.line("b") == 5


def test_tables_of_an_array_have_lines_of_their_own(tmp_path: Path) -> None:
    file = TomlFile(toml(tmp_path, '[[for]]\nmatch = "a"\n\n[[for]]\nmatch = 3\n'))
    with pytest.raises(ConfigurationError, match="line 5: 'match' must be text"):
        file.take(file.data["for"][1], "match", str, "for", "1")


def test_nearest() -> None:
    assert nearest("at_lest", ["at_least", "at_most"]) == " (did you mean 'at_least'?)"
    assert nearest("qqq", ["at_least", "at_most"]) == ""
